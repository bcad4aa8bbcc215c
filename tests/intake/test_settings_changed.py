"""rillbook.toml changed under a book with rows: the book is then as if its sheets had been loaded under the new settings, or as it was."""

from __future__ import annotations

import logging
from pathlib import Path
from typing import Any

import pytest
from small_sheets import CASES, TODAY, load, sheets

from pipeline.book.connection import FILE_NAME, open_book
from pipeline.book.standards import read_under, standards_of
from pipeline.commands import run
from pipeline.errors import RillbookError
from pipeline.intake.settings_changed import settled

TOML = (CASES / "base" / "rillbook.toml").read_text()
SITES = "site_id,habitat,latitude,longitude\nS1,stream,36.2,-81.9\nS2,stream,-75.5,40.1\n"
VISITS = (
    "visit_id,site_id,visit_date,start_time,end_time,protocol,search_minutes,water_temp_c,target_taxa,all_counted\n"
    "V1,S1,2023-06-10,20:00,23:59,visual_encounter,60,12.5,GPOR|ETEN,true\n"
    "V2,S1,2023-11-05,01:30,,visual_encounter,60,26,GPOR,true\n"
    "V3,S1,2023-03-26,01:30,,visual_encounter,60,9,GPOR,true\n"
)
FINDS = (
    "find_id,visit_id,taxon,life_stage,count,microhabitat,water_temp_c,gills,found_at\n"
    "F1,V1,GPOR,adult,1,rock_in_flow,12.6,full,00:30\nF2,V1,Spring Sal,larva,1,rock_in_flow,12.4,,20:30\n"
    "F3,V1,eten,adult,1,rock_in_flow,25.5,full,\n"
)
LOG = "event_id,enclosure_id,event_date,event_time,event\nH1,E1,2023-07-01,09:00,fed\n"
HOME = "enclosure_id,taxon,life_stage,volume_l\nE1,Spring sal,larva,40\n"
TESTS = "test_id,enclosure_id,tested_on,tested_at,ph\nT1,E1,2023-07-01,08:00,7\n"
DENVER = ("America/New_York", "America/Denver")


def written(folder: Path, *changes: tuple[str, str]) -> Path:
    """The settings with texts changed."""
    text = TOML
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (folder / "rillbook.toml").write_text(text)
    return folder


def full(folder: Path) -> Path:
    load(folder, sheets(folder, sites=SITES, visits=VISITS, finds=FINDS, enclosures=HOME, husbandry_events=LOG, water_tests=TESTS))
    return folder


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    run.init(tmp_path / "b", TOML)
    return full(tmp_path / "b")


def content(folder: Path) -> dict[str, list[tuple[Any, ...]]]:
    """What stands in the book, without numbers of marks."""
    names = ("sites", "visits", "finds", "enclosures", "water_tests", "husbandry_events")
    with open_book(folder) as connection:
        found = {name: connection.execute(f"SELECT * FROM {name} ORDER BY ALL").fetchall() for name in names}
        for name in ("flags", "conversions"):
            found[name] = connection.execute(
                f"SELECT * EXCLUDE ({'flag_id, item' if name == 'flags' else 'how'}) FROM {name} ORDER BY ALL"
            ).fetchall()
    return found


@pytest.mark.parametrize(
    "changes",
    [
        # clocks change there on 26 March and 29 October 2023: IANA time zones, Europe/Berlin
        [("America/New_York", "Europe/Berlin")],
        [('"spring sal"]', '"GP"]'), ("paedomorphic = true", 'aliases = ["spring sal"]')],
        [DENVER, ("[36.2, -81.9, 25]", "[36.9, -81.9, 25]"), ("paedomorphic = true", ""), ('group = "cool_stream"', 'group = "woodland"')],
    ],
    ids=["clock_changes", "alias", "all"],
)
def test_the_book_is_as_if_loaded_under_the_new_settings(folder: Path, tmp_path: Path, changes: list[tuple[str, str]]) -> None:
    before = content(folder)
    assert settled(written(folder, *changes)).title == "Cases"
    run.init(tmp_path / "fresh", (folder / "rillbook.toml").read_text())
    expected, found = content(full(tmp_path / "fresh")), content(folder)
    assert found != before
    assert found == expected
    settled(written(folder))
    assert content(folder) == before, "and back"


def test_it_is_said_once_with_a_copy_beside_the_book(folder: Path, caplog: pytest.LogCaptureFixture) -> None:
    before = (folder / FILE_NAME).read_bytes()
    with caplog.at_level(logging.WARNING):
        run.check_files(written(folder, DENVER), sheets(folder, sites=SITES), today=TODAY)
        run.held_items(folder)
    copied, said = caplog.messages
    copy = folder / "rillbook_under_other_settings.duckdb"
    assert str(copy) in copied and copy.read_bytes() == before
    assert said == (
        "rillbook.toml was changed since the book was read (time_zone was America/New_York, is America/Denver): "
        "3 visits and 1 water tests and 1 husbandry events and 2 finds got new instants."
    )


def test_what_no_row_rests_on_is_taken_over_in_silence(folder: Path, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.WARNING):
        settled(written(folder, ("paedomorphic = true", 'paedomorphic = true\naliases = ["Oklahoma salamander"]')))
    assert not caplog.messages and len([*folder.glob("*.duckdb")]) == 1
    with open_book(folder) as connection:
        assert read_under(connection) == standards_of(settled(folder))


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ([('code = "ETEN"', 'code = "EBIS"')], "no longer knows ETEN, written 'eten', and the book holds 1 finds of it, the first F3"),
        ([(', "spring sal"', "")], "no longer knows GPOR, written 'Spring Sal', and the book holds 1 finds of it, the first F2"),
    ],
)
def test_a_taxon_that_rows_need_is_missed_and_nothing_changes(folder: Path, changes: list[tuple[str, str]], said: str) -> None:
    before = (folder / FILE_NAME).read_bytes()
    written(folder, *changes)
    for action in (
        lambda: load(folder, sheets(folder, more="site_id,habitat\nS9,stream\n")),
        lambda: run.derive_targets(folder),
        lambda: run.publish(folder, today=TODAY),
        lambda: run.write_maps(folder),
    ):
        with pytest.raises(RillbookError, match=said):
            action()
    assert (folder / FILE_NAME).read_bytes() == before
    assert run.status(folder)["tables"]["finds"] == 3, "what shows the way out goes on"
    run.undo(folder, 1)
    load(folder)
    assert run.status(folder)["tables"]["finds"] == 2


def test_a_change_during_a_load_stores_nothing(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from pipeline.checking import check

    asked = check.check

    def meanwhile(*words: Any) -> Any:
        written(folder, DENVER)
        return asked(*words)

    monkeypatch.setattr(check, "check", meanwhile)
    more = sheets(folder, more="site_id,habitat\nS9,stream\n")
    settled(folder)
    loaded = load(folder, more)
    assert loaded.load_id == 2, "the book still stands under what the load was checked with"
    monkeypatch.undo()
    settled(folder)
    monkeypatch.setattr(check, "check", lambda *words: (settled(written(folder)), asked(*words))[1])
    with pytest.raises(RillbookError, match=r"rillbook\.toml was changed while this was read\. Nothing was stored"):
        load(folder, sheets(folder, other="site_id,habitat\nS8,stream\n"))
    assert len(run.status(folder)["loads"]) == 2


def test_finds_placed_by_the_time_of_a_waypoint_are_not_moved_in_silence(folder: Path) -> None:
    gpx = folder.parent / "walk.gpx"
    gpx.write_text(
        '<?xml version="1.0"?><gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
        '<wpt lat="36.201" lon="-81.901"><time>2023-06-11T00:30:00Z</time><name>w</name></wpt></gpx>'
    )
    run.undo(folder, 1)
    paths = sheets(folder, sites=SITES, visits=VISITS, finds=FINDS)
    run.load_files(folder, [*paths, gpx], today=TODAY)
    with pytest.raises(RillbookError, match=r"1 finds of load 2 got their places from waypoints of walk\.gpx by their time"):
        settled(written(folder, DENVER))
    run.undo(folder, 2)
    assert settled(folder).time_zone == "America/Denver"


def test_a_book_that_does_not_say_what_it_was_read_under_is_looked_through(folder: Path, caplog: pytest.LogCaptureFixture) -> None:
    def forget() -> None:
        with open_book(folder, write=True) as connection:
            connection.execute("DELETE FROM book_facts WHERE name = 'read_under'")

    before = content(folder)
    forget()
    with caplog.at_level(logging.WARNING):
        settled(folder)
        assert content(folder) == before and not caplog.messages
        forget()
        settled(written(folder, DENVER))
    assert "the book does not say when; time_zone is America/Denver" in caplog.messages[-1]


def test_what_was_held_for_an_unknown_taxon_can_be_loaded_again(folder: Path, caplog: pytest.LogCaptureFixture) -> None:
    more = sheets(folder, late=FINDS.replace("F1,V1,GPOR", "F9,V2,DMON").splitlines()[0] + "\nF9,V2,DMON,adult,1,rock_in_flow,12,,\n")
    assert load(folder, more).exit_code == 1
    new = '[[taxon]]\ncode = "DMON"\nscientific_name = "Desmognathus monticola"\ngroup = "cool_stream"\n'
    with caplog.at_level(logging.WARNING):
        settled(written(folder, ("[[area]]", f"{new}\n[[area]]")))
    assert caplog.messages == ["1 items that were held back name a taxon that is known now: load late.csv again."]
    assert load(folder, more).exit_code == 0
