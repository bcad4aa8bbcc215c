"""Where in a workbook each fault of a check stands, and the marked copy made of it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pandas as pd

from pipeline.entry import marked_copy
from pipeline.entry.marked_copy import HELD, LOOK, Mark
from pipeline.errors import RillbookError
from pipeline.reading import files as read
from pipeline.reading.headings import is_guide
from pipeline.reading.rows import MappedSource, SourceTable


def refuse_files(paths: list[Path], out: Path) -> None:
    """Refuse to mark several files at once, what is no workbook, and to write where a file is.

    Raises
    ------
    RillbookError
        One of these.
    """
    if len(paths) != 1:
        raise RillbookError("one workbook is marked at a time.", "Check each by itself, or leave out --mark.")
    marked_copy.refuse_place(paths[0], out)


def mark_workbook(path: Path, sources: list[MappedSource], held: pd.DataFrame, flags: pd.DataFrame, out: Path) -> str:
    """Write a copy of a workbook with every fault in its cell.

    Parameters
    ----------
    path : Path
        The workbook that was checked.
    sources : list of MappedSource
        Its sheets, as they were mapped.
    held, flags : DataFrame
        Reasons and flags with ``sheet`` and ``line``, as a report has them.
    out : Path
        The copy, a new file.

    Returns
    -------
    str
        What was written and what the copy lacks, for the person who asked.

    Raises
    ------
    RillbookError
        The copy cannot be written, or would not hold every cell as it stands in the workbook; then none is left behind.
    """
    marks = [*marks_of(held, sources, HELD), *marks_of(flags, sources, LOOK)]
    lacking = marked_copy.write_marked(path, marks, out)
    differing = _first_difference(read.read_file(path), read.read_file(out))
    if differing:
        out.unlink()
        remedy = "Read the list on the screen, and look at that cell: it holds something that other programs do not understand."
        raise RillbookError("a copy would not hold everything as it stands.", remedy, f"{path}, {differing}")
    count = len({(one.sheet, one.row, one.column) for one in marks})
    words = f"{count} cells are marked" if count != 1 else "1 cell is marked"
    return " ".join([f"Wrote {out}: {words}, and listed on its last sheet. Your own workbook is as it was.", *lacking])


def marks_of(reasons: pd.DataFrame, sources: list[MappedSource], kind: str) -> list[Mark]:
    """Marks of reasons or flags: at the cell of the field; at the first cell where the whole row is meant."""
    by_sheet = {one.source.sheet: one for one in sources}
    marks = []
    for row in reasons.to_dict("records"):
        source = by_sheet[row["sheet"]]
        columns = [source.source.cells.columns.get_loc(heading) for heading in _headings(source, row)] or [0]
        text = str(row.get("text", row.get("value", "")))
        marks += [Mark(row["sheet"], int(row["line"]), column + 1, kind, row["message"], row["remedy"], text) for column in columns]
    return marks


def _headings(source: MappedSource, row: dict[str, str]) -> Iterator[str]:
    """Columns of the sheet that a fault is about."""
    named = [*str(row.get("column", "")).split(" + ")]
    named += [heading for one in source.mapped if one.table == row["table"] for heading in one.columns.get(row["field"], ())]
    yield from dict.fromkeys(heading for heading in named if heading in source.source.cells.columns)


def _first_difference(before: list[SourceTable], after: list[SourceTable]) -> str:
    """First place where two readings of a workbook differ, rillbook's own guides left out; empty where there is none."""
    found = {one.sheet: one for one in after}
    for one in before:
        if is_guide(one):
            continue
        other = found.get(one.sheet)
        if other is None or list(one.cells.columns) != list(other.cells.columns):
            return f"sheet {one.sheet}"
        if list(one.lines) != list(other.lines) or one.misshapen != other.misshapen:
            return f"sheet {one.sheet}"
        for line, cells, copied in zip(one.lines, one.cells.to_numpy(), other.cells.to_numpy(), strict=True):
            if list(cells) != list(copied):
                return f"sheet {one.sheet}, line {line}"
    return ""
