"""What is held back is repaired, dismissed and settled without loss."""

from __future__ import annotations

import csv
from pathlib import Path

import pandas as pd
import pytest
from small_sheets import BAD_FINDS, FINDS, SITES, TODAY, VISITS, answer, ids, load, now, sheets, state

from pipeline.book.connection import open_book
from pipeline.commands import run
from pipeline.errors import RillbookError


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
    with open_book(folder) as connection:
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
