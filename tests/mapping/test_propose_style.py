"""Units, date orders and clocks: proposed where the numbers leave one reading, asked where they leave two. All values are invented."""

from __future__ import annotations

import pytest
from strange_sheets import sheet

from pipeline.mapping.column_content import Content, contents
from pipeline.mapping.propose_style import clock, date_is_evening, date_order, readable_as_day, two_digit_years, unit_of
from schemas.tables import fields


def column(heading: str, *texts: str) -> Content:
    return contents(sheet("\n".join([heading, *texts])), ())[heading]


@pytest.mark.parametrize(
    ("heading", "texts", "field", "value", "sure"),
    [
        ("Water", ("11.5", "12.8", "19"), "water_temp_c", "degC", False),
        ("Water", ("52", "55.4", "63"), "water_temp_c", "degF", False),
        ("Water (F)", ("52", "55.4", "63"), "water_temp_c", "degF", True),
        ("Water_C", ("12", "14", "16"), "water_temp_c", "degC", True),
        # the heading and the numbers contradict one another
        ("Water (C)", ("52", "55.4", "63"), "water_temp_c", "ask", False),
        # two thermometers in one column
        ("Water", ("12", "13", "55", "57"), "water_temp_c", "ask", False),
        ("Air", ("34", "35", "33"), "air_temp_c", "ask", False),
        ("RH", ("0.81", "0.92"), "rh_pct", "fraction", False),
        ("RH", ("81", "92"), "rh_pct", "percent", False),
        ("SVL", ("31", "57.5"), "svl_mm", "mm", False),
    ],
)
def test_unit(heading: str, texts: tuple[str, ...], field: str, value: str, sure: bool) -> None:
    table = "finds" if field == "svl_mm" else "visits"
    found = unit_of(column(heading, *texts), fields(table)[field])
    assert found is not None and (found.value, found.sure) == (value, sure)


def test_elevation_in_metres_or_feet_is_asked() -> None:
    found = unit_of(column("Elev", "700", "1200"), fields("sites")["elevation_m"])
    assert found is not None and found.value == "ask" and "m and ft" in found.reason


def test_cells_that_state_their_unit_need_none() -> None:
    assert unit_of(column("Reach", "15m", "50 m"), fields("visits")["length_m"]) is None


@pytest.mark.parametrize(
    ("texts", "value", "sure"),
    [
        (("5/26/2023", "6/14/2023"), "mdy", True),
        (("26.5.2023", "14.6.2023"), "dmy", True),
        # one date alone may be a slip
        (("5/26/2023", "6/4/2023"), "mdy", False),
        (("5/6/2023", "6/4/2023"), "ask", False),
        (("45072", "45091"), "serial", False),
    ],
)
def test_date_order(texts: tuple[str, ...], value: str, sure: bool) -> None:
    found = date_order(column("Date", *texts))
    assert found is not None and (found.value, found.sure) == (value, sure)


def test_plain_dates_need_no_word_and_numbers_are_no_dates() -> None:
    assert date_order(column("Date", "2023-05-26", "2023-06-04")) is None
    assert readable_as_day(column("Count", "1", "12")) == 0
    assert two_digit_years(column("Date", "5/26/23")) and not two_digit_years(column("Date", "5/26/2023"))


@pytest.mark.parametrize(
    ("texts", "value"),
    [
        (("9:15 AM", "1:20 PM"), "ampm"),
        (("09:15", "14:20"), "24h"),
        (("21:40", "9:52", "1:05"), "night"),
        (("9:15", "11:40"), "ask"),
        (("9:15", "13:40", "2:10"), "ask"),
    ],
)
def test_clock(texts: tuple[str, ...], value: str) -> None:
    assert clock(column("Time", *texts)).value == value


def test_a_date_is_the_evening_where_work_went_on_past_midnight() -> None:
    text = "Date,Time\n5/26/2023,21:40\n5/26/2023,0:35\n6/14/2023,22:10\n6/14/2023,1:05\n"
    known = contents(sheet(text), ())
    found = date_is_evening(known["Date"], known["Time"])
    assert found is not None and (found.value, found.sure) == ("evening", False)
    # an evening and its own next morning under two dates
    known = contents(sheet("Date,Time\n5/26/2023,21:40\n5/27/2023,0:35\n6/14/2023,22:10\n"), ())
    assert date_is_evening(known["Date"], known["Time"]) is None
