"""Night or day at a site, from the sun; the one door to astral."""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from schemas.fields import CLOCK_PATTERN

PLACE_STEP_DEG = 0.01
MINUTES_A_DAY = 24 * 60.0


def is_night(latitude: Any, longitude: Any, date: Any, clock: Any, time_zone: str) -> pd.Series[Any]:
    """Tell whether each moment lies between sunset and sunrise at its place.

    Sunset and sunrise are those of the upper limb with 34' of refraction (NOAA's equations, in astral), once a place (rounded to 0.01°, an
    error of seconds) and local date, and are compared with the clock as written, both in local civil time. Where the sun does not rise or
    set on that date, its height at noon decides. Sea-level horizon: in a deep valley it is dark earlier. Latitudes −89 to 89.

    Parameters
    ----------
    latitude, longitude : array_like of float, shape (n,)
        Degrees, north and east positive; missing where unknown.
    date : array_like of datetime64, shape (n,)
        Local civil date on which the clock was read.
    clock : array_like of str, shape (n,)
        HH:MM, 24 hours; missing where none was noted.
    time_zone : str
        IANA name, such as ``"America/New_York"``.

    Returns
    -------
    Series of boolean, shape (n,)
        Missing where clock, date or place is. Carries the index of `clock` if that is a Series.

    References
    ----------
    Meeus 1998, Astronomical Algorithms, as simplified by NOAA's solar calculator (from memory).
    """
    index = clock.index if isinstance(clock, pd.Series) else pd.RangeIndex(len(clock))
    frame = pd.DataFrame(
        {
            "latitude": place_of_sun(latitude),
            "longitude": place_of_sun(longitude),
            "date": pd.to_datetime(np.asarray(date)),
            "minute": _minutes(pd.Series(np.asarray(clock, dtype=object))),
        }
    )
    known = frame.dropna()
    places = rise_and_set(known[["latitude", "longitude", "date"]].drop_duplicates(), time_zone)
    joined = known.merge(places, on=["latitude", "longitude", "date"], how="left").set_index(known.index)
    up_after_rise = joined["rise"] <= joined["set"]
    risen, gone = joined["minute"] >= joined["rise"], joined["minute"] >= joined["set"]
    # In the far north in summer the sun may set after midnight, before it rises: then the day is outside the two, not between them.
    day = (risen & ~gone).where(up_after_rise, risen | ~gone)
    night = pd.Series(pd.NA, index=frame.index, dtype="boolean")
    night[known.index] = ~day.astype("boolean")
    return night.set_axis(index)


def place_of_sun(degrees: Any) -> Any:
    """Latitude or longitude as the sun is asked of it: rounded to 0.01°."""
    return np.round(np.asarray(degrees, dtype=float) / PLACE_STEP_DEG) * PLACE_STEP_DEG


def rise_and_set(places: pd.DataFrame, time_zone: str) -> pd.DataFrame:
    """Sunrise and sunset by the clock, as :func:`is_night` takes them.

    Parameters
    ----------
    places : DataFrame
        Columns ``latitude``, ``longitude`` (as :func:`place_of_sun`), ``date`` (local); each once.
    time_zone : str
        IANA name.

    Returns
    -------
    DataFrame
        The same with ``rise`` and ``set``, minutes after local midnight: (0, 1440) where the sun stays up, (1440, 1440) where it stays
        down. Where ``set`` is the smaller the sun sets after midnight, before it rises.
    """
    zone = ZoneInfo(time_zone)
    rows = zip(places["latitude"], places["longitude"], places["date"].dt.date, strict=True)
    suns = [_rise_and_set(*row, zone) for row in rows]
    return places.assign(rise=[sun[0] for sun in suns], set=[sun[1] for sun in suns])


def _minutes(clock: pd.Series[Any]) -> pd.Series[Any]:
    text = clock.where(clock.notna(), "").astype(str)
    good = text.str.fullmatch(CLOCK_PATTERN)
    return 60.0 * pd.to_numeric(text.str[:2].where(good)) + pd.to_numeric(text.str[3:].where(good))


def _rise_and_set(latitude: float, longitude: float, date: dt.date, zone: ZoneInfo) -> tuple[float, float]:
    """Minutes after local midnight; (0, a day) where the sun stays up and (a day, a day) where it stays down."""
    from astral import Observer
    from astral.sun import elevation, noon, sunrise, sunset

    observer = Observer(latitude=latitude, longitude=longitude)
    try:
        return _minute_of_day(sunrise(observer, date=date, tzinfo=zone)), _minute_of_day(sunset(observer, date=date, tzinfo=zone))
    except ValueError:
        up = elevation(observer, noon(observer, date=date, tzinfo=zone)) > 0
        return (0.0, MINUTES_A_DAY) if up else (MINUTES_A_DAY, MINUTES_A_DAY)


def _minute_of_day(moment: dt.datetime) -> float:
    return moment.hour * 60 + moment.minute + moment.second / 60


def day_and_twilight(latitude: float, date: dt.date) -> tuple[float, float]:
    """Length of the day from sunrise to sunset, and of the civil twilight of one evening.

    Parameters
    ----------
    latitude : float
        Degrees, north positive, −90 to 90.
    date : date
        Day.

    Returns
    -------
    tuple of float
        Hours, and hours; (24, 0) where the sun stays up and (0, nan) where it stays down. The longitude does not matter to the minute.

    References
    ----------
    astral 3 (after the solar calculator of NOAA): sun's centre 0.833° below the horizon at sunset, 6° at the end of civil twilight.
    """
    from astral import Observer
    from astral.sun import dusk, elevation, noon, sunrise, sunset

    observer = Observer(latitude=latitude, longitude=0.0)
    try:
        rise, gone = sunrise(observer, date=date), sunset(observer, date=date)
    except ValueError:
        return (24.0, 0.0) if elevation(observer, noon(observer, date=date)) > 0 else (0.0, float("nan"))
    try:
        twilight = (dusk(observer, date=date) - gone) / dt.timedelta(hours=1)
    except ValueError:
        twilight = float("nan")
    return (gone - rise) / dt.timedelta(hours=1), twilight
