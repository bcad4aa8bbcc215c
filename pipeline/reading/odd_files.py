"""Files that are refused before they are read: what is no file, and what would fill the memory."""

from __future__ import annotations

import io
import os
import re
import stat
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from pathlib import Path

from pipeline.errors import RillbookError

# Most columns of a worksheet: ECMA-376 leaves it open, spreadsheet programs end at column XFD
MOST_COLUMNS = 16_384
MOST_UNPACKED = 200 << 20
MOST_CELLS = 20_000_000
# A sheet may be mostly empty; a cell that stands alone far away may not make a sheet of it
SPARSE_CELLS, SPARSE = 1_000_000, 100
PIECE = 1 << 20
KINDS = (
    (stat.S_ISDIR, "this is a folder.", "Name the files in it."),
    (stat.S_ISFIFO, "this is a pipe, not a file.", "Save what comes through it to a file first."),
    (stat.S_ISCHR, "this is a device, not a file.", "Name a file."),
    (stat.S_ISBLK, "this is a device, not a file.", "Name a file."),
    (stat.S_ISSOCK, "this is a socket, not a file.", "Name a file."),
)


def refuse_odd(paths: Iterable[Path]) -> None:
    """Refuse what is no plain file; one that is missing or may not be read is left to its reader.

    Raises
    ------
    RillbookError
        A path is a folder, a pipe, a device or a socket.
    """
    for path in paths:
        try:
            mode = os.stat(path).st_mode
        except OSError:
            continue
        for is_kind, what, remedy in KINDS:
            if is_kind(mode):
                raise RillbookError(what, remedy, str(path))


def refuse_wide(columns: int, where: str) -> None:
    """Refuse a sheet with more columns than a worksheet can have.

    Raises
    ------
    RillbookError
        Naming their number.
    """
    if columns > MOST_COLUMNS:
        raise RillbookError(f"it has {columns} columns; a sheet has at most {MOST_COLUMNS}.", "Is this the right file?", where)


def refuse_huge_workbook(content: bytes, where: str) -> None:
    """Refuse a zipped workbook that is far larger unpacked than it should be, or whose cells span more than can be held.

    Parameters
    ----------
    content : bytes
        An XLSX, ODS or XLSB file.
    where : str
        Names the file in errors.

    Raises
    ------
    RillbookError
        Unpacked it is larger than `MOST_UNPACKED` (whatever it says of itself), or a cell stands alone far from the others.
    """
    left = MOST_UNPACKED
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        for member in archive.infolist():
            sheet = re.fullmatch(r"xl/worksheets/[^/]+\.xml", member.filename) is not None
            extent = _Extent()
            before = b""
            for piece in _pieces(archive, member):
                left -= len(piece)
                if left < 0:
                    what = f"the workbook is more than {MOST_UNPACKED >> 20} MB when unpacked."
                    raise RillbookError(what, "Save the sheet as CSV; if it is small on the screen, do not trust the file.", where)
                if sheet:
                    before = extent.feed(before, piece)
                elif member.filename == "content.xml":
                    before = _refuse_repeats(before, piece, where)
            if extent.rows * extent.columns > MOST_CELLS or (extent.rows * extent.columns > max(SPARSE_CELLS, SPARSE * extent.cells)):
                what = f"its cells reach to row {extent.rows} and column {extent.columns}, and only {extent.cells} are written."
                raise RillbookError(what, "Delete what stands alone far down or to the right, or save the sheet as CSV.", where)


def _pieces(archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> Iterator[bytes]:
    try:
        with archive.open(member) as source:
            while piece := source.read(PIECE):
                yield piece
    except (RuntimeError, zlib.error, EOFError) as problem:
        raise zipfile.BadZipFile(str(problem)) from None


class _Extent:
    """How far the cells of a worksheet reach, by the places that they state."""

    def __init__(self) -> None:
        self.rows = self.columns = self.cells = 0

    def feed(self, before: bytes, piece: bytes) -> bytes:
        """Take one more piece; what may be cut at its end is given back, to stand before the next."""
        text = before + piece
        end = text.rfind(b"<")
        body, rest = (text[:end], text[end:]) if end > 0 else (b"", text)
        places = re.findall(rb"<c\b[^>]*?\br=[\"']([A-Z]{1,7})(\d{1,9})[\"']", body)
        self.cells += len(places)
        self.rows = max([self.rows, *(int(digits) for digits in {digits for _, digits in places})])
        for letters in {letters for letters, _ in places}:
            column = 0
            for letter in letters:
                column = column * 26 + letter - 64
            self.columns = max(self.columns, column)
        return rest[-4096:]


def _refuse_repeats(before: bytes, piece: bytes, where: str) -> bytes:
    """Refuse cells with a value that an ODS repeats thousands of times; empty ones to the edge of the sheet are usual."""
    text = before + piece
    for tag in re.findall(rb"<table:table-cell\b[^>]*>", text):
        again = re.search(rb"number-columns-repeated=[\"'](\d+)", tag)
        if again and int(again[1]) > 1024 and b"office:value-type" in tag:
            raise RillbookError(f"a cell with a value is repeated {int(again[1])} times.", "Delete it, or save the sheet as CSV.", where)
    for row in re.findall(rb"<table:table-row\b[^>]*number-rows-repeated=[\"']\d{5,}[\"'][^>]*>.*?</table:table-row>", text, re.S):
        if b"office:value-type" in row:
            raise RillbookError("a row with values is repeated ten thousand times or more.", "Delete it, or save it as CSV.", where)
    return text[-4096:]
