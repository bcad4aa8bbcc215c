"""Shapes of the frames that pass between the steps and of the files that come out."""

from __future__ import annotations

from itertools import pairwise

import pandas as pd

from schemas.fields import Day, Real, Text, Whole, YesNo
from schemas.frames.frame import Count, Flag, MediumOfStage, columns_of, entering, maybe, names_of, said
from schemas.pandera_alone import Series, pa


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


class Targets(MediumOfStage):
    """Temperature targets: one row a cell."""

    month: Text = said("month", "1 to 12, or warm or cold for the two seasons")
    quantity: Text = said("quantity", "what is measured: temperature")
    unit: Text = said("unit", "unit of the values: °C")
    basis: Text = said("basis", "observed, or selected where availability readings bear it out")
    status: Text = said("status", "target, borrowed or refused")
    reason: Text = said("reason")
    borrowed_from: Text = said("borrowed_from", "month whose values are used, where borrowed")
    grade: Text = said("grade", "evidence: A strong, B fair, C provisional, D none")
    n_readings: Count = said("n_readings")
    n_animals: Count = said("n_animals")
    n_visits: Count = said("n_visits")
    n_dates: Count = said("n_dates")
    n_sites: Count = said("n_sites")
    n_years: Count = said("n_years")
    n_eff: Real = maybe("n_eff", "visits that the data are worth once sites and dates are seen as clusters")
    night_share: Real = maybe("night_share")
    from_visit_share: Real = maybe("from_visit_share", "share of readings that are the visit's, not the find's")
    min: Real = maybe("min", "lowest reading")
    p05: Real = maybe("p05", "5 % weighted quantile")
    p25: Real = maybe("p25", "25 % weighted quantile")
    p50: Real = maybe("p50")
    p75: Real = maybe("p75", "75 % weighted quantile")
    p95: Real = maybe("p95", "95 % weighted quantile")
    max: Real = maybe("max", "highest reading")
    p50_low: Real = maybe("p50_low", "lower end of the 95 % interval of the median")
    p50_high: Real = maybe("p50_high", "upper end of the 95 % interval of the median")
    p95_bound: Real = maybe("p95_bound", "lower bound of the warm-season P95")
    allowance: Real = maybe("allowance", "taken off the bound for instrument, year, months and visit readings")
    day_shift: Real = maybe(
        "day_shift", "taken off P25, P50 and P75 for set point and band, since readings are taken by day and a set point is a day's mean"
    )
    set_point: Real = maybe("set_point", "value to aim at as the day's mean, rounded down; the middle of the month where its weeks differ")
    set_point_low: Real = maybe("set_point_low", "lowest set point of the month's days")
    set_point_high: Real = maybe("set_point_high", "highest set point of the month's days")
    band_low: Real = maybe("band_low", "lower end of the band for the day's mean, rounded up, and down to the lowest set point")
    band_high: Real = maybe("band_high", "upper end of the band for the day's mean, rounded down")
    act_line: Real = maybe("act_line", "a moment at which to do something")
    ceiling: Real = maybe("ceiling", "a moment never to reach; not a temperature to keep")
    ceiling_bound_by: Text = said("ceiling_bound_by", "what set the ceiling, and by how much the other bounds were higher")
    cut_by_ceiling: Flag = said("cut_by_ceiling", "the field was warmer, the ceiling less 1 °C holds")
    floor: Real = maybe("floor", "do not go below; missing where winter is unknown")


class Schedule(MediumOfStage):
    """Set point of every day that the readings reach."""

    run: Count = said("run")
    day_of_year: Count = said("day_of_year", "1 to 365; 29 February is shown as the 28th")
    month: Count = said("month")
    day: Count = said("day", "day of the month")
    fitted: Real = maybe("fitted", "the field's yearly course by one harmonic, as read, °C; missing where the visits do not reach")
    limited: Real = maybe(
        "limited", "the same as the day's mean, or the month's median, under the month's band, and slowed to 1 °C a week, °C"
    )
    set_point: Real = maybe("set_point", "value to aim at as the day's mean, °C, rounded down, at least the floor + 1 °C")
    act_line: Real = maybe("act_line", "act line of its month, °C")
    at_floor: Flag = said("at_floor", "the field is colder than the floor + 1 °C: that is held")


class ScheduleWeeks(MediumOfStage):
    """The schedule by week."""

    run: Count = said("run")
    from_month: Count = said("from_month")
    from_day: Count = said("from_day")
    to_month: Count = said("to_month")
    to_day: Count = said("to_day")
    n_days: Count = said("n_days")
    week: Count = said("week", "1 to 52, counted from 1 January; the last has eight days")
    set_point: Real = maybe("set_point", "lowest set point of its days, °C")
    act_line: Real = maybe("act_line", "lowest act line of its days, °C")
    at_floor: Flag = said("at_floor", "the field is colder than the floor + 1 °C on one of its days")


class ScheduleMonths(MediumOfStage):
    """The schedule by month."""

    run: Count = said("run")
    from_month: Count = said("from_month")
    from_day: Count = said("from_day")
    to_month: Count = said("to_month")
    to_day: Count = said("to_day")
    n_days: Count = said("n_days")
    month: Count = said("month")
    start: Real = maybe("start", "set point of the first day, °C")
    end: Real = maybe("end", "set point of the last day, °C")
    low: Real = maybe("low", "lowest set point, °C")
    high: Real = maybe("high", "highest set point, °C")
    at_floor: Flag = said("at_floor", "the field is colder than the floor + 1 °C on one of its days")


TARGET_COLUMNS = columns_of(Targets)
TEXT_TARGET_COLUMNS = names_of(Targets, Text)
COUNT_TARGET_COLUMNS = names_of(Targets, Count)
SCHEDULE_COLUMNS = columns_of(Schedule)
SCHEDULE_WEEK_COLUMNS = columns_of(ScheduleWeeks)
SCHEDULE_MONTH_COLUMNS = columns_of(ScheduleMonths)


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
    pandera.errors.SchemaError
        A column has another type, or misses a value.
    """
    assert list(frame.columns) == list(TARGET_COLUMNS), "columns of a targets table differ from the declared ones"
    rising = ("band_low", "set_point_low", "set_point", "set_point_high", "band_high", "act_line", "ceiling")
    for lower, upper in pairwise(rising):
        wrong = frame[lower] > frame[upper]
        assert not wrong.any(), f"{lower} stands above {upper} in rows {list(frame.index[wrong])}"
    return entering(Targets, frame)
