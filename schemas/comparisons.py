"""Comparisons of fields that a rule is made of where it can be: data, so that the check and the form's page read the same statement."""

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
