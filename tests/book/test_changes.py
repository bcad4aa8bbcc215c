"""What a load would change is named before it does."""

from __future__ import annotations

from pathlib import Path

import pytest
from small_sheets import BAD_FINDS, FINDS, SITES, VISITS, answer, ids, load, now, sheets, state

from pipeline.book.changes import Changes
from pipeline.commands import run
from pipeline.errors import RillbookError


def test_the_same_rows_in_another_file_are_stored_once(folder: Path) -> None:
    load(folder)
    report = load(folder, sheets(folder, sites=SITES + "\n", visits=VISITS + "\n", finds=FINDS + "\n"))
    assert report.account.cells["stored"] == 0 and report.account.rows["repeat"] == 5
    assert ids(folder) == {"sites": ["S1"], "visits": ["V1", "V2"], "finds": ["F1", "F2"]}
    assert len(state(folder)["finds_all"]) == 2


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

    def show(changes: Changes) -> None:
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
    seen: list[Changes] = []
    report = load(folder, sheets(folder, sites=SITES, visits=VISITS, finds=FINDS.replace("F2", "F9")), corrects=1, show=seen.append)
    assert report.load_id == 2 and seen[0].vanished == ["find F2"]
    assert ids(folder)["finds"] == ["F1", "F9"]
    with pytest.raises(RillbookError, match=r"load 2 rests on load 1.*Undo load 2 first"):
        run.undo(folder, 1)
    with pytest.raises(RillbookError, match="no load 1 that still stands"):
        load(folder, sheets(folder, sites=SITES), corrects=1)
    run.undo(folder, 2)
    assert ids(folder)["finds"] == ["F1", "F2"]


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
