"""Files that arrive: half-written, renamed, grown, unreadable; each reading is stored once, also after a restart."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest

from pipeline.book.connection import open_book
from pipeline.commands import run
from pipeline.commands.tanks import watch as watching
from pipeline.errors import RillbookError

TOML = """
[book]
title = "Invented"
time_zone = "America/New_York"
[[taxon]]
code = "DMON"
scientific_name = "Desmognathus monticola"
group = "cool_stream"
"""
HEAD = '"Date Time, GMT+00:00","Temp, °C"\n'


def lines(first: int, last: int) -> str:
    return "".join(f"2025-07-01 {minute // 60:02d}:{minute % 60:02d}:00,{12 + minute % 7 / 10}\n" for minute in range(first, last, 10))


@pytest.fixture
def book(tmp_path: Path) -> Path:
    folder = tmp_path / "book"
    folder.mkdir()
    (folder / "rillbook.toml").write_text(TOML)
    (folder / "enclosures.csv").write_text("enclosure_id,taxon,life_stage,medium\nT1,DMON,larva,water\n")
    (folder / "loggers.csv").write_text("logger_id,enclosure_id,medium\nL1,T1,water\n")
    run.load_files(folder, [folder / "enclosures.csv", folder / "loggers.csv"])
    (tmp_path / "in").mkdir()
    return folder


class Watch:
    """A watch that is looked through by hand."""

    def __init__(self, book: Path) -> None:
        self.book, self.seen, self.done = book, dict[Path, Any](), dict[Path, Any]()

    def look(self) -> list[watching.Arrival]:
        return watching.look(self.book, self.book.parent / "in", None, self.seen, self.done)


def stored(book: Path) -> int:
    with open_book(book) as connection:
        return int(connection.execute("SELECT count(*) FROM logger_readings").fetchall()[0][0])


def test_a_file_is_taken_in_once_it_rests_and_never_twice(book: Path) -> None:
    path = book.parent / "in" / "L1.csv"
    path.write_text(HEAD + lines(0, 100))
    watch = Watch(book)
    assert watch.look() == [], "it may be half-written"
    path.write_text(HEAD + lines(0, 200))
    assert watch.look() == [], "it grew"
    assert [one.stored for one in watch.look()] == [20]
    assert watch.look() == [] and stored(book) == 20


def test_a_file_that_grows_brings_what_is_new(book: Path) -> None:
    path = book.parent / "in" / "L1.csv"
    path.write_text(HEAD + lines(0, 200))
    watch = Watch(book)
    watch.look(), watch.look()
    path.write_text(HEAD + lines(0, 300))
    watch.look()
    assert [one.stored for one in watch.look()] == [10] and stored(book) == 30


def test_a_restart_and_a_new_name_bring_nothing_twice(book: Path) -> None:
    folder = book.parent / "in"
    (folder / "L1.csv").write_text(HEAD + lines(0, 200))
    watch = Watch(book)
    watch.look(), watch.look()
    again = Watch(book)
    again.look()
    assert [one.stored for one in again.look()] == [0] and stored(book) == 20
    (folder / "old").mkdir()
    os.rename(folder / "L1.csv", folder / "old" / "L1.csv")
    os.rename(folder / "old" / "L1.csv", folder / "L1.csv")
    assert watch.look() == [] and stored(book) == 20


@pytest.mark.parametrize("name", ["L1 until july.csv", "backup.csv"])
def test_a_file_renamed_for_good_is_told_once_and_its_readings_are_stored_once(book: Path, name: str) -> None:
    folder = book.parent / "in"
    (folder / "L1.csv").write_text(HEAD + lines(0, 200))
    watch = Watch(book)
    watch.look(), watch.look()
    os.rename(folder / "L1.csv", folder / name)
    told = [arrival for _ in range(4) for arrival in watch.look()]
    assert [(one.file, one.stored, one.words) for one in told] == [(name, 0, "taken in before: nothing new")]
    assert stored(book) == 20


def test_a_file_that_was_renamed_and_has_grown_brings_what_is_new_once(book: Path) -> None:
    folder, titled = book.parent / "in", '"Plot Title: L1"\n' + HEAD
    (folder / "L1.csv").write_text(titled + lines(0, 200))
    watch = Watch(book)
    watch.look(), watch.look()
    (folder / "L1.csv").unlink()
    (folder / "until july.csv").write_text(titled + lines(0, 300))
    # which logger this one is nobody can tell: said once, never guessed
    (folder / "nameless.csv").write_text(HEAD + lines(0, 400))
    told = {arrival.file: arrival for _ in range(4) for arrival in watch.look()}
    assert told["until july.csv"].stored == 10 and stored(book) == 30, told
    assert told["nameless.csv"].stored == 0 and "which logger is this?" in told["nameless.csv"].words and watch.look() == []


def test_a_clock_that_was_set_back_brings_nothing_twice(book: Path) -> None:
    path = book.parent / "in" / "L1.csv"
    path.write_text(HEAD + lines(0, 200))
    watch = Watch(book)
    watch.look(), watch.look()
    os.utime(path, (1_000_000_000, 1_000_000_000))
    watch.look()
    assert [one.stored for one in watch.look()] == [0] and stored(book) == 20


def test_a_file_that_ends_in_the_middle_of_a_row_stops_nothing(book: Path) -> None:
    path = book.parent / "in" / "L1.csv"
    path.write_text(HEAD + lines(0, 200) + "2025-07-01 03:2")
    watch = Watch(book)
    watch.look()
    (first,) = watch.look()
    path.write_text(HEAD + lines(0, 300))
    watch.look()
    (second,) = watch.look()
    assert first.stored + second.stored == 30 and stored(book) == 30


def test_a_full_disk_is_told_and_tried_again(book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (book.parent / "in" / "L1.csv").write_text(HEAD + lines(0, 200))
    watch = Watch(book)
    watch.look()

    def full(*args: Any, **words: Any) -> None:
        raise RillbookError("the book could not be written (no space). Nothing was changed.", "Is the disk full?")

    with monkeypatch.context() as broken:
        broken.setattr(watching, "load_files", full)
        (told,) = watch.look()
        assert "tried again later" in told.words and told.stored == 0
    assert [one.stored for one in watch.look()] == [20] and stored(book) == 20


def test_what_is_no_export_is_left_alone(book: Path) -> None:
    (book.parent / "in" / "notes.txt").write_text("fed the animals\n")
    watch = Watch(book)
    watch.look()
    assert "left alone" in watch.look()[0].words and watch.look() == []


def test_a_file_without_a_reading_is_told(book: Path) -> None:
    (book.parent / "in" / "L1.csv").write_text('Date Time, GMT+00:00,"Temp, °C"\n' + lines(0, 200))
    watch = Watch(book)
    watch.look()
    assert "no reading was found" in watch.look()[0].words and stored(book) == 0


def test_an_unknown_logger_is_told_and_the_others_go_on(book: Path) -> None:
    for name in ("L1.csv", "L9.csv"):
        (book.parent / "in" / name).write_text(HEAD + lines(0, 200))
    watch = Watch(book)
    watch.look()
    assert sorted(one.stored for one in watch.look()) == [0, 20] and watch.look() == []
