"""Calendars (RFC 5545, by the icalendar library): set points by week, and what is due. The only door to that library."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from pipeline.writing.words import number

PRODUCT = "-//rillbook//enclosures//EN"


def plan_calendar(enclosure_id: str, plan: pd.DataFrame, made: dt.datetime) -> bytes:
    """A calendar with one entry a week with a set point.

    Parameters
    ----------
    enclosure_id : str
        Names the entries.
    plan : DataFrame
        As `year_plan.year_plan`.
    made : datetime
        When it is made, UTC with zone.

    Returns
    -------
    bytes
        A file for any calendar program.
    """
    entries = []
    for row in plan.dropna(subset=["set_point_c"]).itertuples():
        never = "" if row.ceiling_c != row.ceiling_c else f" Never reach {number(row.ceiling_c)} °C."
        text = f"Act above {number(row.act_line_c)} °C.{never} Day length in the wild {number(row.day_length_h)} h."
        title = f"{enclosure_id}: hold {number(row.set_point_c)} °C ({number(row.set_point_f)} °F)"
        entries.append((f"{enclosure_id}-{row.from_day:%Y}-week-{row.week}", title, row.from_day, row.to_day, text))
    return _calendar(entries, made)


def due_calendar(enclosure_id: str, due: Sequence[Mapping[str, Any]], made: dt.datetime) -> bytes:
    """A calendar with one entry a duty that has a day; arguments as :func:`plan_calendar`, `due` as `due.due_at`."""
    entries = []
    for row in due:
        if row["due"] is not None:
            ident, title = f"{enclosure_id}-{row['duty']}-{row['due']}", f"{enclosure_id}: {row['what']}"
            entries.append((ident, title, row["due"], row["due"], row["words"]))
    return _calendar(entries, made)


def _calendar(entries: list[tuple[str, str, dt.date, dt.date, str]], made: dt.datetime) -> bytes:
    from icalendar import Calendar, Event

    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    for ident, title, first, last, text in entries:
        event = Event()
        # the same identity each time, so that a program replaces an entry and does not double it
        event.add("uid", f"{ident}@rillbook.invalid")
        event.add("dtstamp", made)
        event.add("dtstart", first)
        # the day after the last, by the standard
        event.add("dtend", last + dt.timedelta(days=1))
        event.add("summary", title)
        event.add("description", text)
        calendar.add_component(event)
    return bytes(calendar.to_ical())
