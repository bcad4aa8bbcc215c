"""The gate of everything public: what is narrowed down stops it, a named person may let it through, and it is remembered."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from publishing.test_joint import book

from pipeline.book.connection import open_book
from pipeline.book.current import known_rows
from pipeline.errors import RillbookError
from pipeline.publishing.memory import MEMORY, read_memory
from pipeline.publishing.public_book import _says as says
from pipeline.publishing.public_book import open_to_all, public_book, withheld_sites
from pipeline.settings import read_settings

SITES = "A,stream,36.2143,-81.9378,WGS84\nB,stream,36.35,-81.7,WGS84"


def finer(folder: Path) -> None:
    """What somebody does who wants a site shown finer: takes its line out of the file and states a finer class."""
    kept = json.loads((folder / MEMORY).read_text(encoding="utf-8"))
    del kept["sites"]["A"]
    (folder / MEMORY).write_text(json.dumps(kept), encoding="utf-8")
    path = folder / "rillbook.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('"0.1"', '"0.01"'), encoding="utf-8")


def test_a_site_that_all_publications_together_would_narrow_down_stops_the_next_one(tmp_path: Path) -> None:
    folder = book(tmp_path / "b", "0.1", SITES)
    open_to_all(folder, read_settings(folder), public_book(folder, read_settings(folder)))
    before = (folder / MEMORY).read_text(encoding="utf-8")
    open_to_all(folder, read_settings(folder), public_book(folder, read_settings(folder)))
    assert (folder / MEMORY).read_text(encoding="utf-8") == before
    finer(folder)
    settings = read_settings(folder)
    with pytest.raises(RillbookError, match=r"more exactly where A lies: nothing was written.*--anyway"):
        open_to_all(folder, settings, public_book(folder, settings))
    open_to_all(folder, settings, public_book(folder, settings), ("AB", "the owner agreed"))
    memory = read_memory(folder)
    assert [(one["by"], one["reason"], one["sites"]) for one in memory.allowed] == [("AB", "the owner agreed", "A")]
    assert memory.sites["A"].step == "0.01" and memory.sites["B"].step == "0.1"
    # what was let through once needs no second word
    open_to_all(folder, settings, public_book(folder, settings))


def test_withheld_sites_are_those_that_nobody_may_see(tmp_path: Path) -> None:
    folder = book(tmp_path / "b", "withheld", SITES)
    settings = read_settings(folder)
    with open_book(folder) as connection:
        known = known_rows(connection)
    assert withheld_sites(folder, settings, known)[0] == frozenset()
    hidden = {**known, "sites": known["sites"].assign(public_precision_deg=["withheld", None])}
    assert withheld_sites(folder, settings, hidden)[0] == {"A"}


NAMES = ("Fork (upper)", "x|y", "Ann", "Mill Creek", "ß-Bach")


@pytest.mark.parametrize("text", ["At mill CREEK", "Anne", "Hanna, Ann.", "fork (UPPER)", "x", "x|y.", "Mill", "", "SS-Bach", "ß-bach"])
def test_all_names_asked_at_once_are_found_as_each_by_itself(text: str) -> None:
    """Else a name could stand in a title that everybody reads."""
    said = [name for name in NAMES if says(text, name)]
    assert says(text, *NAMES) == bool(said)
    assert bool(said) == (text not in ("Anne", "x", "Mill", "", "SS-Bach"))
    assert not says(text)
