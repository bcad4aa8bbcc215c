"""Bytes of the book's file that are not as they were written: said, and nothing is written over them; never a wrong row."""

from __future__ import annotations

import os
import random
from pathlib import Path

import pytest
from small_sheets import SITES, load, sheets, state

from pipeline.book.connection import FILE_NAME
from pipeline.commands import run
from pipeline.errors import RillbookError

FLIPS = 400 if os.environ.get("RILLBOOK_FULL") else 12


def test_flipped_bytes_are_recognised_or_do_no_harm(folder: Path, tmp_path: Path) -> None:
    """Some pages of a database hold nothing that counts; a flip there is no damage. What is read is as it was, or is refused."""
    load(folder)
    path = folder / FILE_NAME
    whole, before = path.read_bytes(), state(folder)
    more = sheets(folder, more=SITES.replace("S1", "S9"))
    dice, refused = random.Random(1), 0
    places = [*range(0, 20480, 20480 // (FLIPS // 3)), *(dice.randrange(len(whole)) for _ in range(FLIPS // 2))]
    for place in places:
        raw = bytearray(whole)
        raw[place] ^= 1 << dice.randrange(8)
        path.write_bytes(raw)
        try:
            assert state(folder) == before, place
            run.load_files(folder, more)
            assert state(folder)["finds_all"] == before["finds_all"], place
        except RillbookError as problem:
            refused += 1
            assert "damaged" in str(problem) or "no book" in str(problem) or "version" in str(problem) or "opened" in str(problem), problem
            assert path.read_bytes() == raw, f"{place}: a damaged book was written to"
        for left in folder.glob("*.wal"):
            left.unlink()
    assert refused > 1


def test_a_damaged_page_is_told_with_what_can_be_read(folder: Path) -> None:
    load(folder)
    path = folder / FILE_NAME
    whole = path.read_bytes()
    more = sheets(folder, more=SITES.replace("S1", "S9"))
    said, left = set(), set()
    for block in range(12288, len(whole), 262144):
        raw = bytearray(whole)
        raw[block + 100 : block + 116] = b"\xaa" * 16
        path.write_bytes(raw)
        try:
            load(folder, more)
        except RillbookError as problem:
            said.add(str(problem).split(": ", 1)[1])
            assert path.read_bytes() == raw
            assert "Restore the latest backup" in str(problem)
            try:
                left.add(tuple(one["rows"] for one in run.export_sheets(folder)[1]))
            except RillbookError as other:
                assert "damaged" in str(other)
        path.write_bytes(whole)
    # each small table lies in a page of its own
    assert {one.split(". ")[2] for one in said if "24 of its 25 tables can be read; not " in one} >= {
        f"24 of its 25 tables can be read; not {name}" for name in ("loads", "sites_all", "source_rows")
    }, said
    assert {(1, 2, 2), (None, None, None)} <= left, left


def test_a_database_cut_short_is_no_book_any_more(folder: Path) -> None:
    load(folder)
    path = folder / FILE_NAME
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 3])
    with pytest.raises(RillbookError, match="damaged"):
        run.status(folder)
