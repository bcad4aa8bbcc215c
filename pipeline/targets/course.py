"""The field through the year, as a set point may follow it: one harmonic, under each month's band, slowed to 1 °C a week.

What a grade can touch only lowers a day: the course and its slowing rest on all months that could have a target by their counts.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.formulas.year_days import LENGTHS, STARTS, YEAR
from pipeline.settings.limits import judgement
from pipeline.statistics.grades import NONE, down, missing_for_c, step
from pipeline.statistics.harmonic import cosinor, cosinor_at
from pipeline.statistics.weights import site_day_weights
from pipeline.targets.lines import lines_of
from schemas.enums import Status

Days = NDArray[np.int64]
Floats = NDArray[np.float64]
Months = Mapping[int, Mapping[str, Any]]

MONTH_OF_DAY = np.repeat(np.arange(1, 13), LENGTHS)
WEEK = 7
UNDER = 1e-6
"""°C under a step that surely round down to the step below."""


def limited_course(values: pd.DataFrame, months: Months, warm_months: tuple[int, ...]) -> tuple[Floats, Floats]:
    """What the field does each day, and what a set point may be at most.

    Parameters
    ----------
    values : DataFrame
        Distinct values: columns ``site``, ``date``, ``month``, ``day`` (of the year, 1 to 365), ``value`` (°C).
    months : mapping
        Month, 1 to 12, to its row of the targets.
    warm_months : tuple of int
        Months for which the bound of the warm season speaks.

    Returns
    -------
    fitted, limited : ndarray, shape (365,)
        °C. The yearly course as read, nan on days that the visits do not reach; and the same as the day's mean (or the month's median),
        under the month's band, slowed to `schedule_rate` over the turn of the year too.
    """
    read = [month for month in months if months[month]["n_readings"] > 0]
    fitted, field = _fitted(values, read), np.full(YEAR, math.inf)
    for month in read:
        if _may_print(months, month):
            its, row = month == MONTH_OF_DAY, months[month]
            course = np.where(np.isnan(fitted[its]), row["p50"], np.maximum(fitted[its], row["p05"])) - row["day_shift"]
            most = min(_middle(months, month), _highest(months, month, warm_months))
            field[its] = np.maximum(np.minimum(course, most), judgement("schedule_least"))
    return fitted, slowed(field, closed=True)


def weakest_grade(months: Months) -> str:
    """The weakest grade of the months with readings: its step rounds the whole year, so that a change of grade makes no step."""
    return max((str(row["grade"]) for row in months.values() if row["n_readings"] > 0), default=NONE)


def runs(months: Iterable[int]) -> list[tuple[int, ...]]:
    """Runs of consecutive months, December followed by January; all twelve are one run.

    Parameters
    ----------
    months : iterable of int
        1 to 12.

    Returns
    -------
    list of tuple of int
        In the order of their first month; twelve months begin with January.
    """
    held = set(months)
    firsts = [month for month in sorted(held) if (month - 2) % 12 + 1 not in held] or sorted(held)[:1]
    found = []
    for first in firsts:
        following = [(first - 1 + step) % 12 + 1 for step in range(12)]
        length = next((step for step, month in enumerate(following) if month not in held), 12)
        found.append(tuple(following[:length]))
    return found


def span(run: tuple[int, ...], days: Days) -> Days:
    """Days that the visits of a run reach.

    Parameters
    ----------
    run : tuple of int
        Consecutive months.
    days : ndarray of int, shape (n,)
        Visit days of these months, 1 to 365; at least one.

    Returns
    -------
    ndarray of int
        Days of the year in order, from `schedule_reach` days before the first visit day to as many after the last; the whole year for a
        run of twelve months.
    """
    if len(run) == len(LENGTHS):
        return np.arange(1, YEAR + 1)
    start, reach = STARTS[run[0] - 1] + 1, int(judgement("schedule_reach"))
    offset = (days - start) % YEAR
    return (np.arange(offset.min() - reach, offset.max() + reach + 1) + start - 1) % YEAR + 1


def slowed(values: Floats, closed: bool) -> Floats:
    """Lower a daily curve until it changes by no more than `schedule_rate` a week: g(t) = min over s of f(s) + rate·|t − s|.

    Parameters
    ----------
    values : ndarray, shape (n,)
        One value a day, °C.
    closed : bool
        The last day is followed by the first.

    Returns
    -------
    ndarray, shape (n,)
        Nowhere above `values`; the highest curve that is so and keeps to the rate.
    """
    return np.asarray((values[None, :] + _rise(len(values), closed)).min(axis=1), dtype=float)


@cache
def _rise(n_days: int, closed: bool) -> Floats:
    """By how much a curve of that many days may change from each day to each other at `schedule_rate`, °C."""
    day = np.arange(n_days)
    apart = np.abs(day[:, None] - day)
    if closed:
        apart = np.minimum(apart, n_days - apart)
    return np.asarray(judgement("schedule_rate") / WEEK * apart)


def _fitted(values: pd.DataFrame, read: list[int]) -> Floats:
    """The field's yearly course by one harmonic on the days that the visits reach, as read; nan on others."""
    course = np.full(YEAR, math.nan)
    if len(read) >= judgement("schedule_months_least"):
        weights = site_day_weights(values["site"], values["month"].astype("int64"), values["date"])
        fit = cosinor(values["day"], values["value"], weights)
        for run in runs(read):
            days = span(run, values.loc[values["month"].isin(run), "day"].to_numpy(dtype=np.int64))
            course[days - 1] = cosinor_at(fit, days)
    return course


def _cooler(months: Months, month: int) -> int | None:
    """The cooler neighbour of a month, if it is no warmer than the month itself."""
    beside = [one for one in ((month - 2) % 12 + 1, month % 12 + 1) if months[one]["n_readings"] > 0]
    beside = [one for one in beside if months[one]["p50"] <= months[month]["p50"]]
    return min(beside, key=lambda one: months[one]["p50"], default=None)


def _may_print(months: Months, month: int) -> bool:
    """Whether a month has the counts for a target, or its cooler neighbour has, whatever their grades: then it cools its neighbours."""
    rows = [months[one] for one in (month, _cooler(months, month)) if one]
    return any(not missing_for_c({name: row[f"n_{name}"] for name in ("sites", "dates", "visits")}, monthly=True) for row in rows)


def _sources(months: Months, month: int) -> list[int]:
    """Months whose figures bound the days of a month: its own, and without a target of its own its cooler neighbour's."""
    cooler = None if months[month]["status"] == Status.TARGET else _cooler(months, month)
    return [one for one in (month, cooler) if one]


def _middle(months: Months, month: int) -> float:
    """Highest that a month without a target of its own lets its days stand, °C; inf for others."""
    if months[month]["status"] == Status.TARGET:
        return math.inf
    return min(float(months[one]["p50"] - months[one]["day_shift"]) for one in _sources(months, month))


def _highest(months: Months, month: int, warm_months: tuple[int, ...]) -> float:
    """Top that a month gives its days, °C: as printed, or for a month that prints nothing what its readings would give."""
    row = months[month]
    own = min(down(_top(months[one], one in warm_months), row["grade"]) for one in _sources(months, month))
    under = math.inf if math.isnan(row["ceiling"]) else row["ceiling"] - judgement("thermostat_margin")
    # Just under the next step: what rounds to the highest set point may stay, or the year would sink each time that it is drawn.
    printed = math.inf if math.isnan(row["set_point_high"]) else row["set_point_high"] + step(weakest_grade(months)) - UNDER
    return float(min(own, under, printed))


def _top(row: Mapping[str, Any], warm: bool) -> float:
    bound = float(row["p95_bound"] - row["allowance"]) if warm else math.nan
    return lines_of({"low": math.nan, "high": math.nan, **row}, bound, float(row["day_shift"]), False).top
