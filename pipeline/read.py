"""Files to text: every cell as it stands, by line number; nothing guessed, nothing dropped."""

from __future__ import annotations

import csv
import hashlib
import io
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pipeline.errors import RillbookError
from pipeline.records import SourceTable

DELIMITERS = (",", ";", "\t", "|")
WORKBOOKS = (".xlsx", ".xlsm", ".xlsb", ".xls", ".ods")


def read_files(paths: list[Path]) -> list[SourceTable]:
    """Read files as text, sheets in the order of the files.

    Parameters
    ----------
    paths : list of Path
        Text files with delimiters, or workbooks.

    Returns
    -------
    list of SourceTable

    Raises
    ------
    RillbookError
        A file is missing, empty, binary, or has two columns of one name.
    """
    if len({path.name for path in paths}) < len(paths):
        raise RillbookError("two of the files have the same name.", "Give each file once, with a name of its own.")
    return [table for path in paths for table in read_file(path)]


def read_file(path: Path) -> list[SourceTable]:
    """Read one file; see :func:`read_files`."""
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise RillbookError("there is no such file.", "Check the name and the folder.", str(path)) from None
    except IsADirectoryError:
        raise RillbookError("this is a folder.", "Name the files in it.", str(path)) from None
    except OSError as problem:
        raise RillbookError(f"the file cannot be read ({problem.strerror}).", "Close it in other programs and check its rights.", str(path)) from None
    if not content.strip():
        raise RillbookError("the file is empty.", "Save the sheet again.", str(path))
    sha256 = hashlib.sha256(content).hexdigest()
    if path.suffix.lower() in WORKBOOKS or content[:4] == b"PK\x03\x04":
        return _read_workbook(path, content, sha256)
    rows, lines = _parse(decode(content, str(path)), str(path))
    return [_table(path.name, "", rows, lines, sha256, str(path))]


def decode(content: bytes, where: str) -> str:
    """Turn bytes into text: UTF-8 or UTF-16 (with or without a mark), else Windows-1252.

    Raises
    ------
    RillbookError
        The bytes are not text.
    """
    for mark, encoding in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if content.startswith(mark):
            try:
                return content.decode(encoding)
            except UnicodeDecodeError:
                raise RillbookError(f"the file says it is {encoding} and is not.", "Save it as UTF-8 text.", where) from None
    if b"\x00" in content:
        even, odd = content[::2].count(0), content[1::2].count(0)
        if max(even, odd) > len(content) // 4 and min(even, odd) < len(content) // 50 + 1:
            return content.decode("utf-16-be" if even > odd else "utf-16-le", errors="replace")
        raise RillbookError("this is not a text file or a workbook.", "Save the sheet as CSV or XLSX.", where)
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")


def find_delimiter(text: str) -> str:
    """Delimiter of a text: the one that cuts its first rows into the most columns of one width."""
    sample = "\n".join(text.splitlines()[:50])
    best, score = ",", (0.0, 0)
    for delimiter in DELIMITERS:
        widths = [len(row) for row in csv.reader(io.StringIO(sample), delimiter=delimiter) if row]
        if not widths or widths[0] < 2:
            continue
        alike = sum(width == widths[0] for width in widths) / len(widths)
        if (alike, widths[0]) > score:
            best, score = delimiter, (alike, widths[0])
    return best


def _parse(text: str, where: str) -> tuple[list[list[str]], list[int]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=find_delimiter(text))
    rows, lines, start = [], [], 1
    try:
        for row in reader:
            rows.append(row)
            lines.append(start)
            start = reader.line_num + 1
    except csv.Error as problem:
        raise RillbookError(f"the file cannot be cut into cells: {problem}.", "Look for a stray quote mark.", f"{where}, line {start}") from None
    return rows, lines


def _read_workbook(path: Path, content: bytes, sha256: str) -> list[SourceTable]:
    import python_calamine

    try:
        book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(content))
        sheets = [(name, book.get_sheet_by_name(name).to_python(skip_empty_area=False)) for name in book.sheet_names]
    except (python_calamine.CalamineError, ValueError, OSError) as problem:
        raise RillbookError(f"the workbook cannot be opened ({problem}).", "Open it, save it as XLSX or CSV, and try again.", str(path)) from None
    tables = []
    for name, rows in sheets:
        written = [[_cell_text(cell) for cell in row] for row in rows]
        if any(any(row) for row in written):
            where = f"{path}, sheet {name}"
            tables.append(_table(path.name, name, written, list(range(1, len(written) + 1)), sha256, where))
    if not tables:
        raise RillbookError("the workbook is empty.", "Save the sheet again.", str(path))
    return tables


def _cell_text(cell: Any) -> str:
    if isinstance(cell, bool):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time() == time() else cell.isoformat(sep=" ")
    if isinstance(cell, date):
        return cell.isoformat()
    if isinstance(cell, time):
        return cell.strftime("%H:%M")
    return str(cell)


def _table(file: str, sheet: str, rows: list[list[str]], lines: list[int], sha256: str, where: str) -> SourceTable:
    kept = [(line, row) for line, row in zip(lines, rows, strict=True) if any(cell.strip() for cell in row)]
    if not kept:
        raise RillbookError("the file holds no text.", "Save the sheet again.", where)
    header = [name.strip().lstrip("\ufeff") for name in kept[0][1]]
    while header and not header[-1]:
        header.pop()
    header = [name or f"column {position}" for position, name in enumerate(header, 1)]
    twice = {name for name in header if header.count(name) > 1}
    if twice:
        raise RillbookError(f"two columns are named {sorted(twice)[0]!r}.", "Rename one of them.", f"{where}, line {kept[0][0]}")
    body, width = kept[1:], len(header)
    misshapen = {place: tuple(row) for place, (_, row) in enumerate(body) if any(cell.strip() for cell in row[width:])}
    padded = [(row + [""] * width)[:width] for _, row in body]
    return SourceTable(
        file=file,
        sheet=sheet,
        cells=pd.DataFrame(padded, columns=header, dtype="str"),
        lines=np.array([line for line, _ in body], dtype="int64"),
        sha256=sha256,
        misshapen=misshapen,
        blank_rows=len(rows) - len(kept),
    )
