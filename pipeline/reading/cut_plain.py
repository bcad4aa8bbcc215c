"""Plain text to columns at once: bytes are looked at as numbers, and only a text that differs from all others becomes one of Python's.

What comes out is what :mod:`pipeline.reading.cut_rows` makes of the rows that the standard library reads. A text with quote marks, blank
or ragged rows or odd line ends is not plain, and is left to it.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from pipeline.reading.byte_cells import PAD, WIDEST, distinct_cells
from pipeline.reading.cut_rows import CutRows
from schemas.distinct import Coded, numbered

AT_ONCE = 4_000_000
LINE_END = ord("\n")


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
        blank = np.ones(len(ends), dtype=bool)
        for column in range(width):
            begin, end = np.ascontiguousarray(begins[:, column]), np.ascontiguousarray(ends[:, column])
            place = _codes(part, begin, end, known[column])
            places[column].append(place)
            if blank.any():
                blank &= np.array([not one.strip() for one in known[column]], dtype=bool)[place]
        if blank.any():
            return None
        rows += len(ends)
    columns = [
        # most columns have few texts: a byte or two tell them apart
        Coded(np.concatenate(codes).astype(np.min_scalar_type(-len(texts))), pd.Series(list(texts), dtype="str"))
        for codes, texts in zip(places, known, strict=True)
    ]
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


def _codes(part: bytes, begin: np.ndarray, end: np.ndarray, known: dict[str, int]) -> np.ndarray:
    """Position of the text of each cell among those that are known; new ones are added."""
    place = np.empty(len(begin), dtype="int32")
    is_long = end - begin > WIDEST
    if is_long.any():
        texts = [part[one:other].decode() for one, other in zip(begin[is_long].tolist(), end[is_long].tolist(), strict=True)]
        place[is_long] = numbered(texts, known)
    if not is_long.all():
        code, signs = distinct_cells(part, begin[~is_long], end[~is_long])
        place[~is_long] = numbered([one.decode() for one in signs], known)[code]
    return place
