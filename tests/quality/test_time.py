"""Tests of the time of a record."""

from __future__ import annotations

import json
from datetime import date

from hypothesis import given
from hypothesis import strategies as st

from pipeline.quality import dates as quality_dates
from pipeline.quality import time as quality_time


@given(st.dates(date(1582, 11, 15), date(2200, 1, 1)))
def test_a_day_is_read_back_whole(day):
    span = quality_dates.read_span(day.isoformat())
    assert span is not None and span.start.date() == day == span.last_day and span.seconds == 86400
    parts = (str(day.year), str(day.month), str(day.day))
    made = quality_time.amendment_eventdate_from_yearmonthday("", *parts)
    assert json.loads(made.result) == {"dwc:eventDate": day.isoformat()}
    assert quality_time.validation_event_consistent(day.isoformat(), *parts, "", "").result == "COMPLIANT"


def test_today_is_the_latest_day():
    today = date(2024, 2, 29)
    assert quality_time.validation_eventdate_inrange("2024-12-31", today).result == "COMPLIANT"
    assert quality_time.validation_eventdate_inrange("2025-01-01", today).result == "NOT_COMPLIANT"
    assert quality_time.validation_dateidentified_inrange("2024-02-29", "2024-02", today).result == "COMPLIANT"
    assert quality_time.validation_dateidentified_inrange("2024-03-01", "", today).result == "NOT_COMPLIANT"
    assert quality_time.validation_year_inrange("2025", today).result == "NOT_COMPLIANT"
