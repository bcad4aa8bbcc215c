"""Dates with clock times taken apart column by column, each distinct text once; equal to what `MOMENT` gives text by text."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from pipeline.loggers.columns import Column, Texts
from pipeline.loggers.text import CLOCK, DATE, DATES, MOMENT, clock_of, day_of, offset_us
from schemas.distinct import numbered

ONLY_DATE = re.compile(DATE, re.ASCII)
HEAD = re.compile(rf"({DATE})(?:T|[ ,]+)", re.ASCII)
TAIL = re.compile(rf"({CLOCK})\s*([AaPp]\.?[Mm]\.?)?\s*(Z|[+-]\d{{2}}:?\d{{2}})?", re.ASCII)
# Dates of one file differ in length where their days and months have no leading zero
CUTS = 8
# In place of a day or a clock time that is none
NOT_READ = int(np.iinfo("int64").min)


@dataclass(frozen=True)
class Moments:
    """Moments of a block in their pieces.

    Attributes
    ----------
    is_moment : ndarray of bool
        Rows whose text is a date with a clock time; where it is not, the pieces are empty texts.
    date, tail : Texts
        The date as written, and what follows it from the clock on.
    """

    is_moment: np.ndarray
    date: Texts
    tail: Texts

    def days(self, order: str, pivot_year: int | None) -> np.ndarray:
        """Days since 1970-01-01 of the dates read in one order; `NOT_READ` where they cannot be."""
        return self.days_by_code(order, pivot_year)[self.date.code]

    def days_by_code(self, order: str, pivot_year: int | None) -> np.ndarray:
        """The same of each distinct date."""
        return np.array([_day(text, order, pivot_year) for text in self.date.text], dtype="int64")

    def clocks(self) -> np.ndarray:
        """Microseconds since midnight; `NOT_READ` where the clock shows no such time."""
        return self.tail.each(_clock, "int64")

    def offsets(self) -> np.ndarray:
        """Offsets from UTC, µs; 0 where none is written."""
        return self.tail.each(_offset, "int64")


@dataclass
class _Pieces:
    """Texts that are gathered piece by piece; every other row is empty."""

    code: np.ndarray
    known: dict[str, int] = field(default_factory=lambda: {"": 0})

    def put(self, rows: np.ndarray, some: Texts, taken: np.ndarray, read: list[str]) -> None:
        """Set some rows to what was read from their texts."""
        self.code[rows] = numbered(read, self.known)[some.code[taken]]

    def put_one(self, row: int, text: str) -> None:
        """Set one row."""
        self.code[row] = self.known.setdefault(text, len(self.known))

    def texts(self) -> Texts:
        """All of them."""
        return Texts(self.code, list(self.known))


def moments_in(column: Column) -> Moments:
    """Take moments apart: cut where the clock begins in the first of them, then in the first that this does not fit, and so on."""
    dates, tails, is_moment = _start(len(column))
    todo = np.arange(len(column))
    for _ in range(CUTS):
        match, skipped = None, 0
        for row in todo.tolist():
            match = MOMENT.fullmatch(column.text(row))
            if match is not None:
                break
            skipped += 1
        todo = todo[skipped:]
        if match is None:
            break
        heads, rest = column.some(todo).parted(match.start(2))
        head, tail = heads.distinct(), rest.distinct()
        good = _take(todo, head, list(map(_date_before, head.text)), tail, dates, tails, is_moment)
        todo = todo[~good]
        if not len(todo):
            break
    _one_by_one(todo, [column.text(row) for row in todo.tolist()], dates, tails, is_moment)
    return Moments(is_moment, dates.texts(), tails.texts())


def moments_of_two(day: Column, clock: Column) -> Moments:
    """The same of dates and clock times in columns of their own."""
    dates, tails, is_moment = _start(len(day))
    todo = np.arange(len(day))
    head, tail = day.distinct(), clock.distinct()
    good = _take(todo, head, [text if ONLY_DATE.fullmatch(text) else "" for text in head.text], tail, dates, tails, is_moment)
    todo = todo[~good]
    _one_by_one(todo, [f"{day.text(row)} {clock.text(row)}".strip() for row in todo.tolist()], dates, tails, is_moment)
    return Moments(is_moment, dates.texts(), tails.texts())


def _start(n: int) -> tuple[_Pieces, _Pieces, np.ndarray]:
    return _Pieces(np.zeros(n, dtype="int64")), _Pieces(np.zeros(n, dtype="int64")), np.zeros(n, dtype=bool)


def _take(rows: np.ndarray, head: Texts, read: list[str], tail: Texts, dates: _Pieces, tails: _Pieces, is_moment: np.ndarray) -> np.ndarray:
    """Set the rows whose two pieces are a date and what may follow it; tell which of them are."""
    ends = [text if _pieces(text)[0] else "" for text in tail.text]
    good = np.array([bool(text) for text in read], dtype=bool)[head.code] & np.array([bool(text) for text in ends], dtype=bool)[tail.code]
    dates.put(rows[good], head, good, read)
    tails.put(rows[good], tail, good, ends)
    is_moment[rows[good]] = True
    return good


def _one_by_one(rows: np.ndarray, texts: list[str], dates: _Pieces, tails: _Pieces, is_moment: np.ndarray) -> None:
    for row, text in zip(rows, texts, strict=True):
        if match := MOMENT.fullmatch(text):
            dates.put_one(row, match[1])
            tails.put_one(row, text[match.start(2) :])
            is_moment[row] = True


@lru_cache(maxsize=DATES)
def _date_before(head: str) -> str:
    """Date in what stands before a clock time; empty where there is none."""
    match = HEAD.fullmatch(head)
    return match[1] if match else ""


@lru_cache(maxsize=100_000)
def _pieces(tail: str) -> tuple[str | None, str | None, str | None]:
    match = TAIL.fullmatch(tail)
    return (None, None, None) if match is None else (match[1], match[2], match[3])


@lru_cache(maxsize=DATES)
def _day(text: str, order: str, pivot_year: int | None) -> int:
    day = day_of(text, order, pivot_year) if text else None
    return NOT_READ if day is None else day


@lru_cache(maxsize=100_000)
def _clock(tail: str) -> int:
    clock = clock_in(tail)
    return NOT_READ if clock is None else clock


@lru_cache(maxsize=100_000)
def _offset(tail: str) -> int:
    return (offset_us(zone_of(tail)) or 0) if zone_of(tail) else 0


def clock_in(tail: str) -> int | None:
    """Microseconds since midnight in the tail of a moment, or None where its clock shows no such time."""
    clock, half, _ = _pieces(tail)
    return None if clock is None else clock_of(clock, half)


def half_of(tail: str) -> str:
    """AM or PM as written in the tail of a moment; empty for 24 hours."""
    return _pieces(tail)[1] or ""


def zone_of(tail: str) -> str:
    """Offset from UTC as written in the tail of a moment; empty without one."""
    return _pieces(tail)[2] or ""
