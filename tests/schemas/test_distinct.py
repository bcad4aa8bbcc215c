"""Work on distinct values gives what work on every row gives."""

from __future__ import annotations

import numpy as np
import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from schemas.distinct import Coded, by_distinct, distinct_values, numbered, numbered_rows, spread

CELLS = st.lists(st.sampled_from(["a", " b", "", "long text", None]), max_size=30)


@given(CELLS)
def test_the_outcome_is_that_of_the_whole_column(cells: list[str | None]) -> None:
    column = pd.Series(cells, index=range(5, 5 + len(cells)), dtype="str", name="c")
    for change in (lambda one: one.str.strip(), lambda one: one.str.len(), lambda one: one.isin(["a", ""]), lambda one: one.fillna("x")):
        pd.testing.assert_series_equal(by_distinct(column, change), change(column))


@given(CELLS)
def test_every_row_finds_its_own_value_again(cells: list[str | None]) -> None:
    column = pd.Series(cells, dtype="str")
    place, values = distinct_values(column)
    pd.testing.assert_series_equal(spread(values, place, column), column)


def test_a_change_is_asked_once_a_value() -> None:
    asked: list[str] = []

    def change(values: pd.Series) -> pd.Series:
        asked.extend(values.dropna())
        return values.str.upper()

    column = pd.Series(["x", "y", np.nan] * 50, dtype="str")
    assert by_distinct(column, change).tolist()[:2] == ["X", "Y"] and asked == ["x", "y"]


@given(CELLS.filter(bool))
def test_a_coded_column_is_the_column(cells: list[str | None]) -> None:
    column = pd.Series(cells, dtype="str")
    coded, some = Coded(*distinct_values(column)), np.arange(len(cells))[::2]
    pd.testing.assert_series_equal(coded.spread(column.index), column)
    pd.testing.assert_series_equal(coded.change(lambda one: one.str.upper()).spread(column.index), column.str.upper())
    pd.testing.assert_series_equal(coded.rows(some).spread(column.index[::2]), column.iloc[::2], check_index_type=False)


def test_texts_keep_the_number_that_they_were_first_given() -> None:
    known: dict[str, int] = {}
    assert numbered_rows(np.array(["b", "a", "b"], dtype=object), known).tolist() == [0, 1, 0]
    assert numbered_rows(pd.Series(["c", "a", "c"], dtype="str"), known).tolist() == [2, 1, 2]
    assert numbered(["a", "d", "d"], known).tolist() == [1, 3, 3] and list(known) == ["b", "a", "c", "d"]
