"""Tables as CSV, to the byte as pandas writes them, and without formulas."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.writing import spreadsheet
from pipeline.writing.spreadsheet import csv_parts, csv_text, for_spreadsheet

TEXTS = st.one_of(st.text(max_size=4), st.sampled_from(["", "=1", "-1", "-1+2", "@a", "a,b", 'a"b', '"', "\r", "\n", "\ta", "nan", "+1_0"]))
KINDS = {
    "str": TEXTS | st.none(),
    "object": TEXTS | st.sampled_from([None, np.nan, pd.NA]),
    "category": TEXTS | st.none(),
    "float64": st.floats() | st.sampled_from([0.0, -0.0, 0.1 + 0.2]),
    "Int64": st.integers(-9, 9) | st.none(),
    "boolean": st.booleans() | st.none(),
    "bool": st.booleans(),
    "mixed": st.sampled_from([1, True, 1.0, "=1", None]),
}


@st.composite
def frames(draw: st.DrawFn) -> pd.DataFrame:
    rows, kinds = draw(st.integers(0, 6)), draw(st.lists(st.sampled_from(sorted(KINDS)), min_size=1, max_size=4))
    columns = {}
    for number, kind in enumerate(kinds):
        values = draw(st.lists(KINDS[kind], min_size=rows, max_size=rows))
        columns[f"{kind}, {number}"] = pd.Series(values, dtype="object" if kind == "mixed" else kind)
    return pd.DataFrame(columns)


@given(frames())
def test_each_byte_is_as_pandas_writes_it(frame: pd.DataFrame) -> None:
    """RFC 4180 as Python's csv module and pandas write it; the texts made harmless first."""
    assert csv_text(frame) == for_spreadsheet(frame).to_csv(index=False, lineterminator="\n")


def test_parts_are_the_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    frame = pd.DataFrame({"text": ["a", "=b", None, "c\nd", "e"], "number": [1.0, -0.0, 0.0, np.nan, 2.5]})
    whole = csv_text(frame)
    monkeypatch.setattr(spreadsheet, "ROWS", 2)
    parts = list(csv_parts(frame))
    assert len(parts) == 4 and "".join(parts) == whole and "'=b" in whole


def test_neighbours_of_few_kinds_are_written_as_one_and_read_alike() -> None:
    """Pairs of cells that stand in several rows, cells in quotes, formulas and missing cells among them."""
    kinds = {"a": ["x", "=y", None], "b": ["1,2", "z"], "c": ["only"]}
    columns = {name: pd.Categorical([kind[row % len(kind)] for row in range(60)]) for name, kind in kinds.items()}
    frame = pd.DataFrame({**columns, "text": [f"row {row}" for row in range(60)], "d": columns["b"]})
    assert csv_text(frame) == for_spreadsheet(frame).to_csv(index=False, lineterminator="\n")
    parts = [column for name in "abc" if (column := spreadsheet._written(frame[name], spreadsheet._Cells())) is not None]
    assert [len(cells) for _, cells in spreadsheet._together(parts)] == [6]
