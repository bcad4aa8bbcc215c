"""Loads: idempotent, append-only, and undone without loss."""

from __future__ import annotations

from pathlib import Path

import pytest
from small_sheets import FINDS, SITES, VISITS, ids, load, sheets, state

from pipeline.book.connection import open_book
from pipeline.commands import run
from pipeline.errors import RillbookError


def test_loading_twice_changes_nothing(folder: Path) -> None:
    assert load(folder).load_id == 1
    before = state(folder)
    again = load(folder)
    assert again.load_id is None and again.exit_code == 0
    assert "loaded before, as load 1" in again.notes[-1]
    assert state(folder) == before


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


def test_every_source_row_is_kept_as_text(folder: Path) -> None:
    load(folder, sheets(folder, sites=SITES, visits=VISITS, finds=FINDS + "F3,V2,GPOR, adult ,1,rock_in_flow,13,stray\n"))
    with open_book(folder) as connection:
        rows = connection.execute("SELECT cells, fate, line FROM source_rows WHERE source = 2 ORDER BY source_row").fetchall()
    assert rows[-1] == ('["F3", "V2", "GPOR", " adult ", "1", "rock_in_flow", "13", "stray"]', "held", 4)
    assert [row[1] for row in rows] == ["accepted", "accepted", "held"]
