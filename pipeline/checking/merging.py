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
    provider : dict of str to Series
        For each field, row to the candidate whose cell is stored.
    later : ndarray of bool
        Candidates that describe their row differently; the first of each kind is held, its repeats belong to it.
    differs : dict of str to ndarray of bool
        For each field, candidates whose text differs from the one that is kept.
    """

    row_of: np.ndarray
    provider: dict[str, pd.Series]
    later: np.ndarray
    differs: dict[str, np.ndarray]


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
    text, key = one.text, one.text[key_of(one.table)]
    own = key.where(key.notna(), "\x00" + pd.Series(np.arange(len(key)), index=key.index).astype("str"))
    group = pd.Series(pd.factorize(own)[0], index=key.index)
    later = _described_differently(text, group)
    differing = _differences(text, group, later)
    first = group.map(pd.Series(group.index, index=group.array).groupby(level=0).first())
    row_of = first.to_numpy().copy()
    if later.any():
        described = text[later].fillna("\x00").agg("\x1f".join, axis=1)
        row_of[later.to_numpy()] = described.map({text_: place for place, text_ in reversed(list(described.items()))}).to_numpy()
    provider, alike = {}, group.duplicated().any()
    written, places = text.notna().to_numpy() & ~later.to_numpy()[:, np.newaxis], text.index.to_numpy()
    for name, there in zip(text.columns, written.T, strict=True):
        every = pd.Series(places[there], index=row_of[there])
        provider[name] = every.groupby(level=0).first() if alike and len(every) else every
    return Merged(row_of, provider, later.to_numpy(), {name: differing[name].to_numpy() for name in text.columns})


@cache
def _nothing(table: str) -> Merged:
    """No row; most tables of a load have none, and to find that out field by field takes as long as to merge a hundred."""
    none = np.zeros(0, dtype=bool)
    at = pd.Series(dtype="int64", index=pd.Index([], dtype="int64"))
    return Merged(np.zeros(0, dtype="int64"), dict.fromkeys(fields(table), at), none, dict.fromkeys(fields(table), none))


def _described_differently(text: pd.DataFrame, group: pd.Series) -> pd.Series:
    """Candidates that say something else than those kept before them; what such a candidate says is not kept."""
    later = pd.Series(False, index=group.index)
    if not group.duplicated().any():
        return later
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
    differs = pd.DataFrame(False, index=text.index, columns=text.columns)
    shared = group.duplicated(keep=False)
    if shared.any():
        mine = text[shared]
        kept = mine.where(~later[shared], np.nan).groupby(group[shared]).transform("first")
        differs[shared] = mine.notna() & kept.notna() & (mine != kept)
    return differs


def rows(one: Candidates, merged: Merged, columns: pd.DataFrame) -> pd.DataFrame:
    """One row a key, each field from the candidate that provides it; rows described differently keep their own fields.

    Parameters
    ----------
    one, merged : Candidates, Merged
        Rows and how they belong together.
    columns : DataFrame
        The typed, text or written frame of `one`.

    Returns
    -------
    DataFrame
        Indexed by the first candidate of each row.
    """
    if np.array_equal(merged.row_of, one.text.index):
        return columns.copy()
    index = pd.Index(sorted(set(merged.row_of)))
    frame = columns.loc[index].copy()
    later = set(one.text.index[merged.later])
    for name, provider in merged.provider.items():
        filled = provider[(provider.index != provider.to_numpy()) & ~provider.index.isin(later)]
        if len(filled):
            frame.loc[filled.index, name] = columns.loc[filled.to_numpy(), name].to_numpy()
    return frame
