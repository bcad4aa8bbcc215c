"""Series of logger readings: means, hours and degree-hours, all linear between readings and never across a gap.

Times are UTC: on the local clock an hour is missing in spring and doubled in autumn. Readings of one series, in any order; a missing value
is left out, so that it widens the gap around it.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

HOURS_A_DAY = 24.0
Floats = NDArray[np.float64]


def _hours(times: ArrayLike) -> Floats:
    index = pd.Index(times)  # type: ignore[arg-type]
    if pd.api.types.is_numeric_dtype(index.dtype) and len(index):
        raise ValueError("times must be moments in UTC, not numbers.")
    moments = pd.to_datetime(index, utc=True)
    if moments.isna().any():
        raise ValueError("a reading has no time; leave such rows out first.")
    return np.asarray((moments - pd.Timestamp(0, tz="UTC")) / pd.Timedelta(hours=1), dtype=float)


def _clean(times: ArrayLike, values: ArrayLike) -> tuple[Floats, Floats]:
    hours, x = _hours(times), np.asarray(values, dtype=float).ravel()
    if hours.shape != x.shape:
        raise ValueError(f"times and values must have one length; got {hours.size} and {x.size}.")
    if np.isinf(x).any():
        raise ValueError("a value is infinite.")
    kept = ~np.isnan(x)
    order = np.argsort(hours[kept], kind="stable")
    hours, x = hours[kept][order], x[kept][order]
    if (np.diff(hours) <= 0).any():
        raise ValueError("two readings have the same time; settle which holds first.")
    return hours, x


def _pieces(times: ArrayLike, values: ArrayLike, gap_h: float) -> tuple[Floats, Floats, Floats, Floats]:
    # Moment, length, first and last value of each stretch between neighbouring readings that is not a gap.
    if not gap_h > 0:
        raise ValueError("the longest step that is no gap must be above 0 h.")
    hours, x = _clean(times, values)
    length = np.diff(hours)
    # A clock that counts milliseconds must not make a gap of a step.
    kept = length <= gap_h * (1 + 1e-9)
    return hours[:-1][kept], length[kept], x[:-1][kept], x[1:][kept]


def usual_step_h(times: ArrayLike) -> float:
    """Usual time between readings: the median step.

    Parameters
    ----------
    times : array_like of datetime64, shape (n,)
        UTC, any order.

    Returns
    -------
    float
        Hours; nan with fewer than two readings.

    Raises
    ------
    ValueError
        A time is missing.
    """
    hours = np.sort(_hours(times))
    return float(np.median(np.diff(hours))) if hours.size > 1 else math.nan


def gaps(times: ArrayLike, values: ArrayLike, gap_h: float) -> pd.DataFrame:
    """Stretches without a reading that are longer than a limit: what happened there is unknown.

    Parameters
    ----------
    times : array_like of datetime64, shape (n,)
        UTC, any order.
    values : array_like, shape (n,)
        Readings, any unit.
    gap_h : float
        Longest step that is no gap, hours; twice the usual step by the method.

    Returns
    -------
    DataFrame
        One row a gap: ``start`` and ``end`` (last reading before, first after; datetime, UTC) and ``hours``.

    Raises
    ------
    ValueError
        As :func:`time_weighted_mean`.
    """
    _pieces(times, values, gap_h)
    hours, _ = _clean(times, values)
    at = np.flatnonzero(np.diff(hours) > gap_h * (1 + 1e-9))
    moments = pd.Timestamp(0, tz="UTC") + pd.to_timedelta(hours, unit="h").round("ms")
    return pd.DataFrame({"start": moments[at], "end": moments[at + 1], "hours": np.diff(hours)[at]})


def covered_hours(times: ArrayLike, values: ArrayLike, gap_h: float) -> float:
    """Hours that the series covers, gaps left out; what a share of time is a share of.

    Parameters
    ----------
    times, values, gap_h
        As for :func:`time_weighted_mean`, with the same errors.

    Returns
    -------
    float
        Hours; 0 with fewer than two readings.
    """
    return float(_pieces(times, values, gap_h)[1].sum())


def time_weighted_mean(times: ArrayLike, values: ArrayLike, gap_h: float) -> float:
    """Mean over time, ∫x dt/∫dt, linear between readings and broken at gaps.

    Parameters
    ----------
    times : array_like of datetime64, shape (n,)
        UTC, any order; steps need not be even.
    values : array_like, shape (n,)
        Readings, any unit; missing ones are left out.
    gap_h : float
        Longest step that is bridged, hours.

    Returns
    -------
    float
        In the unit of `values`; nan where no two readings are near enough.

    Raises
    ------
    ValueError
        Lists of different length, a missing or doubled time, an infinite value, or a limit not above 0.

    References
    ----------
    Definition (trapezium rule).
    """
    _, length, start, end = _pieces(times, values, gap_h)
    return float((length * (start + end) / 2).sum() / length.sum()) if length.size else math.nan


def hours_above(times: ArrayLike, values: ArrayLike, threshold: float, gap_h: float) -> float:
    """Hours above a threshold, with the moment of crossing found on the line between two readings.

    Parameters
    ----------
    times, values, gap_h
        As for :func:`time_weighted_mean`, with the same errors.
    threshold : float
        In the unit of `values`; exactly at it is not above it.

    Returns
    -------
    float
        Hours; 0 also where nothing is covered, so show :func:`covered_hours` beside it.

    References
    ----------
    Definition.
    """
    return _above(times, values, threshold, gap_h)[0]


def degree_hours_above(times: ArrayLike, values: ArrayLike, threshold: float, gap_h: float) -> float:
    """Degree-hours above a threshold: the area over it, with exact crossings.

    Trapezia of values clipped at the threshold would be too large, for they make the curve leave it one reading early.

    Parameters
    ----------
    times, values, threshold, gap_h
        As for :func:`hours_above`, with the same errors.

    Returns
    -------
    float
        Unit of `values` times hours.

    References
    ----------
    Definition.
    """
    return _above(times, values, threshold, gap_h)[1]


def hours_below(times: ArrayLike, values: ArrayLike, threshold: float, gap_h: float) -> float:
    """Hours below a threshold; the mirror of :func:`hours_above`.

    Parameters
    ----------
    times, values, threshold, gap_h
        As for :func:`hours_above`, with the same errors.

    Returns
    -------
    float
        Hours.
    """
    return _above(times, -np.asarray(values, dtype=float), -threshold, gap_h)[0]


def excursions(times: ArrayLike, values: ArrayLike, threshold: float, gap_h: float) -> pd.DataFrame:
    """Unbroken stretches above a threshold, from crossing to crossing; a gap ends one, for what happened there is unknown.

    Parameters
    ----------
    times, values, threshold, gap_h
        As for :func:`hours_above`, with the same errors.

    Returns
    -------
    DataFrame
        One row each, in order of time: ``start`` and ``end`` (datetime, UTC) and ``hours``; their hours add up to :func:`hours_above`.

    References
    ----------
    Definition.
    """
    at, length, start, end, share = _shares_above(times, values, threshold, gap_h)
    enters = at + np.where(start >= threshold, 0.0, length * (1 - share))
    leaves = at + np.where(end >= threshold, length, length * share)
    above = np.maximum(start, end) > threshold
    enters, leaves = enters[above], leaves[above]
    new = np.r_[True, enters[1:] > leaves[:-1]] if len(enters) else np.empty(0, dtype=bool)
    firsts = np.flatnonzero(new)
    lasts = np.r_[firsts[1:] - 1, len(leaves) - 1][: len(firsts)]
    begin, finish = enters[firsts], leaves[lasts]
    start_at, end_at = (pd.Timestamp(0, tz="UTC") + pd.to_timedelta(part, unit="h").round("ms") for part in (begin, finish))
    found = pd.DataFrame({"start": start_at, "end": end_at, "hours": finish - begin})
    # A crossing that rounds to the reading itself is no stretch of time.
    return found[found["hours"] > 0].reset_index(drop=True)


def _shares_above(times: ArrayLike, values: ArrayLike, threshold: float, gap_h: float) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    # The pieces, and which share of each lies above a threshold.
    if math.isnan(threshold):
        raise ValueError("the threshold is missing.")
    at, length, start, end = _pieces(times, values, gap_h)
    high, low = np.maximum(start, end) - threshold, np.minimum(start, end) - threshold
    rise = high - low
    share = np.where(low >= 0, 1.0, np.divide(high, rise, out=np.zeros_like(rise), where=rise > 0))
    return at, length, start, end, np.where(high <= 0, 0.0, share)


def _above(times: ArrayLike, values: ArrayLike, threshold: float, gap_h: float) -> tuple[float, float]:
    _, length, start, end, share = _shares_above(times, values, threshold, gap_h)
    high, low = np.maximum(start, end) - threshold, np.minimum(start, end) - threshold
    mean_over = np.where(low >= 0, (high + low) / 2, high / 2)
    return float((length * share).sum()), float((length * share * mean_over).sum())


def worst_sampling_shortfall(daily_range: float, interval_h: float) -> float:
    """Most by which readings at an interval can miss the daily maximum of a sine: (D/2)(1 − cos(πh/24)).

    Real streams have sharper peaks than a sine, so take it as the least that may be missed at worst.

    Parameters
    ----------
    daily_range : float
        Highest less lowest of the day, not negative, any unit.
    interval_h : float
        Hours between readings, above 0 to 24.

    Returns
    -------
    float
        In the unit of `daily_range`.

    Raises
    ------
    ValueError
        A negative range or an interval outside 0 to 24 h.

    References
    ----------
    Derived for a sine of 24 h whose peak lies halfway between two readings.
    """
    return daily_range / 2 * (1 - math.cos(_phase(daily_range, interval_h)))


def mean_sampling_shortfall(daily_range: float, interval_h: float) -> float:
    """Mean by which readings at an interval miss the daily maximum of a sine: (D/2)(1 − sin(πh/24)/(πh/24)).

    Parameters
    ----------
    daily_range, interval_h : float
        As for :func:`worst_sampling_shortfall`, with the same errors.

    Returns
    -------
    float
        In the unit of `daily_range`.

    References
    ----------
    Derived for a sine of 24 h with its peak anywhere between two readings.
    """
    phase = _phase(daily_range, interval_h)
    return daily_range / 2 * (1 - math.sin(phase) / phase)


def _phase(daily_range: float, interval_h: float) -> float:
    if not daily_range >= 0 or not 0 < interval_h <= HOURS_A_DAY:
        raise ValueError("the daily range must be 0 or more, and the interval above 0 and at most 24 h.")
    return math.pi * interval_h / HOURS_A_DAY
