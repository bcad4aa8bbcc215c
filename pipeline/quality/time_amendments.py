"""What the tests of the TDWG Biodiversity Data Quality standard on time propose.

Source as in `pipeline.quality.responses`; nothing is changed by a proposal.
"""

from __future__ import annotations

import calendar
import re
from datetime import date, timedelta

from pipeline.quality.dates import DAY, TIME, Span, iso_day, month_number, read_span, standard_day, written_date
from pipeline.quality.responses import (
    AMENDED,
    FILLED_IN,
    Response,
    Value,
    empty,
    internal,
    no_proposal,
    proposal,
    whole,
)


def span_of(value: Value) -> Span | None:
    """The span of days that a date term gives; None where it is no date."""
    return None if value is None else read_span(value)


def fields_of(span: Span) -> dict[str, int | None]:
    """Year, month and day within which the whole span lies, and its days of the year; None where there is no single one."""
    first, last = span.start.date(), span.last_day
    fine = {span.first.fineness, span.last.fineness}
    same_year = first.year == last.year
    same_month = same_year and first.month == last.month
    return {
        "year": first.year if same_year else None,
        "month": first.month if same_month else None,
        "day": first.day if first == last and fine <= {DAY, TIME} else None,
        "startDayOfYear": first.timetuple().tm_yday if span.to_the_day else None,
        "endDayOfYear": last.timetuple().tm_yday if span.to_the_day else None,
    }


def _amended_day(value: Value, term: str) -> Response:
    if empty(value):
        return internal(f"{term} is empty")
    read = None if span_of(value) else standard_day(value or "")
    return (
        proposal(AMENDED, f"{term} read as year, month and day", **{term: read}) if read else no_proposal(f"{term} is in order or unclear")
    )


def amendment_eventdate_standardized(event_date: Value) -> Response:
    """Cannot run where eventDate is empty; proposes the ISO date of a text that is none and can mean one day only: a year of four digits
    and then month and day, or day and month where nothing else can be.
    """
    return _amended_day(event_date, "eventDate")


def amendment_dateidentified_standardized(identified: Value) -> Response:
    """Cannot run where dateIdentified is empty; proposes an ISO date as AMENDMENT_EVENTDATE_STANDARDIZED does."""
    return _amended_day(identified, "dateIdentified")


def amendment_eventdate_from_verbatim(event_date: Value, written: Value) -> Response:
    """Cannot run where eventDate has a value or verbatimEventDate is empty or without any digit; proposes the ISO date or interval that
    was written, where it can be read in one way only.

    For a text that is no date the standard says NOT_AMENDED; published row 682 says of "X" that the test cannot run, and the row decides.
    """
    if not empty(event_date) or empty(written) or not any(map(str.isdigit, written or "")):
        return internal("eventDate has a value, or verbatimEventDate holds no date")
    read = written_date(written or "")
    return proposal(FILLED_IN, "read from verbatimEventDate", eventDate=read) if read else no_proposal("verbatimEventDate is unclear")


def amendment_eventdate_from_yearmonthday(event_date: Value, year: Value, month: Value, day: Value) -> Response:
    """Cannot run where eventDate has a value or year is empty or no whole number; proposes the date at the precision given. A day without
    a month is overlooked; what is no date proposes nothing.
    """
    given = whole(year)
    if not empty(event_date) or given is None:
        return internal("eventDate has a value, or year is empty or no whole number")
    parts = [whole(part) for part in (month, day) if not empty(month) and not empty(part)]
    read = None if None in parts else iso_day(given, *parts)
    return proposal(FILLED_IN, "made of year, month and day", eventDate=read) if read else no_proposal("the parts are no date")


def amendment_eventdate_from_yearstartdayofyearenddayofyear(event_date: Value, year: Value, start_day: Value, end_day: Value) -> Response:
    """Cannot run where eventDate has a value, one of the three is empty, or year is no whole number; proposes the interval, nothing
    where it would end before it starts or has no such day.

    For a year that is no number the standard says NOT_AMENDED; published row 1052 says that the test cannot run, and the row decides.
    """
    given, first, last = whole(year), whole(start_day), whole(end_day)
    if not empty(event_date) or empty(start_day) or empty(end_day) or given is None:
        return internal("eventDate has a value, or a part is empty or no number")
    if first is None or last is None or not 1 <= first <= last or iso_day(given) is None or last > 365 + calendar.isleap(given):
        return no_proposal("the parts are no interval of days")
    start, end = (date(given, 1, 1) + timedelta(days=day - 1) for day in (first, last))
    read = start.isoformat() if start == end else f"{start.isoformat()}/{end.isoformat()}"
    return proposal(FILLED_IN, "made of year and days of the year", eventDate=read)


def amendment_event_from_eventdate(event_date: Value, year: Value, month: Value, day: Value, start_day: Value, end_day: Value) -> Response:
    """Cannot run where eventDate is empty or no date; proposes those of year, month, day, startDayOfYear and endDayOfYear that are empty
    and that eventDate tells.
    """
    span = span_of(event_date)
    if span is None:
        return internal("eventDate is empty or no date of ISO 8601")
    parts = {"year": year, "month": month, "day": day, "startDayOfYear": start_day, "endDayOfYear": end_day}
    filled = {term: str(value) for term, value in fields_of(span).items() if value is not None and empty(parts[term])}
    return proposal(FILLED_IN, "told by eventDate", **filled) if filled else no_proposal("eventDate tells nothing more")


def amendment_month_standardized(month: Value) -> Response:
    """Cannot run where month is empty; proposes the number of a Roman numeral or of a month's name."""
    if empty(month):
        return internal("month is empty")
    text = (month or "").strip()
    read = whole(text) if whole(text) in range(1, 13) else month_number(text)
    if read is None or whole(month) == read:
        return no_proposal("month is in order or unclear")
    return proposal(AMENDED, f"month can only mean {read}", month=str(read))


def amendment_day_standardized(day: Value) -> Response:
    """Cannot run where day is empty; proposes the number of an ordinal, such as 23rd."""
    if empty(day):
        return internal("day is empty")
    found = re.fullmatch(r"\s*(\d{1,2})(?:st|nd|rd|th)?\s*", day or "", re.ASCII | re.IGNORECASE)
    if found is None or not 1 <= int(found[1]) <= 31 or whole(day) is not None:
        return no_proposal("day is in order or unclear")
    return proposal(AMENDED, "day is written as an ordinal", day=str(int(found[1])))
