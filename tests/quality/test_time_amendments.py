"""What is proposed of the time of a record."""

from __future__ import annotations

import json
from datetime import date

from hypothesis import given
from hypothesis import strategies as st

from pipeline.quality import dates as quality_dates
from pipeline.quality import time as quality_time
from pipeline.quality import time_amendments


@given(st.dates(date(1582, 11, 15), date(2200, 1, 1)))
def test_a_day_is_read_back_whole(day):
    span = quality_dates.read_span(day.isoformat())
    assert span is not None and span.start.date() == day == span.last_day and span.seconds == 86400
    parts = (str(day.year), str(day.month), str(day.day))
    made = time_amendments.amendment_eventdate_from_yearmonthday("", *parts)
    assert json.loads(made.result) == {"dwc:eventDate": day.isoformat()}
    assert quality_time.validation_event_consistent(day.isoformat(), *parts, "", "").result == "COMPLIANT"
