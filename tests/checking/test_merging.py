"""Candidates of one key become one row, or are set apart, as a plain loop would do it."""

from __future__ import annotations

import itertools

import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st
from source_sheets import mapped

from pipeline.checking.merging import merge, rows, rows_stored
from pipeline.checking.typed_rows import Candidates, gather

FIELDS = ("site_id", "habitat", "county", "elevation_m")
Row = tuple[str | None, ...]


def _sites(*parts: list[Row]) -> Candidates:
    return gather("sites", [mapped("sites", part, FIELDS) for part in parts])


def _merged(*parts: list[Row]) -> tuple[list[int], list[bool], list[Row]]:
    one = _sites(*parts)
    merged = merge(one)
    frame = rows(one, merged, one.text)[list(FIELDS)]
    made = [tuple(None if pd.isna(cell) else cell for cell in row) for row in frame.itertuples(index=False)]
    return merged.row_of.tolist(), merged.later.tolist(), made


def test_equal_descriptions_are_one_row() -> None:
    assert _merged([("A", "stream", "x", "5"), ("A", "Stream", "x", "5.0")]) == ([0, 0], [False, False], [("A", "stream", "x", "5.0")])


def test_blanks_are_filled_from_three_descriptions() -> None:
    given = [("A", "stream", None, None), ("A", None, "x", None), ("A", "stream", None, "7")]
    assert _merged(given) == ([0, 0, 0], [False] * 3, [("A", "stream", "x", "7.0")])


def test_a_different_later_description_is_set_apart_and_gives_nothing() -> None:
    given = [("A", "stream", "x", None), ("A", "stream", "y", "5"), ("A", "stream", None, "8")]
    row_of, later, made = _merged(given)
    assert (row_of, later) == ([0, 1, 0], [False, True, False])
    assert made == [("A", "stream", "x", "8.0"), ("A", "stream", "y", "5.0")]


def test_what_fills_a_blank_is_itself_held_to_by_the_next() -> None:
    # the third and the fourth both differ from the second, which is set apart, and from each other
    given = [("A", "stream", "x", None), ("A", "stream", "y", "5"), ("A", None, None, "6"), ("A", None, None, "7")]
    row_of, later, made = _merged(given)
    assert later == [False, True, False, True]
    assert row_of == [0, 1, 0, 3]
    assert made[0] == ("A", "stream", "x", "6.0")


def test_a_different_description_said_twice_is_held_once() -> None:
    given = [("A", "stream", "x", None), *[("A", "stream", "y", "5")] * 3, ("A", "stream", "z", "5")]
    row_of, later, _ = _merged(given)
    assert row_of == [0, 1, 1, 1, 4]
    assert later == [False, True, True, True, True]


def test_the_differing_fields_are_named() -> None:
    one = _sites([("A", "stream", "x", "5"), ("A", "seep", "x", "6")])
    differs = merge(one).differs
    assert {name for name, mask in differs.items() if mask.any()} == {"habitat", "elevation_m"}
    assert differs["habitat"].tolist() == [False, True]


def test_rows_without_a_key_are_never_one() -> None:
    row_of, later, _ = _merged([(None, "stream", "x", "1"), (None, "stream", "x", "1")])
    assert (row_of, later) == ([0, 1], [False, False])


def test_unreadable_text_differs_from_a_number_and_equals_itself() -> None:
    assert _merged([("A", "stream", "x", "bad"), ("A", "stream", "x", "5")])[1] == [False, True]
    assert _merged([("A", "stream", "x", "bad"), ("A", "stream", "x", "bad")])[1] == [False, False]


def test_two_sheets_describe_one_site() -> None:
    one = _sites([("A", "stream", None, None)], [("B", "seep", None, "1"), ("A", None, "x", "5")])
    merged = merge(one)
    assert merged.row_of.tolist() == [0, 1, 0]
    assert merged.borrowed["county"] == {0: 2}
    assert one.origin.loc[2].to_dict() == {"source": 1, "row": 1, "line": 3}
    filled = rows(one, merged, one.typed)
    assert filled.loc[0, "elevation_m"] == 5.0
    assert filled["elevation_m"].dtype == "float64"


def test_nothing_at_all() -> None:
    one = gather("finds", [])
    assert one.typed.empty and one.faults.empty
    assert merge(one).row_of.tolist() == []
    assert rows(one, merge(one), one.typed).empty


def _plain(given: list[Row]) -> tuple[list[bool], dict[str, list[Row]]]:
    """The merge as a plain loop."""
    later, kept = [], {}
    for row in given:
        before = kept.setdefault(row[0], [None] * len(row))
        if any(cell is not None and old is not None and cell != old for cell, old in zip(row, before, strict=True)):
            later.append(True)
            continue
        later.append(False)
        kept[row[0]] = [old if old is not None else cell for cell, old in zip(row, before, strict=True)]
    return later, kept


CELL = st.sampled_from([None, "x", "y"])
ROWS = st.lists(
    st.tuples(st.sampled_from("AB"), st.sampled_from([None, "stream", "seep"]), CELL, st.sampled_from([None, "1.0"])), max_size=7
)


@settings(max_examples=40)
@given(ROWS)
def test_as_a_plain_loop_does(given: list[Row]) -> None:
    row_of, later, made = _merged(given)
    expected, kept = _plain(given)
    assert later == expected
    places = sorted(set(row_of))
    for key, cells in kept.items():
        place = next(place for place, row in enumerate(given) if row[0] == key)
        assert list(made[places.index(place)]) == cells


@settings(max_examples=40)
@given(ROWS)
def test_without_a_conflict_the_order_of_rows_does_not_matter(given: list[Row]) -> None:
    if any(_plain(given)[0]):
        return
    expected = sorted(_merged(given)[2])
    for order in itertools.islice(itertools.permutations(given), 6):
        assert sorted(_merged(list(order))[2]) == expected


def test_a_cell_is_stored_in_one_row_or_in_none() -> None:
    given = [("A", "stream", "x", None), ("A", None, "x", "5"), ("A", "seep", "x", "6"), ("B", "seep", None, "7")]
    one = _sites(given)
    merged = merge(one)
    # blank, said again, and set apart: none of these is stored
    assert {name: rows_stored(one, merged, name).tolist() for name in FIELDS[1:]} == {
        "habitat": [0, -1, -1, 3], "county": [0, -1, -1, -1], "elevation_m": [-1, 0, -1, 3],
    }  # fmt: skip
    assert rows(one, merged, one.written[["elevation_m"]])["elevation_m"].tolist() == ["5", "6", "7"]
