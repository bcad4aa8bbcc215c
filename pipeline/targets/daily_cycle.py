"""What loggers tell of day and night: the drop at night, half of the daily swing, and readings corrected to the day's mean (method §5, §6).

Logger readings come in as they count: what was flagged and left out is no longer there. Days are local civil days.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.formulas.sun import is_night
from pipeline.settings.limits import judgement
from schemas.frames.field import CorrectedReadings, HalfRange, NightDrop
from schemas.frames.frame import framed

PLACE = ["site", "medium", "height_or_depth_cm"]
DAY = pd.Timedelta(days=1)
NOON = 12


def night_drop(logger_readings: pd.DataFrame, loggers: pd.DataFrame, sites: pd.DataFrame, time_zone: str) -> pd.DataFrame:
    """Median paired day–night difference by site, medium and month.

    One difference a day: mean of the logger's readings from sunrise to sunset less mean of those from that sunset to the next sunrise. A
    pair counts only if it holds `logger_day_share_least` of the readings that 24 hours have at the logger's usual step. Loggers of one
    place are averaged by day first.

    Parameters
    ----------
    logger_readings : DataFrame
        Columns ``logger_id``, ``read_at`` (UTC, no zone), ``temp_c`` (°C).
    loggers : DataFrame
        Columns ``logger_id``, ``site_id``, ``medium``, ``height_or_depth_cm``. Those in enclosures are left out.
    sites : DataFrame
        Columns ``site_id``, ``waterbody``, ``latitude``, ``longitude``. A site without coordinates has no sunset and is left out.
    time_zone : str
        IANA name of the book's zone.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.field.NightDrop`.
    """
    frame = _local(logger_readings, loggers, sites, time_zone)
    dark = is_night(frame["latitude"], frame["longitude"], frame["date"], frame["local"].dt.strftime("%H:%M"), time_zone)
    frame = frame[dark.notna()].assign(night=dark[dark.notna()].astype("bool"))
    morning = frame["night"] & (frame["local"].dt.hour < NOON)
    frame["date"] = frame["date"].where(~morning, frame["date"] - DAY)
    parts = frame.groupby([*PLACE, "logger_id", "step", "date", "night"], dropna=False)["temp_c"].agg(["mean", "size"]).unstack("night")
    pairs = parts.reindex(columns=pd.MultiIndex.from_product([["mean", "size"], [False, True]])).dropna().reset_index(["step"])
    whole = pairs[pairs["size"].sum(axis=1) * pairs["step"] >= judgement("logger_day_share_least") * DAY]
    drop = (
        (whole[("mean", False)] - whole[("mean", True)]).groupby([*PLACE, "date"], dropna=False).mean().rename("night_drop").reset_index()
    )
    drop = drop.assign(month=drop["date"].dt.month, year=drop["date"].dt.year)
    grouped = drop.groupby([*PLACE, "month"], dropna=False)
    result = grouped.agg(night_drop=("night_drop", "median"), n_days=("date", "size"), n_years=("year", "nunique")).reset_index()
    return framed(NightDrop, result)


def logger_half_range(
    logger_readings: pd.DataFrame, loggers: pd.DataFrame, sites: pd.DataFrame, time_zone: str, months: tuple[int, ...]
) -> pd.DataFrame:
    """Half of the daily swing where loggers hung: median over whole days of (highest − lowest)/2.

    Parameters
    ----------
    logger_readings, loggers, sites, time_zone
        As :func:`night_drop`; no coordinates are needed.
    months : tuple of int
        Months that count: those on which a bound rests.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.field.HalfRange`.
    """
    frame = _local(logger_readings, loggers, sites, time_zone)
    days = _whole_days(frame[frame["date"].dt.month.isin(months)])
    days["half"] = (days["max"] - days["min"]) / 2
    summary = days.groupby(PLACE, dropna=False).agg(half_range=("half", "median"), n_days=("half", "size")).reset_index()
    return framed(HalfRange, summary)


def half_range_for(readings: pd.DataFrame, half_ranges: pd.DataFrame) -> float | None:
    """Half-range that may stand for the readings of one medium: the largest of their places, and only where every one has a logger.

    Parameters
    ----------
    readings : DataFrame
        As :class:`schemas.frames.targets.Readings`, of one medium.
    half_ranges : DataFrame
        As :func:`logger_half_range` gives it.

    Returns
    -------
    float or None
        °C; None where one reading has no logger in its medium and depth, or there are no readings.
    """
    rows = readings[["site", "medium", "depth_cm"]].drop_duplicates().reset_index(drop=True)
    joined = _fitting(rows.assign(row=rows.index), half_ranges)
    if rows.empty or joined["row"].nunique() < len(rows):
        return None
    return float(joined["half_range"].max())


def corrected_readings(
    readings: pd.DataFrame, logger_readings: pd.DataFrame, loggers: pd.DataFrame, sites: pd.DataFrame, time_zone: str
) -> pd.DataFrame:
    """Show each reading beside what it would be as the day's mean: value + logger's daily mean − logger at that time.

    The logger hung at the same site and in the same medium; on land within `logger_depth_tolerance` of the reading's depth, which must be
    known. Its value at that time is interpolated between the readings on both sides, never over more than `logger_gap_steps` usual steps;
    its day must be whole. Of several loggers the nearest in depth is used, then the first by code.

    Parameters
    ----------
    readings : DataFrame
        As :class:`schemas.frames.targets.Readings`, °C. A reading without clock time is not corrected.
    logger_readings, loggers, sites, time_zone
        As :func:`night_drop`; no coordinates are needed.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.field.CorrectedReadings`, rows and index of `readings`.

    Notes
    -----
    `readings` keeps the date on which a visit began. A reading after midnight of an evening's visit is therefore corrected by the early
    hours of that date, a day too soon.
    """
    frame = _local(logger_readings, loggers, sites, time_zone)
    asked = readings[["site", "medium", "depth_cm", "date"]].assign(row=np.arange(len(readings)), local=_moment(readings))
    asked = _fitting(asked[readings["hour"].notna().to_numpy()], frame[[*PLACE, "logger_id", "step"]].drop_duplicates())
    asked = asked.assign(read_at=_to_utc(asked["local"], time_zone))
    asked = asked.merge(_whole_days(frame)[["logger_id", "date", "mean"]], on=["logger_id", "date"])
    asked = asked.assign(logger_then=_interpolated(asked, frame)).dropna(subset=["logger_then"])
    best = asked.sort_values(["row", "depth_gap", "logger_id"]).drop_duplicates("row").set_index("row").reindex(range(len(readings)))
    shown = readings.assign(
        logger_id=best["logger_id"].fillna("").astype("str").to_numpy(),
        logger_then=best["logger_then"].to_numpy(dtype=float),
        logger_day_mean=best["mean"].to_numpy(dtype=float),
    )
    return framed(CorrectedReadings, shown.assign(corrected=shown["value"] + shown["logger_day_mean"] - shown["logger_then"]))


def _local(logger_readings: pd.DataFrame, loggers: pd.DataFrame, sites: pd.DataFrame, time_zone: str) -> pd.DataFrame:
    """Readings of loggers at sites with their place, local time and date, and the logger's usual step; sorted by logger and time."""
    named = sites.assign(site=sites["waterbody"].where(sites["waterbody"].fillna("") != "", sites["site_id"]))
    placed = loggers[["logger_id", "site_id", "medium", "height_or_depth_cm"]].merge(
        named[["site_id", "site", "latitude", "longitude"]], on="site_id"
    )
    frame = logger_readings[["logger_id", "read_at", "temp_c"]].dropna().merge(placed, on="logger_id").sort_values(["logger_id", "read_at"])
    local = frame["read_at"].dt.tz_localize("UTC").dt.tz_convert(time_zone).dt.tz_localize(None)
    frame = frame.assign(local=local, date=local.dt.normalize()).reset_index(drop=True)
    steps = frame.groupby("logger_id")["read_at"].diff().groupby(frame["logger_id"]).median().rename("step")
    return frame.merge(steps.reset_index(), on="logger_id").dropna(subset=["step"])


def _whole_days(frame: pd.DataFrame) -> pd.DataFrame:
    days = frame.groupby([*PLACE, "logger_id", "step", "date"], dropna=False)["temp_c"].agg(["mean", "min", "max", "size"]).reset_index()
    return days[days["size"] * days["step"] >= judgement("logger_day_share_least") * DAY]


def _fitting(rows: pd.DataFrame, places: pd.DataFrame) -> pd.DataFrame:
    """Rows joined to every place of a logger that stands for them, with the distance in depth (0 off land, where depth is not noted)."""
    joined = rows.merge(places, on=["site", "medium"])
    gap = (joined["depth_cm"] - joined["height_or_depth_cm"]).abs().where(joined["medium"] == "land", 0.0)
    joined = joined.assign(depth_gap=gap)
    return joined[joined["depth_gap"] <= judgement("logger_depth_tolerance")]


def _moment(readings: pd.DataFrame) -> pd.Series:
    return readings["date"] + pd.to_timedelta(readings["hour"].astype("float64"), unit="h").astype("timedelta64[us]")


def _to_utc(local: pd.Series, time_zone: str) -> pd.Series:
    # An hour that comes twice is read as standard time, one that is skipped as the moment after it.
    standard = np.zeros(len(local), dtype=bool)
    return local.dt.tz_localize(time_zone, ambiguous=standard, nonexistent="shift_forward").dt.tz_convert("UTC").dt.tz_localize(None)


def _interpolated(asked: pd.DataFrame, frame: pd.DataFrame) -> pd.Series:
    """Logger's value at each asked moment; missing in a gap and before the first or after the last reading."""
    series = frame[["logger_id", "read_at", "temp_c"]].assign(at=frame["read_at"]).sort_values("read_at")
    wanted = asked[["logger_id", "read_at", "step"]].reset_index().sort_values("read_at")
    before, after = (
        pd.merge_asof(wanted, series, on="read_at", by="logger_id", direction=way).set_index("index") for way in ("backward", "forward")
    )
    apart, since = after["at"] - before["at"], before["read_at"] - before["at"]
    share = (since / apart).fillna(0.0).where(before["at"].notna() & after["at"].notna())
    value = before["temp_c"] + share * (after["temp_c"] - before["temp_c"])
    return value.where(apart <= judgement("logger_gap_steps") * before["step"]).reindex(asked.index)
