"""The keeper's table: whole degrees Fahrenheit on the safe side, and no page that contradicts itself."""

from __future__ import annotations

import math
import re

import pytest
from care_study import NORTH, Text, rows_of, study
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from pipeline.care.months import row_fahrenheit
from pipeline.care.sheet import page
from pipeline.errors import RillbookError
from pipeline.writing.words import fahrenheit

DEGREES = (st.integers(0, 900) | st.integers(0, 2200)).map(lambda hundredths: hundredths / 100)


@settings(max_examples=1000)
@given(
    st.tuples(DEGREES, DEGREES, DEGREES).map(sorted),
    st.sampled_from("ABC"),
    st.integers(4, 22),
    st.none() | st.integers(1, 8),
)
def test_fahrenheit_keeps_the_order_of_the_row(quantiles: list[float], grade: str, ceiling: int, floor: int | None) -> None:
    # Rows rounded and cut as method §5 says, written here anew.
    p25, p50, p75 = quantiles
    step = 0.5 if grade == "A" else 1.0
    high = math.floor(min(p75, ceiling - 1) / step) * step
    aim = min(math.floor(p50 / step) * step, high)
    assume(floor is None or floor <= aim)
    low = min(math.ceil(max(p25, floor or 0) / step) * step, aim)
    act = math.floor(min(ceiling, p75 + 2) / step) * step
    record = {"band_low": low, "set_point": aim, "band_high": high, "act_line": act}
    warm = row_fahrenheit(record, floor)
    assert warm["low"] <= warm["aim"] <= warm["high"] <= warm["act"] <= fahrenheit(ceiling)
    assert floor is None or warm["low"] >= min(fahrenheit(floor, up=True), warm["high"])
    assert (warm["high"] - 32) / 1.8 <= high + 1e-9 and (warm["act"] - 32) / 1.8 <= act + 1e-9


def test_borrowed_and_cut_rows(html: str) -> None:
    rows = rows_of(html, "Larvae, in water, north")
    assert "9–12 °C 49–53 °F" in rows["October"] and "14–17 °C 58–62 °F" in rows["August"]
    assert "4 dates of 6 needed; borrowed from September" in rows["October"] and rows["October"].count("borrowed from") == 1
    assert "the field was warmer; the cap holds" in rows["August"]
    assert "B fair" in rows["March"] and "borrowed; own: C provisional" in rows["October"]


def test_months_without_a_line_are_said_in_one_line(html: str) -> None:
    rows = rows_of(html, "Larvae, in water, north")
    assert tuple(rows) == ("March", "April", "May", "June", "July", "August", "September", "October")
    part = Text(html[html.index("Larvae, in water, north") :]).text
    assert "No line: January, February, December (no readings); November (fewer than 3 sites)." in part


@pytest.mark.parametrize(
    ("column", "value", "message"),
    [
        ("band_high", 18.0, "is the ceiling itself"),
        ("band_high", 12.0, "highest set point, 15 °C, stands above the top of the band, 12 °C"),
        ("act_line", 18.5, "act line, 18.5 °C, stands above the ceiling, 18 °C"),
        ("band_low", 15.5, "bottom of the band, 15.5 °C, stands above the lowest set point, 15 °C"),
        ("floor", 14.5, "floor, 14.5 °C, stands above the bottom of the band"),
        ("set_point", math.nan, "a target without a set point"),
    ],
)
def test_a_sheet_that_contradicts_itself_is_not_written(column: str, value: float, message: str) -> None:
    targets, readings, taxa, facts = study()
    july = (targets["population"] == NORTH) & (targets["life_stage"] == "larva") & (targets["month"] == "7")
    targets.loc[july, column] = value
    if message == "is the ceiling itself":
        targets.loc[july, "act_line"] = 18.0
    if column == "floor":
        others = (targets["population"] == NORTH) & (targets["life_stage"] == "larva") & ~july
        targets.loc[others & (targets["status"] != "refused"), "status"] = "refused"
    with pytest.raises(RillbookError, match=re.escape(message)):
        page("INVA", targets, readings, taxa, facts)
