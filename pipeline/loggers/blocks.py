"""Blocks of a logger's export: cut into columns at once, and read by distinct texts, which are few.

What is read so equals what :func:`rows_of` and the regular expression of a moment give row by row; a block that cannot be cut at once
(quote marks, ragged or blank rows, odd line ends) is cut by the reader of the standard library.
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, islice, repeat
from pathlib import Path

import numpy as np

from pipeline.errors import RillbookError
from pipeline.loggers.columns import Column, Spans, Texts, Written
from pipeline.loggers.moments import Moments, moments_in, moments_of_two
from pipeline.loggers.stream import LINE_END, Stream, one_by_one, opened, put_back, take
from pipeline.reading.byte_cells import PAD

CHUNK = 20_000
# The reader of the standard library refuses a longer cell
LONGEST = 131_072
SPACE = re.compile(r"[^\S \n]")
AS_JSON = json.JSONEncoder(ensure_ascii=False).encode


@dataclass(frozen=True)
class Block:
    """Some rows of a file.

    Attributes
    ----------
    lines : ndarray of int
        Line at which each row begins, from 1.
    columns : tuple of Column, or None
        Stripped cells by column where every row has the same number of them.
    rows : list of list of str, or None
        Stripped cells by row where it has not.
    as_json : callable
        Gives the cells of each row as JSON, a line a row; the look at the dates has no need of them.
    """

    lines: np.ndarray
    columns: Sequence[Column] | None
    rows: list[list[str]] | None
    as_json: Callable[[], str]

    def column(self, place: int | None) -> Column:
        """Cells of a column; empty where the row or the column has none."""
        if self.rows is not None:
            return Written([row[place] if place is not None and place < len(row) else "" for row in self.rows])
        assert self.columns is not None
        return self.columns[place] if place is not None and place < len(self.columns) else Written([""] * len(self.lines))

    def texts_in(self, place: int | None) -> Texts:
        """Distinct texts of a column."""
        if self.columns is not None and (place is None or place >= len(self.columns)):
            return Texts(np.zeros(len(self.lines), dtype="int64"), [""])
        return self.column(place).distinct()

    def row(self, number: int) -> list[str]:
        """Cells of one row."""
        if self.rows is not None:
            return self.rows[number]
        assert self.columns is not None
        return [column.text(number) for column in self.columns]

    def moments(self, columns: dict[str, int]) -> Moments:
        """Date and clock time of each row, taken apart."""
        if "moment" in columns:
            return moments_in(self.column(columns["moment"]))
        return moments_of_two(self.column(columns.get("date")), self.column(columns.get("clock")))


def blocks_of(path: Path, encoding: str, delimiter: str, above: int = 0, chunk: int = CHUNK) -> Iterator[Block]:
    """Rows of a file, `chunk` at a time.

    Parameters
    ----------
    path, encoding, delimiter : Path, str, str
        The file.
    above : int
        Rows of a block of their own, before the first that may hold a reading: a quoted heading slows only them. They count to the first
        `chunk`.
    chunk : int
        Rows at a time.

    Raises
    ------
    RillbookError
        A row cannot be cut into cells.
    """
    start = 1
    sizes = chain((size for size in (above, chunk - above) if size > 0), repeat(chunk))
    try:
        with opened(path, encoding) as stream:
            while some := take(stream, size := next(sizes)):
                block = _cut_at_once(some, delimiter, start)
                if block is None:
                    put_back(stream, some)
                    block, start = _cut_by_row(stream, delimiter, start, size, path)
                else:
                    start += len(block.lines)
                yield block
    except UnicodeError:
        raise RillbookError("the file says it is UTF-16 text and is not.", "Export it again as UTF-8 text.", str(path)) from None


def _cut_at_once(some: bytes, delimiter: str, start: int) -> Block | None:
    """The block where a line is a row, all have the same number of cells, and nothing is quoted."""
    if b"\r" in some:
        some = some.replace(b"\r\n", b"\n")
    if b'"' in some or b"\r" in some or b"\0" in some:
        return None
    some = some.removesuffix(b"\n")
    signs = np.frombuffer(some + b"\n" + bytes(PAD), "uint8")
    is_end = signs == LINE_END
    is_any = is_end | (signs == ord(delimiter))
    places = np.flatnonzero(is_any)
    rows = int(np.count_nonzero(is_end))
    width = len(places) // rows
    if width < 2 or width * rows != len(places) or not is_end[places[width - 1 :: width]].all():
        return None
    ends = places.reshape(rows, width)
    begins = np.concatenate([[0], places[:-1] + 1]).reshape(rows, width)
    if int((ends[:, -1] - begins[:, 0]).max()) >= LONGEST:
        return None
    text, lines = some.decode(), np.arange(start, start + rows)
    controls = int(np.count_nonzero(signs[:-PAD] < ord(" "))) - rows - (rows * (width - 1) if delimiter == "\t" else 0)
    if not _is_stripped(text, signs, is_any, delimiter, controls):
        cells = [[cell.strip() for cell in line.split(delimiter)] for line in text.split("\n")]
        return Block(lines, [Written(list(column)) for column in zip(*cells, strict=True)], None, lambda: _json_of(cells))
    columns = [Spans(signs, np.ascontiguousarray(begins[:, place]), np.ascontiguousarray(ends[:, place])) for place in range(width)]
    if controls or "\\" in text:
        return Block(lines, columns, None, lambda: _json_of([line.split(delimiter) for line in text.split("\n")]))
    return Block(lines, columns, None, lambda: '["' + text.replace(delimiter, '", "').replace("\n", '"]\n["') + '"]')


def _is_stripped(text: str, signs: np.ndarray, is_end: np.ndarray, delimiter: str, controls: int) -> bool:
    """Whether no cell begins or ends with a space of any kind."""
    space = signs == ord(" ")
    if space[0] or (space[1:] & is_end[:-1]).any() or (space[:-1] & is_end[1:]).any():
        return False
    if text.isascii() and not controls:
        return True
    return SPACE.search(text if delimiter != "\t" else text.replace("\t", "")) is None


def _json_of(rows: list[list[str]]) -> str:
    return "\n".join(map(AS_JSON, rows))


def _cut_by_row(stream: Stream, delimiter: str, start: int, chunk: int, path: Path) -> tuple[Block, int]:
    """The block, and the line after it."""
    reader = csv.reader(one_by_one(stream), delimiter=delimiter, strict=True)
    base, numbers, rows = start, [], []
    try:
        for row in islice(reader, chunk):
            rows.append([cell.strip() for cell in row])
            numbers.append(start)
            start = base + reader.line_num
    except csv.Error as problem:
        remedy = "Look for a stray quote mark."
        raise RillbookError(f"the file cannot be cut into cells: {problem}.", remedy, f"{path}, line {start}") from None
    return Block(np.array(numbers, dtype="int64"), None, rows, lambda: _json_of(rows)), start
