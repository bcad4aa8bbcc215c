"""Night and day against published times, another formula, and what the sun must do.

Times of cities are from memory (national almanac offices print them to the minute), so three minutes either side are allowed; those of a
printed table of sunrise by latitude were read there.
"""

from __future__ import annotations

import math
import time

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.formulas.sun import is_night

NEW_YORK = (40.71, -74.01, "America/New_York")
LONDON = (51.51, -0.13, "Europe/London")
SYDNEY = (-33.87, 151.21, "Australia/Sydney")


def night(place: tuple[float, float, str], date: str, clocks: list[str | None]) -> list[object]:
    n = len(clocks)
    return is_night([place[0]] * n, [place[1]] * n, pd.to_datetime([date] * n), pd.Series(clocks, dtype="str"), place[2]).tolist()


def shifted(clock: str, minutes: int) -> str:
    total = int(clock[:2]) * 60 + int(clock[3:]) + minutes
    return f"{total // 60:02}:{total % 60:02}"


@pytest.mark.parametrize(
    ("place", "date", "sunrise", "sunset"),
    [
        (NEW_YORK, "2024-06-20", "05:25", "20:31"),
        (NEW_YORK, "2024-12-21", "07:17", "16:32"),
        (NEW_YORK, "2024-03-09", "06:17", "17:57"),
        (NEW_YORK, "2024-03-10", "07:15", "18:58"),
        (LONDON, "2024-06-20", "04:43", "21:22"),
        (LONDON, "2024-12-21", "08:04", "15:53"),
        (SYDNEY, "2024-12-21", "05:41", "20:05"),
        (SYDNEY, "2024-06-21", "07:00", "16:54"),
    ],
)
def test_published_sunrise_and_sunset(place: tuple[float, float, str], date: str, sunrise: str, sunset: str) -> None:
    """From memory; the two dates in March stand on both sides of the change of clocks."""
    clocks = [shifted(sunrise, -3), shifted(sunrise, 3), shifted(sunset, -3), shifted(sunset, 3)]
    assert night(place, date, ["00:00", *clocks, "23:59"]) == [True, True, False, False, True, True]


@given(latitude=st.floats(-60, 60), longitude=st.floats(-20, 20), day=st.integers(1, 365))
@settings(max_examples=40, deadline=None)
def test_length_of_day_is_that_of_another_formula(latitude: float, longitude: float, day: int) -> None:
    """cos H = (sin h − sin φ sin δ)/(cos φ cos δ), h = −0.833°; δ from the mean orbit, 0.2° at most out (both from memory).

    0.2° of declination is 3 minutes of day at 60° and counting whole minutes another 1; measured difference 4.3, so 6 are allowed.
    """
    n = day - 0.5
    longitude_of_sun = 0.98565 * (n + 10) + 1.914 * math.sin(math.radians(0.98565 * (n - 2)))
    declination = -math.asin(0.39779 * math.cos(math.radians(longitude_of_sun)))
    phi = math.radians(latitude)
    cosine = (math.sin(math.radians(-0.833)) - math.sin(phi) * math.sin(declination)) / (math.cos(phi) * math.cos(declination))
    expected = 2 * math.degrees(math.acos(cosine)) * 4
    clocks = [f"{minute // 60:02}:{minute % 60:02}" for minute in range(1440)]
    date = (pd.Timestamp("2023-01-01") + pd.Timedelta(days=day - 1)).strftime("%Y-%m-%d")
    light = [not dark for dark in night((latitude, longitude, "UTC"), date, clocks)]
    assert sum(light) == pytest.approx(expected, abs=6)
    assert light[720] and not light[0]


# Source: L. Strous, Astronomy Answers, "The Position of the Sun: Tables", Table 1, times of sunrise in 2002 by latitude in local mean time
# (aa.quae.nl/en/antwoorden/zonpositie-tabel.html), row of 1 January; printed to the minute.
STROUS_1_JANUARY = {
    -60: "02:43", -50: "03:55", -40: "04:35", -36: "04:47", -30: "05:02", -20: "05:24", -10: "05:43", 0: "06:00", 10: "06:17", 20: "06:35",
    30: "06:56", 34: "07:05", 36: "07:11", 38: "07:16", 40: "07:22", 44: "07:35", 50: "07:59",
}  # fmt: skip


def test_sunrise_is_that_of_a_printed_table_by_latitude() -> None:
    for latitude, printed in STROUS_1_JANUARY.items():
        # at longitude 0 UTC is local mean time
        place = (float(latitude), 0.0, "UTC")
        assert night(place, "2002-01-01", [shifted(printed, -2), shifted(printed, 2)]) == [True, False], latitude


def test_the_sun_that_never_sets_or_rises() -> None:
    """Polar day and night north of the circle: Tromsø, 69.65° N, is lit all day from late May to late July, dark in December."""
    tromso = (69.65, 18.96, "Europe/Oslo")
    assert night(tromso, "2024-06-21", ["00:00", "12:00", "23:59"]) == [False] * 3
    assert night(tromso, "2024-12-21", ["00:00", "12:00", "23:59"]) == [True] * 3
    assert night((-78.0, 166.0, "Antarctica/McMurdo"), "2024-06-21", ["12:00"]) == [True]


def test_a_sunset_after_midnight_leaves_the_evening_light() -> None:
    """Fairbanks, 21 June: up at 2:58, down at 0:47 of the next day (from memory): only the hours between are night."""
    fairbanks = (64.84, -147.72, "America/Anchorage")
    assert night(fairbanks, "2024-06-21", ["00:30", "01:30", "02:30", "03:15", "12:00", "23:59"]) == [
        False,
        True,
        True,
        False,
        False,
        False,
    ]


def test_clocks_put_back_bring_the_evening_an_hour_earlier() -> None:
    """The sun moves by a minute from 2 to 3 November 2024; the clock of New York goes back by an hour in between."""
    assert night(NEW_YORK, "2024-11-02", ["17:20", "18:20"]) == [False, True]
    assert night(NEW_YORK, "2024-11-03", ["16:20", "17:20"]) == [False, True]


def test_missing_clock_place_or_date_stay_missing() -> None:
    clock = pd.Series(["22:00", None, "22:00", "22:00", "9:52", "12:00"], index=list("abcdef"), dtype="str")
    dates = pd.Series(pd.to_datetime(["2012-06-16"] * 3 + [None] + ["2012-06-16"] * 2))
    result = is_night([35.5, 35.5, math.nan, 35.5, 35.5, 35.5], pd.Series([-83.3] * 6), dates, clock, "America/New_York")
    assert result.index.tolist() == list("abcdef")
    assert result.dtype == "boolean"
    assert result.isna().tolist() == [False, True, True, True, True, False]
    assert result["a"] and not result["f"]


def test_nothing_in_nothing_out() -> None:
    assert is_night([], [], [], [], "UTC").empty
    assert is_night([math.nan], [math.nan], [pd.NaT], [None], "UTC").isna().all()


def test_five_thousand_places_and_dates_take_seconds() -> None:
    """A bound that only catches a change of kind: 0.1 s where this was written."""
    rng = np.random.default_rng(1)
    n = 5000
    dates = pd.Timestamp("2010-01-01") + pd.to_timedelta(rng.integers(0, 3000, n), "D")
    began = time.perf_counter()
    result = is_night(rng.uniform(34, 45, n), rng.uniform(-85, -70, n), dates, ["12:00", "23:55"] * (n // 2), "America/New_York")
    assert time.perf_counter() - began < 5
    assert result.tolist() == [False, True] * (n // 2)
