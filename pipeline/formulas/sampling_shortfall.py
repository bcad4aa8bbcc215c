"""What readings a step apart can miss of a wave."""

from __future__ import annotations

import math

from pipeline.formulas.series import HOURS_A_DAY


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
