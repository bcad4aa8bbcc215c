"""Calendars, read back by the icalendar library: one entry a week, whole days, no entry doubled."""

from __future__ import annotations

import datetime as dt

import pandas as pd
from icalendar import Calendar

from pipeline.tanks.pages.calendar import due_calendar, plan_calendar

MADE = dt.datetime(2025, 1, 2, 3, 4, tzinfo=dt.UTC)
PLAN = pd.DataFrame(
    {
        "week": [1, 2], "from_day": [dt.date(2025, 1, 1), dt.date(2025, 1, 8)], "to_day": [dt.date(2025, 1, 7), dt.date(2025, 1, 14)],
        "set_point_c": [8.0, float("nan")], "set_point_f": [46.0, float("nan")], "act_line_c": [11.0, float("nan")],
        "ceiling_c": [17.0, float("nan")], "day_length_h": [9.5, 9.6],
    }
)  # fmt: skip


def events(text: bytes) -> list:
    return list(Calendar.from_ical(text).walk("VEVENT"))


def test_a_week_with_a_set_point_is_one_entry_of_whole_days_and_ends_with_the_ceiling() -> None:
    """RFC 5545 3.6.1: the end of an entry of days is the day after its last."""
    (entry,) = events(plan_calendar("T1", PLAN, MADE))
    assert (entry.decoded("dtstart"), entry.decoded("dtend")) == (dt.date(2025, 1, 1), dt.date(2025, 1, 8))
    assert "8 °C (46 °F)" in entry["summary"] and "Never reach 17 °C" in entry["description"]


def test_the_same_plan_names_its_entries_the_same() -> None:
    assert [one["uid"] for one in events(plan_calendar("T1", PLAN, MADE))] == [
        one["uid"] for one in events(plan_calendar("T1", PLAN, MADE + dt.timedelta(days=1)))
    ]


def test_a_duty_without_a_day_is_in_no_calendar() -> None:
    due = [
        {"duty": "water_test", "what": "test the water", "due": dt.date(2025, 2, 1), "words": "every week"},
        {"duty": "weighing", "what": "weigh", "due": None, "words": "never yet"},
    ]
    (entry,) = events(due_calendar("T1", due, MADE))
    assert entry.decoded("dtstart") == dt.date(2025, 2, 1) and "test the water" in entry["summary"]
