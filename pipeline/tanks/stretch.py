"""A stretch of time as local days, and the stage of an enclosure's animals on each of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.errors import RillbookError
from pipeline.formulas import local_clock
from schemas.vocabulary import trait

ONE_DAY = pd.Timedelta(days=1)


@dataclass(frozen=True)
class Stretch:
    """What is looked at: from one instant to another (UTC without zone), and the zone whose days count."""

    start: pd.Timestamp
    end: pd.Timestamp
    time_zone: str

    def local(self, at: pd.Timestamp) -> pd.Timestamp:
        """An instant on the local clock."""
        return at.tz_localize("UTC").tz_convert(self.time_zone).tz_localize(None)


def stretch_of(since: str, until: str, now: pd.Timestamp, days: float, time_zone: str) -> Stretch:
    """Read a stretch from what a person wrote.

    Parameters
    ----------
    since, until : str
        Local days or moments such as ``2025-07-01`` or ``2025-07-01T14:30``; a day alone ends at its end. Empty: `days` before the end,
        and now.
    now : Timestamp
        UTC without zone.
    days : float
        Length where no beginning is given, days.
    time_zone : str
        IANA name.

    Returns
    -------
    Stretch

    Raises
    ------
    RillbookError
        A text is no day or moment, or the end does not come after the beginning.
    """
    end = _instant(until, time_zone, True) if until else now
    start = _instant(since, time_zone, False) if since else end - pd.Timedelta(days=days)
    if start >= end:
        raise RillbookError("the stretch ends before it begins.", "Check --from and --to.")
    return Stretch(start, end, time_zone)


def _instant(text: str, time_zone: str, is_end: bool) -> pd.Timestamp:
    try:
        local = pd.Timestamp(text)
    except ValueError:
        local = pd.NaT
    if local is pd.NaT or local.tz is not None:
        raise RillbookError(f"{text!r} is no day or moment.", "Write 2025-07-01 or 2025-07-01T14:30, local time.")
    if is_end and len(text.strip()) <= len("2025-07-01"):
        local += ONE_DAY
    return local.tz_localize(time_zone, ambiguous=False, nonexistent="shift_forward").tz_convert("UTC").tz_localize(None)


def local_days(stretch: Stretch) -> pd.DataFrame:
    """Local days that the stretch touches.

    Returns
    -------
    DataFrame
        ``day`` (local midnight), ``month`` (1 to 12), ``starts``, ``ends`` (UTC without zone; 23 or 25 hours apart when the clocks change).
    """
    last = stretch.local(stretch.end - pd.Timedelta(microseconds=1)).normalize()
    day = pd.date_range(stretch.local(stretch.start).normalize(), last + ONE_DAY, freq="D")
    utc = day.tz_localize(stretch.time_zone, ambiguous=np.ones(len(day), dtype=bool), nonexistent="shift_forward").tz_convert("UTC")
    edges = utc.tz_localize(None).astype("datetime64[us]")
    first = day[:-1].astype("datetime64[us]")
    return pd.DataFrame({"day": first, "month": first.month, "starts": edges[:-1], "ends": edges[1:]})


def offsets(stretch: Stretch) -> list[tuple[pd.Timestamp, int]]:
    """Offsets of the local clock from UTC, as `formulas.local_clock.offsets`."""
    return local_clock.offsets(stretch.start, stretch.end, stretch.time_zone)


def stages(life_stage: str, events: pd.DataFrame, days: pd.DataFrame) -> pd.Series:
    """Stage of the animals on each day: the enclosure's own until a logged day on which they reached another.

    Parameters
    ----------
    life_stage : str
        Stage in which they came.
    events : DataFrame
        Columns ``event_date``, ``event``, ``life_stage`` of the enclosure.
    days : DataFrame
        As :func:`local_days`.

    Returns
    -------
    Series of str
        The new stage holds from the logged day on, that day included.
    """
    changes = events.assign(new=[stage_after(event, own) for event, own in zip(events["event"], events["life_stage"], strict=True)])
    changes = changes[changes["new"] != ""].sort_values("event_date", kind="stable")
    found = pd.Series(life_stage, index=days.index, dtype="str")
    for change in changes.itertuples():
        found[days["day"] >= change.event_date] = change.new
    return found


def stage_after(event: str, noted: str | float) -> str:
    """Stage that follows from an event: the one that was noted with it, else what the event itself means; empty where it means none."""
    if event not in ("stage_reached", "metamorphosed"):
        return ""
    return str(noted) if pd.notna(noted) and noted else trait("husbandry_event", event, "becomes")
