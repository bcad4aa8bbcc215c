"""The year in the tank: one set point for every day of a month with a target, never warmer than the field, never faster (method §5, §6).

What a grade can touch only takes days away or lowers them: the yearly course and its slowing rest on all months with readings, and targets
choose which days are printed. So with a grade lowered or an instrument blanked no day's set point rises.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.formulas.grades import NONE, down, missing_for_c, step
from pipeline.formulas.harmonic import cosinor, cosinor_at
from pipeline.formulas.limits import judgement
from pipeline.formulas.weights import site_day_weights
from pipeline.formulas.year_days import LENGTHS, STARTS, YEAR, day_of_year
from pipeline.settings import Settings
from pipeline.targets.lines import least_set_point, lines_of, neighbours, two_sided
from schemas.frames import SCHEDULE_COLUMNS, SCHEDULE_MONTH_COLUMNS, SCHEDULE_WEEK_COLUMNS

Group = tuple[str, str, str, str]
Days = NDArray[np.int64]
Floats = NDArray[np.float64]

GROUP = ["taxon", "population", "life_stage", "medium"]
CELL = [*GROUP, "month"]
MONTH_OF_DAY = np.repeat(np.arange(1, 13), LENGTHS)
WEEK = 7
LAST_WEEK = YEAR // WEEK
UNDER = 1e-6
"""°C under a step that surely round down to the step below."""


def with_set_points(targets: pd.DataFrame, readings: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Give each month the span of its days' set points, and widen its band downward to hold them.

    Parameters
    ----------
    targets : DataFrame
        Columns of ``schemas.frames.TARGET_COLUMNS``, °C; ``set_point_high`` is the highest that a day of the month may have.
    readings, settings
        As :func:`schedule`.

    Returns
    -------
    DataFrame
        The same rows; of those that have days in the schedule, ``set_point_low`` and ``set_point_high`` are the lowest and highest of
        these, ``set_point`` lies between, and ``band_low`` is not above them. Other rows hold their one set point.
    """
    days = schedule(readings, targets, settings)
    spans = days.assign(month=days["month"].astype("str")).groupby(CELL)["set_point"].agg(lowest="min", highest="max")
    found = targets.join(spans, on=CELL)
    low, high = found["lowest"].fillna(targets["set_point"]), found["highest"].fillna(targets["set_point"])
    return targets.assign(
        set_point=np.minimum(np.maximum(targets["set_point"], low), high),
        set_point_low=low,
        set_point_high=high,
        band_low=np.minimum(targets["band_low"], low),
    )


def schedule(readings: pd.DataFrame, targets: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Set point of every day of each month with a target, for each taxon × population × stage × medium.

    f(t) = weighted harmonic fit of the distinct values on day of year (site-day weights), from `schedule_reach` days before the first to
    `schedule_reach` after the last visit day of a run of months with readings, less the month's day shift; on other days of months with
    readings the month's P50 less its shift; never below the month's P5 less its shift, which would be extrapolation, never above its band,
    never below `schedule_least`.
    g(t) = min over s of f(s) + `schedule_rate`·|t − s|, over the turn of the year too. The set point is g rounded
    down, and at least the floor + 1 °C.

    Parameters
    ----------
    readings : DataFrame
        As :class:`schemas.frames.Readings`, °C.
    targets : DataFrame
        Columns of ``schemas.frames.TARGET_COLUMNS``, as derived from these readings or as held to what was published.
    settings : Settings
        Taxa and their groups, and the warm months.

    Returns
    -------
    DataFrame
        Columns of ``schemas.frames.SCHEDULE_COLUMNS``, °C, in the order of the days of each run of months. No rows for eggs and for taxa of
        springs and caves. ``at_floor`` marks days on which the field is colder than the floor + 1 °C.

    Notes
    -----
    A month without a target of its own cools its neighbours as the borrowed one would: by the lower of its own and its cooler neighbour's
    median, whether that neighbour may lend or not. Rounding is by the weakest grade of the year, so that a change of grade makes no step.
    Sites that were read in some months only can tilt the fit; the band caps it, nothing raises it.
    """
    kind = settings.taxa.set_index("code")["group"]
    rows = targets[targets["quantity"] == "temperature"]
    months = {key: part.set_index(part["month"].astype("str")) for key, part in rows.groupby(GROUP)}
    parts = [
        _group_schedule(key, group, months[key], settings.warm_months)
        for key, group in readings.groupby(GROUP, sort=True)
        if key in months and not two_sided(key[2], kind[key[0]])
    ]
    return _typed(pd.concat([pd.DataFrame(columns=list(SCHEDULE_COLUMNS)), *(part for part in parts if len(part))], ignore_index=True))


def by_week(days: pd.DataFrame) -> pd.DataFrame:
    """The schedule by week: the lowest set point of its days, so that it is above the field on none of them, and their lowest act line.

    Weeks are counted from 1 January; the last has the 365th day as well. A week at the end of a run may have fewer days.

    Parameters
    ----------
    days : DataFrame
        As :func:`schedule` gives it.

    Returns
    -------
    DataFrame
        Columns of ``schemas.frames.SCHEDULE_WEEK_COLUMNS``, °C.
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


def _group_schedule(key: Group, group: pd.DataFrame, rows: pd.DataFrame, warm_months: tuple[int, ...]) -> pd.DataFrame:
    # The clock time is left out on purpose: blanking it must change nothing but the day shift.
    values = group[["site", "date", "month", "value"]].drop_duplicates().reset_index(drop=True)
    values["day"] = day_of_year(values["date"])
    read = [month for month in range(1, 13) if rows.loc[str(month), "n_readings"] > 0]
    fitted, field = _fitted(values, read), np.full(YEAR, math.inf)
    weakest = max((str(rows.loc[str(month), "grade"]) for month in read), default=NONE)
    for month in (month for month in read if _may_print(rows, month)):
        its, row = month == MONTH_OF_DAY, rows.loc[str(month)]
        course = np.where(np.isnan(fitted[its]), row["p50"], np.maximum(fitted[its], row["p05"])) - row["day_shift"]
        most = min(_middle(rows, month), _highest(row, rows.loc[_sources(rows, month)], warm_months, weakest))
        field[its] = np.maximum(np.minimum(course, most), judgement("schedule_least"))
    return _printed(key, fitted, slowed(field, closed=True), rows, weakest)


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


def _cooler(rows: pd.DataFrame, month: int) -> str | None:
    """The cooler neighbour of a month, if it is no warmer than the month itself."""
    beside = [name for name in neighbours(str(month)) if rows.loc[name, "n_readings"] > 0]
    beside = [name for name in beside if rows.loc[name, "p50"] <= rows.loc[str(month), "p50"]]
    return min(beside, key=lambda name: rows.loc[name, "p50"], default=None)


def _may_print(rows: pd.DataFrame, month: int) -> bool:
    """Whether a month has the counts for a target, or its cooler neighbour has, whatever their grades: then it cools its neighbours."""
    names = [name for name in (str(month), _cooler(rows, month)) if name]
    counts = [{one: rows.loc[name, f"n_{one}"] for one in ("sites", "dates", "visits")} for name in names]
    return any(not missing_for_c(count, monthly=True) for count in counts)


def _sources(rows: pd.DataFrame, month: int) -> list[str]:
    """Months whose figures bound the days of a month: its own, and without a target of its own its cooler neighbour's."""
    cooler = None if rows.loc[str(month), "status"] == "target" else _cooler(rows, month)
    return [name for name in (str(month), cooler) if name]


def _middle(rows: pd.DataFrame, month: int) -> float:
    """Highest that a month without a target of its own lets its days stand, °C; inf for others."""
    if rows.loc[str(month), "status"] == "target":
        return math.inf
    return min(float(rows.loc[name, "p50"] - rows.loc[name, "day_shift"]) for name in _sources(rows, month))


def _highest(row: pd.Series, sources: pd.DataFrame, warm_months: tuple[int, ...], weakest: str) -> float:
    """Top that a month gives its days, °C: as printed, or for a month that prints nothing what its readings would give."""
    own = min(down(_top(source, int(name) in warm_months), row["grade"]) for name, source in sources.iterrows())
    under = math.inf if math.isnan(row["ceiling"]) else row["ceiling"] - judgement("thermostat_margin")
    # Just under the next step: what rounds to the highest set point may stay, or the year would sink each time that it is drawn.
    printed = math.inf if math.isnan(row["set_point_high"]) else row["set_point_high"] + step(weakest) - UNDER
    return float(min(own, under, printed))


def _top(row: pd.Series, warm: bool) -> float:
    bound = float(row["p95_bound"] - row["allowance"]) if warm else math.nan
    return lines_of({**row.to_dict(), "low": math.nan, "high": math.nan}, bound, float(row["day_shift"]), False).top


def _printed(key: Group, fitted: Floats, limited: Floats, rows: pd.DataFrame, weakest: str) -> pd.DataFrame:
    least = least_set_point(float(rows["floor"].max()))
    shown = [month for month in range(1, 13) if rows.loc[str(month), "status"] != "refused"]
    parts = []
    for number, run in enumerate(runs(shown), start=1):
        days = np.concatenate([np.arange(STARTS[month - 1] + 1, STARTS[month - 1] + LENGTHS[month - 1] + 1) for month in run])
        month = MONTH_OF_DAY[days - 1]
        band_high, act_line = (rows.loc[month.astype(str), name].to_numpy(dtype=float) for name in ("band_high", "act_line"))
        course = limited[days - 1]
        rounded = np.array([down(value, weakest) for value in course])
        columns: dict[str, Any] = {
            "run": number, "day_of_year": days, "month": month, "day": days - np.asarray(STARTS)[month - 1],
            "fitted": fitted[days - 1], "limited": course, "set_point": np.minimum(np.maximum(rounded, least), band_high),
            "act_line": act_line, "at_floor": course < least,
        }  # fmt: skip
        parts.append(pd.DataFrame(columns).assign(**dict(zip(GROUP, key, strict=True))))
    return pd.concat(parts).reindex(columns=list(SCHEDULE_COLUMNS)) if parts else pd.DataFrame(columns=list(SCHEDULE_COLUMNS))


def _stretches(days: pd.DataFrame, label: str, columns: list[str]) -> pd.DataFrame:
    """Summarise consecutive days of one label; the two ends of a run may lie in one month and stay apart."""
    keys = [*GROUP, "run", label]
    stretch = (days[keys] != days[keys].shift()).any(axis=1).cumsum()
    grouped = days.groupby([stretch.rename("stretch"), *keys], sort=False)
    frame = grouped.agg(
        from_month=("month", "first"), from_day=("day", "first"), to_month=("month", "last"), to_day=("day", "last"),
        n_days=("day", "size"), at_floor=("at_floor", "any"), act_line=("act_line", "min"),
        low=("set_point", "min"), high=("set_point", "max"),
        start=("set_point", lambda part: part.iloc[0]), end=("set_point", lambda part: part.iloc[-1]),
    )  # fmt: skip
    frame["set_point"] = frame["low"]
    return frame.reset_index()[columns]


def _typed(frame: pd.DataFrame) -> pd.DataFrame:
    whole = dict.fromkeys(("run", "day_of_year", "month", "day"), "int64")
    real = dict.fromkeys(("fitted", "limited", "set_point", "act_line"), "float64")
    return frame.astype({**dict.fromkeys(GROUP, "str"), **whole, **real, "at_floor": "bool"})
