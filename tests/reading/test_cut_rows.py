"""Rows to columns: short rows are filled, long ones kept with all their cells, blank ones counted, lines kept."""

from __future__ import annotations

import pandas as pd
import pytest

from pipeline.errors import RillbookError
from pipeline.reading import cut_rows as cutting
from pipeline.reading.cut_rows import LONGEST_CELL, CutRows, blocks_of_text, cut_rows


def cut(text: str) -> CutRows:
    return cut_rows(blocks_of_text(text, ",", "a.csv"))


@pytest.mark.parametrize("at_once", [1, 2, 20_000])
def test_a_sheet_in_columns(monkeypatch: pytest.MonkeyPatch, at_once: int) -> None:
    monkeypatch.setattr(cutting, "AT_ONCE", at_once)
    one = cut('\na,b,\n1,"two\nlines"\n,\n3\n4,5,6,7\n1,two\n')
    assert one.header == ["a", "b", ""] and one.heading_line == 2 and one.blank_rows == 2
    columns = [column.spread(pd.RangeIndex(4)).tolist() for column in one.columns]
    assert columns == [["1", "3", "4", "1"], ["two\nlines", "", "5", "two"]]
    # a row of two lines is on the line where it begins
    assert one.lines.tolist() == [3, 6, 7, 8] and one.misshapen == {2: ("4", "5", "6", "7")} and one.last == ["1", "two"]
    assert one.columns[0].values.tolist() == ["1", "3", "4"]


def test_nothing_but_blank_rows() -> None:
    one = cut("\n,,\n \n")
    assert one.heading_line == 0 and one.columns == [] and one.blank_rows == 3


@pytest.mark.parametrize(
    ("text", "line"),
    [(f"a,b\n1,2\n3,{'x' * (LONGEST_CELL + 1)}\n", 3), ('a,b\n1,2\n3,"4\n', 3), (f"a,b\r1,{'x' * (LONGEST_CELL + 1)}\r", 2)],
    ids=["long cell", "open quote", "old line ends"],
)
def test_a_row_that_cannot_be_cut_is_named(text: str, line: int) -> None:
    with pytest.raises(RillbookError, match=rf"a\.csv, line {line}"):
        cut(text)
