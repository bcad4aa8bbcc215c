"""The tests of the TDWG Biodiversity Data Quality standard on time.

Source as in `pipeline.quality.responses`. Each docstring gives the expected response in our words: *cannot run* stands for
INTERNAL_PREREQUISITES_NOT_MET, *fails* for NOT_COMPLIANT.
"""

from __future__ import annotations

import calendar
from datetime import date, datetime, timedelta

from pipeline.quality.responses import (
    INTERNAL,
    NOT_REPORTED,
    RAN,
    Response,
    Test,
    Value,
    empty,
    internal,
    not_empty,
    parameter,
    verdict,
    whole,
)
from pipeline.quality.time_amendments import (
    amendment_dateidentified_standardized,
    amendment_day_standardized,
    amendment_event_from_eventdate,
    amendment_eventdate_from_verbatim,
    amendment_eventdate_from_yearmonthday,
    amendment_eventdate_from_yearstartdayofyearenddayofyear,
    amendment_eventdate_standardized,
    amendment_month_standardized,
    fields_of,
    span_of,
)


def validation_eventdate_notempty(event_date: Value) -> Response:
    """Fails where eventDate is empty."""
    return not_empty(event_date, "eventDate")


def validation_year_notempty(year: Value) -> Response:
    """Fails where year is empty."""
    return not_empty(year, "year")


def validation_eventtemporal_notempty(*when: Value) -> Response:
    """Fails where eventDate, year, month, day, startDayOfYear, endDayOfYear and verbatimEventDate are all empty."""
    return verdict(not all(map(empty, when)), "a term of the time has a value", "every term of the time is empty")


def _standard(value: Value, term: str) -> Response:
    if empty(value):
        return internal(f"{term} is empty")
    return verdict(span_of(value) is not None, f"{term} is a date of ISO 8601", f"{term} is no date of ISO 8601")


def validation_eventdate_standard(event_date: Value) -> Response:
    """Cannot run where eventDate is empty; fails where it is no date, date with time, or interval of ISO 8601-1."""
    return _standard(event_date, "eventDate")


def validation_dateidentified_standard(identified: Value) -> Response:
    """Cannot run where dateIdentified is empty; fails where it is no date, date with time, or interval of ISO 8601-1."""
    return _standard(identified, "dateIdentified")


def validation_eventdate_inrange(event_date: Value, today: date | None = None) -> Response:
    """Cannot run where eventDate is empty or no date; fails where any part of it is before 1582-11-15 or after the current year."""
    span = span_of(event_date)
    if span is None:
        return internal("eventDate is empty or no date of ISO 8601")
    earliest, latest = datetime.fromisoformat(parameter("earliestValidDate")), datetime((today or date.today()).year + 1, 1, 1)
    return verdict(earliest <= span.start and span.end <= latest, "eventDate is in its range", "eventDate is too early or in the future")


def validation_dateidentified_inrange(identified: Value, event_date: Value, today: date | None = None) -> Response:
    """Cannot run where dateIdentified is empty or no date, or eventDate has a value that is no date; fails where it is before 1753-01-01,
    after today, or wholly before eventDate.
    """
    span, event = span_of(identified), span_of(event_date)
    if span is None or (event is None and not empty(event_date)):
        return internal("a date is empty or no date of ISO 8601")
    earliest = datetime.fromisoformat(parameter("earliestValidDateIdentified"))
    latest = datetime.combine(today or date.today(), datetime.min.time()) + timedelta(days=1)
    good = earliest <= span.start and span.end <= latest and (event is None or span.end > event.start)
    return verdict(good, "dateIdentified is in its range", "dateIdentified is too early, in the future, or before the event")


def validation_year_inrange(year: Value, today: date | None = None) -> Response:
    """Cannot run where year is empty or no whole number; fails outside 1582 to the current year."""
    given = whole(year)
    if given is None:
        return internal("year is empty or no whole number")
    earliest, latest = int(parameter("earliestValidDate")[:4]), (today or date.today()).year
    return verdict(earliest <= given <= latest, "year is in its range", "year is too early or in the future")


def validation_month_standard(month: Value) -> Response:
    """Cannot run where month is empty; fails where it is no whole number from 1 to 12."""
    if empty(month):
        return internal("month is empty")
    return verdict(1 <= (whole(month) or 0) <= 12, "month is a number from 1 to 12", "month is no number from 1 to 12")


def validation_day_standard(day: Value) -> Response:
    """Cannot run where day is empty; fails where it is no whole number from 1 to 31."""
    if empty(day):
        return internal("day is empty")
    return verdict(1 <= (whole(day) or 0) <= 31, "day is a number from 1 to 31", "day is no number from 1 to 31")


def validation_day_inrange(day: Value, month: Value, year: Value) -> Response:
    """Cannot run where day is empty or no whole number, is 29 to 31 without a usable month, or 29 February without a usable year; fails
    where the month, and for February the year, has no such day.
    """
    given, in_month, in_year = whole(day), whole(month), whole(year)
    if given is None:
        return internal("day is empty or no whole number")
    if 1 <= given <= 28 or not 1 <= given <= 31:
        return verdict(1 <= given <= 28, "every month has this day", "no month has this day")
    if in_month is None or not 1 <= in_month <= 12:
        return internal("the day needs a month from 1 to 12")
    if (given, in_month) == (29, 2) and (in_year is None or in_year < 1):
        return internal("29 February needs a year")
    last = calendar.monthrange(in_year if in_month == 2 and in_year and in_year > 0 else 2000, in_month)[1]
    return verdict(given <= last, "the month has this day", "the month has no such day")


def _day_of_year(value: Value, term: str, year: int | None) -> Response:
    if empty(value):
        return internal(f"{term} is empty")
    given = whole(value)
    if given == 366 and year is None:
        return internal(f"{term} is 366 and eventDate tells no year")
    last = 366 if year is not None and calendar.isleap(year) else 365
    return verdict(given is not None and 1 <= given <= last, f"{term} is a day of the year", f"{term} is no day of the year")


def validation_startdayofyear_inrange(start_day: Value, event_date: Value) -> Response:
    """Cannot run where startDayOfYear is empty, or 366 while eventDate tells no year; fails outside 1 to 365, or to 366 where eventDate
    starts in a leap year.
    """
    span = span_of(event_date)
    return _day_of_year(start_day, "startDayOfYear", span.start.year if span else None)


def validation_enddayofyear_inrange(end_day: Value, event_date: Value) -> Response:
    """Cannot run where endDayOfYear is empty, or 366 while eventDate tells no year; fails outside 1 to 365, or to 366 where eventDate
    ends in a leap year.
    """
    span = span_of(event_date)
    return _day_of_year(end_day, "endDayOfYear", span.last_day.year if span else None)


def validation_event_consistent(event_date: Value, year: Value, month: Value, day: Value, start_day: Value, end_day: Value) -> Response:
    """Cannot run where eventDate is empty or all five parts are; fails where a part that has a value differs from eventDate, or eventDate
    is coarser than the part or covers more than one. The time of day is not looked at.
    """
    parts = {"year": year, "month": month, "day": day, "startDayOfYear": start_day, "endDayOfYear": end_day}
    given = {term: value for term, value in parts.items() if not empty(value)}
    if empty(event_date) or not given:
        return internal("eventDate is empty, or all of its parts are")
    span = span_of(event_date)
    known = fields_of(span) if span else {}
    differing = [term for term, value in given.items() if whole(value) is None or whole(value) != known.get(term)]
    return verdict(not differing, "the parts agree with eventDate", f"{', '.join(differing)} and eventDate do not agree")


def measure_eventdate_durationinseconds(event_date: Value) -> Response:
    """Cannot run where eventDate is empty or no date; else its length in seconds. Leap days count, leap seconds do not; a date counts
    whole, an end at a time of day is that moment.
    """
    span = span_of(event_date)
    if span is None:
        return Response(INTERNAL, NOT_REPORTED, "eventDate is empty or no date of ISO 8601")
    return Response(RAN, str(span.seconds), "length of eventDate in seconds")


PARTS = ("year", "month", "day", "startDayOfYear", "endDayOfYear")
TESTS = (
    Test(validation_eventdate_notempty, "f51e15a6-a67d-4729-9c28-3766299d2985", "2023-09-17", ("eventDate",)),
    Test(validation_year_notempty, "c09ecbf9-34e3-4f3e-b74a-8796af15e59f", "2023-09-17", ("year",)),
    Test(
        validation_eventtemporal_notempty,
        "41267642-60ff-4116-90eb-499fee2cd83f",
        "2023-09-30",
        ("eventDate", *PARTS, "verbatimEventDate"),
    ),
    Test(validation_eventdate_standard, "4f2bf8fd-fc5c-493f-a44c-e7b16153c803", "2024-09-16", ("eventDate",)),
    Test(validation_eventdate_inrange, "3cff4dc4-72e9-4abe-9bf3-8a30f1618432", "2024-09-16", ("eventDate",)),
    Test(validation_year_inrange, "ad0c8855-de69-4843-a80c-a5387d20fbc8", "2024-08-23", ("year",)),
    Test(validation_month_standard, "01c6dafa-0886-4b7e-9881-2c3018c98bdc", "2023-09-18", ("month",)),
    Test(validation_day_standard, "47ff73ba-0028-4f79-9ce1-ee7008d66498", "2023-09-18", ("day",)),
    Test(validation_day_inrange, "8d787cb5-73e2-4c39-9cd1-67c7361dc02e", "2024-09-16", ("day", "month", "year")),
    Test(validation_startdayofyear_inrange, "85803c7e-2a5a-42e1-b8d3-299a44cafc46", "2023-09-18", ("startDayOfYear", "eventDate")),
    Test(validation_enddayofyear_inrange, "9a39d88c-7eee-46df-b32a-c109f9f81fb8", "2023-09-18", ("endDayOfYear", "eventDate")),
    Test(validation_event_consistent, "5618f083-d55a-4ac2-92b5-b9fb227b832f", "2023-09-18", ("eventDate", *PARTS)),
    Test(amendment_eventdate_from_verbatim, "6d0a0c10-5e4a-4759-b448-88932f399812", "2024-09-16", ("eventDate", "verbatimEventDate")),
    Test(
        amendment_eventdate_from_yearstartdayofyearenddayofyear,
        "eb0a44fa-241c-4d64-98df-ad4aa837307b",
        "2024-08-18",
        ("eventDate", "year", "startDayOfYear", "endDayOfYear"),
    ),
    Test(
        amendment_eventdate_from_yearmonthday, "3892f432-ddd0-4a0a-b713-f2e2ecbd879d", "2024-09-15", ("eventDate", "year", "month", "day")
    ),
    Test(amendment_eventdate_standardized, "718dfc3c-cb52-4fca-b8e2-0e722f375da7", "2024-09-16", ("eventDate",)),
    Test(amendment_event_from_eventdate, "710fe118-17e1-440f-b428-88ba3f547d6d", "2024-09-16", ("eventDate", *PARTS)),
    Test(amendment_month_standardized, "2e371d57-1eb3-4fe3-8a61-dff43ced50cf", "2026-04-24", ("month",)),
    Test(amendment_day_standardized, "b129fa4d-b25b-43f7-9645-5ed4d44b357b", "2023-09-18", ("day",)),
    Test(measure_eventdate_durationinseconds, "56b6c695-adf1-418e-95d2-da04cad7be53", "2024-09-16", ("eventDate",)),
    Test(validation_dateidentified_standard, "66269bdd-9271-4e76-b25c-7ab81eebe1d8", "2024-09-16", ("dateIdentified",)),
    Test(amendment_dateidentified_standardized, "39bb2280-1215-447b-9221-fd13bc990641", "2024-09-16", ("dateIdentified",)),
    Test(validation_dateidentified_inrange, "dc8aae4b-134f-4d75-8a71-c4186239178e", "2024-09-16", ("dateIdentified", "eventDate")),
)
