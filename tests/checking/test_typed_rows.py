"""Candidates of one key brought together: equal merged, blanks filled, a different later description set apart (design §5)."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.checking.merging import merge, rows
from pipeline.checking.typed_rows import Candidates, gather
from pipeline.mapping.apply_map import apply_map
from pipeline.mapping.column_map import parse_map
from pipeline.reading.rows import Mapped, MappedSource, SourceTable
from pipeline.reading.values import CANONICAL, Style

FIELDS = ("site_id", "habitat", "county", "elevation_m")
Row = tuple[str | None, ...]


def _source(table: str, given: list[Row], names: tuple[str, ...], styles: dict[str, Style] | None = None) -> MappedSource:
    text = pd.DataFrame(given, columns=list(names), dtype="str")
    cells = text.fillna("")
    sheet = SourceTable("a.csv", "", cells, np.arange(2, len(cells) + 2), "0" * 64, {}, 0)
    known = {**dict.fromkeys(names, CANONICAL), **(styles or {})}
    mapped = Mapped(table, text, np.arange(len(text)), known, {name: (name,) for name in names}, {})
    return MappedSource(sheet, (mapped,), (cells == "").to_numpy(), (), np.zeros(len(cells), dtype=bool), ())


def _sites(*parts: list[Row]) -> Candidates:
    return gather("sites", [_source("sites", part, FIELDS) for part in parts])


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
    assert merged.provider["county"].to_dict() == {0: 2}
    assert one.origin.loc[2].to_dict() == {"source": 1, "row": 1, "line": 3}
    filled = rows(one, merged, one.typed)
    assert filled.loc[0, "elevation_m"] == 5.0
    assert filled["elevation_m"].dtype == "float64"


def test_nothing_at_all() -> None:
    one = gather("finds", [])
    assert one.typed.empty and one.faults.empty
    assert merge(one).row_of.tolist() == []
    assert rows(one, merge(one), one.typed).empty


def test_the_evening_s_date_moves_on_after_midnight() -> None:
    # common practice, no source: a night's sheet carries the date of its evening
    names = ("visit_id", "visit_date", "start_time")
    given = [("V1", "2012-06-30", "21:52"), ("V2", "2012-06-30", "01:05"), ("V3", "2012-06-30", None), ("V4", "2012-06-30", "12:00")]
    one = gather("visits", [_source("visits", given, names, {"visit_date": Style(evening=True)})])
    assert one.typed["visit_date"].dt.strftime("%m-%d").tolist() == ["06-30", "07-01", "06-30", "06-30"]
    assert one.text["visit_date"].tolist()[1] == "2012-07-01"
    assert one.written["visit_date"].tolist()[1] == "2012-06-30"


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


# Several readings in one visit: invented sheets in the shapes of public ones, three depths, two thermometers, a reading each half hour.
VISIT = 'visit_id = "v"\nwater_temp_c = "t"\n'


def _visits(text: str, body: str = VISIT) -> tuple[pd.DataFrame, Candidates]:
    header, *lines = text.strip().splitlines()
    cells = pd.DataFrame([line.split(",") for line in lines], columns=header.split(","), dtype="str")
    sheet = SourceTable("a.csv", "", cells, np.arange(2, len(cells) + 2), "0" * 64, {}, 0)
    one = gather("visits", apply_map(parse_map(f"[[source]]\n[source.visits]\n{body}", "map.toml"), [sheet]))
    return rows(one, merge(one), one.typed), one


def test_readings_of_one_visit_become_their_mean_with_number_and_span() -> None:
    frame, one = _visits("v,t\nA,11\nA,12\nA,13.6\nA,11\nB,9\n")
    assert frame["water_temp_c"].round(6).tolist() == [12.2, 9]
    assert one.several["how"].tolist() == ["mean of 3 readings, 11 to 13.6"]
    assert one.several["text"].tolist() == ["11 | 12 | 13.6"]


@pytest.mark.parametrize(("how", "value"), [("mean", 12.2), ("median", 12.0), ("first", 11.0)])
def test_the_map_names_what_several_readings_become(how: str, value: float) -> None:
    frame, one = _visits("v,t\nA,11\nA,12\nA,13.6\n", f'visit_id = "v"\nwater_temp_c = {{ column = "t", several = "{how}" }}\n')
    assert frame["water_temp_c"].tolist() == pytest.approx([value])
    assert one.several["how"].tolist() == [f"{how} of 3 readings, 11 to 13.6"]


@pytest.mark.parametrize("text", ["v,t,p\nA,11,6\nA,12,7\n", "v,t,p\nA,11,6\nA,x,6\n", "v,t,p\nA,11,6\nA,55,6\n"])
def test_rows_that_differ_in_more_or_cannot_be_read_are_two_descriptions(text: str) -> None:
    frame, one = _visits(text, VISIT + 'ph = "p"\n')
    assert one.several.empty and merge(one).later.any()
    assert frame["water_temp_c"].iloc[0] == 11


def test_several_readings_of_a_field_that_is_asked_for_stand_beside_others() -> None:
    body = 'visit_id = "v"\nwater_temp_c = { column = "t", several = "mean" }\nwater_depth_cm = { column = "d", several = "mean" }\n'
    frame, one = _visits("v,t,d\nA,11,5\nA,12,10\nA,13,15\n", body)
    assert frame[["water_temp_c", "water_depth_cm"]].to_numpy().tolist() == [[12, 10]]
    assert not merge(one).later.any()
