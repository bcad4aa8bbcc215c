"""The year in the tank: one set point for every day of a month with a target, never warmer than the field, never faster (method §5, §6).

What a grade can touch only takes days away or lowers them: the yearly course and its slowing rest on all months with readings, and targets
choose which days are printed. So with a grade lowered or an instrument blanked no day's set point rises.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from pipeline.formulas.year_days import LENGTHS, STARTS, YEAR, day_of_year
from pipeline.settings import Settings
from pipeline.statistics.grades import down
from pipeline.targets.course import MONTH_OF_DAY, WEEK, limited_course, runs, weakest_grade
from pipeline.targets.lines import least_set_point, two_sided
from schemas.enums import Status
from schemas.frames.targets import SCHEDULE_COLUMNS, SCHEDULE_MONTH_COLUMNS, SCHEDULE_WEEK_COLUMNS

Group = tuple[str, str, str, str]

GROUP = ["taxon", "population", "life_stage", "medium"]
CELL = [*GROUP, "month"]
LAST_WEEK = YEAR // WEEK


def with_set_points(targets: pd.DataFrame, days: pd.DataFrame) -> pd.DataFrame:
    """Give each month the span of its days' set points, and widen its band downward to hold them.

    Parameters
    ----------
    targets : DataFrame
        Columns of ``schemas.frames.targets.TARGET_COLUMNS``, °C; ``set_point_high`` is the highest that a day of the month may have.
    days : DataFrame
        Their :func:`schedule`. The targets returned have the same: what rounds to a month's highest set point is not cut by it.

    Returns
    -------
    DataFrame
        The same rows; of those that have days in the schedule, ``set_point_low`` and ``set_point_high`` are the lowest and highest of
        these, ``set_point`` lies between, and ``band_low`` is not above them. Other rows hold their one set point.
    """
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
        As :class:`schemas.frames.targets.Readings`, °C.
    targets : DataFrame
        Columns of ``schemas.frames.targets.TARGET_COLUMNS``, as derived from these readings or as held to what was published.
    settings : Settings
        Taxa and their groups, and the warm months.

    Returns
    -------
    DataFrame
        Columns of ``schemas.frames.targets.SCHEDULE_COLUMNS``, °C, in the order of the days of each run of months. No rows for eggs and
        for taxa of
        springs and caves. ``at_floor`` marks days on which the field is colder than the floor + 1 °C.

    Notes
    -----
    A month without a target of its own cools its neighbours as the borrowed one would: by the lower of its own and its cooler neighbour's
    median, whether that neighbour may lend or not. Rounding is by the weakest grade of the year, so that a change of grade makes no step.
    Sites that were read in some months only can tilt the fit; the band caps it, nothing raises it.
    """
    kind = settings.taxa.set_index("code")["group"]
    rows = targets[targets["quantity"] == "temperature"]
    months: dict[Group, dict[str, Any]] = {}
    for row in rows.to_dict("records"):
        months.setdefault((row["taxon"], row["population"], row["life_stage"], row["medium"]), {})[str(row["month"])] = row
    parts = [
        _group_schedule(key, group, months[key], settings.warm_months)
        for key, group in readings[[*GROUP, "site", "date", "month", "value"]].groupby(GROUP, sort=True)
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
        Columns of ``schemas.frames.targets.SCHEDULE_WEEK_COLUMNS``, °C.
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
        Columns of ``schemas.frames.targets.SCHEDULE_MONTH_COLUMNS``, °C; a month at the end of a run may have a few days only.
    """
    return _stretches(days, "month", list(SCHEDULE_MONTH_COLUMNS))


def _group_schedule(key: Group, group: pd.DataFrame, rows: dict[str, Any], warm_months: tuple[int, ...]) -> pd.DataFrame:
    # The clock time is left out on purpose: blanking it must change nothing but the day shift.
    numbered = group.drop(columns=GROUP).assign(site=pd.factorize(group["site"], sort=True)[0])
    values = numbered.drop_duplicates().reset_index(drop=True)
    values["day"] = day_of_year(values["date"])
    months = {int(month): row for month, row in rows.items() if month.isdigit()}
    fitted, limited = limited_course(values, months, warm_months)
    weakest, least = weakest_grade(months), least_set_point(float(np.fmax.reduce([row["floor"] for row in rows.values()])))
    parts = []
    for number, run in enumerate(runs(month for month in months if months[month]["status"] != Status.REFUSED), start=1):
        days = np.concatenate([np.arange(STARTS[month - 1] + 1, STARTS[month - 1] + LENGTHS[month - 1] + 1) for month in run])
        month, course = MONTH_OF_DAY[days - 1], limited[days - 1]
        band_high, act_line = (np.array([months[one][name] for one in month], dtype=float) for name in ("band_high", "act_line"))
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
