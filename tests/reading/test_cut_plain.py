"""A plain text cut at once gives what the reader of the standard library gives row by row; what is not plain is left to it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.reading import cut_plain as plain
from pipeline.reading.cut_rows import CutRows, blocks_of_text, cut_rows

CELLS = [
    "",
    " ",
    "a",
    " b ",
    "long text of 21 signs",
    "ä°–",
    "1.5",
    "x" * 64,
    "y" * 65,
    "z" * 200,
    "12345678",
    "123456789",
    "\ufeff",
    "\u2028",
    "\x0c",
]
ROWS = st.lists(st.lists(st.sampled_from(CELLS), min_size=3, max_size=3), min_size=2, max_size=9)


def cut(text: str, delimiter: str = ",") -> CutRows | None:
    return plain.cut_plain(text, delimiter, 16_384, 131_072)


def columns_of(one: CutRows) -> list[list[str]]:
    return [column.spread(pd.RangeIndex(len(column.place))).tolist() for column in one.columns]


def same(one: CutRows, other: CutRows) -> bool:
    parts = [(each.heading_line, each.misshapen, each.blank_rows, columns_of(each)) for each in (one, other)]
    return (
        parts[0] == parts[1]
        and one.header[: len(one.columns)] == other.header[: len(one.columns)]
        and np.array_equal(one.lines, other.lines)
    )


@given(ROWS, st.sampled_from([",", ";", "\t"]), st.sampled_from(["\n", "\r\n"]), st.booleans())
def test_every_cell_is_what_the_standard_library_reads(rows: list[list[str]], delimiter: str, end: str, ended: bool) -> None:
    text = end.join(delimiter.join(row) for row in rows) + (end if ended else "")
    found = cut(text, delimiter)
    if found is not None:
        assert same(found, cut_rows(blocks_of_text(text, delimiter, "a.csv")))


def test_a_large_sheet_is_cut_in_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(plain, "AT_ONCE", 40)
    text = "a,b,c\n" + "".join(f"{row},{CELLS[row % 7].strip()},{'q' * (row % 90)}\n" for row in range(200))
    found = cut(text)
    assert found is not None and same(found, cut_rows(blocks_of_text(text, ",", "a.csv"))) and len(found.lines) == 200


NOT_PLAIN = {
    "blank line": "a,b\n1,2\n\n3,4\n", "blank cells": "a,b\n1,2\n ,\n", "long row": "a,b\n1,2,3\n", "short row": "a,b\n1\n",
    "even in sum": "a,b\n1,2,\n3\n", "quotes": 'a,b\n"1",2\n', "old line ends": "a,b\r1,2\r", "no heading": "a,\n1,2\n",
    "blank first": "\na,b\n1,2\n", "one column": "a\n1\n", "no rows": "a,b\n",
}  # fmt: skip


@pytest.mark.parametrize("text", list(NOT_PLAIN.values()), ids=list(NOT_PLAIN))
def test_what_is_not_plain_is_left_to_the_other_way(text: str) -> None:
    assert cut(text) is None


def test_too_long_a_line_or_too_many_columns_are_left_to_the_way_that_refuses_them() -> None:
    text = "a,b\n1," + "x" * 100 + "\n"
    assert plain.cut_plain(text, ",", 16_384, 100) is None and plain.cut_plain(text, ",", 1, 131_072) is None and cut(text) is not None
