"""Candidates that describe one thing, brought together: equal ones once, different ones told."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd

from pipeline.checking.typed_rows import Candidates
from schemas.tables import fields, key_of


@dataclass(frozen=True)
class Merged:
    """Candidates brought together by key.

    Attributes
    ----------
    row_of : ndarray of int
        For each candidate the row that it belongs to: the candidate that came first.
    later : ndarray of bool
        Candidates that describe their row differently; the first of each kind is held, its repeats belong to it.
    differs : dict of str to ndarray of bool
        For each field, candidates whose text differs from the one that is kept.
    borrowed : dict of str to dict of int to int
        For each field, the rows whose stored cell is that of a later candidate, and that candidate.
    repeats : dict of str to ndarray of int
        For each field, candidates whose cell says again what an earlier one of their row says.
    """

    row_of: np.ndarray
    later: np.ndarray
    differs: dict[str, np.ndarray]
    borrowed: dict[str, dict[int, int]]
    repeats: dict[str, np.ndarray]


def merge(one: Candidates) -> Merged:
    """Bring candidates of one key together: equal ones are merged, blanks are filled, a different later one is set apart.

    Parameters
    ----------
    one : Candidates
        Rows of one table.

    Returns
    -------
    Merged
    """
    if one.text.empty:
        return _nothing(one.table)
    key = one.text[key_of(one.table)]
    row_of, later, alike = np.arange(len(key)), np.zeros(len(key), dtype=bool), np.zeros(len(key), dtype=bool)
    differs = dict.fromkeys(one.text, alike)
    borrowed: dict[str, dict[int, int]] = {name: {} for name in one.text}
    repeats = dict.fromkeys(one.text, np.zeros(0, dtype="int32"))
    shared = key.notna() & key.duplicated(keep=False)
    if not shared.any():
        return Merged(row_of, later, differs, borrowed, repeats)
    text, group, places = one.text[shared], key[shared].rename(None), np.flatnonzero(shared)
    apart = _described_differently(text, group)
    row_of[places] = group.map(pd.Series(places, index=group.array).groupby(level=0).first())
    if apart.any():
        described = text[apart].fillna("\x00").agg("\x1f".join, axis=1)
        row_of[places[apart]] = described.map({text_: place for place, text_ in reversed(list(described.items()))})
    later[places] = apart
    differing = _differences(text, group, apart)
    for name in text.columns[differing.any()]:
        differs[name] = alike.copy()
        differs[name][places] = differing[name]
    for name in text:
        told = places[text[name].notna() & ~apart]
        first = pd.Series(told, index=row_of[told]).groupby(level=0).first()
        borrowed[name] = {row: candidate for row, candidate in first.items() if row != candidate}
        repeats[name] = np.setdiff1d(told, first).astype("int32")
    return Merged(row_of, later, differs, borrowed, repeats)


@cache
def _nothing(table: str) -> Merged:
    """No row; most tables of a load have none, and to find that out field by field takes as long as to merge a hundred."""
    none = np.zeros(0, dtype=bool)
    names = fields(table)
    return Merged(np.zeros(0, dtype="int64"), none, dict.fromkeys(names, none), {name: {} for name in names}, dict.fromkeys(names, none))


def _described_differently(text: pd.DataFrame, group: pd.Series) -> pd.Series:
    """Candidates that say something else than those kept before them; what such a candidate says is not kept."""
    later = pd.Series(False, index=group.index)
    suspect = group[group.isin(group[_differences(text, group, later).any(axis=1)])]
    for _, members in text.loc[suspect.index].groupby(suspect, sort=False):
        kept: dict[str, str] = {}
        for row, cells in zip(members.index, members.to_dict("records"), strict=True):
            given = {name: value for name, value in cells.items() if pd.notna(value)}
            if any(kept.get(name, value) != value for name, value in given.items()):
                later[row] = True
            else:
                kept.update(given)
    return later


def _differences(text: pd.DataFrame, group: pd.Series, later: pd.Series) -> pd.DataFrame:
    kept = text.where(~later, np.nan).groupby(group).transform("first")
    return text.notna() & kept.notna() & (text != kept)


def rows_stored(one: Candidates, merged: Merged, name: str) -> np.ndarray:
    """For each candidate the row in which its cell of a field is stored; -1 where it is not: nothing is written, it is said again, or held.

    Parameters
    ----------
    one, merged : Candidates, Merged
        Rows and how they belong together.
    name : str
        A field.

    Returns
    -------
    ndarray of int
    """
    stored = np.where(one.text[name].notna() & ~merged.later, merged.row_of, -1)
    stored[merged.repeats[name]] = -1
    return stored


def rows(one: Candidates, merged: Merged, columns: pd.DataFrame) -> pd.DataFrame:
    """One row a key, each field from the candidate that provides it; rows described differently keep their own fields.

    Parameters
    ----------
    one, merged : Candidates, Merged
        Rows and how they belong together.
    columns : DataFrame
        The typed, text or written frame of `one`, or some of its columns.

    Returns
    -------
    DataFrame
        Indexed by the first candidate of each row.
    """
    if np.array_equal(merged.row_of, one.text.index):
        return columns.copy(deep=False)
    frame = columns.loc[np.unique(merged.row_of)]
    for name in columns:
        if borrowed := merged.borrowed[name]:
            frame.loc[list(borrowed), name] = columns.loc[list(borrowed.values()), name].to_numpy()
    return frame
