"""What a column of a strange sheet holds: its texts, its numbers, and the tokens of the sheet that mean nothing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.mapping.known_words import MISSING, SENTINELS, tokens
from pipeline.reading.coordinates import read_angle
from pipeline.reading.rows import SourceTable
from pipeline.reading.units import UNITS, parted, unit_named
from pipeline.reading.values import CLOCK_TEXT, number_of

EXAMPLES = 3
FEW_CODES = 12
# decimals from which a number within the span of degrees may be a place, and the size from which it may be one in metres: judgement
PLACE_DECIMALS, PLACE_METRES = 3, 50_000
PLACE_WORDS = frozenset(
    ("x", "y", "lat", "latitude", "lon", "long", "lng", "longitude", "utm", "easting", "northing", "coord", "coords", "gps")
)


@dataclass(frozen=True)
class Content:
    """What one column holds.

    Attributes
    ----------
    name : str
        The heading.
    words : tuple of str
        Words of the heading.
    text : Series of str
        Without outer spaces; missing where nothing is written.
    numbers : Series of float
        Missing where the text is no number, with or without a unit beside it.
    units : tuple of str
        Units that stand in its cells.
    """

    name: str
    words: tuple[str, ...]
    text: pd.Series
    numbers: pd.Series
    units: tuple[str, ...]

    @property
    def filled(self) -> int:
        """Cells with something in them."""
        return int(self.text.notna().sum())

    @property
    def distinct(self) -> int:
        """Different texts."""
        return int(self.text.nunique())

    @property
    def numeric(self) -> float:
        """Share of the filled cells that are numbers."""
        return float(self.numbers.notna().sum() / self.filled) if self.filled else 0.0

    @property
    def whole(self) -> bool:
        """Whether all its numbers are whole and there are any."""
        known = self.numbers.dropna()
        return bool(len(known)) and bool((known == known.round()).all())

    @property
    def examples(self) -> tuple[str, ...]:
        """The texts that stand most often."""
        return tuple(self.text.value_counts().index[:EXAMPLES])

    @property
    def may_be_a_place(self) -> bool:
        """Whether its cells may say where something is, so that none of them may be shown."""
        if not self.filled:
            return False
        if PLACE_WORDS & set(self.words) or self.text.str.contains(r"\d{6}", regex=True).fillna(False).any():
            return True
        known = self.numbers.dropna()
        long = self.text[known.index].str.extract(r"\.(\d*)", expand=False).str.len() >= PLACE_DECIMALS
        degrees = bool(len(known)) and bool((long & known.abs().between(1, 180)).any())
        return degrees or bool((known.abs() >= PLACE_METRES).any()) or self.angles("NS") > 0 or self.angles("EW") > 0

    def angles(self, letters: str) -> float:
        """Share of the texts that are no bare number and read as an angle with these letters."""
        # 13:05 would be an angle too
        written = [one for one in self.text[self.text.notna() & self.numbers.isna()].unique() if not CLOCK_TEXT.fullmatch(one)]
        return float(np.mean([read_angle(one, letters) is not None for one in written])) if len(written) else 0.0


def contents(sheet: SourceTable, missing: tuple[str, ...]) -> dict[str, Content]:
    """What each column of a sheet holds, by its heading.

    Parameters
    ----------
    sheet : SourceTable
        The sheet.
    missing : tuple of str
        Texts that mean that nothing was written.

    Returns
    -------
    dict of str to Content
    """
    return {name: _content(name, sheet.cells[name], missing) for name in sheet.cells.columns}


def _content(name: str, cells: pd.Series, missing: tuple[str, ...]) -> Content:
    text = cells.str.strip()
    text = text.where(~text.isin(["", *missing]), np.nan).astype("str")
    read: dict[str, float] = {}
    units: dict[str, None] = {}
    for one in text.dropna().unique():
        number = number_of(one)
        if number is None and (both := parted(one)) and any(unit_named(both[1], stored) for stored in UNITS):
            number = number_of(both[0])
            units[both[1]] = None
        if number is not None:
            read[one] = number
    return Content(name, tokens(name), text, text.map(read).astype("float64"), tuple(units))


def missing_tokens(sheets: list[SourceTable]) -> tuple[str, ...]:
    """Texts of sheets that mean "nothing was written": the usual words, and numbers such as -99 far from all others of their column.

    Parameters
    ----------
    sheets : list of SourceTable
        The sheets.

    Returns
    -------
    tuple of str
        In the order of the usual words.
    """
    found: dict[str, None] = {}
    for sheet in sheets:
        for name in sheet.cells.columns:
            text = sheet.cells[name].str.strip()
            held = set(text.unique())
            found.update(dict.fromkeys(one for one in MISSING if one in held))
            for one in SENTINELS:
                if one in held and _far_away(one, text):
                    found[one] = None
    return tuple(one for one in (*MISSING, *SENTINELS) if one in found)


def _far_away(sentinel: str, text: pd.Series) -> bool:
    """Whether a number cannot be one of its column: it stands there twice, with a sign that no other has or far beyond them."""
    others = text[~text.isin(["", *MISSING, *SENTINELS])].drop_duplicates().map(number_of).dropna().astype("float64")
    if (text == sentinel).sum() < 2 or others.empty:
        return False
    number = float(sentinel)
    if number > 0:
        return bool(others.abs().max() < number / 5)
    return bool((others >= 0).all()) or bool((others - number).abs().min() > 5)
