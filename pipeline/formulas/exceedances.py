"""How long and how far a series of readings lies above or below a limit."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from pipeline.formulas.series import Floats, pieces


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
    at, length, start, end = pieces(times, values, gap_h)
    high, low = np.maximum(start, end) - threshold, np.minimum(start, end) - threshold
    rise = high - low
    share = np.where(low >= 0, 1.0, np.divide(high, rise, out=np.zeros_like(rise), where=rise > 0))
    return at, length, start, end, np.where(high <= 0, 0.0, share)


def _above(times: ArrayLike, values: ArrayLike, threshold: float, gap_h: float) -> tuple[float, float]:
    _, length, start, end, share = _shares_above(times, values, threshold, gap_h)
    high, low = np.maximum(start, end) - threshold, np.minimum(start, end) - threshold
    mean_over = np.where(low >= 0, (high + low) / 2, high / 2)
    return float((length * share).sum()), float((length * share * mean_over).sum())
