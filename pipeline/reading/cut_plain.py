"""Plain text to columns at once: bytes are looked at as numbers, and only a text that differs from all others becomes one of Python's.

What comes out is what :mod:`pipeline.reading.cut_rows` makes of the rows that the standard library reads. A text with quote marks, blank
or ragged rows or odd line ends is not plain, and is left to it.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from pipeline.reading.cut_rows import CutRows
from schemas.distinct import Coded

# Bytes after the last cell, so that every cell can be looked at eight bytes at a time
PAD = 8
# A longer text becomes one of Python's without a look at its bytes
WIDEST = 64
AT_ONCE = 4_000_000
LINE_END = ord("\n")
MASKS = np.array([(1 << 8 * n) - 1 for n in range(9)], dtype="<u8")


def cut_plain(text: str, delimiter: str, most_columns: int, longest: int) -> CutRows | None:
    """Turn a plain text into columns.

    Parameters
    ----------
    text : str
        Whole file, without zero bytes.
    delimiter : str
        One sign of ASCII.
    most_columns, longest : int
        A sheet with more columns, or a line with so many bytes, is left to the other way.

    Returns
    -------
    CutRows or None
        None where the text is not plain: a line is a row, all rows have as many cells as there are headings, none is blank.
    """
    if '"' in text:
        return None
    signs = text.encode().replace(b"\r\n", b"\n").removesuffix(b"\n")
    heading, _, body = signs.partition(b"\n")
    header = heading.decode().split(delimiter)
    width = len(header)
    if b"\r" in signs or not body or not 2 <= width <= most_columns or not header[-1].strip().lstrip("\ufeff"):
        return None
    known: list[dict[str, int]] = [{} for _ in range(width)]
    places: list[list[np.ndarray]] = [[] for _ in range(width)]
    rows = 0
    for part in _parts(body):
        ends = _ends(part, ord(delimiter), width, longest)
        if ends is None:
            return None
        begins = np.concatenate([[0], ends.ravel()[:-1] + 1]).reshape(ends.shape)
        eights = np.ndarray(len(part) - PAD + 1, "<u8", part, strides=(1,))
        blank = np.ones(len(ends), dtype=bool)
        for column in range(width):
            begin, end = np.ascontiguousarray(begins[:, column]), np.ascontiguousarray(ends[:, column])
            place = _codes(part, eights, begin, end, known[column])
            places[column].append(place)
            if blank.any():
                blank &= np.array([not one.strip() for one in known[column]], dtype=bool)[place]
        if blank.any():
            return None
        rows += len(ends)
    columns = [Coded(np.concatenate(codes), pd.Series(list(texts), dtype="str")) for codes, texts in zip(places, known, strict=True)]
    return CutRows(header, 1, columns, np.arange(2, rows + 2, dtype="int64"), {}, 0, header)


def _parts(body: bytes) -> Iterator[bytes]:
    """Whole lines, some megabytes at a time, each part with a line end and `PAD` zeros."""
    start = 0
    while start < len(body):
        end = body.find(b"\n", start + AT_ONCE)
        end = len(body) if end < 0 else end
        yield body[start:end] + b"\n" + bytes(PAD)
        start = end + 1


def _ends(part: bytes, delimiter: int, width: int, longest: int) -> np.ndarray | None:
    """End of each cell, by row and column; None where a row has another number of cells, or is too long."""
    signs = np.frombuffer(part, "uint8")
    is_end = signs == LINE_END
    places = np.flatnonzero(is_end | (signs == delimiter))
    rows = int(np.count_nonzero(is_end))
    if width * rows != len(places) or not is_end[places[width - 1 :: width]].all():
        return None
    ends = places.reshape(rows, width)
    return None if int(np.diff(ends[:, -1], prepend=-1).max()) >= longest else ends


def _codes(part: bytes, eights: np.ndarray, begin: np.ndarray, end: np.ndarray, known: dict[str, int]) -> np.ndarray:
    """Position of the text of each cell among those that are known; new ones are added."""
    length = end - begin
    place = np.empty(len(begin), dtype="int32")
    is_long = length > WIDEST
    if is_long.any():
        rows = np.flatnonzero(is_long)
        texts = [part[one:other].decode() for one, other in zip(begin[rows].tolist(), end[rows].tolist(), strict=True)]
        place[rows] = [known.setdefault(text, len(known)) for text in texts]
        short = np.flatnonzero(~is_long)
        if len(short):
            place[short] = _short_codes(eights, begin[short], length[short], known)
        return place
    return _short_codes(eights, begin, length, known)


def _short_codes(eights: np.ndarray, begin: np.ndarray, length: np.ndarray, known: dict[str, int]) -> np.ndarray:
    parts = []
    for offset in range(0, max(int(length.max()), 1), 8):
        at = np.minimum(begin + offset, len(eights) - 1)
        parts.append(eights[at] & MASKS[np.clip(length - offset, 0, 8)])
    code, found = pd.factorize(parts[0])
    for part in parts[1:]:
        more, others = pd.factorize(part)
        code, found = pd.factorize(code * len(others) + more)
    first = np.empty(len(found), dtype="int64")
    first[code[::-1]] = np.arange(len(code))[::-1]
    together = np.ascontiguousarray(np.stack([part[first] for part in parts], axis=1))
    texts = [one.decode() for one in together.view(f"S{8 * len(parts)}").ravel().tolist()]
    return np.array([known.setdefault(text, len(known)) for text in texts], dtype="int32")[code]
