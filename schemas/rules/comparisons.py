"""Comparisons that a rule is made of where it can be: data, so that the check and the form's page read the same statement.

A ``Comparison`` looks at one row, ``Among`` at the finds of one visit together.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pandas as pd

Of = Callable[[pd.Series, Any], pd.Series]

# The page knows the same words: `HOLDS` in pipeline/entry/templates/form/rules.js.
WORDS: dict[str, Of] = {
    "above": lambda value, other: value > other,
    "below": lambda value, other: value < other,
    "at least": lambda value, other: value >= other,
    "at most": lambda value, other: value <= other,
    "one of": lambda value, other: value.isin(other),
    "is true": lambda value, other: value.eq(True),
    "is not true": lambda value, other: ~value.fillna(False).astype(bool),
    "noted": lambda value, other: value.notna(),
    "not noted": lambda value, other: value.isna(),
}


@dataclass(frozen=True)
class Comparison:
    """One comparison of a field with another field, a number or codes.

    Attributes
    ----------
    field : str
        What is compared: a field of the rule's table, or what the check joins to it.
    word : str
        One of ``WORDS``. A missing value is never above, below, at least, at most or one of anything.
    to : str, float, tuple of str or None
        Another field, a number in the unit of the field, or codes.
    less : str
        Field to take from `field` before; the difference counts without its sign.
    """

    field: str
    word: str
    to: str | float | tuple[str, ...] | None = None
    less: str = ""

    def holds(self, frame: pd.DataFrame) -> pd.Series:
        """Rows for which it holds; boolean."""
        value = (frame[self.field] - frame[self.less]).abs() if self.less else frame[self.field]
        other = frame[self.to] if isinstance(self.to, str) else self.to
        return WORDS[self.word](value, other).fillna(False).astype(bool)


def all_of(*comparisons: Comparison) -> Callable[[pd.DataFrame], pd.Series]:
    """Mask of the rows for which all comparisons hold; it carries them as ``when``."""

    def mask(frame: pd.DataFrame) -> pd.Series:
        held = pd.Series(True, index=frame.index)
        for one in comparisons:
            held &= one.holds(frame)
        return held

    mask.when = comparisons  # type: ignore[attr-defined]
    return mask


@dataclass(frozen=True)
class Among:
    """One statement on a field of the finds of one visit.

    Attributes
    ----------
    word : str
        One of ``AMONG``: ``copied`` (one value stands at `least` finds or more), ``apart`` (one reading is further than `apart` from the
        median of all, and the others, at least `least`, span no more than `alike`), ``visit apart`` (at least `least` readings span no more
        than `alike`, and the visit's own is further than `apart` from their median; told at the first of them).
    field : str
        Field of the finds.
    least : int
        How many finds it takes.
    alike, apart : float
        In the unit of the field.
    """

    word: str
    field: str
    least: int
    alike: float = 0.0
    apart: float = 0.0

    def holds(self, frame: pd.DataFrame) -> pd.Series:
        """Rows for which it holds; boolean. Finds of no known visit stand beside none."""
        noted = frame[frame[self.field].notna() & frame["visit_id"].notna()]
        held = pd.Series(False, index=frame.index)
        held.loc[noted.index] = AMONG[self.word](noted, self)
        return held


def _copied(finds: pd.DataFrame, said: Among) -> pd.Series:
    return finds.groupby(["visit_id", said.field])[said.field].transform("size") >= said.least


def _apart(finds: pd.DataFrame, said: Among) -> pd.Series:
    visit, readings = finds["visit_id"], finds[said.field].astype("float64")
    far = (readings - readings.groupby(visit).transform("median")).abs() > said.apart
    rest = readings.mask(far).groupby(visit)
    agree = (rest.transform("count") >= said.least) & (rest.transform("max") - rest.transform("min") <= said.alike)
    return far & agree & (far.groupby(visit).transform("sum") == 1)


def _visit_apart(finds: pd.DataFrame, said: Among) -> pd.Series:
    readings = finds[said.field].astype("float64").groupby(finds["visit_id"])
    agree = (readings.transform("size") >= said.least) & (readings.transform("max") - readings.transform("min") <= said.alike)
    away = (finds[f"visit_{said.field}"].astype("float64") - readings.transform("median")).abs() > said.apart
    return agree & away & ~finds["visit_id"].duplicated()


# The page knows the same words: `AMONG` in pipeline/entry/templates/form/rules.js.
AMONG: dict[str, Callable[[pd.DataFrame, Among], pd.Series]] = {"copied": _copied, "apart": _apart, "visit apart": _visit_apart}


def among(said: Among) -> Callable[[pd.DataFrame], pd.Series]:
    """Mask of the finds for which it holds; it carries the statement as ``among``."""

    def mask(frame: pd.DataFrame) -> pd.Series:
        return said.holds(frame)

    mask.among = said  # type: ignore[attr-defined]
    return mask
