"""Marks and places that rest on the settings: every such rule is judged again, and a place is held back or given back, never lost."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from small_sheets import CASES, FINDS, SITES, TODAY, VISITS, answer, load, sheets

from pipeline.book.connection import open_book
from pipeline.book.current import conform
from pipeline.book.resting import MARKS, PLACES
from pipeline.checking import check
from pipeline.checking.context import of_settings
from pipeline.commands import run
from pipeline.intake.settings_changed import settled
from pipeline.settings import parse_settings
from schemas.rules.rules import rules_of

TOML = (CASES / "base" / "rillbook.toml").read_text()
SWAPPED = "site_id,habitat,latitude,longitude\nS1,stream,36.2,-81.9\nS2,stream,-75.5,40.1\n"
THERE = ("[36.2, -81.9, 25]", "[40.1, -75.5, 25]")


def test_every_rule_that_asks_for_the_settings_is_known(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A rule that stumbles where the columns of the settings are missing asks for them."""
    seen: dict[str, pd.DataFrame] = {}
    asked = check.context_of

    def kept(sheet, *more):  # type: ignore[no-untyped-def]
        make = asked(sheet, *more)
        return lambda: seen.setdefault(sheet.table, make())

    monkeypatch.setattr(check, "context_of", kept)
    run.init(tmp_path / "b", TOML)
    home = "enclosure_id,taxon,life_stage\nE1,GPOR,adult\n"
    run.check_files(tmp_path / "b", sheets(tmp_path / "b", sites=SITES, visits=VISITS, finds=FINDS, enclosures=home), today=TODAY)
    settings, resting = parse_settings(TOML, "here"), set()
    for table in ("sites", "visits", "finds", "enclosures"):
        bare = conform(table, pd.DataFrame(index=pd.RangeIndex(0)))
        given = set(of_settings(table, bare, settings)) - set(bare) - {"medium"}
        assert given <= set(seen[table])
        for rule in rules_of(table):
            try:
                rule.mask(seen[table].drop(columns=list(given)))
            except (KeyError, AttributeError):
                resting.add(rule.id)
    of_taxa = {"taxon_unknown", "enclosure_taxon_unknown"}
    assert resting == {*PLACES, *of_taxa, *(rule for rules in MARKS.values() for rule in rules)}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    run.init(tmp_path / "b", TOML)
    load(tmp_path / "b", sheets(tmp_path / "b", sites=SWAPPED))
    return tmp_path / "b"


def places(folder: Path) -> list[tuple[object, ...]]:
    with open_book(folder) as connection:
        return connection.execute("SELECT site_id, latitude, longitude FROM sites ORDER BY ALL").fetchall()


def change(folder: Path, old: str, new: str) -> None:
    text = (folder / "rillbook.toml").read_text()
    assert old in text
    (folder / "rillbook.toml").write_text(text.replace(old, new))
    settled(folder)


def test_a_place_that_looks_swapped_under_the_new_area_is_held_back_and_comes_back(folder: Path) -> None:
    before = places(folder)
    change(folder, *THERE)
    assert places(folder) == [("S1", 36.2, -81.9), ("S2", None, None)]
    items = run.held_items(folder)
    assert items[["row", "field", "text", "rule"]].to_numpy().tolist() == [
        ["S2", "latitude", "-75.5", "coordinates_swapped"], ["S2", "longitude", "40.1", "coordinates_swapped"],
    ]  # fmt: skip
    change(folder, *reversed(THERE))
    assert places(folder) == before and run.held_items(folder).empty


def test_a_place_that_a_person_repaired_meanwhile_stays_repaired(folder: Path) -> None:
    change(folder, *THERE)
    path = answer(folder, {"S2.latitude": {"corrected": "40.1"}, "S2.longitude": {"corrected": "-75.5"}})
    assert run.load_files(folder, [path], today=TODAY).exit_code == 0
    change(folder, *reversed(THERE))
    assert places(folder)[1] == ("S2", 40.1, -75.5)
    run.undo(folder, 2)
    assert places(folder)[1] == ("S2", None, None) and len(run.held_items(folder)) == 2
