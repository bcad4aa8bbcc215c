"""Work on the distinct values of a column once, and hand the outcome to every row that holds them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd


@dataclass(frozen=True)
class Coded:
    """A column as its distinct values, and where each row's value stands: what was told apart once need not be told apart again.

    Attributes
    ----------
    place : ndarray of int, shape (n,)
        For each row the position of its value; -1 leads to the last, which is then the missing value.
    values : Series
        The values; two of them may be alike after a change.
    """

    place: np.ndarray
    values: pd.Series

    def rows(self, rows: np.ndarray) -> Coded:
        """Some of the rows, by position."""
        if np.array_equal(rows, np.arange(len(self.place))):
            return self
        return Coded(self.place[rows], self.values)

    def change(self, change: Callable[[pd.Series], pd.Series]) -> Coded:
        """The column with each value changed; no value may depend on another."""
        return Coded(self.place, change(self.values))

    def spread(self, index: pd.Index, name: str | None = None) -> pd.Series:
        """The column itself."""
        return pd.Series(self.values.array.take(self.place), index=index, name=name)

    def spread_unless(self, before: Coded, column: pd.Series) -> pd.Series:
        """The column itself; `column`, which holds the values before a change, where nothing was changed, so that they are held once."""
        return column if self.values.equals(before.values) else self.spread(column.index)


def distinct_values(column: pd.Series) -> tuple[np.ndarray, pd.Series]:
    """Distinct values of a column, and where each stands.

    Parameters
    ----------
    column : Series
        Any type.

    Returns
    -------
    place : ndarray of int, shape (n,)
        For each row the position of its value; -1 where it is missing.
    values : Series
        In the type of the column, in the order in which they first stand; where something is missing, the last is the missing value, so
        that -1 leads to it.
    """
    place, values = pd.factorize(column)
    once = pd.Series(values, dtype=column.dtype)
    return place, once.reindex(range(len(once) + 1)) if (place < 0).any() else once


def numbered(texts: Iterable[str], known: dict[str, int]) -> np.ndarray:
    """The number of each text among those that are known, int32; a new one is added with the next number."""
    return np.array([known.setdefault(text, len(known)) for text in texts], dtype="int32")


def numbered_rows(column: Any, known: dict[str, int]) -> np.ndarray:
    """As :func:`numbered`, for a column of texts in which none is missing; each distinct text is asked for once."""
    place, texts = pd.factorize(column)
    return numbered(texts, known)[place]


def by_distinct(column: pd.Series, change: Callable[[pd.Series], pd.Series]) -> pd.Series:
    """Change each distinct value once.

    Parameters
    ----------
    column : Series
        Any type.
    change : callable
        From a Series to one of the same length, value by value: no row may depend on another.

    Returns
    -------
    Series
        As ``change(column)``.
    """
    place, values = distinct_values(column)
    if 2 * len(values) > len(column):
        return change(column)
    return spread(change(values), place, column)


def spread(outcome: pd.Series, place: np.ndarray, column: pd.Series) -> pd.Series:
    """Hand the outcome of each distinct value to the rows of `column`, as :func:`distinct_values` says."""
    return pd.Series(outcome.array.take(place), index=column.index, name=outcome.name if outcome.name is not None else column.name)
