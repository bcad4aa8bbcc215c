"""Every date that a text can mean."""

from __future__ import annotations

import re
from datetime import date, timedelta

from pipeline.reading.style import CANONICAL, Style

MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november", "december",
)  # fmt: skip
TIME_OF_DAY = re.compile(
    r"[T ]+(([01]?\d|2[0-3]):[0-5]\d(:[0-5]\d(\.\d+)?)?([+-]\d{2}:?\d{2})?|(0?[1-9]|1[0-2]):[0-5]\d(:[0-5]\d)?\s*[aApP][mM])$", re.ASCII
)


def possible_days(text: str, style: Style = CANONICAL) -> set[date]:
    """Every date that a text can mean under a style.

    Parameters
    ----------
    text : str
        Such as ``2024-05-31``, ``31 May 2024``, ``5/31/24`` or a spreadsheet day number. A time of day after it is left out; a time
        in UTC (``Z``) makes the text unreadable, for the local date may be another.
    style : Style
        With the order and the pivot, where the file states them.

    Returns
    -------
    set of date
        Empty where it cannot be read, more than one where it is ambiguous.
    """
    text = TIME_OF_DAY.sub("", text)
    if style.date_order == "serial" and re.fullmatch(r"[1-9]\d{3,4}(\.\d+)?", text, re.ASCII):
        return {date(1899, 12, 30) + timedelta(days=int(float(text)))}
    if match := re.fullmatch(r"([1-9]\d{3})-(\d{1,2})-(\d{1,2})", text, re.ASCII):
        return _dates([(int(match[1]), int(match[2]), int(match[3]))])
    if match := re.fullmatch(r"(\d{1,2})[ -]([A-Za-z]{3,9})\.?[ ,-]+(\d{4}|\d{2})", text, re.ASCII):
        return _named(match[2], int(match[1]), match[3], style)
    if match := re.fullmatch(r"([A-Za-z]{3,9})\.? (\d{1,2}),? (\d{4}|\d{2})", text, re.ASCII):
        return _named(match[1], int(match[2]), match[3], style)
    match = re.fullmatch(r"(\d{1,4})([/.-])(\d{1,2})\2(\d{1,4})", text, re.ASCII)
    if style.date_order == "serial" or not match:
        return set()
    first, _, second, third = match.groups()
    found: set[date] = set()
    for order in (style.date_order,) if style.date_order != "iso" else ("mdy", "dmy", "ymd"):
        parts = dict(zip(order, (first, second, third), strict=True))
        if len(parts["m"]) <= 2 and len(parts["d"]) <= 2:
            found |= _dates([(year, int(parts["m"]), int(parts["d"])) for year in _years(parts["y"], style)])
    return found


def _years(text: str, style: Style) -> list[int]:
    if len(text) == 4:
        return [int(text)] if text[0] != "0" else []
    if len(text) != 2:
        return []
    if style.pivot is None:
        return [1900 + int(text), 2000 + int(text)]
    return [2000 + int(text) if int(text) <= style.pivot else 1900 + int(text)]


def _named(month: str, day: int, year: str, style: Style) -> set[date]:
    numbers = [number for number, name in enumerate(MONTHS, 1) if name.startswith(month.lower())]
    return _dates([(one, number, day) for number in numbers for one in _years(year, style)])


def _dates(parts: list[tuple[int, int, int]]) -> set[date]:
    found = set()
    for year, month, day in parts:
        try:
            found.add(date(year, month, day))
        except ValueError:
            continue
    return found
