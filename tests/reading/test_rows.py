"""What passes between reading, mapping and checking: labels, repeated headings, the columns that a map names."""

from __future__ import annotations

import numpy as np
import pytest
from source_sheets import sheet, source_map

from pipeline.errors import RillbookError
from pipeline.reading.rows import Cell, FieldMap, MappedSource, refuse_repeats


def test_a_label_names_the_sheet_where_there_is_one() -> None:
    assert sheet("a\n1\n").label == "a.csv" and sheet("a\n1\n", "w.xlsx", "finds").label == "w.xlsx, sheet finds"


def test_a_repeated_heading_is_refused_with_its_line() -> None:
    refuse_repeats(sheet("a\n1\n"))
    with pytest.raises(RillbookError, match=r"w\.xlsx, sheet finds, line 3: two columns are named 'Depth'"):
        refuse_repeats(sheet("a\n1\n", "w.xlsx", "finds", repeated=("Depth", "Date"), heading_line=3))


def test_columns_that_a_map_names_once_each_and_in_order() -> None:
    one = FieldMap("visit_id", (Cell("v"), Cell("d")))
    two = FieldMap("search_minutes", (Cell("m"),), sum_over=("p", "d"))
    made = source_map(
        tables={"visits": (one, two)},
        no_find={"x": ("none",)},
        wide={"A": {}, "m": {}},
        skip={"note": ("sum",)},
        total="all",
        total_of=("A",),
    )
    assert list(made.named_columns()) == ["v", "d", "m", "p", "x", "A", "note", "all"]
    assert list(source_map().named_columns()) == []


def test_a_count_of_zero_in_its_spellings() -> None:
    table = sheet("n\n0\n 0 \n00\n0.0\n1\n\n-0\n".replace("\n\n", "\n \n"))
    source = MappedSource(table, (), np.zeros((7, 1), dtype=bool), (), np.zeros(7, dtype=bool), ("n",))
    assert source.zero("n").tolist() == [True, True, True, True, False, False, False]
