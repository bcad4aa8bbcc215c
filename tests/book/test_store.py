"""The book: idempotent, append-only, repaired and undone without loss, and whole after a kill, a full disk or a lock."""

from __future__ import annotations

import csv
import os
import signal
import subprocess
import sys
import textwrap
import time
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from pipeline.book import store as book
from pipeline.checking import held_list
from pipeline.commands import run
from pipeline.errors import RillbookError

CASES = Path(__file__).parents[1] / "cases"
ROOT = Path(__file__).resolve().parents[2]
TODAY = date(2026, 1, 1)

SITES = "site_id,habitat\nS1,stream\n"
VISITS = (
    "visit_id,site_id,visit_date,start_time,protocol,search_minutes,water_temp_c\n"
    "V1,S1,2023-06-10,20:00,visual_encounter,60,12.5\nV2,S1,2023-06-24,20:00,visual_encounter,60,13\n"
)
FINDS = (
    "find_id,visit_id,taxon,life_stage,count,microhabitat,water_temp_c\n"
    "F1,V1,GPOR,adult,1,rock_in_flow,12.6\nF2,V1,GPOR,larva,1,rock_in_flow,12.4\n"
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    run.init(tmp_path / "b", (CASES / "base" / "rillbook.toml").read_text())
    return tmp_path / "b"


def sheets(folder: Path, **texts: str) -> list[Path]:
    paths = []
    for name, text in texts.items():
        paths.append(folder.parent / f"{name}.csv")
        paths[-1].write_text(text, encoding="utf-8")
    return paths


def load(folder: Path, paths: list[Path] | None = None, **words: object) -> run.Report:
    return run.load_files(
        folder, paths if paths is not None else sheets(folder, sites=SITES, visits=VISITS, finds=FINDS), today=TODAY, **words
    )  # type: ignore[arg-type]


def now(folder: Path, table: str) -> pd.DataFrame:
    with book.open_book(folder) as connection:
        return book.current(connection, table)


def ids(folder: Path) -> dict[str, list[str]]:
    return {table: now(folder, table).iloc[:, 0].tolist() for table in ("sites", "visits", "finds")}


def state(folder: Path) -> dict[str, list[tuple[object, ...]]]:
    names = (
        "loads",
        "sites_all",
        "visits_all",
        "finds_all",
        "availability_all",
        "held_all",
        "held_rows",
        "flags_all",
        "corrections",
        "source_rows",
        "rests",
    )
    with book.open_book(folder) as connection:
        return {name: connection.execute(f"SELECT * FROM {name} ORDER BY ALL").fetchall() for name in names}


def answer(folder: Path, answers: dict[str, dict[str, str]], name: str = "held.csv", by: str = "AB") -> Path:
    """Write the list of held items; fill in the answers, given by row or row.field."""
    path = folder.parent / name
    path.unlink(missing_ok=True)
    run.write_held(folder, path)
    frame = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    for place, words in answers.items():
        row, _, field = place.partition(".")
        hit = (frame["row"] == row) & ((frame["field"] == field) | (field == ""))
        assert hit.any(), f"{place} is not held: {frame[['row', 'field']].to_numpy().tolist()}"
        frame.loc[hit, list(words)] = list(words.values())
        frame.loc[hit, "by"] = by
    frame.to_csv(path, index=False)
    return path


def test_loading_twice_changes_nothing(folder: Path) -> None:
    assert load(folder).load_id == 1
    before = state(folder)
    again = load(folder)
    assert again.load_id is None and again.exit_code == 0
    assert "loaded before, as load 1" in again.notes[-1]
    assert state(folder) == before


def test_the_same_rows_in_another_file_are_stored_once(folder: Path) -> None:
    load(folder)
    report = load(folder, sheets(folder, sites=SITES + "\n", visits=VISITS + "\n", finds=FINDS + "\n"))
    assert report.account.cells["stored"] == 0 and report.account.rows["repeat"] == 5
    assert ids(folder) == {"sites": ["S1"], "visits": ["V1", "V2"], "finds": ["F1", "F2"]}
    assert len(state(folder)["finds_all"]) == 2


def test_a_file_that_grew_loads_without_replace(folder: Path) -> None:
    load(folder)
    visits = VISITS + "V3,S1,2023-07-10,20:00,visual_encounter,60,13\n"
    report = load(folder, sheets(folder, sites=SITES, visits=visits, finds=FINDS + "F3,V3,GPOR,adult,1,rock_in_flow,13\n"))
    assert report.exit_code == 0 and report.account.tables["finds"] == {"accepted": 1, "held": 0, "same": 2}
    assert ids(folder)["finds"] == ["F1", "F2", "F3"]
    with pytest.raises(RillbookError, match=r"load 2 rests on load 1"):
        run.undo(folder, 1)


def test_finds_alone_are_added_to_a_visit(folder: Path) -> None:
    load(folder)
    load(folder, sheets(folder, more=FINDS.splitlines()[0] + "\nF3,V2,GPOR,adult,1,rock_in_flow,13\n"))
    assert ids(folder)["finds"] == ["F1", "F2", "F3"]


def test_a_sheet_that_only_names_a_site_blanks_nothing_of_it(folder: Path) -> None:
    load(folder, sheets(folder, sites="site_id,habitat,elevation_m\nS1,stream,612\n"))
    assert load(folder, sheets(folder, sites2="site_id,habitat\nS1,stream\n")).exit_code == 0
    assert now(folder, "sites")["elevation_m"].tolist() == [612.0]
    with pytest.raises(RillbookError) as stopped:
        load(folder, sheets(folder, sites3="site_id,habitat\nS1,seep\n"))
    changes = stopped.value.changes  # type: ignore[attr-defined]
    assert "habitat stream → seep" in changes.changed[0] and "elevation_m 612.0 → blank" in changes.changed[0]


@pytest.mark.parametrize(
    ("visits", "finds", "changed", "vanished"),
    [
        (VISITS.replace("12.5", "12.7"), FINDS, ["visit V1: water_temp_c 12.5 → 12.7"], []),
        (VISITS, FINDS.replace("12.6", ""), ["find F1: water_temp_c 12.6 → blank"], []),
        (VISITS, FINDS.replace("F2", "F9"), ["find F9 is added to visit V1"], ["find F2"]),
    ],
)
def test_replacing_asks_first_and_names_what_would_go(
    folder: Path, visits: str, finds: str, changed: list[str], vanished: list[str]
) -> None:
    load(folder)
    before, paths = state(folder), sheets(folder, sites=SITES, visits=visits, finds=finds)
    with pytest.raises(run.WouldReplaceError, match="Nothing was changed") as stopped:
        load(folder, paths)
    assert (stopped.value.changes.changed, stopped.value.changes.vanished) == (changed, vanished)
    assert state(folder) == before

    def show(changes: book.Changes) -> None:
        assert (changes.changed, changes.vanished) == (changed, vanished)
        shown.append(True)

    shown: list[bool] = []
    load(folder, paths, replace=True, show=show)
    assert shown == [True]
    assert ids(folder)["finds"] == (["F1", "F9"] if vanished else ["F1", "F2"])
    run.undo(folder, 2)
    assert ids(folder)["finds"] == ["F1", "F2"]
    assert now(folder, "visits").set_index("visit_id").at["V1", "water_temp_c"] == 12.5


def test_a_load_corrects_another_and_names_what_goes(folder: Path) -> None:
    load(folder)
    seen: list[book.Changes] = []
    report = load(folder, sheets(folder, sites=SITES, visits=VISITS, finds=FINDS.replace("F2", "F9")), corrects=1, show=seen.append)
    assert report.load_id == 2 and seen[0].vanished == ["find F2"]
    assert ids(folder)["finds"] == ["F1", "F9"]
    with pytest.raises(RillbookError, match=r"load 2 rests on load 1.*Undo load 2 first"):
        run.undo(folder, 1)
    with pytest.raises(RillbookError, match="no load 1 that still stands"):
        load(folder, sheets(folder, sites=SITES), corrects=1)
    run.undo(folder, 2)
    assert ids(folder)["finds"] == ["F1", "F2"]


def test_a_correction_that_would_leave_finds_hanging_is_refused(folder: Path) -> None:
    load(folder)
    load(folder, sheets(folder, more=FINDS.splitlines()[0] + "\nF3,V2,GPOR,adult,1,rock_in_flow,13\n"))
    before = state(folder)
    with pytest.raises(RillbookError, match=r"find F3 of another load hangs on visit V2.*undo the load that brought find F3"):
        load(folder, sheets(folder, sites=SITES, visits=VISITS.replace("V2", "V8")), corrects=1)
    assert state(folder) == before


def test_undo_restores_and_the_same_file_loads_again(folder: Path) -> None:
    load(folder)
    load(folder, sheets(folder, more=FINDS.splitlines()[0] + "\nF3,V2,GPOR,adult,1,rock_in_flow,13\n"))
    with pytest.raises(RillbookError, match=r"load 2 rests on load 1"):
        run.undo(folder, 1)
    run.undo(folder, 2)
    run.undo(folder, 1)
    assert ids(folder) == {"sites": [], "visits": [], "finds": []}
    with pytest.raises(RillbookError, match="undone already"):
        run.undo(folder, 1)
    with pytest.raises(RillbookError, match="no load 7"):
        run.undo(folder, 7)
    assert load(folder).load_id == 3
    assert ids(folder)["finds"] == ["F1", "F2"]


def test_undo_is_refused_where_a_later_load_left_rows_out_because_they_were_there(folder: Path) -> None:
    load(folder, sheets(folder, sites=SITES))
    load(folder, sheets(folder, visits=VISITS))
    load(folder, sheets(folder, visits=VISITS + "V3,S1,2023-07-10,20:00,visual_encounter,60,13\n"))
    with pytest.raises(RillbookError, match="load 3 rests on load 2"):
        run.undo(folder, 2)


def test_finds_before_their_visits_load_again_once_the_visits_are_there(folder: Path) -> None:
    finds = sheets(folder, finds=FINDS)
    assert load(folder, finds).account.rows["held"] == 2
    assert load(folder, finds).load_id is None
    load(folder, sheets(folder, sites=SITES, visits=VISITS))
    assert load(folder, finds).exit_code == 0
    assert ids(folder)["finds"] == ["F1", "F2"]
    assert run.held_items(folder).empty


def test_a_taxon_that_is_added_to_the_settings_lets_the_same_file_in(folder: Path) -> None:
    paths = sheets(folder, sites=SITES, visits=VISITS, finds=FINDS.replace("F2,V1,GPOR", "F2,V1,NEWT"))
    assert load(folder, paths).held["rule"].tolist() == ["taxon_unknown"]
    settings = folder / "rillbook.toml"
    settings.write_text(settings.read_text() + '\n[[taxon]]\ncode = "NEWT"\nscientific_name = "Novum exemplum"\ngroup = "cool_stream"\n')
    with pytest.raises(run.WouldReplaceError):
        load(folder, paths)
    assert load(folder, paths, replace=True).exit_code == 0
    assert ids(folder)["finds"] == ["F1", "F2"] and run.held_items(folder).empty


BAD_FINDS = FINDS.replace("12.6", "55.2")


def test_a_held_value_is_repaired_through_the_list_and_its_text_is_kept(folder: Path) -> None:
    assert load(folder, sheets(folder, sites=SITES, visits=VISITS, finds=BAD_FINDS)).exit_code == 1
    assert pd.isna(now(folder, "finds").set_index("find_id").at["F1", "water_temp_c"])
    report = load(folder, [answer(folder, {"F1": {"corrected": "12.9"}})])
    assert report.exit_code == 0 and report.load_id == 2
    assert now(folder, "finds").set_index("find_id").at["F1", "water_temp_c"] == 12.9
    assert run.held_items(folder).empty
    assert state(folder)["corrections"] == [(2, "held-1", "finds", "F1", "water_temp_c", "55.2", "12.9", "", "AB")]
    assert load(folder, [folder.parent / "held.csv"]).load_id is None
    run.undo(folder, 2)
    assert run.held_items(folder)["item"].tolist() == ["held-1"]
    assert pd.isna(now(folder, "finds").set_index("find_id").at["F1", "water_temp_c"])
    assert load(folder, [folder.parent / "held.csv"]).load_id == 3


def test_a_sheet_that_grows_keeps_the_repairs_and_the_dismissals(folder: Path) -> None:
    finds = BAD_FINDS + "F3,V1,NOPE,adult,1,rock_in_flow,12\nF4,V1,NEIN,adult,1,rock_in_flow,12\nF5,V1,GPOR,adult,1,rock_in_flow,99\n"
    load(folder, sheets(folder, sites=SITES, visits=VISITS, finds=finds))
    load(folder, [answer(folder, {"F1": {"corrected": "12.9"}, "F3": {"corrected": "GPOR"}, "F4": {"dismiss_reason": "a frog"}})])
    assert run.held_items(folder)["row"].tolist() == ["F5"]
    grown = VISITS + "V3,S1,2023-07-10,20:00,visual_encounter,60,13\n"
    report = load(folder, sheets(folder, sites=SITES, visits=grown, finds=finds + "F6,V3,GPOR,adult,1,rock_in_flow,13\n"))
    assert report.load_id == 3 and report.held["row_key"].tolist() == ["F5"]
    assert any("3 that you answered before" in note for note in report.notes)
    assert run.held_items(folder)["row"].tolist() == ["F5"]
    rows = now(folder, "finds").set_index("find_id")
    assert rows.index.tolist() == ["F1", "F2", "F3", "F5", "F6"] and rows.at["F1", "water_temp_c"] == 12.9


def test_a_visit_that_is_replaced_after_a_repair_says_what_is_lost_and_asks_again(folder: Path) -> None:
    paths = sheets(folder, sites=SITES, visits=VISITS, finds=BAD_FINDS)
    load(folder, paths)
    load(folder, [answer(folder, {"F1": {"corrected": "12.9"}})])
    changed = sheets(folder, sites=SITES, visits=VISITS.replace("12.5", "12.7"), finds=BAD_FINDS)
    with pytest.raises(run.WouldReplaceError) as stopped:
        load(folder, changed)
    assert stopped.value.changes.changed == ["visit V1: water_temp_c 12.5 → 12.7", "find F1: water_temp_c 12.9 → blank"]
    load(folder, changed, replace=True)
    assert run.held_items(folder)[["row", "text"]].to_numpy().tolist() == [["F1", "55.2"]]
    run.undo(folder, 3)
    assert run.held_items(folder).empty
    assert now(folder, "finds").set_index("find_id").at["F1", "water_temp_c"] == 12.9


def test_a_repaired_row_brings_the_rows_that_hang_on_it(folder: Path) -> None:
    visits = VISITS.replace("2023-06-10", "2053-06-10")
    load(
        folder,
        sheets(
            folder,
            sites=SITES,
            visits=visits,
            finds=FINDS.replace("F2,V1,GPOR,larva,1,rock_in_flow,12.4", "F2,V1,GPOR,larva,1,rock_in_flow,124"),
        ),
    )
    assert ids(folder) == {"sites": ["S1"], "visits": ["V2"], "finds": []}
    report = load(folder, [answer(folder, {"V1": {"corrected": "2023-06-10"}})])
    assert "2 rows that hang on repaired ones follow." in report.notes
    assert ids(folder) == {"sites": ["S1"], "visits": ["V1", "V2"], "finds": ["F1", "F2"]}
    # a value with a fault of its own waits on
    assert run.held_items(folder)[["row", "field", "text"]].to_numpy().tolist() == [["F2", "water_temp_c", "124"]]
    load(folder, [answer(folder, {"F2": {"corrected": "12.4"}}, name="second.csv")])
    assert now(folder, "finds")["water_temp_c"].tolist() == [12.6, 12.4]


def test_a_value_of_a_row_that_is_held_is_repaired_in_the_same_list(folder: Path) -> None:
    finds = FINDS.replace("F1,V1,GPOR,adult,1,rock_in_flow,12.6", "F1,V1,NOPE,adult,1,rock_in_flow,126")
    load(folder, sheets(folder, sites=SITES, visits=VISITS, finds=finds))
    report = load(folder, [answer(folder, {"F1.water_temp_c": {"corrected": "12.6"}})])
    assert report.held["rule"].tolist() == ["taxon_unknown"] and ids(folder)["finds"] == ["F2"]
    assert load(folder, [answer(folder, {"F1.water_temp_c": {"corrected": "12.6"}, "F1.taxon": {"corrected": "GPOR"}})]).exit_code == 0
    assert now(folder, "finds")["water_temp_c"].tolist() == [12.6, 12.4]
    assert run.held_items(folder).empty


def test_what_is_still_wrong_stays_held_and_the_rest_is_applied(folder: Path) -> None:
    load(folder, sheets(folder, sites=SITES, visits=VISITS, finds=FINDS.replace("12.6", "55.2").replace("12.4", "54")))
    path = answer(folder, {"F1": {"corrected": "fifteen"}, "F2": {"corrected": "12.4"}})
    report = load(folder, [path])
    assert report.exit_code == 1 and report.held[["row_key", "rule", "text"]].to_numpy().tolist() == [["F1", "unreadable", "fifteen"]]
    assert report.account.rows["accepted"] == 1 and report.account.rows["held"] == 1
    assert run.held_items(folder)["row"].tolist() == ["F1"]
    # the same list once more, the slip mended: the answer that was taken is passed over
    path.write_text(path.read_text().replace("fifteen", "12.9"))
    again = load(folder, [path])
    assert again.exit_code == 0 and "1 answers are in the book already." in again.notes
    assert now(folder, "finds")["water_temp_c"].tolist() == [12.9, 12.4]


def test_nothing_is_stored_where_every_answer_is_wrong(folder: Path) -> None:
    load(folder, sheets(folder, sites=SITES, visits=VISITS, finds=BAD_FINDS))
    before = state(folder)
    report = load(folder, [answer(folder, {"F1": {"corrected": "fifteen"}})])
    assert report.exit_code == 1 and report.load_id is None
    assert state(folder) == before


def test_a_key_that_was_missing_is_filled_in(folder: Path) -> None:
    load(folder, sheets(folder, sites=SITES, visits=VISITS, finds=FINDS.replace("F1,", ",").replace("F2,", ",")))
    items = run.held_items(folder)
    assert items["rule"].tolist() == ["required_missing"] * 2
    path = answer(folder, {})
    frame = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    frame["corrected"], frame["by"] = ["F1", "F1"], "AB"
    frame.to_csv(path, index=False)
    report = load(folder, [path])
    assert report.held["rule"].tolist() == ["described_twice"] * 2
    frame["corrected"] = ["F1", "F2"]
    frame.to_csv(path, index=False)
    assert load(folder, [path]).exit_code == 0
    assert ids(folder)["finds"] == ["F1", "F2"]


def test_a_row_described_twice_may_be_taken_or_dismissed(folder: Path) -> None:
    load(folder, sheets(folder, sites=SITES, visits=VISITS, finds=FINDS + "F1,V1,GPOR,juvenile,1,rock_in_flow,12.6\n"))
    with pytest.raises(RillbookError, match=r"held.csv, line 2: the whole row is held .*Write accept under corrected"):
        load(folder, [answer(folder, {"F1": {"corrected": "juvenile"}})])
    load(folder, [answer(folder, {"F1": {"corrected": "accept"}})])
    assert now(folder, "finds")["life_stage"].tolist() == ["juvenile", "larva"]
    run.undo(folder, 2)
    load(folder, [answer(folder, {"F1": {"dismiss_reason": "typed twice"}})])
    assert now(folder, "finds")["life_stage"].tolist() == ["adult", "larva"]
    assert run.held_items(folder).empty


def test_a_flag_that_keeps_a_row_out_is_settled_by_name_and_reason(folder: Path) -> None:
    load(folder, sheets(folder, sites=SITES, visits=VISITS, finds=FINDS.replace("12.6", "26").replace("12.4", "54")))
    assert set(run.held_items(folder)["rule"]) == {"warm_for_cool_stream", "not_possible", "likely_fahrenheit"} - {"not_possible"}
    load(folder, [answer(folder, {"F1": {"dismiss_reason": "read twice, a warm day"}})])
    with book.open_book(folder) as connection:
        flags = connection.execute("SELECT row_key, settled_by, settled_reason FROM flags WHERE effect = 'flag_exclude'").fetchall()
    assert flags == [("F1", "AB", "read twice, a warm day")]
    # it holds when another value of the book is repaired, and when the sheet grows; not when the reading itself changes
    load(folder, [answer(folder, {"F2": {"corrected": "12.4"}})])
    assert run.held_items(folder).empty
    grown = VISITS + "V3,S1,2023-07-10,20:00,visual_encounter,60,13\n"
    load(folder, sheets(folder, sites=SITES, visits=grown, finds=FINDS.replace("12.6", "26").replace("12.4", "54")))
    assert run.held_items(folder).empty
    load(folder, sheets(folder, sites=SITES, visits=VISITS, finds=FINDS.replace("12.6", "27")), replace=True)
    assert run.held_items(folder)["text"].tolist() == ["27"]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"item": "held-99", "corrected": "12", "by": "AB"}, r"held.csv, line 2: held-99 is not open in this book"),
        ({"item": "", "corrected": "12", "by": "AB"}, r"line 2: an empty item is not open"),
        ({"corrected": "12"}, r"held.csv, line 2: nobody's name stands under by"),
        ({"corrected": "12", "dismiss_reason": "no", "by": "AB"}, r"held.csv, line 2: both corrected and dismiss_reason are filled in"),
    ],
)
def test_a_list_that_is_filled_in_wrongly_changes_nothing(folder: Path, change: dict[str, str], message: str) -> None:
    load(folder, sheets(folder, sites=SITES, visits=VISITS, finds=BAD_FINDS))
    path = answer(folder, {})
    frame = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    frame.loc[0, list(change)] = list(change.values())
    frame.to_csv(path, index=False)
    before = state(folder)
    with pytest.raises(RillbookError, match=message):
        load(folder, [path])
    assert state(folder) == before


def test_one_item_on_two_lines_is_refused(folder: Path) -> None:
    load(folder, sheets(folder, sites=SITES, visits=VISITS, finds=BAD_FINDS))
    path = answer(folder, {"F1": {"corrected": "12.9"}})
    path.write_text(path.read_text() + path.read_text().splitlines()[1].replace("12.9", "13") + "\n")
    with pytest.raises(RillbookError, match=r"line 3: held-1 has two answers"):
        load(folder, [path])


def test_a_list_is_loaded_alone_and_checked_without_writing(folder: Path) -> None:
    load(folder, sheets(folder, sites=SITES, visits=VISITS, finds=BAD_FINDS))
    path = answer(folder, {"F1": {"corrected": "12.9"}})
    with pytest.raises(RillbookError, match=r"loaded alone"):
        load(folder, [path, *sheets(folder, sites=SITES)])
    before = state(folder)
    assert run.check_files(folder, [path], today=TODAY).account.rows["accepted"] == 1
    assert state(folder) == before


def test_a_list_saved_by_a_spreadsheet_with_semicolons_and_a_mark(folder: Path) -> None:
    load(folder, sheets(folder, sites=SITES, visits=VISITS, finds=BAD_FINDS))
    path = answer(folder, {"F1": {"corrected": "12,9"}})
    frame = pd.read_csv(path, dtype=str, keep_default_na=False)
    path.write_bytes(b"\xef\xbb\xbf" + frame.to_csv(index=False, sep=";", lineterminator="\r\n").encode())
    assert load(folder, [path]).exit_code == 0
    assert now(folder, "finds")["water_temp_c"].tolist() == [12.9, 12.4]


def test_text_that_a_spreadsheet_would_run_is_made_harmless_and_comes_back_whole(folder: Path) -> None:
    head = "find_id,visit_id,taxon,life_stage,count,microhabitat,substrate_temp_c"
    load(
        folder,
        sheets(
            folder,
            sites=SITES,
            visits=VISITS,
            finds=f'{head}\n=1+1,V1,"=HYPERLINK(""x"")",adult,1,rock_in_flow,\nF2,V1,@SUM(A1),adult,1,rock_in_flow,-0.8\n',
        ),
    )
    path = answer(folder, {})
    with path.open(encoding="utf-8-sig", newline="") as lines:
        rows = list(csv.DictReader(lines))
    assert [row["text"] for row in rows] == ['\'=HYPERLINK("x")', "-0.8", "'@SUM(A1)"]
    assert rows[0]["row"] == "'=1+1"
    assert not any(cell.startswith(("=", "@", "+")) for row in rows for cell in row.values())
    rows[0].update(corrected="GPOR", by="'=AB")
    with path.open("w", encoding="utf-8", newline="") as lines:
        writer = csv.DictWriter(lines, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    assert load(folder, [path]).exit_code == 0
    assert ids(folder)["finds"] == ["=1+1"]
    assert state(folder)["corrections"][0][-1] == "=AB"


def test_a_visit_whose_finds_are_all_held_is_incomplete(folder: Path) -> None:
    finds = FINDS.replace("GPOR", "NOPE") + "F3,V2,GPOR,adult,1,rock_in_flow,13,stray\n"
    load(folder, sheets(folder, sites=SITES, visits=VISITS + "V3,S1,2023-07-10,20:00,visual_encounter,60,13\n", finds=finds))
    assert now(folder, "visits").set_index("visit_id")["incomplete"].to_dict() == {"V1": True, "V2": True, "V3": False}
    assert run.status(folder)["visits_without_finds"] == 1 and run.status(folder)["visits_incomplete"] == 2
    load(folder, [answer(folder, {"F1": {"corrected": "GPOR"}})])
    assert now(folder, "visits").set_index("visit_id")["incomplete"].to_dict() == {"V1": False, "V2": True, "V3": False}


def test_a_row_that_is_too_long_waits_until_it_is_dismissed(folder: Path) -> None:
    load(folder, sheets(folder, sites=SITES, visits=VISITS, finds=FINDS + "F3,V2,GPOR,adult,1,rock_in_flow,13,stray\n"))
    items = run.held_items(folder)
    assert items[["rule", "line", "text"]].to_numpy().tolist() == [
        ["row_too_long", 4, "F3 | V2 | GPOR | adult | 1 | rock_in_flow | 13 | stray"]
    ]
    with pytest.raises(RillbookError, match="could not be cut into cells"):
        load(folder, [answer(folder, {"F3": {"corrected": "accept"}})])
    load(folder, [answer(folder, {"F3": {"dismiss_reason": "mended in the sheet"}})])
    assert run.held_items(folder).empty


def test_the_list_is_brought_up_to_date_and_not_written_over(folder: Path) -> None:
    load(folder, sheets(folder, sites=SITES, visits=VISITS, finds=FINDS + "F3,V2,newt,adult,1,rock_in_flow,13\n"))
    path = answer(folder, {"F3": {"corrected": "GPOR"}})
    assert run.write_held(folder, path) == (1, 1)
    load(folder, [path])
    assert run.held_items(folder).empty


def test_every_source_row_is_kept_as_text(folder: Path) -> None:
    load(folder, sheets(folder, sites=SITES, visits=VISITS, finds=FINDS + "F3,V2,GPOR, adult ,1,rock_in_flow,13,stray\n"))
    with book.open_book(folder) as connection:
        rows = connection.execute("SELECT cells, fate, line FROM source_rows WHERE source = 2 ORDER BY source_row").fetchall()
    assert rows[-1] == ('["F3", "V2", "GPOR", " adult ", "1", "rock_in_flow", "13", "stray"]', "held", 4)
    assert [row[1] for row in rows] == ["accepted", "accepted", "held"]


def child(code: str, folder: Path, **words: object) -> subprocess.Popen[str]:
    script = textwrap.dedent(code).format(folder=str(folder), **words)
    return subprocess.Popen([sys.executable, "-c", script], cwd=ROOT, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE)


KILLED = """
    import sys, time
    from pathlib import Path
    from datetime import date
    from pipeline.book import store as book
    from pipeline.commands import run
    insert = book._insert
    def slow(connection, name, frame, load_id):
        insert(connection, name, frame, load_id)
        if name == "{after}":
            print("half-way", flush=True)
            time.sleep(60)
    book._insert = slow
    run.load_files(Path({folder!r}), [Path(one) for one in {paths!r}], today=date(2026, 1, 1))
"""


@pytest.mark.parametrize("first", [True, False])
@pytest.mark.parametrize("after", ["finds_all", "flags_all"])
def test_a_kill_half_way_leaves_the_book_as_it_was(folder: Path, first: bool, after: str) -> None:
    if not first:
        load(folder)
    before = state(folder)
    finds = FINDS.replace("F1", "F7").replace("F2", "F8").replace("V1", "V3") + "F9,V3,GPOR,adult,1,rock_in_flow,26\n"
    paths = sheets(
        folder, sites=SITES, visits_more=VISITS.splitlines()[0] + "\nV3,S1,2023-07-10,20:00,visual_encounter,60,13\n", finds_more=finds
    )
    victim = child(KILLED, folder, paths=[str(path) for path in paths], after=after)
    assert victim.stdout is not None and victim.stdout.readline() == "half-way\n"
    victim.send_signal(signal.SIGKILL)
    assert victim.wait(timeout=30) == -signal.SIGKILL
    assert state(folder) == before
    assert load(folder, paths).load_id == (1 if first else 2)
    assert {"F7", "F8", "F9"} <= set(ids(folder)["finds"])


HOLDS = """
    import duckdb, time
    connection = duckdb.connect({folder!r} + "/rillbook.duckdb")
    print("open", flush=True)
    time.sleep(60)
"""


def test_a_book_that_is_open_elsewhere_says_so(folder: Path) -> None:
    load(folder)
    other = child(HOLDS, folder)
    try:
        assert other.stdout is not None and other.stdout.readline() == "open\n"
        for command in (["status"], ["load", str(folder.parent / "finds.csv")], ["held"]):
            done = subprocess.run(
                [sys.executable, "-m", "pipeline", *command, "--book", str(folder)], cwd=ROOT, capture_output=True, text=True
            )
            assert done.returncode == 2 and done.stdout == ""
            assert (
                done.stderr
                == f"rillbook: {folder / 'rillbook.duckdb'}: the book is open in another program. Close it there and try again.\n"
            )
    finally:
        other.kill()
        other.wait()


def test_a_file_that_is_no_database_is_named_and_left_alone(folder: Path) -> None:
    (folder / "rillbook.duckdb").write_text("not a database, but a letter " * 1000)
    before = (folder / "rillbook.duckdb").read_bytes()
    for action in (lambda: run.status(folder), lambda: load(folder)):
        with pytest.raises(RillbookError, match=r"not a database of rillbook, or it is damaged. Restore it from a copy"):
            action()
    assert (folder / "rillbook.duckdb").read_bytes() == before


FULL = """
    import resource, signal
    from pathlib import Path
    from datetime import date
    from pipeline.commands import run
    from pipeline.errors import RillbookError
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, ({size}, {size}))
    try:
        run.load_files(Path({folder!r}), [Path(one) for one in {paths!r}], today=date(2026, 1, 1))
    except RillbookError as problem:
        print(problem)
"""


def test_a_full_disk_leaves_the_book_as_it_was(folder: Path) -> None:
    """A limit on the size of files stands for the full disk: every write past it fails, as there."""
    load(folder)
    before, size = state(folder), (folder / "rillbook.duckdb").stat().st_size
    many = "".join(f"X{number},V3,GPOR,adult,1,rock_in_flow,13\n" for number in range(20000))
    paths = sheets(folder, visits_more=VISITS.replace("V1", "V3").replace("V2", "V4"), finds_more=FINDS.splitlines()[0] + "\n" + many)
    victim = child(FULL, folder, paths=[str(path) for path in paths], size=size + 4096)
    out, err = victim.communicate(timeout=60)
    assert "the book could not be written" in out and "Nothing was changed" in out and "Is the disk full?" in out, (out, err)
    assert state(folder) == before
    assert load(folder, paths).exit_code == 0


def test_a_database_that_cannot_be_opened(folder: Path) -> None:
    (folder / "rillbook.duckdb").mkdir()
    with pytest.raises(RillbookError, match=r"cannot be opened.*rights of the folder"):
        load(folder)


def test_a_folder_that_cannot_be_written(folder: Path) -> None:
    load(folder)
    folder.chmod(0o500)
    (folder / "rillbook.duckdb").chmod(0o400)
    if os.access(folder, os.W_OK):
        pytest.skip("this user may write everywhere")
    with pytest.raises(RillbookError, match=r"cannot be opened.*rights of the folder"):
        load(folder, sheets(folder, more=FINDS))
    assert ids(folder)["finds"] == ["F1", "F2"]


def test_reading_a_new_book_leaves_no_file_behind(folder: Path) -> None:
    assert run.held_items(folder).empty
    assert run.status(folder)["loads"] == []
    run.check_files(folder, sheets(folder, sites=SITES), today=TODAY)
    assert [path.name for path in folder.iterdir()] == ["rillbook.toml"]


def test_a_reader_sees_nothing_of_a_load_that_is_under_way(folder: Path) -> None:
    """DuckDB lets one process write or several read: a reader meets the lock, and the load goes on."""
    paths = sheets(folder, sites=SITES, visits=VISITS, finds=FINDS)
    slow = child(KILLED.replace("time.sleep(60)", "time.sleep(3)"), folder, paths=[str(path) for path in paths], after="finds_all")
    assert slow.stdout is not None and slow.stdout.readline() == "half-way\n"
    started = time.monotonic()
    with pytest.raises(RillbookError, match="open in another program"):
        run.status(folder)
    assert time.monotonic() - started < 2
    assert slow.wait(timeout=30) == 0
    assert ids(folder)["finds"] == ["F1", "F2"]


def test_only_text_gets_an_apostrophe() -> None:
    """The signs are those that spreadsheet programs take for the start of a formula: common practice, no source."""
    frame = pd.DataFrame({"number": [-0.8, 1.0], "text": ["-0.8", "-1+2"], "name": ["@a", "a=b"]})
    safe = held_list.for_spreadsheet(frame)
    assert safe["number"].tolist() == [-0.8, 1.0]
    assert safe["text"].tolist() == ["-0.8", "'-1+2"] and safe["name"].tolist() == ["'@a", "a=b"]
    assert safe["name"].map(held_list.from_spreadsheet).tolist() == ["@a", "a=b"]
    assert held_list.from_spreadsheet("'quoted'") == "'quoted'"
