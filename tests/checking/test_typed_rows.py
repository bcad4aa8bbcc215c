"""Candidates of one key brought together: equal merged, blanks filled, a different later description set apart (design §5)."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from source_sheets import mapped

from pipeline.checking.merging import merge, rows
from pipeline.checking.typed_rows import Candidates, gather
from pipeline.mapping.apply_map import apply_map
from pipeline.mapping.column_map import parse_map
from pipeline.reading.rows import SourceTable
from pipeline.reading.values import Style

Row = tuple[str | None, ...]


def test_the_evening_s_date_moves_on_after_midnight() -> None:
    # common practice, no source: a night's sheet carries the date of its evening
    names = ("visit_id", "visit_date", "start_time")
    given = [("V1", "2012-06-30", "21:52"), ("V2", "2012-06-30", "01:05"), ("V3", "2012-06-30", None), ("V4", "2012-06-30", "12:00")]
    one = gather("visits", [mapped("visits", given, names, {"visit_date": Style(evening=True)})])
    assert one.typed["visit_date"].dt.strftime("%m-%d").tolist() == ["06-30", "07-01", "06-30", "06-30"]
    assert one.text["visit_date"].tolist()[1] == "2012-07-01"
    assert one.written["visit_date"].tolist()[1] == "2012-06-30"


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


def test_what_is_stored_keeps_nothing_of_what_was_checked() -> None:
    """An empty part of a frame that is no copy keeps the memory of the whole."""
    one = gather("sites", [mapped("sites", [("A", "1"), ("B", "2")], ("site_id", "elevation_m"))])
    stored = one.to_store(pd.Index([1]))
    assert stored.text["site_id"].tolist() == ["B"] and stored.origin.equals(one.origin)
    assert one.typed["elevation_m"].tolist() == [1.0, 2.0]
    for frame in (stored.typed, stored.written):
        values = frame["elevation_m"].to_numpy()
        while isinstance(values.base, np.ndarray):
            values = values.base
        assert values.size == 0
