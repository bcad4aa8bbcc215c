"""What is due at an enclosure: from intervals that the book states, and from the log."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any

import pandas as pd

from pipeline.writing.words import counted

# interval of the book: what is due, and the event that does it; the water test stands in a table of its own
DUTIES = {
    "water_test": ("Test the water", ""),
    "water_change": ("Change part of the water", "water_changed"),
    "filter_cleaning": ("Clean the filter", "filter_cleaned"),
    "sensor_check": ("Hold the sensor against a reference", "sensor_checked"),
    "weighing": ("Weigh the animals", "weighed"),
    "alarm_test": ("Try the alarm", "alarm_tested"),
}
OVERDUE, TODAY, LATER, NOT_STATED = "overdue", "today", "later", "no interval"
NOT_STATED_WORDS = "rillbook.toml states no interval under [intervals]; see docs/tanks.md for what is common"


def due_at(
    events: pd.DataFrame, tests: pd.DataFrame, intervals: Mapping[str, int], since: date | None, today: date
) -> list[dict[str, Any]]:
    """Say what is due.

    Parameters
    ----------
    events : DataFrame
        ``event`` and ``event_date`` of the enclosure.
    tests : DataFrame
        ``tested_on`` of its water tests.
    intervals : mapping
        Days by the names of ``DUTIES``; what is missing has no interval and is never called done.
    since : date or None
        First day with animals: what was never done was due an interval after it, or is due today.
    today : date
        Local day.

    Returns
    -------
    list of dict
        ``duty``, ``what``, ``state`` (overdue, today, later, no interval), ``due`` (date or None), ``when``, ``words``; the most
        overdue first.
    """
    rows: list[dict[str, Any]] = []
    for name, (what, event) in DUTIES.items():
        done = tests["tested_on"] if not event else events.loc[events["event"] == event, "event_date"]
        done = done[done <= pd.Timestamp(today)]
        last = done.max().date() if len(done) else None
        told = f"last done on {last.isoformat()}" if last else "never noted"
        days = intervals.get(name)
        if days is None:
            rows.append(
                {"duty": name, "what": what, "state": NOT_STATED, "due": None, "when": "not known", "words": f"{told}; {NOT_STATED_WORDS}"}
            )
            continue
        due = (last or since or today - timedelta(days=days)) + timedelta(days=days)
        late = (today - due).days
        state = OVERDUE if late > 0 else TODAY if late == 0 else LATER
        when = {OVERDUE: f"{counted(late, 'day')} overdue", TODAY: "today", LATER: f"in {counted(-late, 'day')}"}[state]
        rows.append(
            {
                "duty": name,
                "what": what,
                "state": state,
                "due": due,
                "when": f"{when} ({due.isoformat()})",
                "words": f"every {counted(days, 'day')} as the book states; {told}",
            }
        )
    return sorted(rows, key=lambda row: row["due"] or date.max)
