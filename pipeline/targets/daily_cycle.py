"""What loggers tell of day and night: the drop at night, half of the daily swing, and readings corrected to the day's mean (method §5, §6).

Works on readings that were reduced, by whatever engine (`schemas.frames.summaries`): what was marked and left out is no longer in them.
Days are local civil days.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pandas as pd

from pipeline.settings.limits import judgement
from schemas.frames.field import CorrectedReadings, HalfRange, LoggerRecord, NightDrop
from schemas.frames.frame import framed

PLACE = ["site", "medium", "height_or_depth_cm"]
DAY_S = 86_400.0


def night_drop(nights: pd.DataFrame, loggers: pd.DataFrame, sites: pd.DataFrame) -> pd.DataFrame:
    """Median paired day–night difference by site, medium and month.

    One difference a day. A pair counts only if it holds `logger_day_share_least` of the readings that 24 hours have at the logger's usual
    step. Loggers of one place are averaged by day first.

    Parameters
    ----------
    nights : DataFrame
        As :class:`schemas.frames.summaries.NightSummary`. A logger whose place is not known has no sunset and no row.
    loggers : DataFrame
        Columns ``logger_id``, ``site_id``, ``medium``, ``height_or_depth_cm``. Those in enclosures are left out.
    sites : DataFrame
        Columns ``site_id``, ``waterbody``.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.field.NightDrop`.
    """
    whole = _whole(_placed(nights, loggers, sites))
    drop = whole.groupby([*PLACE, "day"], dropna=False)["night_drop"].mean().reset_index()
    drop = drop.assign(month=drop["day"].dt.month, year=drop["day"].dt.year)
    grouped = drop.groupby([*PLACE, "month"], dropna=False)
    result = grouped.agg(night_drop=("night_drop", "median"), n_days=("day", "size"), n_years=("year", "nunique")).reset_index()
    return framed(NightDrop, result)


def logger_half_range(daily: pd.DataFrame, loggers: pd.DataFrame, sites: pd.DataFrame, months: tuple[int, ...]) -> pd.DataFrame:
    """Half of the daily swing where loggers hung: median over whole days of (highest − lowest)/2.

    Parameters
    ----------
    daily : DataFrame
        As :class:`schemas.frames.summaries.DailySummary`.
    loggers, sites
        As :func:`night_drop`.
    months : tuple of int
        Months that count: those on which a bound rests.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.field.HalfRange`.
    """
    days = _whole(_placed(daily[daily["day"].dt.month.isin(months)], loggers, sites))
    days = days.assign(half=(days["high_c"] - days["low_c"]) / 2)
    summary = days.groupby(PLACE, dropna=False).agg(half_range=("half", "median"), n_days=("half", "size")).reset_index()
    return framed(HalfRange, summary)


def logger_record(daily: pd.DataFrame, excursions: pd.DataFrame, loggers: pd.DataFrame, sites: pd.DataFrame, line_c: float) -> pd.DataFrame:
    """What the loggers of each site and medium say of their highest and of the longest time above a line.

    Parameters
    ----------
    daily, excursions : DataFrame
        As :class:`schemas.frames.summaries.DailySummary` and :class:`schemas.frames.summaries.Excursion`.
    loggers, sites
        As :func:`night_drop`.
    line_c : float
        Line whose passing is told, °C; one of those in `excursions`.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.field.LoggerRecord`.
    """
    days = _placed(daily, loggers, sites)
    longest = excursions[excursions["line_c"] == line_c].groupby("logger_id")["hours"].max()
    days = days.assign(longest_h=days["logger_id"].map(longest).fillna(0.0))
    figures = days.groupby(["site", "medium"]).agg(
        n_days=("high_c", "size"), max=("high_c", "max"), mean_daily_max=("high_c", "mean"), longest_h=("longest_h", "max")
    )
    return framed(LoggerRecord, figures.reset_index().assign(line_c=float(line_c)))


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
    readings: pd.DataFrame,
    daily: pd.DataFrame,
    loggers: pd.DataFrame,
    sites: pd.DataFrame,
    time_zone: str,
    around: Callable[[pd.DataFrame], pd.DataFrame],
) -> pd.DataFrame:
    """Show each reading beside what it would be as the day's mean: value + logger's daily mean − logger at that time.

    The logger hung at the same site and in the same medium; on land within `logger_depth_tolerance` of the reading's depth, which must be
    known. Its value at that time is interpolated between the readings on both sides, never over more than `logger_gap_steps` usual steps;
    its day must be whole. Of several loggers the nearest in depth is used, then the first by code.

    Parameters
    ----------
    readings : DataFrame
        As :class:`schemas.frames.targets.Readings`, °C. A reading without clock time is not corrected.
    daily, loggers, sites
        As :func:`logger_half_range`.
    time_zone : str
        IANA name of the book's zone.
    around : callable
        From moments, ``logger_id`` and ``read_at`` (UTC, no zone), to the logger's last reading up to each and its first from there on:
        ``before_at``, ``before_c``, ``after_at``, ``after_c``, missing where there is none; rows and index of what is given.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.field.CorrectedReadings`, rows and index of `readings`.

    Notes
    -----
    `readings` keeps the date on which a visit began. A reading after midnight of an evening's visit is therefore corrected by the early
    hours of that date, a day too soon.
    """
    days = _placed(daily, loggers, sites)
    asked = readings[["site", "medium", "depth_cm", "date"]].assign(row=np.arange(len(readings)), local=_moment(readings))
    asked = _fitting(asked[readings["hour"].notna().to_numpy()], days[[*PLACE, "logger_id", "step_s"]].drop_duplicates())
    asked = asked.assign(read_at=_to_utc(asked["local"], time_zone))
    whole = _whole(days)[["logger_id", "day", "mean_c"]].rename(columns={"day": "date"})
    asked = asked.merge(whole.astype({"date": asked["date"].dtype}), on=["logger_id", "date"])
    asked = asked.assign(logger_then=_interpolated(asked, around(asked[["logger_id", "read_at"]]))).dropna(subset=["logger_then"])
    best = asked.sort_values(["row", "depth_gap", "logger_id"]).drop_duplicates("row").set_index("row").reindex(range(len(readings)))
    shown = readings.assign(
        logger_id=best["logger_id"].fillna("").astype("str").to_numpy(),
        logger_then=best["logger_then"].to_numpy(dtype=float),
        logger_day_mean=best["mean_c"].to_numpy(dtype=float),
    )
    return framed(CorrectedReadings, shown.assign(corrected=shown["value"] + shown["logger_day_mean"] - shown["logger_then"]))


def _placed(reduced: pd.DataFrame, loggers: pd.DataFrame, sites: pd.DataFrame) -> pd.DataFrame:
    """Rows of loggers at sites, with the place of each."""
    named = sites.assign(site=sites["waterbody"].where(sites["waterbody"].fillna("") != "", sites["site_id"]))
    places = loggers[["logger_id", "site_id", "medium", "height_or_depth_cm"]].merge(named[["site_id", "site"]], on="site_id")
    return reduced.merge(places, on="logger_id")


def _whole(rows: pd.DataFrame) -> pd.DataFrame:
    return rows[rows["n"] * rows["step_s"] >= judgement("logger_day_share_least") * DAY_S]


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


def _interpolated(asked: pd.DataFrame, around: pd.DataFrame) -> pd.Series:
    """Logger's value at each asked moment; missing in a gap and before the first or after the last reading."""
    apart = (around["after_at"] - around["before_at"]).dt.total_seconds()
    since = (asked["read_at"] - around["before_at"]).dt.total_seconds()
    share = (since / apart).fillna(0.0)
    value = around["before_c"] + share * (around["after_c"] - around["before_c"])
    return value.where(apart <= judgement("logger_gap_steps") * asked["step_s"])
