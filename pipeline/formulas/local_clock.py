"""What a zone's clock shows beside UTC."""

from __future__ import annotations

import numpy as np
import pandas as pd


def offsets(start: pd.Timestamp, end: pd.Timestamp, time_zone: str) -> list[tuple[pd.Timestamp, int]]:
    """Offsets of the local clock from UTC over a stretch of time.

    Parameters
    ----------
    start, end : Timestamp
        UTC without zone.
    time_zone : str
        IANA name.

    Returns
    -------
    list of (Timestamp, int)
        From which instant (UTC without zone) on, and microseconds; in order, the first holds before as well. Clocks change at full
        minutes, and no two changes lie within an hour of each other.
    """
    day = pd.Timedelta(days=1)
    hours = pd.date_range(start.floor("h") - day, end + day, freq="h")
    changed = np.flatnonzero(np.diff(_shifts(hours, time_zone)))
    found = [(hours[0], int(_shifts(hours[:1], time_zone)[0]))]
    for place in changed:
        # Lord Howe Island changes at half past, Newfoundland did a minute after midnight
        minutes = pd.date_range(hours[place], hours[place + 1], freq="min")
        shifts = _shifts(minutes, time_zone)
        first = int(np.flatnonzero(shifts != shifts[0])[0])
        found.append((minutes[first], int(shifts[first])))
    return found


def _shifts(at: pd.DatetimeIndex, time_zone: str) -> np.ndarray:
    local = at.tz_localize("UTC").tz_convert(time_zone).tz_localize(None)
    return np.asarray((local - at) // pd.Timedelta(microseconds=1), dtype="int64")
