"""Rows of cells to columns in which each distinct text is held once; block by block, so that a large sheet is never held cell by cell."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Any

import numpy as np
import pandas as pd

from pipeline.errors import RillbookError
from pipeline.reading.odd_files import MOST_COLUMNS, refuse_wide
from schemas.distinct import Coded, numbered_rows

# The csv module has the same limit, which other libraries lift for the whole process.
LONGEST_CELL = 131_072
AT_ONCE = 20_000
Block = tuple[list[list[str]], list[int]]
"""Rows of a file, and the line of each."""


@dataclass(frozen=True)
class CutRows:
    """A sheet in columns.

    Attributes
    ----------
    header : list of str
        First row that is not blank; empty where all are.
    heading_line : int
        Its line; 0 where there is none.
    columns : list of Coded
        One a heading, empty headings at the end left out; short rows are filled with empty texts.
    lines : ndarray of int
        Line of each row below the heading that is not blank.
    misshapen : dict of int to tuple of str
        Rows with text to the right of the headings, by position, with all their cells.
    blank_rows : int
        Rows without any text.
    last : list of str
        The last row of the file, blank or not.
    """

    header: list[str]
    heading_line: int
    columns: list[Coded]
    lines: np.ndarray
    misshapen: dict[int, tuple[str, ...]]
    blank_rows: int
    last: list[str]


def blocks(rows: Iterator[list[str]], lines: Iterator[int]) -> Iterator[Block]:
    """Rows and their lines, so many at once."""
    while some := list(islice(rows, AT_ONCE)):
        yield some, list(islice(lines, len(some)))


def blocks_of_text(text: str, delimiter: str, where: str) -> Iterator[Block]:
    """Rows of a text with delimiters, as the standard library reads them.

    Raises
    ------
    RillbookError
        A quote mark is not closed, or a row or a cell is longer than any sheet has.
    """
    # strict: a quote mark that is never closed would otherwise swallow the rows below it
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    # no cell is longer than the lines that it spans, and that of most files is soon seen
    short = max(map(len, text.split("\n"))) <= LONGEST_CELL
    start, problem = 1, None
    while problem is None:
        rows: list[list[str]] = []
        lines = [start]
        try:
            for row in islice(reader, AT_ONCE):
                rows.append(row)
                lines.append(reader.line_num + 1)
        except csv.Error as fault:
            problem = fault
        start = lines.pop()
        _refuse_sizes(rows, lines, where, short and len(rows) == start - (lines[0] if lines else start))
        if problem is None and not rows:
            return
        if rows:
            yield rows, lines
    remedy = "Look for a stray quote mark."
    raise RillbookError(f"the file cannot be cut into cells: {problem}.", remedy, f"{where}, line {start}") from None


def _refuse_sizes(rows: list[list[str]], lines: list[int], where: str, short: bool) -> None:
    """Refuse a row with more cells, or a cell with more signs, than any sheet has."""
    if short and max(map(len, rows), default=0) <= MOST_COLUMNS:
        return
    for row, line in zip(rows, lines, strict=True):
        refuse_wide(len(row), f"{where}, line {line}")
        if max(map(len, row), default=0) > LONGEST_CELL:
            what = f"the file cannot be cut into cells: a cell is longer than {LONGEST_CELL} characters."
            raise RillbookError(what, "Look for a stray quote mark.", f"{where}, line {line}")


def cut_rows(parts: Iterable[Block]) -> CutRows:
    """Turn rows into columns.

    Parameters
    ----------
    parts : iterable of Block
        The rows of a sheet, in order.

    Returns
    -------
    CutRows
    """
    header: list[str] | None = None
    heading_line, blank, done, width = 0, 0, 0, 0
    known: list[dict[str, int]] = []
    places: list[list[np.ndarray]] = []
    kept_lines: list[np.ndarray] = []
    misshapen: dict[int, tuple[str, ...]] = {}
    last: list[str] = []
    for rows, lines in parts:
        last = rows[-1]
        some = [bool("".join(row).strip()) for row in rows]
        if not all(some):
            blank += len(some) - sum(some)
            rows = [row for row, there in zip(rows, some, strict=True) if there]
            lines = [line for line, there in zip(lines, some, strict=True) if there]
        if header is None and rows:
            header, heading_line, rows, lines = rows[0], lines[0], rows[1:], lines[1:]
            width = _width(header)
            known, places = [{} for _ in range(width)], [[] for _ in range(width)]
        if not rows:
            continue
        misshapen |= {done + at: tuple(row) for at, row in enumerate(rows) if len(row) > width and any(map(str.strip, row[width:]))}
        even = [row if len(row) == width else (row + [""] * width)[:width] for row in rows]
        for column, codes, texts in zip(zip(*even, strict=True), places, known, strict=True):
            codes.append(_codes(column, texts))
        kept_lines.append(np.array(lines, dtype="int64"))
        done += len(rows)
    columns = [Coded(_joined(codes, "int32"), _texts(texts)) for codes, texts in zip(places, known, strict=True)]
    return CutRows(header or [], heading_line, columns, _joined(kept_lines, "int64"), misshapen, blank, last)


def _width(header: list[str]) -> int:
    """Number of headings, those without a name at the end left out."""
    width = len(header)
    while width and not header[width - 1].strip().lstrip("\ufeff"):
        width -= 1
    return width


def _codes(column: tuple[str, ...], known: dict[str, int]) -> np.ndarray:
    """Position of each text among those that are known; new ones are added."""
    cells: np.ndarray[Any, Any] = np.empty(len(column), dtype=object)
    cells[:] = column
    return numbered_rows(cells, known)


def _texts(known: dict[str, int]) -> pd.Series:
    return pd.Series(list(known), dtype="str")


def _joined(parts: list[np.ndarray], kind: str) -> np.ndarray:
    return np.concatenate(parts) if parts else np.zeros(0, dtype=kind)
