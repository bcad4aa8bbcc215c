"""Figures that a map makes of several cells, by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
from source_sheets import sheet, source_map

from pipeline.mapping.sums import mean_of, summed, totals_that_differ
from pipeline.reading.rows import Cell, FieldMap


def column(*texts: str | None) -> pd.Series:
    return pd.Series(texts, dtype="str")


def test_the_mean_of_what_is_written_and_texts_side_by_side_where_one_is_no_number() -> None:
    made = mean_of([column("50", "50", None, "50"), column("51", None, None, "x"), column("52", "53", None, "52")])
    assert made.astype(object).where(made.notna(), None).tolist() == ["51", "51.5", None, "50|x|52"]
    assert mean_of([column("1/3")]).tolist() == ["1/3"] and mean_of([column("10"), column("10"), column("11")]).tolist() == ["10.333333"]


def test_effort_is_summed_once_for_each_pass_and_a_contradiction_stands_side_by_side() -> None:
    """A: 10 min told twice of pass 1 and 5.5 of pass 2; B: a word; C: two figures of one pass; D: nothing written."""
    rows = [
        ("A", "1", "10"), ("A", "1", "10"), ("A", "2", "5.5"), ("B", "1", "x"), ("B", "1", "3"), ("C", "1", "3"), ("C", "1", "4"),
        ("D", "1", None),
    ]  # fmt: skip
    cells = pd.DataFrame(rows, columns=["visit_id", "p", "search_minutes"], dtype="str")
    one = FieldMap("search_minutes", (Cell("m"),), sum_over=("p",))
    made = summed(cells, one, cells[["p"]], "visit_id")
    assert made.astype(object).where(made.notna(), None).tolist() == ["15.5"] * 3 + ["x|3"] * 2 + ["3|4"] * 2 + [None]


TOTAL = source_map(total="all", total_of=("a", "b"))


def test_a_total_that_is_another_number_is_told_with_what_was_counted() -> None:
    cells = sheet("all,a,b\n3,1,2\n4,1,2\n1,1,\n,1,2\nx,1,2\n2,two,2\n").cells
    odd = totals_that_differ(TOTAL, cells, (cells == "").to_numpy(), np.arange(6))
    assert odd.to_numpy().tolist() == [[1, "4", 3.0], [4, "x", 3.0]], "a total that is no number is told as well"
    assert totals_that_differ(TOTAL, cells, (cells == "").to_numpy(), np.array([0, 2])).empty
    assert totals_that_differ(source_map(), cells, (cells == "").to_numpy(), np.arange(6)).empty
