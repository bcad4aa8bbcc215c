"""The year in the tank: a set point for every day that the readings reach, by one harmonic, never warmer, never faster (method §6).

What grades and targets can touch only takes days away or lowers them: the fit and its slowing rest on all months with readings, and
targets only choose which days are printed. So with a grade lowered or an instrument blanked no day's set point rises.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.formulas.grades import down, least_allowed
from pipeline.formulas.harmonic import cosinor, cosinor_at
from pipeline.formulas.limits import judgement
from pipeline.formulas.weights import site_day_weights
from pipeline.formulas.year_days import LENGTHS, STARTS, YEAR, day_of_year
from pipeline.settings import Settings
from schemas.frames import SCHEDULE_COLUMNS, SCHEDULE_MONTH_COLUMNS, SCHEDULE_WEEK_COLUMNS

Group = tuple[str, str, str, str]
Days = NDArray[np.int64]
Floats = NDArray[np.float64]

GROUP = ["taxon", "population", "life_stage", "medium"]
EGGS = "egg_mass"
CONSTANT = ("warm_spring", "cave")
MONTH_OF_DAY = np.repeat(np.arange(1, 13), LENGTHS)
WEEK = 7
LAST_WEEK = YEAR // WEEK


def schedule(readings: pd.DataFrame, targets: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Set point of every day that the readings reach, for each taxon × population × stage × medium.

    f(t) = weighted harmonic fit of the distinct values on day of year (site-day weights), not below `schedule_least`, not above the month's
    P75 and the ceiling less `thermostat_margin`; g(t) = min over s of f(s) + `schedule_rate`·|t − s| within a run of months with readings;
    the set point is g rounded down, and none where g is below the floor (or, winter unknown, below the lowest month measured). Days are
    those from `schedule_reach` before the first to `schedule_reach` after the last visit day of a
    run of consecutive months with a target of their own; a run may pass New Year. Outside them it would be extrapolation.

    Parameters
    ----------
    readings : DataFrame
        As :class:`schemas.frames.Readings`, °C.
    targets : DataFrame
        Columns of ``schemas.frames.TARGET_COLUMNS``, as derived from these readings or as held to what was published.
    settings : Settings
        Taxa and their groups.

    Returns
    -------
    DataFrame
        Columns of ``schemas.frames.SCHEDULE_COLUMNS``, °C, in the order of the days of each run. No rows for eggs, for taxa of springs and
        caves, and where fewer than `schedule_months_least` months were read. ``set_point`` is missing where the field is colder than the
        floor (``at_floor``).

    Notes
    -----
    Months whose own readings gave no target, refused or borrowed, have no schedule, not even in the week beside a run. The P75 stands in
    because the day's mean stays in the month's band. Rounding is by the weakest grade of the run, so that a change of grade makes no step.
    Sites that were read in some months only can tilt the fit; the rounding, the cap and the slowing lower it, nothing raises it.
    """
    kind = settings.taxa.set_index("code")["group"]
    rows = targets[targets["quantity"] == "temperature"]
    months = {key: part.set_index(part["month"].astype("str")) for key, part in rows.groupby(GROUP)}
    parts = [
        _group_schedule(key, group, months[key])
        for key, group in readings.groupby(GROUP, sort=True)
        if key in months and key[2] != EGGS and kind[key[0]] not in CONSTANT
    ]
    return _typed(pd.concat([pd.DataFrame(columns=list(SCHEDULE_COLUMNS)), *(part for part in parts if len(part))], ignore_index=True))


def by_week(days: pd.DataFrame) -> pd.DataFrame:
    """The schedule by week: the lowest set point of its days, so that it is above the field on none of them.

    Weeks are counted from 1 January; the last has the 365th day as well. A week at the end of a run may have fewer days.

    Parameters
    ----------
    days : DataFrame
        As :func:`schedule` gives it.

    Returns
    -------
    DataFrame
        Columns of ``schemas.frames.SCHEDULE_WEEK_COLUMNS``, °C; ``set_point`` is missing where it is for one of the days.
    """
    week = np.minimum((days["day_of_year"] - 1) // WEEK, LAST_WEEK - 1) + 1
    return _stretches(days.assign(week=week), "week", list(SCHEDULE_WEEK_COLUMNS))


def by_month(days: pd.DataFrame) -> pd.DataFrame:
    """The schedule by month: where it begins, where it ends, its lowest and highest set point.

    Parameters
    ----------
    days : DataFrame
        As :func:`schedule` gives it.

    Returns
    -------
    DataFrame
        Columns of ``schemas.frames.SCHEDULE_MONTH_COLUMNS``, °C; a month at the end of a run may have a few days only.
    """
    return _stretches(days, "month", list(SCHEDULE_MONTH_COLUMNS))


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
    day = np.arange(len(values))
    apart = np.abs(day[:, None] - day)
    if closed:
        apart = np.minimum(apart, len(values) - apart)
    return np.asarray((values[None, :] + judgement("schedule_rate") / WEEK * apart).min(axis=1), dtype=float)


def _group_schedule(key: Group, group: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    # The clock time is left out on purpose: blanking it must change nothing.
    values = group[["site", "date", "month", "value"]].drop_duplicates().reset_index(drop=True)
    values["day"] = day_of_year(values["date"])
    read = sorted(int(month) for month in values["month"].unique())
    if len(read) < judgement("schedule_months_least"):
        return pd.DataFrame(columns=list(SCHEDULE_COLUMNS))
    weights = site_day_weights(values["site"], values["month"].astype("int64"), values["date"])
    fit = cosinor(values["day"], values["value"], weights)
    curve = pd.DataFrame(index=range(1, YEAR + 1), columns=["fitted", "limited", "step_grade"])
    for run in runs(read):
        days = _days_of(run, values)
        fitted = np.maximum(cosinor_at(fit, days), judgement("schedule_least"))
        highest = np.array([_cap(rows.loc[str(month)]) for month in _own_or_nearest(run, days)])
        curve.loc[days, "fitted"] = fitted
        curve.loc[days, "limited"] = slowed(np.minimum(fitted, highest), closed=len(run) == len(LENGTHS))
        curve.loc[days, "step_grade"] = max(rows.loc[[str(month) for month in run], "grade"])
    held = [int(month) for month in read if rows.loc[str(month), "status"] == "target"]
    parts = [_printed(number, _days_of(run, values), curve, rows) for number, run in enumerate(runs(held), start=1)]
    found = pd.concat(parts) if parts else pd.DataFrame()
    return found.assign(**dict(zip(GROUP, key, strict=True))).reindex(columns=list(SCHEDULE_COLUMNS))


def _days_of(run: tuple[int, ...], values: pd.DataFrame) -> Days:
    return span(run, values.loc[values["month"].isin(run), "day"].to_numpy(dtype=np.int64))


def _own_or_nearest(run: tuple[int, ...], days: Days) -> list[int]:
    """Month of each day, or the end of the run beside it for the days that reach out of the run."""
    month = MONTH_OF_DAY[days - 1]
    early = np.arange(len(days)) < len(days) / 2
    return [int(own) if own in run else run[0] if first else run[-1] for own, first in zip(month, early, strict=True)]


def _cap(row: pd.Series) -> float:
    """Highest value that a month's own figures leave to its days, °C."""
    highest = float(row["p75"])
    if not math.isnan(row["ceiling"]):
        highest = min(highest, row["ceiling"] - judgement("thermostat_margin"))
    # A top below what these figures give was held to what had been published before.
    if row["status"] == "target" and row["band_high"] < down(highest, row["grade"]):
        highest = float(row["band_high"])
    return highest


def _printed(number: int, days: Days, curve: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    without = [int(name) for name in rows.index[(rows["status"] != "target") & (rows["n_readings"] > 0)] if name.isdigit()]
    days = days[~np.isin(MONTH_OF_DAY[days - 1], without)]
    shown = curve.loc[days]
    month = MONTH_OF_DAY[days - 1]
    limited = shown["limited"].to_numpy(dtype=float)
    rounded = np.array([down(value, grade) for value, grade in zip(limited, shown["step_grade"], strict=True)])
    bottoms = {int(name): row["band_low"] for name, row in rows.iterrows() if str(name).isdigit() and row["status"] == "target"}
    floor = least_allowed(rows.assign(month=rows.index))
    at_floor = limited < floor
    set_point = np.where(at_floor, np.nan, np.maximum(rounded, floor))
    lowest = np.array([bottoms.get(int(one), math.nan) for one in month])
    columns: dict[str, Any] = {
        "run": number, "day_of_year": days, "month": month, "day": days - np.asarray(STARTS)[month - 1],
        "fitted": shown["fitted"].to_numpy(dtype=float), "limited": limited, "set_point": set_point,
        "below_band": set_point < lowest, "at_floor": at_floor,
    }  # fmt: skip
    return pd.DataFrame(columns)


def _stretches(days: pd.DataFrame, label: str, columns: list[str]) -> pd.DataFrame:
    """Summarise consecutive days of one label; the two ends of a run may lie in one month and stay apart."""
    keys = [*GROUP, "run", label]
    stretch = (days[keys] != days[keys].shift()).any(axis=1).cumsum()
    grouped = days.groupby([stretch.rename("stretch"), *keys], sort=False)
    frame = grouped.agg(
        from_month=("month", "first"), from_day=("day", "first"), to_month=("month", "last"), to_day=("day", "last"),
        n_days=("day", "size"), below_band=("below_band", "any"), at_floor=("at_floor", "any"),
        low=("set_point", "min"), high=("set_point", "max"),
        start=("set_point", lambda part: part.iloc[0]), end=("set_point", lambda part: part.iloc[-1]),
    )  # fmt: skip
    frame["set_point"] = frame["low"].mask(frame["at_floor"])
    return frame.reset_index()[columns]


def _typed(frame: pd.DataFrame) -> pd.DataFrame:
    whole = dict.fromkeys(("run", "day_of_year", "month", "day"), "int64")
    real = dict.fromkeys(("fitted", "limited", "set_point"), "float64")
    return frame.astype({**dict.fromkeys(GROUP, "str"), **whole, **real, "below_band": "bool", "at_floor": "bool"})
