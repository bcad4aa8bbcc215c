"""Figures that a map makes of several cells: means of columns, sums over passes, and totals held against their counts."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.reading.rows import FieldMap, SourceMap
from pipeline.reading.values import number_of


def mean_of(parts: list[pd.Series]) -> pd.Series:
    """Mean of several columns; where one of them is no number the texts stand side by side, to be held back as unreadable."""
    together = pd.concat(parts, axis=1, keys=range(len(parts)))
    numbers = pd.DataFrame({place: _numbers(together[place]) for place in together.columns})
    mean = numbers.mean(axis=1).round(6).map(lambda number: np.nan if pd.isna(number) else f"{number:.10g}").astype("str")
    bad = (numbers.isna() & together.notna()).any(axis=1)
    return mean.where(~bad, _side_by_side(together.fillna(""), "|"))


def _side_by_side(texts: pd.DataFrame, sign: str) -> pd.Series:
    return pd.Series([sign.join(row) for row in texts.itertuples(index=False, name=None)], index=texts.index, dtype="str")


def _numbers(text: pd.Series) -> pd.Series:
    return text.map(number_of, na_action="ignore").astype("float64")


def summed(frame: pd.DataFrame, one: FieldMap, taken: pd.DataFrame, key: str) -> pd.Series:
    """Sum over distinct passes; a pass with two different figures leaves both texts side by side, to be held back as unreadable."""
    passes = _side_by_side(taken[list(one.sum_over)], "\x1f")
    rows = pd.DataFrame({"key": frame[key], "pass": passes, "text": frame[one.name]}).dropna(subset=["text"]).drop_duplicates()
    numbers = _numbers(rows["text"])
    odd = rows.loc[numbers.isna() | rows.duplicated(["key", "pass"], keep=False), "key"]
    sums = numbers.groupby(rows["key"]).sum()
    texts = sums.map(lambda number: f"{number:.10g}").astype("str")
    for name in odd.unique():
        texts[name] = "|".join(rows.loc[rows["key"] == name, "text"])
    return frame[key].map(texts).astype("str")


def totals_that_differ(source: SourceMap, cells: pd.DataFrame, missing: np.ndarray, rows: np.ndarray) -> pd.DataFrame:
    """Rows whose total is another number than the sum of their counts, or no number; a count that is none is told elsewhere."""
    if not source.total:
        return pd.DataFrame({"row": [], "total": [], "counted": []})
    written = cells[source.total].where(~missing[:, cells.columns.get_loc(source.total)]).iloc[rows]
    total = _numbers(written)
    counted = cells[list(source.total_of)].apply(lambda column: _numbers(column.where(column != ""))).fillna(0).sum(axis=1).iloc[rows]
    odd = written.notna() & (total != counted)
    return pd.DataFrame({"row": rows[odd], "total": written[odd].to_numpy(), "counted": counted[odd].to_numpy()})
