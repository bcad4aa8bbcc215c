"""The year for a chiller and a lamp: set points by week under the ceiling, day length and twilight at the wild sites' latitude."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from pipeline.formulas.sun import day_and_twilight
from pipeline.settings.limits import judgement
from pipeline.writing.words import fahrenheit

COLUMNS = (
    "week",
    "from_day",
    "to_day",
    "set_point_c",
    "set_point_f",
    "act_line_c",
    "ceiling_c",
    "at_floor",
    "day_length_h",
    "twilight_h",
    "words",
)
GROUP = ("taxon", "life_stage", "medium")
NO_FIELD = "the field tells no set point for this week"


def year_plan(weeks: pd.DataFrame, ceiling: float, enclosure: Mapping[str, Any], stage: str, year: int, latitude: float) -> pd.DataFrame:
    """Set points by week of a year.

    Parameters
    ----------
    weeks : DataFrame
        As ``schemas.frames.targets.ScheduleWeeks``, of all populations.
    ceiling : float
        Lowest ceiling that holds for the enclosure, °C; nan for none.
    enclosure : mapping
        ``taxon``, ``population`` (empty: unknown), ``medium``.
    stage : str
        Stage of the animals now.
    year : int
        Year of the plan.
    latitude : float
        Of the wild sites, whole degrees, so that it gives none of them away; nan where it is not known.

    Returns
    -------
    DataFrame
        Columns ``COLUMNS``: one row a week from 1 January, the last with the rest of the year; ``set_point_c`` is missing where the field
        tells none. Of several populations the lowest holds. °F is that of the printed °C, rounded down.

    Notes
    -----
    The ceiling has the last word: no set point lies above it less `thermostat_margin`.
    """
    mine = weeks[(weeks["taxon"] == enclosure["taxon"]) & (weeks["life_stage"] == stage) & (weeks["medium"] == enclosure["medium"])]
    own = enclosure.get("population")
    if isinstance(own, str) and own and (mine["population"] == own).any():
        mine = mine[mine["population"] == own]
    lowest = mine.groupby("week").agg(set_point=("set_point", "min"), act_line=("act_line", "min"), at_floor=("at_floor", "any"))
    most = math.inf if math.isnan(ceiling) else ceiling - judgement("thermostat_margin")
    rows = []
    for week in range(1, 53):
        first = dt.date(year, 1, 1) + dt.timedelta(days=7 * (week - 1))
        last = first + dt.timedelta(days=6) if week < 52 else dt.date(year, 12, 31)
        known = week in lowest.index
        point = min(float(lowest.at[week, "set_point"]), most) if known else math.nan
        light, dusk = day_and_twilight(latitude, first + dt.timedelta(days=3)) if latitude == latitude else (math.nan, math.nan)
        rows.append(
            {
                "week": week,
                "from_day": first,
                "to_day": last,
                "set_point_c": point,
                "set_point_f": fahrenheit(point) if known else math.nan,
                "act_line_c": float(lowest.at[week, "act_line"]) if known else math.nan,
                "ceiling_c": ceiling,
                "at_floor": bool(lowest.at[week, "at_floor"]) if known else False,
                "day_length_h": round(light, 2),
                "twilight_h": round(dusk, 2),
                "words": "" if known else NO_FIELD,
            }
        )
    return pd.DataFrame(rows, columns=list(COLUMNS))
