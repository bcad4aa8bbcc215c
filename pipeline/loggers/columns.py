"""A column of a block: cells that are looked at as spans of bytes, so that only texts that differ become texts of Python, or as texts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import pandas as pd

from pipeline.reading.byte_cells import WIDEST, distinct_cells

# Texts of one column whose reading is kept from block to block
REMEMBERED = 50_000


@dataclass(frozen=True)
class Texts:
    """A column by its distinct texts: `text[code]` is what stands in a row."""

    code: np.ndarray
    text: list[str]

    def each(self, of: Callable[[str], object], dtype: str) -> np.ndarray:
        """What a function of the text gives for each row; it is asked once a distinct text."""
        return np.array(list(map(of, self.text)), dtype=dtype)[self.code]


class Column(Protocol):
    """Stripped cells."""

    def __len__(self) -> int:
        """Cells."""

    def text(self, row: int) -> str:
        """Text of a cell."""

    def some(self, rows: np.ndarray) -> Column:
        """Cells of some rows."""

    def parted(self, place: int) -> tuple[Column, Column]:
        """What stands before a place of each text, and what follows."""

    def distinct(self) -> Texts:
        """Distinct texts, in the order in which they come."""


@dataclass(frozen=True)
class Written:
    """Cells as texts."""

    texts: list[str]

    def __len__(self) -> int:
        """Cells."""
        return len(self.texts)

    def text(self, row: int) -> str:
        """Text of a cell."""
        return self.texts[row]

    def some(self, rows: np.ndarray) -> Written:
        """Cells of some rows."""
        return Written([self.texts[row] for row in rows])

    def parted(self, place: int) -> tuple[Written, Written]:
        """What stands before a place of each text, and what follows."""
        return Written([text[:place] for text in self.texts]), Written([text[place:] for text in self.texts])

    def distinct(self) -> Texts:
        """Distinct texts, in the order in which they come."""
        code, text = pd.factorize(np.array(self.texts, dtype=object))
        return Texts(code, list(text))


@dataclass(frozen=True)
class Spans:
    """Cells as spans of bytes.

    Attributes
    ----------
    signs : ndarray of uint8
        UTF-8 without a zero byte, and `PAD` zeros after it.
    begin, end : ndarray of int
        Cell ``n`` is ``signs[begin[n]:end[n]]``.
    """

    signs: np.ndarray
    begin: np.ndarray
    end: np.ndarray

    def __len__(self) -> int:
        """Cells."""
        return len(self.begin)

    def text(self, row: int) -> str:
        """Text of a cell; bytes of half a sign, where it was parted, stay what they are."""
        return self.signs[self.begin[row] : self.end[row]].tobytes().decode(errors="surrogateescape")

    def some(self, rows: np.ndarray) -> Spans:
        """Cells of some rows."""
        return Spans(self.signs, self.begin[rows], self.end[rows])

    def parted(self, place: int) -> tuple[Spans, Spans]:
        """What stands before a place of each text, counted in bytes, and what follows."""
        middle = np.minimum(self.begin + place, self.end)
        return Spans(self.signs, self.begin, middle), Spans(self.signs, middle, self.end)

    def distinct(self) -> Texts:
        """Distinct texts, in the order in which they come: eight bytes are compared as one number."""
        if int((self.end - self.begin).max(initial=1)) > WIDEST:
            return Written([self.text(row) for row in range(len(self))]).distinct()
        code, texts = distinct_cells(self.signs, self.begin, self.end)
        return Texts(code, [one.decode(errors="surrogateescape") for one in texts])
