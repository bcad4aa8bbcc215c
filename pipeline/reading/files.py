"""Files to text: every cell as it stands, by line number; nothing guessed, nothing dropped."""

from __future__ import annotations

import csv
import hashlib
import html
import io
import re
import zipfile
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from itertools import count, islice
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.errors import RillbookError
from pipeline.reading.cut_plain import cut_plain
from pipeline.reading.cut_rows import LONGEST_CELL, CutRows, blocks, blocks_of_text, cut_rows
from pipeline.reading.odd_files import MOST_COLUMNS, refuse_huge_workbook, refuse_odd
from pipeline.reading.rows import SourceTable
from pipeline.reading.survey_document import is_document, read_document

DELIMITERS = (",", ";", "\t", "|")
SAMPLE = 4_000_000
ZIPPED, OLD_WORKBOOK = b"PK\x03\x04", b"\xd0\xcf\x11\xe0"
# Windows-1252 leaves five bytes without a sign; they stay the control signs of Latin-1, so that no byte is lost
SIGNS_1252 = {code: bytes([code]).decode("cp1252", errors="ignore") or chr(code) for code in range(0x80, 0xA0)}


def read_files(paths: list[Path]) -> list[SourceTable]:
    """Read files as text, sheets in the order of the files.

    Parameters
    ----------
    paths : list of Path
        Text files with delimiters, workbooks, or survey documents.

    Returns
    -------
    list of SourceTable

    Raises
    ------
    RillbookError
        A file is missing, empty or binary.
    """
    if len({path.name for path in paths}) < len(paths):
        raise RillbookError("two of the files have the same name.", "Give each file once, with a name of its own.")
    return [table for path in paths for table in read_file(path)]


def read_file(path: Path) -> list[SourceTable]:
    """Read one file; see :func:`read_files`."""
    refuse_odd([path])
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        raise RillbookError("there is no such file.", "Check the name and the folder.", str(path)) from None
    except OSError as problem:
        remedy = "Close it in other programs and check its rights."
        raise RillbookError(f"the file cannot be read ({problem.strerror}).", remedy, str(path)) from None
    if not content.strip():
        raise RillbookError("the file is empty.", "Save the sheet again.", str(path))
    sha256 = hashlib.sha256(content).hexdigest()
    if content.startswith((ZIPPED, OLD_WORKBOOK)):
        return _read_workbook(path, content, sha256)
    text = decode(content, str(path))
    if is_document(text, path.name):
        return read_document(text, path.name, sha256, str(path))
    delimiter = find_delimiter(text)
    cut = cut_plain(text, delimiter, MOST_COLUMNS, LONGEST_CELL) or cut_rows(blocks_of_text(text, delimiter, str(path)))
    return [_held_if_cut(_table(path.name, "", cut, sha256, str(path)), text, cut.last)]


def _held_if_cut(table: SourceTable, text: str, last: list[str]) -> SourceTable:
    """A last line without an end and with fewer cells than the heading was cut: its last cell may be half of what was written."""
    if text.endswith(("\n", "\r")) or len(last) >= table.cells.shape[1] or table.cells.empty:
        return table
    return replace(table, misshapen={**table.misshapen, len(table.cells) - 1: tuple(last)})


def decode(content: bytes, where: str) -> str:
    """Turn bytes into text: UTF-8 or UTF-16 (with or without a mark), else Windows-1252.

    Raises
    ------
    RillbookError
        The bytes are not text.
    """
    try:
        text = _decode(content, where)
    except UnicodeDecodeError as problem:
        raise RillbookError(f"the file says it is {problem.encoding} text and is not.", "Save it as UTF-8 text.", where) from None
    if "\x00" in text:
        raise RillbookError("this is not a text file or a workbook.", "Save the sheet as CSV or XLSX.", where)
    return text


def _decode(content: bytes, where: str) -> str:
    for mark, encoding in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if content.startswith(mark):
            return content.decode(encoding)
    even, odd = content[::2].count(0), content[1::2].count(0)
    if max(even, odd) > len(content) // 4 and min(even, odd) < len(content) // 50 + 1:
        return content.decode("utf-16-be" if even > odd else "utf-16-le")
    lenient = content.decode("utf-8", errors="replace")
    broken = lenient.count("\ufffd") - content.count("\ufffd".encode())
    if not broken:
        return lenient
    if sum(sign > "\x7f" for sign in lenient) > 2 * broken:
        line = len(lenient[: lenient.index("\ufffd") + 1].splitlines())
        raise RillbookError("most of the file is UTF-8 text and some of it is not.", "Save it as UTF-8 text.", f"{where}, line {line}")
    return content.decode("latin-1").translate(SIGNS_1252)


def find_delimiter(text: str) -> str:
    """Delimiter of a text: the one that cuts its first rows most evenly.

    Parameters
    ----------
    text : str
        Whole file; its first fifty rows are looked at.

    Returns
    -------
    str
        One of ``DELIMITERS``. Where two cut equally well the comma gives way, for it also stands inside numbers and sentences;
        then the one that makes more columns is taken.
    """
    best, score = ",", (0.0, False, 0)
    for delimiter in DELIMITERS:
        try:
            # fifty rows, or what a very wide file has in its first characters
            sample = list(islice(csv.reader(io.StringIO(text[:SAMPLE], newline=""), delimiter=delimiter), 50))
        except csv.Error:
            continue
        widths = [len(row) for row in sample if any(cell.strip() for cell in row)]
        if not widths or widths[0] < 2:
            continue
        alike = sum(width == widths[0] for width in widths) / len(widths)
        if (alike, delimiter != ",", widths[0]) > score:
            best, score = delimiter, (alike, delimiter != ",", widths[0])
    return best


def _read_workbook(path: Path, content: bytes, sha256: str) -> list[SourceTable]:
    import python_calamine

    try:
        if content.startswith(ZIPPED):
            refuse_huge_workbook(content, str(path))
        book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(content))
        sheets = [(name, book.get_sheet_by_name(name).to_python(skip_empty_area=False)) for name in _sheets_with_cells(book)]
        errors = _error_cells(content)
    except (python_calamine.CalamineError, ValueError, OSError, KeyError, zipfile.BadZipFile) as problem:
        remedy = "Open it, save it as XLSX or CSV, and try again."
        raise RillbookError(f"the workbook cannot be opened ({problem}).", remedy, str(path)) from None
    tables = []
    for name, rows in sheets:
        written = [[_cell_text(cell) for cell in row] for row in rows]
        for (row, column), text in errors.get(name, {}).items():
            if row < len(written) and column < len(written[row]):
                written[row][column] = text
        if any(any(row) for row in written):
            where = f"{path}, sheet {name}"
            cut = cut_rows(blocks(iter(written), count(1)))
            tables.append(_table(path.name, name, cut, sha256, where))
    if not tables:
        raise RillbookError("the workbook is empty.", "Save the sheet again.", str(path))
    return tables


def _sheets_with_cells(book: Any) -> list[str]:
    import python_calamine

    return [one.name for one in book.sheets_metadata if one.typ == python_calamine.SheetTypeEnum.WorkSheet]


def _error_cells(content: bytes) -> dict[str, dict[tuple[int, int], str]]:
    """Cells of an XLSX that hold an error such as ``#DIV/0!``, by sheet, row and column from 0: calamine gives them as blank."""
    if not content.startswith(ZIPPED):
        return {}
    found: dict[str, dict[tuple[int, int], str]] = {}
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        if "xl/_rels/workbook.xml.rels" not in archive.namelist() or "xl/workbook.xml" not in archive.namelist():
            return {}
        links = archive.read("xl/_rels/workbook.xml.rels").decode("utf-8", errors="replace")
        targets = {_attribute(link, "Id"): _attribute(link, "Target") for link in re.findall(r"<Relationship\b[^>]*>", links)}
        for sheet in re.findall(r"<sheet\b[^>]*>", archive.read("xl/workbook.xml").decode("utf-8", errors="replace")):
            target = targets.get(_attribute(sheet, "r:id"), "")
            member = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
            if member in archive.namelist():
                body = archive.read(member).decode("utf-8", errors="replace")
                cells = re.findall(r"<c\b([^>]*[^>/])>(?:(?!</c>).)*?<v>([^<]*)</v>", body, re.S) if 't="e"' in body else []
                errors = [(_attribute(words, "r"), text) for words, text in cells if _attribute(words, "t") == "e"]
                found[_attribute(sheet, "name")] = {_position(place): html.unescape(text) for place, text in errors}
    return found


def _attribute(tag: str, name: str) -> str:
    match = re.search(rf'(?<![\w:]){name}="([^"]*)"', tag)
    return html.unescape(match[1]) if match else ""


def _position(place: str) -> tuple[int, int]:
    """Row and column from 0 of a place such as ``AB12``."""
    letters, number = place.rstrip("0123456789"), place.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
    column = 0
    for letter in letters:
        column = column * 26 + ord(letter) - ord("A") + 1
    return int(number) - 1, column - 1


def _cell_text(cell: Any) -> str:
    if isinstance(cell, bool):
        return "TRUE" if cell else "FALSE"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime):
        cell = _whole_seconds(cell)
        return cell.date().isoformat() if cell.time() == time() else cell.isoformat(sep=" ")
    if isinstance(cell, date):
        return cell.isoformat()
    if isinstance(cell, time):
        late = cell >= time(23, 59, 59)
        cell = time(23, 59, 59) if late else _whole_seconds(datetime.combine(date(2000, 1, 1), cell)).time()
        return cell.isoformat("seconds" if cell.second else "minutes")
    if isinstance(cell, timedelta):
        minutes, seconds = divmod(round(cell.total_seconds()), 60)
        return f"{minutes // 60:02d}:{minutes % 60:02d}" + (f":{seconds:02d}" if seconds else "")
    return str(cell)


def _whole_seconds(moment: datetime) -> datetime:
    """A spreadsheet's moment without the crumbs of its day fraction."""
    return (moment + timedelta(milliseconds=500)).replace(microsecond=0)


def _table(file: str, sheet: str, cut: CutRows, sha256: str, where: str) -> SourceTable:
    if not cut.heading_line:
        raise RillbookError("the file holds no text.", "Save the sheet again.", where)
    header = [name.strip().lstrip("\ufeff") for name in cut.header[: len(cut.columns)]]
    header = [name or f"column {position}" for position, name in enumerate(header, 1)]
    twice = tuple(dict.fromkeys(name for name in header if header.count(name) > 1))
    # which of them is meant only a map can say; nobody needs to say it of a sheet that is not read
    header = [f"{name} (column {position})" if name in twice else name for position, name in enumerate(header, 1)]
    if len(set(header)) < len(header):
        raise RillbookError(f"two columns are named {twice[0]!r}.", "Rename one of them.", f"{where}, line {cut.heading_line}")
    coded = dict(zip(header, cut.columns, strict=True))
    index = pd.RangeIndex(len(cut.lines))
    return SourceTable(
        file=file,
        sheet=sheet,
        cells=pd.DataFrame({name: column.spread(index) for name, column in coded.items()}, index=index, columns=header, copy=False),
        lines=cut.lines,
        sha256=sha256,
        misshapen=cut.misshapen,
        blank_rows=cut.blank_rows,
        repeated=twice,
        heading_line=cut.heading_line,
        coded=coded,
    )
