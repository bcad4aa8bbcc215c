"""What is due follows from the book's intervals and the log; what was never noted is never called done."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd

from pipeline.tanks.due import DUTIES, due_at

TODAY = date(2025, 7, 31)


def at(intervals: dict[str, int], done: str = "", event: str = "water_changed", since: date | None = None) -> dict[str, dict[str, Any]]:
    events = pd.DataFrame({"event": [event] * bool(done), "event_date": pd.to_datetime([done] * bool(done))})
    tests = pd.DataFrame({"tested_on": pd.to_datetime([])})
    return {row["duty"]: row for row in due_at(events, tests, intervals, since, TODAY)}


def test_an_interval_runs_from_the_last_time() -> None:
    assert at({"water_change": 14}, "2025-07-20")["water_change"]["state"] == "later"
    assert at({"water_change": 14}, "2025-07-17")["water_change"]["state"] == "today"
    late = at({"water_change": 14}, "2025-07-10")["water_change"]
    assert late["state"] == "overdue" and late["when"].startswith("7 days overdue") and late["due"] == date(2025, 7, 24)


def test_what_was_never_noted_is_due() -> None:
    assert at({"water_test": 7})["water_test"]["state"] == "today"
    assert at({"water_test": 7}, since=date(2025, 7, 1))["water_test"]["when"].startswith("23 days overdue")


def test_without_an_interval_nothing_is_said_to_be_done() -> None:
    rows = at({}, "2025-07-30")
    assert {row["state"] for row in rows.values()} == {"no interval"} and set(rows) == set(DUTIES)


def test_an_event_of_the_future_counts_for_nothing() -> None:
    assert at({"water_change": 14}, "2025-08-30")["water_change"]["state"] == "today"


def test_the_most_overdue_comes_first() -> None:
    events = pd.DataFrame({"event": ["water_changed", "weighed"], "event_date": pd.to_datetime(["2025-07-10", "2025-05-01"])})
    rows = due_at(events, pd.DataFrame({"tested_on": pd.to_datetime([])}), {"water_change": 14, "weighing": 30}, None, TODAY)
    assert [row["duty"] for row in rows][:2] == ["weighing", "water_change"]
