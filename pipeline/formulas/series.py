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


def pieces(times: ArrayLike, values: ArrayLike, gap_h: float) -> tuple[Floats, Floats, Floats, Floats]:
    """Moment, length, first and last value of each stretch between neighbouring readings that is not a gap."""
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
    pieces(times, values, gap_h)
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
    return float(pieces(times, values, gap_h)[1].sum())


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
    _, length, start, end = pieces(times, values, gap_h)
    return float((length * (start + end) / 2).sum() / length.sum()) if length.size else math.nan
