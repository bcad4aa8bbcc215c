"""Columns of counts that become rows: which cells hold a count, which say zero, and which say nothing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.reading.rows import ZEROS, SourceMap


@dataclass(frozen=True)
class Counts:
    """Cells of the wide columns of a sheet, row by row; every cell is one of the three, or holds something to count.

    Attributes
    ----------
    zero : ndarray of bool, shape (rows, columns)
        The cell says that none was there.
    silent : ndarray of bool, shape (rows, columns)
        The cell is empty, a missing token, or a word for "not counted here": of its taxon nothing is said.
    told : ndarray of bool, shape (rows, columns)
        The cell is such a word.
    """

    zero: np.ndarray
    silent: np.ndarray
    told: np.ndarray


def count_cells(source: SourceMap, cells: pd.DataFrame, missing: np.ndarray) -> Counts:
    """Sort the cells of the wide columns.

    Parameters
    ----------
    source : SourceMap
        With `wide` columns.
    cells : DataFrame of str
        The sheet, without outer spaces.
    missing : ndarray of bool
        Cells of the whole sheet that hold nothing or a missing token.

    Returns
    -------
    Counts
    """
    names = list(source.wide)
    zero = cells[names].isin([*ZEROS, *source.wide_zeros]).to_numpy()
    told = cells[names].isin(source.not_counted).to_numpy() & ~zero
    return Counts(zero, (missing[:, [cells.columns.get_loc(name) for name in names]] | told) & ~zero, told)


def nothing_found(source: SourceMap, counts: Counts) -> np.ndarray:
    """Rows whose counts are zero wherever something is written; where a row names its own taxon, a zero contradicts it instead."""
    if not all("taxon" in sets for sets in source.wide.values()):
        return np.zeros(len(counts.zero), dtype=bool)
    return counts.zero.any(axis=1) & (counts.zero | counts.silent).all(axis=1)


def widen(source: SourceMap, counts: Counts, rows: np.ndarray) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """One row for each cell that holds something to count; a row with none keeps its first written cell.

    Parameters
    ----------
    source : SourceMap
        With `wide` columns.
    counts : Counts
        Of the whole sheet.
    rows : ndarray of int
        Positions of the rows that make finds.

    Returns
    -------
    ndarray of int, dict of str to ndarray
        The position of each row made, and the column that feeds its field.
    """
    zero, silent = counts.zero[rows], counts.silent[rows]
    positive = ~zero & ~silent
    none = ~positive.any(axis=1)
    first = np.where((~silent).any(axis=1), (~silent).argmax(axis=1), 0)
    positive[np.flatnonzero(none), first[none]] = True
    at, which = np.nonzero(positive)
    return rows[at], {source.wide_field: np.array(list(source.wide), dtype=object)[which]}
