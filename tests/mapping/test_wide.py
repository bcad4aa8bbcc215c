"""Columns of counts that become rows: zero is said, silence is not, and a word for "not counted" is silence."""

from __future__ import annotations

import numpy as np
import pytest
from source_sheets import sheet, source_map

from pipeline.mapping.wide import Counts, count_cells, nothing_found, widen

WIDE = {"A": {"taxon": "A"}, "B": {"taxon": "B"}}


def counted(text: str, **words: object) -> Counts:
    cells = sheet(text).cells
    return count_cells(source_map(wide=WIDE, **words), cells, (cells == "").to_numpy())


@pytest.mark.parametrize(
    ("cell", "words", "zero", "silent", "told"),
    [
        ("0", {}, True, False, False), ("0.0", {}, True, False, False), ("00", {}, True, False, False), ("2", {}, False, False, False),
        ("", {}, False, True, False), ("-", {}, False, False, False), ("-", {"wide_zeros": ("-",)}, True, False, False),
        ("nc", {"not_counted": ("nc",)}, False, True, True), ("", {"wide_zeros": ("",)}, True, False, False),
    ],
)  # fmt: skip
def test_every_cell_is_zero_silent_or_holds_something(cell: str, words: dict[str, object], zero: bool, silent: bool, told: bool) -> None:
    got = counted(f"v,A,B\nV1,{cell},1\n", **words)
    assert (got.zero[0, 0], got.silent[0, 0], got.told[0, 0]) == (zero, silent, told)
    assert not got.zero[0, 1] and not got.silent[0, 1]


def test_nothing_was_found_only_where_a_zero_says_so() -> None:
    """By hand: zeros; a zero beside a blank; blanks alone say nothing; a word that is no number is left to the check."""
    got = counted("v,A,B\nV1,0,0\nV2,0,\nV3,,\nV4,0,x\nV5,0,3\n")
    assert nothing_found(source_map(wide=WIDE), got).tolist() == [True, True, False, False, False]
    # Columns of passes do not name a taxon: a row's own taxon with zeros contradicts itself and is not silently an absence.
    passes = {"A": {"pass_no": "1"}, "B": {"pass_no": "2"}}
    assert not nothing_found(source_map(wide=passes), got).any()


def test_a_row_becomes_one_for_each_count_and_keeps_one_without() -> None:
    got = counted("v,A,B\nV1,2,3\nV2,0,4\nV3,,\nV4,,0\n")
    rows, columns = widen(source_map(wide=WIDE), got, np.array([0, 1, 2, 3]))
    assert rows.tolist() == [0, 0, 1, 2, 3] and columns["count"].tolist() == ["A", "B", "B", "A", "B"]
    none, empty = widen(source_map(wide=WIDE), got, np.array([], dtype=int))
    assert len(none) == len(empty["count"]) == 0
