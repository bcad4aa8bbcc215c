"""Blocks of a logger's export: cut into columns at once, and read by distinct texts, which are few.

What is read so equals what :func:`rows_of` and the regular expression of a moment give row by row; a block that cannot be cut at once
(quote marks, ragged or blank rows, odd line ends) is cut by the reader of the standard library.
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import chain, islice, repeat
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.errors import RillbookError
from pipeline.loggers.text import CLOCK, DATE, MOMENT, clock_of, day_of, lines_of, offset_us

CHUNK = 20_000
# The reader of the standard library refuses a longer cell
LONGEST = 131_072
SPACE = re.compile(r"[^\S \n]")
# Signs below the space, and those that JSON writes in another way; to look for each one is far quicker than one regular expression
CONTROLS = tuple(map(chr, (*range(10), *range(11, 32))))
ESCAPED = (*CONTROLS, '"', "\\")
HEAD = re.compile(rf"({DATE})(?:T|[ ,]+)", re.ASCII)
TAIL = re.compile(rf"({CLOCK})\s*([AaPp]\.?[Mm]\.?)?\s*(Z|[+-]\d{{2}}:?\d{{2}})?", re.ASCII)
# Dates of one file differ in length where their days and months have no leading zero
CUTS = 8
# In place of a day or a clock time that is none
NOT_READ = np.iinfo("int64").min
AS_JSON = json.JSONEncoder(ensure_ascii=False).encode


@dataclass(frozen=True)
class Block:
    """Some rows of a file.

    Attributes
    ----------
    lines : ndarray of int
        Line at which each row begins, from 1.
    columns : tuple of list of str, or None
        Stripped cells by column where every row has the same number of them.
    rows : list of list of str, or None
        Stripped cells by row where it has not.
    as_json : callable
        Gives the cells of each row as JSON; the look at the dates has no need of them.
    """

    lines: np.ndarray
    columns: tuple[list[str], ...] | None
    rows: list[list[str]] | None
    as_json: Callable[[], list[str]]

    def column(self, place: int | None) -> list[str]:
        """Cells of a column; empty where the row or the column has none."""
        if self.rows is not None:
            return [row[place] if place is not None and place < len(row) else "" for row in self.rows]
        assert self.columns is not None
        return self.columns[place] if place is not None and place < len(self.columns) else [""] * len(self.lines)

    def texts_in(self, place: int | None) -> Texts:
        """Distinct texts of a column."""
        if self.columns is not None and (place is None or place >= len(self.columns)):
            return Texts(np.zeros(len(self.lines), dtype="int64"), [""])
        return distinct(self.column(place))

    def row(self, number: int) -> list[str]:
        """Cells of one row."""
        if self.rows is not None:
            return self.rows[number]
        assert self.columns is not None
        return [column[number] for column in self.columns]

    def moments(self, columns: dict[str, int]) -> list[str]:
        """Date and clock time of each row."""
        if "moment" in columns:
            return self.column(columns["moment"])
        pairs = zip(self.column(columns.get("date")), self.column(columns.get("clock")), strict=True)
        return [f"{day} {clock}".strip() for day, clock in pairs]


def blocks_of(path: Path, encoding: str, delimiter: str, chunk: int = CHUNK) -> Iterator[Block]:
    """Rows of a file, `chunk` at a time.

    Raises
    ------
    RillbookError
        A row cannot be cut into cells.
    """
    lines = lines_of(path, encoding)
    start = 1
    try:
        while some := list(islice(lines, chunk)):
            block = _cut_at_once(some, delimiter, start)
            if block is None:
                block, start = _cut_by_row(chain(some, lines), delimiter, start, chunk, path)
            else:
                start += len(some)
            yield block
    except UnicodeError:
        raise RillbookError("the file says it is UTF-16 text and is not.", "Export it again as UTF-8 text.", str(path)) from None


def _cut_at_once(lines: list[str], delimiter: str, start: int) -> Block | None:
    """The block where a line is a row, all have the same number of cells, and nothing is quoted."""
    width = lines[0].count(delimiter)
    text = "".join(lines).replace("\r\n", "\n").removesuffix("\n")
    if not width or '"' in text or "\r" in text or text.count("\n") != len(lines) - 1 or max(map(len, lines)) > LONGEST:
        return None
    if set(map(str.count, lines, repeat(delimiter))) != {width}:
        return None
    cells = text.replace("\n", delimiter).split(delimiter)
    columns = tuple(cells[place :: width + 1] for place in range(width + 1))
    if _is_stripped(text, delimiter):
        if not any(sign in text for sign in ESCAPED if sign != delimiter):
            return Block(np.arange(start, start + len(lines)), columns, None, lambda: _quoted(text, delimiter))
    else:
        columns = tuple([cell.strip() for cell in column] for column in columns)
    return Block(np.arange(start, start + len(lines)), columns, None, lambda: [AS_JSON(row) for row in zip(*columns, strict=True)])


def _quoted(text: str, delimiter: str) -> list[str]:
    """JSON of rows in which no sign needs another writing."""
    return ('["' + text.replace(delimiter, '", "').replace("\n", '"]\n["') + '"]').split("\n")


def _is_stripped(text: str, delimiter: str) -> bool:
    edges = (delimiter + " ", " " + delimiter, "\n ", " \n")
    if any(edge in text for edge in edges) or text.startswith(" ") or text.endswith(" "):
        return False
    if text.isascii() and not any(sign in text for sign in CONTROLS if sign != delimiter):
        return True
    return SPACE.search(text if delimiter != "\t" else text.replace("\t", "")) is None


def _cut_by_row(lines: Iterator[str], delimiter: str, start: int, chunk: int, path: Path) -> tuple[Block, int]:
    """The block, and the line after it."""
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
    base, numbers, rows = start, [], []
    try:
        for row in islice(reader, chunk):
            rows.append([cell.strip() for cell in row])
            numbers.append(start)
            start = base + reader.line_num
    except csv.Error as problem:
        remedy = "Look for a stray quote mark."
        raise RillbookError(f"the file cannot be cut into cells: {problem}.", remedy, f"{path}, line {start}") from None
    return Block(np.array(numbers, dtype="int64"), None, rows, lambda: [AS_JSON(row) for row in rows]), start


@dataclass(frozen=True)
class Texts:
    """A column by its distinct texts: `text[code]` is what stands in a row."""

    code: np.ndarray
    text: list[str]

    def each(self, of: Callable[[str], object], dtype: str) -> np.ndarray:
        """What a function of the text gives for each row; it is asked once a distinct text."""
        return np.array([of(text) for text in self.text], dtype=dtype)[self.code]


def distinct(texts: list[str]) -> Texts:
    """Distinct texts of a column, in the order in which they come."""
    code, text = pd.factorize(np.array(texts, dtype=object))
    return Texts(code, list(text))


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
        return self.date.each(lambda text: NOT_READ if not text or (day := day_of(text, order, pivot_year)) is None else day, "int64")

    def clocks(self) -> np.ndarray:
        """Microseconds since midnight; `NOT_READ` where the clock shows no such time."""
        return self.tail.each(lambda text: NOT_READ if (clock := clock_in(text)) is None else clock, "int64")

    def offsets(self) -> np.ndarray:
        """Offsets from UTC, µs; 0 where none is written."""
        return self.tail.each(lambda text: (offset_us(zone_of(text)) or 0) if zone_of(text) else 0, "int64")


def moments_in(texts: list[str]) -> Moments:
    """Take moments apart: cut where the clock begins in the first of them, then in the first that this does not fit, and so on."""
    n = len(texts)
    heads, tails, is_moment = np.full(n, "", dtype=object), np.full(n, "", dtype=object), np.zeros(n, dtype=bool)
    todo = np.arange(n)
    for _ in range(CUTS):
        match, skipped = None, 0
        for place in todo:
            match = MOMENT.fullmatch(texts[place])
            if match is not None:
                break
            skipped += 1
        todo = todo[skipped:]
        if match is None:
            break
        cut = match.start(2)
        some = [texts[place] for place in todo]
        head, tail = distinct([text[:cut] for text in some]), distinct([text[cut:] for text in some])
        dates = [found[1] if (found := HEAD.fullmatch(text)) else "" for text in head.text]
        good = np.array([bool(date) for date in dates])[head.code] & tail.each(lambda text: TAIL.fullmatch(text) is not None, "bool")
        here = todo[good]
        heads[here], tails[here] = np.array(dates, dtype=object)[head.code][good], np.array(tail.text, dtype=object)[tail.code][good]
        is_moment[here] = True
        todo = todo[~good]
        if not len(todo):
            break
    for place in todo:
        if match := MOMENT.fullmatch(texts[place]):
            heads[place], tails[place], is_moment[place] = match[1], texts[place][match.start(2) :], True
    return Moments(is_moment, distinct(list(heads)), distinct(list(tails)))


@lru_cache(maxsize=100_000)
def _pieces(tail: str) -> tuple[str | None, str | None, str | None]:
    match = TAIL.fullmatch(tail)
    return (None, None, None) if match is None else (match[1], match[2], match[3])


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
