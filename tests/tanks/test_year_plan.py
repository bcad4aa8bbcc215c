"""Set points by week under the ceiling; day length against the published equations; a calendar that another reader understands."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pandas as pd
import pytest

from pipeline.formulas.sun import day_and_twilight
from pipeline.tanks.pages.calendar import due_calendar, plan_calendar
from pipeline.tanks.year_plan import year_plan

HERE = {"taxon": "DMON", "population": "north", "medium": "water"}
MADE = dt.datetime(2025, 1, 1, tzinfo=dt.UTC)


def weeks(population: str = "north", shift: float = 0.0) -> pd.DataFrame:
    rows = [
        {
            "taxon": "DMON",
            "population": population,
            "life_stage": "larva",
            "medium": "water",
            "week": week,
            "set_point": 10 + shift + week / 10,
            "act_line": 15.0 + shift,
            "at_floor": False,
        }
        for week in range(10, 41)
    ]
    return pd.DataFrame(rows)


def declination_at_noon(day: dt.date) -> float:
    """Radians. Source: the Astronomical Almanac's low-precision formulas for the sun, good to 0.01° (coefficients from memory)."""
    n = (dt.datetime(day.year, day.month, day.day, 12) - dt.datetime(2000, 1, 1, 12)).days
    longitude, anomaly = 280.460 + 0.9856474 * n, math.radians(357.528 + 0.9856003 * n)
    ecliptic = math.radians(longitude + 1.915 * math.sin(anomaly) + 0.020 * math.sin(2 * anomaly))
    return math.asin(math.sin(math.radians(23.439 - 4e-7 * n)) * math.sin(ecliptic))


# Source: FAO-56 (Allen et al. 1998) eq. 25 for the sunset hour angle, with the sun's centre 0.833° below the horizon at sunset (refraction
# and upper limb, as almanacs take it) in place of 0.
@pytest.mark.parametrize("latitude", [0.0, 25.0, 36.0, 45.0, 60.0, -40.0])
@pytest.mark.parametrize("month", range(1, 13))
def test_the_day_is_as_long_as_the_published_equations_say(latitude: float, month: int) -> None:
    day = dt.date(2025, month, 15)
    low, phi, declination = math.radians(-0.833), math.radians(latitude), declination_at_noon(day)
    angle = math.acos((math.sin(low) - math.sin(phi) * math.sin(declination)) / (math.cos(phi) * math.cos(declination)))
    assert day_and_twilight(latitude, day)[0] == pytest.approx(24 * angle / math.pi, abs=0.03)


# Source: sunrise on 1 January at 36° N is 7:11 and at 36° S 4:47 local mean time (Strous' printed table, see tests/formulas/test_sun.py);
# the sun stands in the south at 12:03 that day (equation of time, Astronomical Almanac, from memory).
@pytest.mark.parametrize(("latitude", "rise_h"), [(36.0, 7 + 11 / 60), (-36.0, 4 + 47 / 60)])
def test_the_day_is_as_long_as_a_printed_sunrise_says(latitude: float, rise_h: float) -> None:
    assert day_and_twilight(latitude, dt.date(2002, 1, 1))[0] == pytest.approx(2 * (12 + 3.5 / 60 - rise_h), abs=0.05)


# Source: geometry: at the equator on an equinox the sun sinks 15° an hour, from 0.833° to 6° in 20.7 minutes.
def test_twilight_at_the_equator() -> None:
    assert day_and_twilight(0.0, dt.date(2025, 3, 20))[1] == pytest.approx((6 - 0.833) / 15, abs=0.01)


def test_the_midnight_sun_and_the_polar_night() -> None:
    assert day_and_twilight(75.0, dt.date(2025, 6, 21))[0] == 24 and day_and_twilight(75.0, dt.date(2025, 12, 21))[0] == 0


def test_the_ceiling_has_the_last_word() -> None:
    plan = year_plan(weeks(), 13.0, HERE, "larva", 2025, 36.0).set_index("week")
    assert plan.at[10, "set_point_c"] == 11.0 and plan.at[40, "set_point_c"] == 12.0, "13 °C less the swing of a thermostat"
    assert plan.at[1, "words"] and np.isnan(plan.at[1, "set_point_c"])
    assert plan.at[40, "set_point_f"] == math.floor(12.0 * 1.8 + 32)


def test_weeks_are_those_of_the_schedule_and_cover_the_year() -> None:
    plan = year_plan(weeks(), 18.0, HERE, "larva", 2024, 36.0)
    assert plan["from_day"].iloc[0] == dt.date(2024, 1, 1) and plan["to_day"].iloc[-1] == dt.date(2024, 12, 31)
    assert (plan["from_day"].iloc[1:].to_numpy() == plan["to_day"].iloc[:-1].to_numpy() + dt.timedelta(days=1)).all()


def test_an_unknown_population_gets_the_lowest_set_point() -> None:
    both = pd.concat([weeks(), weeks("south", -1.0)])
    plan = year_plan(both, 18.0, {**HERE, "population": ""}, "larva", 2025, 36.0).set_index("week")
    assert plan.at[20, "set_point_c"] == 11.0
    assert year_plan(both, 18.0, HERE, "larva", 2025, 36.0).set_index("week").at[20, "set_point_c"] == 12.0


# Source: RFC 5545, read back by the icalendar library: all-day entries end on the day after their last, lines end in CRLF and fold at
# 75 octets.
def test_the_calendar_is_read_back() -> None:
    from icalendar import Calendar

    text = plan_calendar("T1", year_plan(weeks(), 18.0, HERE, "larva", 2025, 36.0), MADE)
    events = Calendar.from_ical(text).walk("VEVENT")
    assert len(events) == 31
    first = events[0]
    assert (
        str(first["summary"]) == "T1: hold 11 °C (51 °F)"
        and first["dtstart"].dt == dt.date(2025, 3, 5)
        and first["dtend"].dt == dt.date(2025, 3, 12)
    )
    assert len({str(event["uid"]) for event in events}) == 31
    lines = text.split(b"\r\n")
    assert max(map(len, lines)) <= 75 and lines[0] == b"BEGIN:VCALENDAR" and b"\n" not in text.replace(b"\r\n", b"")


def test_what_is_due_stands_in_a_calendar_on_its_day() -> None:
    from icalendar import Calendar

    due = [
        {"duty": "weighing", "what": "Weigh the animals", "due": dt.date(2025, 8, 1), "words": "every 30 days"},
        {"duty": "x", "due": None},
    ]
    (event,) = Calendar.from_ical(due_calendar("T1", due, MADE)).walk("VEVENT")
    assert event["dtstart"].dt == dt.date(2025, 8, 1) and str(event["summary"]) == "T1: Weigh the animals"
