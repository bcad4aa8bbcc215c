"""Tests of the time of a record."""

from __future__ import annotations

from datetime import date

from pipeline.quality import time as quality_time


def test_today_is_the_latest_day():
    today = date(2024, 2, 29)
    assert quality_time.validation_eventdate_inrange("2024-12-31", today).result == "COMPLIANT"
    assert quality_time.validation_eventdate_inrange("2025-01-01", today).result == "NOT_COMPLIANT"
    assert quality_time.validation_dateidentified_inrange("2024-02-29", "2024-02", today).result == "COMPLIANT"
    assert quality_time.validation_dateidentified_inrange("2024-03-01", "", today).result == "NOT_COMPLIANT"
    assert quality_time.validation_year_inrange("2025", today).result == "NOT_COMPLIANT"
