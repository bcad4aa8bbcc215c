"""Shapes of the frames that pass between the steps and of the files that come out."""

from __future__ import annotations

from itertools import pairwise

import pandas as pd
import pandera.pandas as pa
from pandera.typing import Series

from schemas.fields import Day, Real, Text, Whole, YesNo


class Readings(pa.DataFrameModel):
    """Temperature readings that count as evidence: one row a reading and cell, °C."""

    taxon: Text
    population: Text = pa.Field(description="Empty where the book sets none")
    life_stage: Text
    medium: Text = pa.Field(isin=["water", "edge", "land", "surface"])
    month: Whole = pa.Field(ge=1, le=12)
    site: Text = pa.Field(description="Waterbody where filled, else site_id")
    visit_id: Text
    date: Day
    year: Whole = pa.Field(nullable=True)
    hour: Real = pa.Field(nullable=True, ge=0, lt=24, description="Local clock hour; missing where no clock time was noted")
    night: YesNo = pa.Field(nullable=True, description="Between sunset and sunrise at the site; missing where it cannot be told")
    value: Real = pa.Field(description="Temperature, °C")
    accuracy_c: Real = pa.Field(nullable=True, description="Accuracy of the thermometer, °C")
    from_visit: Series[bool] = pa.Field(description="The visit's water reading, not one at the find")
    medium_assumed: Series[bool] = pa.Field(description="The medium was set by a column map")
    at_nest: Series[bool] = pa.Field(description="Read at the eggs themselves")
    depth_cm: Real = pa.Field(nullable=True, description="Depth in soil, cm; only for land")
    n_animals: Whole = pa.Field(ge=1, description="Animals that share this reading")
    visit_ids: Text | None = pa.Field(description="Visits that share this reading, one a line")


TARGET_COLUMNS: dict[str, str] = {
    "taxon": "taxon code of the book",
    "population": "population of the site, empty where the book sets none",
    "life_stage": "stage",
    "medium": "water, edge, land or surface",
    "month": "1 to 12, or warm or cold for the two seasons",
    "quantity": "what is measured: temperature",
    "unit": "unit of the values: °C",
    "basis": "observed, or selected where availability readings bear it out",
    "status": "target, borrowed or refused",
    "reason": "why refused, or what limits the row",
    "borrowed_from": "month whose values are used, where borrowed",
    "grade": "evidence: A strong, B fair, C provisional, D none",
    "n_readings": "readings, each counted once",
    "n_animals": "animals that share them",
    "n_visits": "visits with a reading",
    "n_dates": "dates with a reading",
    "n_sites": "sites with a reading",
    "n_years": "years with a reading",
    "n_eff": "visits that the data are worth once sites and dates are seen as clusters",
    "night_share": "share of readings between sunset and sunrise",
    "from_visit_share": "share of readings that are the visit's, not the find's",
    "min": "lowest reading",
    "p05": "5 % weighted quantile",
    "p25": "25 % weighted quantile",
    "p50": "median, weighted",
    "p75": "75 % weighted quantile",
    "p95": "95 % weighted quantile",
    "max": "highest reading",
    "p50_low": "lower end of the 95 % interval of the median",
    "p50_high": "upper end of the 95 % interval of the median",
    "p95_bound": "lower bound of the warm-season P95",
    "allowance": "taken off the bound for instrument, year, months and visit readings",
    "day_shift": "taken off P25, P50 and P75 for set point and band, since readings are taken by day and a set point is a day's mean",
    "set_point": "value to aim at as the day's mean, rounded down; the middle of the month where its weeks differ",
    "set_point_low": "lowest set point of the month's days",
    "set_point_high": "highest set point of the month's days",
    "band_low": "lower end of the band for the day's mean, rounded up, and down to the lowest set point",
    "band_high": "upper end of the band for the day's mean, rounded down",
    "act_line": "a moment at which to do something",
    "ceiling": "a moment never to reach; not a temperature to keep",
    "ceiling_bound_by": "what set the ceiling, and by how much the other bounds were higher",
    "cut_by_ceiling": "the field was warmer, the ceiling less 1 °C holds",
    "floor": "do not go below; missing where winter is unknown",
}

TEXT_TARGET_COLUMNS = (
    "taxon", "population", "life_stage", "medium", "month", "quantity", "unit", "basis", "status", "reason",
    "borrowed_from", "grade", "ceiling_bound_by",
)  # fmt: skip
COUNT_TARGET_COLUMNS = ("n_readings", "n_animals", "n_visits", "n_dates", "n_sites", "n_years")


def check_targets(frame: pd.DataFrame) -> pd.DataFrame:
    """Return `frame` if it has the declared columns of a targets table and its lines are in order.

    Parameters
    ----------
    frame : DataFrame
        One row a cell, columns as in ``TARGET_COLUMNS``.

    Raises
    ------
    AssertionError
        A column is missing, or a line stands above the one that bounds it.
    """
    assert list(frame.columns) == list(TARGET_COLUMNS), "columns of a targets table differ from the declared ones"
    rising = ("band_low", "set_point_low", "set_point", "set_point_high", "band_high", "act_line", "ceiling")
    for lower, upper in pairwise(rising):
        wrong = frame[lower] > frame[upper]
        assert not wrong.any(), f"{lower} stands above {upper} in rows {list(frame.index[wrong])}"
    return frame


_CELL = {name: TARGET_COLUMNS[name] for name in ("taxon", "population", "life_stage", "medium")}

SCHEDULE_COLUMNS: dict[str, str] = {
    **_CELL,
    "run": "number of the run of months, 1 or more",
    "day_of_year": "1 to 365; 29 February is shown as the 28th",
    "month": "1 to 12",
    "day": "day of the month",
    "fitted": "the field's yearly course by one harmonic, as read, °C; missing where the visits do not reach",
    "limited": "the same as the day's mean, or the month's median, under the month's band, and slowed to 1 °C a week, °C",
    "set_point": "value to aim at as the day's mean, °C, rounded down, at least the floor + 1 °C",
    "act_line": "act line of its month, °C",
    "at_floor": "the field is colder than the floor + 1 °C: that is held",
}

_STRETCH = {
    **_CELL,
    "run": SCHEDULE_COLUMNS["run"],
    "from_month": "month of the first day",
    "from_day": "first day, as day of its month",
    "to_month": "month of the last day",
    "to_day": "last day, as day of its month",
    "n_days": "days with a schedule",
}

SCHEDULE_WEEK_COLUMNS: dict[str, str] = {
    **_STRETCH,
    "week": "1 to 52, counted from 1 January; the last has eight days",
    "set_point": "lowest set point of its days, °C",
    "act_line": "lowest act line of its days, °C",
    "at_floor": "the field is colder than the floor + 1 °C on one of its days",
}

SCHEDULE_MONTH_COLUMNS: dict[str, str] = {
    **_STRETCH,
    "month": "1 to 12",
    "start": "set point of the first day, °C",
    "end": "set point of the last day, °C",
    "low": "lowest set point, °C",
    "high": "highest set point, °C",
    "at_floor": "the field is colder than the floor + 1 °C on one of its days",
}
