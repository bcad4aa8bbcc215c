"""The text of logger files: bytes to rows in one stream, and the writings of dates, clocks and numbers."""

from __future__ import annotations

import codecs
import csv
import hashlib
import re
from collections.abc import Iterator
from datetime import date
from functools import lru_cache
from pathlib import Path

from pipeline.errors import RillbookError
from pipeline.loggers.map import offset_of

DELIMITERS = ("\t", ";", "|", ",")
BLOCK = 1 << 20
# Windows-1252 leaves five bytes without a sign; they stay the control signs of Latin-1, so that no byte is lost
SIGNS_1252 = {code: bytes([code]).decode("cp1252", errors="ignore") or chr(code) for code in range(0x80, 0xA0)}
# Codec by the mark that a file opens with; without one it is UTF-8 or, where that fails, Windows-1252
MARKS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
WINDOWS = "windows-1252"

DAY_US = 86_400_000_000
# Dates whose reading is kept: those of ten years in three orders, and more would only hold memory
DATES = 20_000
DATE = r"\d{1,4}[./-]\d{1,2}[./-]\d{1,4}|\d{1,2}[ -][A-Za-z]{3,9}\.?[ -]\d{2,4}"
CLOCK = r"\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d{1,6})?)?"
MOMENT = re.compile(rf"({DATE})(?:T|[ ,]+)({CLOCK})\s*([AaPp]\.?[Mm]\.?)?\s*(Z|[+-]\d{{2}}:?\d{{2}})?", re.ASCII)
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


def encoding_of(path: Path) -> tuple[str, str]:
    """Encoding and SHA-256 of a file, read block by block.

    Raises
    ------
    RillbookError
        The file cannot be opened, is empty, is no text, or is UTF-8 in some parts and not in others.
    """
    digest, decoder = hashlib.sha256(), codecs.getincrementaldecoder("utf-8")()
    encoding, good, empty, where = "", 0, True, str(path)
    try:
        with path.open("rb") as file:
            while (block := file.read(BLOCK)) or encoding.startswith("utf-8"):
                encoding = encoding or next((name for mark, name in MARKS if block.startswith(mark)), "utf-8")
                digest.update(block)
                empty = empty and not block.strip()
                if encoding != "utf-16" and b"\x00" in block:
                    raise RillbookError("this is not a text file.", "Export the logger's readings as CSV or text.", where)
                if encoding.startswith("utf-8"):
                    try:
                        good += _signs(decoder.decode(block, final=not block))
                    except UnicodeDecodeError as problem:
                        if good + _signs(block[: problem.start].decode("utf-8", errors="ignore")) > 2 or encoding == "utf-8-sig":
                            message = "most of the file is UTF-8 text and some of it is not."
                            raise RillbookError(message, "Export it again as UTF-8 text.", where) from None
                        encoding = WINDOWS
                if not block:
                    break
    except OSError as problem:
        raise RillbookError(f"the file cannot be read ({problem.strerror}).", "Check its name and rights.", where) from None
    if empty:
        raise RillbookError("the file is empty.", "Export it again.", where)
    return encoding, digest.hexdigest()


def _signs(text: str) -> int:
    """Signs beyond ASCII."""
    return 0 if text.isascii() else len(text) - len(text.encode("ascii", errors="ignore"))


def lines_of(path: Path, encoding: str) -> Iterator[str]:
    """Lines of a file with their ends, one at a time."""
    name = "latin-1" if encoding == WINDOWS else encoding
    with path.open(encoding=name, newline="") as file:
        yield from (line.translate(SIGNS_1252) for line in file) if encoding == WINDOWS else file


def rows_of(path: Path, encoding: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """Line number and stripped cells of each row, one at a time; a blank row has no cells.

    Raises
    ------
    RillbookError
        A row cannot be cut into cells.
    """
    reader = csv.reader(lines_of(path, encoding), delimiter=delimiter, strict=True)
    start = 1
    try:
        for row in reader:
            yield start, [cell.strip() for cell in row]
            start = reader.line_num + 1
    except csv.Error as problem:
        remedy = "Look for a stray quote mark."
        raise RillbookError(f"the file cannot be cut into cells: {problem}.", remedy, f"{path}, line {start}") from None
    except UnicodeError:
        raise RillbookError("the file says it is UTF-16 text and is not.", "Export it again as UTF-8 text.", str(path)) from None


@lru_cache(maxsize=DATES)
def orders_of(text: str) -> tuple[str, ...]:
    """Orders in which the digits of a date could stand, by its shape alone: a year of four digits says where it is."""
    parts = re.split(r"[./ -]+", text)
    if not parts[1].isdigit():
        return ("dmy",)
    if len(parts[0]) > 2:
        return ("ymd",)
    return ("mdy", "dmy") if len(parts[2]) > 2 else ("ymd", "mdy", "dmy")


@lru_cache(maxsize=DATES)
def day_of(text: str, order: str, pivot: int | None = None) -> int | None:
    """Days since 1970-01-01 of a date read in an order, or None where it is no date in that order.

    Parameters
    ----------
    text : str
        Date as written, such as ``7/11/19`` or ``21.04.08``.
    order : {'ymd', 'mdy', 'dmy'}
        Order of its parts.
    pivot : int, optional
        Two-digit years above it belong to 19xx; without it all belong to 20xx.

    Returns
    -------
    int or None
    """
    if order not in orders_of(text):
        return None
    parts = re.split(r"[./ -]+", text)
    named = not parts[1].isdigit()
    if len(parts) != 3 or len({sign for sign in text if sign in "./-"}) > 1:
        return None
    year, month, day = (parts[place] for place in ((2, 1, 0) if named else {"ymd": (0, 1, 2), "mdy": (2, 0, 1), "dmy": (2, 1, 0)}[order]))
    if len(year) not in (2, 4) or len(day) > 2 or (not named and len(month) > 2):
        return None
    number = MONTHS.index(month[:3].lower()) + 1 if named and month[:3].lower() in MONTHS else int(month) if month.isdigit() else 0
    full = int(year) if len(year) == 4 else int(year) + (1900 if pivot is not None and int(year) > pivot else 2000)
    try:
        return (date(full, number, int(day)) - date(1970, 1, 1)).days
    except ValueError:
        return None


@lru_cache(maxsize=100_000)
def clock_of(text: str, half: str | None) -> int | None:
    """Microseconds since midnight of a clock text; `half` is the text of its AM or PM, or None for 24 hours."""
    parts = text.replace(",", ".").split(":")
    hour, minute, second = int(parts[0]), int(parts[1]), float(parts[2]) if len(parts) > 2 else 0.0
    if half:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half[0] in "pP" else 0)
    if hour > 23 or minute > 59 or second >= 60:
        return None
    return (hour * 3600 + minute * 60) * 1_000_000 + round(second * 1e6)


@lru_cache(maxsize=1000)
def offset_us(text: str) -> int | None:
    """Microseconds of an offset written in a row."""
    offset = offset_of(text)
    return None if offset is None else round(offset.total_seconds() * 1e6)


def number_of(text: str, decimal_comma: bool) -> float | None:
    """Number of a cell, or None where it is none; words such as ``nan`` and ``inf`` are none."""
    written = text.replace(",", ".") if decimal_comma and text.count(",") == 1 else text
    return float(written) if NUMBER.fullmatch(written) else None
