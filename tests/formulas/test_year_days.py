"""Days of a year of 365 days, against the calendar of Python's standard library."""

from __future__ import annotations

import calendar
from datetime import date

import pandas as pd

from pipeline.formulas.year_days import LENGTHS, MONTH_NAMES, STARTS, YEAR, day_of_year


def test_29_february_counts_as_the_28th() -> None:
    dates = pd.Series(pd.to_datetime(["2020-02-28", "2020-02-29", "2020-03-01", "2021-03-01", "2020-12-31", "2021-01-01"]))
    assert day_of_year(dates).tolist() == [59, 59, 60, 60, 365, 1]


def test_days_and_month_names_are_those_of_the_calendar() -> None:
    """Python's calendar and strftime: every day of 2021 and the day before each month; of 2020 all but 29 February."""
    days = pd.Series(pd.date_range("2021-01-01", "2021-12-31"))
    assert day_of_year(days).tolist() == [int(day.strftime("%j")) for day in days]
    assert list(MONTH_NAMES) == list(calendar.month_name)[1:]
    assert [calendar.monthrange(2021, month)[1] for month in range(1, 13)] == list(LENGTHS) and YEAR == 365
    assert [date(2021, month, 1).timetuple().tm_yday - 1 for month in range(1, 13)] == list(STARTS)
    leap = pd.Series(pd.date_range("2020-03-01", "2020-12-31"))
    assert day_of_year(leap).tolist() == [int(day.strftime("%j")) - 1 for day in leap]


def test_no_dates_have_no_days() -> None:
    assert day_of_year(pd.Series([], dtype="datetime64[us]")).tolist() == []
