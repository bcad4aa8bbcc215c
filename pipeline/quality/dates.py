"""ISO 8601 dates, times of day and intervals as the TDWG data-quality tests read them, and dates as people write them.

Source as in `pipeline.quality.responses`. What its published rows settle: an extended date may carry a basic offset, an hour may stand
alone, the end of an interval may be shortened and counts whole, a local time needs no offset. Durations (``P1D``) are not read.
"""

from __future__ import annotations

import calendar
import re
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from pipeline.quality.responses import folded, parameter

YEAR, MONTH, DAY, TIME = "year", "month", "day", "time"
_TIME = re.compile(r"(\d\d)(?::?(\d\d)(?::?(\d\d)(?:[.,]\d+)?)?)?(Z|[+-]\d\d(?::?\d\d)?)?", re.ASCII)
_FEEBLE = re.compile(r"\b(mon|tues?|wed(nes)?|thu(rs?)?|fri|sat(ur)?|sun)(day)?\b[.,]?")
_TOKENS = re.compile(r"[\s./,–\-]+")
_DECADE = re.compile(r"(\d{3}0)s", re.ASCII)


@dataclass(frozen=True)
class Moment:
    """A date or a time as written.

    Attributes
    ----------
    start, end : datetime
        First moment and the moment after the last, local.
    fineness : str
        year, month, day or time.
    offset : timedelta or None
        From UTC, where the text states it.
    """

    start: datetime
    end: datetime
    fineness: str
    offset: timedelta | None = None


@dataclass(frozen=True)
class Span:
    """What an eventDate covers, with the first and the last date of which it is made."""

    first: Moment
    last: Moment
    interval: bool

    @property
    def start(self) -> datetime:
        """First moment, local."""
        return self.first.start

    @property
    def end(self) -> datetime:
        """Moment after the last, local. An interval that ends at a time of day ends at that moment."""
        return self.last.start if self.interval and self.last.fineness == TIME else self.last.end

    @property
    def to_the_day(self) -> bool:
        """Whether both ends are known to the day."""
        return {self.first.fineness, self.last.fineness} <= {DAY, TIME}

    @property
    def last_day(self) -> date:
        """Last day that it touches."""
        return max(self.start, self.end - timedelta(microseconds=1)).date()

    @property
    def seconds(self) -> int:
        """Length in seconds; leap days count, leap seconds do not."""
        shift = (self.last.offset or timedelta()) - (self.first.offset or timedelta())
        return round((self.end - self.start - shift).total_seconds())


def read_span(text: str) -> Span | None:
    """Read an ISO 8601-1 date, date with time, or interval of two; None where it is none, or ends before it starts."""
    left, slash, right = text.partition("/")
    first = _moment(left)
    if first is None or not slash:
        return Span(first, first, False) if first else None
    last = _moment(right) or _shortened(left, right)
    if last is not None and last.offset is None and last.fineness == TIME:
        last = Moment(last.start, last.end, TIME, first.offset)
    return Span(first, last, True) if last and last.end > first.start and last.start >= first.start else None


def _moment(text: str) -> Moment | None:
    day_text, letter, time_text = text.partition("T")
    first = _date(day_text)
    if not letter or first is None:
        return first
    found = _TIME.fullmatch(time_text)
    if found is None or first.fineness != DAY or int(found[1]) > 23 or any(int(part or 0) > 59 for part in (found[2], found[3])):
        return None
    start = first.start + timedelta(hours=int(found[1]), minutes=int(found[2] or 0), seconds=int(found[3] or 0))
    whole = timedelta(seconds=1) if found[3] else timedelta(minutes=1) if found[2] else timedelta(hours=1)
    return Moment(start, start + whole, TIME, _offset(found[4])) if _offset_fits(found[4]) else None


def _offset_fits(text: str | None) -> bool:
    digits = re.sub(r"\D", "", text or "")
    return not digits or (int(digits[:2]) <= 14 and int(digits[2:] or 0) <= 59)


def _offset(text: str | None) -> timedelta | None:
    if not text:
        return None
    digits = re.sub(r"\D", "", text)
    away = timedelta(hours=int(digits[:2] or 0), minutes=int(digits[2:] or 0))
    return -away if text.startswith("-") else away


def _date(text: str) -> Moment | None:
    try:
        if re.fullmatch(r"\d{4}", text, re.ASCII):
            year = int(text)
            return Moment(datetime(year, 1, 1), datetime(year + 1, 1, 1), YEAR)
        if found := re.fullmatch(r"(\d{4})-(\d\d)", text, re.ASCII):
            start = datetime(int(found[1]), int(found[2]), 1)
            return Moment(start, start + timedelta(days=calendar.monthrange(start.year, start.month)[1]), MONTH)
        if found := re.fullmatch(r"(\d{4})-?(\d{3})", text, re.ASCII):
            start = datetime(int(found[1]), 1, 1) + timedelta(days=int(found[2]) - 1)
            return Moment(start, start + timedelta(days=1), DAY) if start.year == int(found[1]) else None
        if not text.isascii():
            return None
        start = datetime.combine(date.fromisoformat(text), datetime.min.time())
        return Moment(start, start + timedelta(days=1), DAY)
    except (ValueError, OverflowError):
        return None


def _shortened(left: str, right: str) -> Moment | None:
    """The end of an interval that leaves out what it shares with the start: ``1880-05-08/10``, ``2007-11-13T10:00/12:00``."""
    day = left.partition("T")[0]
    end_day, letter, time = right.partition("T")
    if re.fullmatch(r"\d\d:\d\d.*", right, re.ASCII):
        return _moment(f"{day}T{right}") if "T" in left else None
    if not re.fullmatch(r"\d\d(-\d\d)?", end_day, re.ASCII) or len(end_day) >= len(day) - 4 or ("T" in left) != bool(letter):
        return None
    return _moment(day[: len(day) - len(end_day)] + end_day + letter + time)


def standard_day(text: str) -> str | None:
    """Read a year of four digits, a month and a day with any of the usual signs; the day stands first only where nothing else can be."""
    found = re.fullmatch(r"\s*(\d{4})\s*[-/._ ]\s*(\d{1,2})\s*[-/._ ]\s*(\d{1,2})\s*", text, re.ASCII)
    if not found:
        return None
    year, one, two = map(int, found.groups())
    return iso_day(year, one, two) or iso_day(year, two, one)


def iso_day(year: int, month: int | None = None, day: int | None = None) -> str | None:
    """Write a date at the precision given; None where there is no such day, month or year."""
    if not 1 <= year <= 9998:
        return None
    if month is None:
        return f"{year:04d}"
    if not 1 <= month <= 12 or (day is not None and not 1 <= day <= calendar.monthrange(year, month)[1]):
        return None
    return f"{year:04d}-{month:02d}" if day is None else f"{year:04d}-{month:02d}-{day:02d}"


def month_number(text: str) -> int | None:
    """Month by its name, its abbreviation or its Roman numeral; None for anything else."""
    term = folded("month").get(text.casefold().strip("."))
    return int(term) if term else None


def written_date(text: str) -> str | None:
    """Read a date as people write it.

    Parameters
    ----------
    text : str
        Such as ``18/V/1981``, ``xi.1996``, ``9.ii-10.iii.2000``, ``1980s``.

    Returns
    -------
    str or None
        ISO 8601, at the precision written; None where it can be read in more than one way, or the year is before 1582.
    """
    earliest = int(parameter("earliestValidDate")[:4])
    plain = " ".join(_FEEBLE.sub(" ", text.translate(str.maketrans("年月日", "   ")).casefold()).split())
    if found := _DECADE.fullmatch(plain):
        year = int(found[1])
        read: str | None = f"{year}-01-01/{year + 9}-12-31"
    else:
        upper = text.strip().upper()
        read = upper if read_span(upper) else _one_date(plain) or _two_dates(plain)
    return read if read and int(read[:4]) >= earliest else None


def _one_date(text: str) -> str | None:
    parts = [part for part in _TOKENS.split(text) if part]
    if len(parts) == 3 and parts[0] in ("x", "xx", "??", "?") and month_number(parts[1]):
        parts = parts[1:]
    years = [place for place, part in enumerate(parts) if re.fullmatch(r"\d{4}", part, re.ASCII)]
    if len(years) != 1 or not 2 <= len(parts) <= 3 or years[0] not in (0, len(parts) - 1):
        return None
    year = int(parts.pop(years[0]))
    months = [month_number(part) for part in parts]
    days = [int(found[1]) if (found := re.fullmatch(r"(\d{1,2})(st|nd|rd|th)?", part, re.ASCII)) else None for part in parts]
    if len(parts) == 1:
        return iso_day(year, months[0]) if months[0] else None
    for here, there in ((0, 1), (1, 0)):
        if months[here] and days[there]:
            return iso_day(year, months[here], days[there])
    if days[0] is None or days[1] is None:
        return None
    if years[0] == 0:
        return iso_day(year, days[0], days[1]) or iso_day(year, days[1], days[0])
    readings = {iso_day(year, days[0], days[1]), iso_day(year, days[1], days[0])} - {None}
    return readings.pop() if len(readings) == 1 else None


def _two_dates(text: str) -> str | None:
    """Two dates with one sign between them; the first may leave out what it shares with the second."""
    parts = re.split(r"\s*(?:-|–|/| to )\s*", text)
    if len(parts) != 2:
        return None
    last = _one_date(parts[1])
    tail = [part for part in _TOKENS.split(parts[1]) if part]
    head = [part for part in _TOKENS.split(parts[0]) if part]
    first = _one_date(".".join(head + tail[len(head) :] if len(head) < len(tail) else head)) if head else None
    return f"{first}/{last}" if first and last and len(first) == len(last) and first <= last else None
