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

NIGHT_DROP_COLUMNS: dict[str, str] = {
    "site": "waterbody where filled, else site_id",
    "medium": "medium of the logger",
    "height_or_depth_cm": "where the logger hung; missing where not noted",
    "month": "1 to 12, of the day before the night",
    "night_drop": "median of day's mean less following night's mean, °C; negative where nights are warmer",
    "n_days": "days with a whole night after them",
    "n_years": "years of these days",
}

HALF_RANGE_COLUMNS: dict[str, str] = {
    "site": "waterbody where filled, else site_id",
    "medium": "medium of the logger",
    "height_or_depth_cm": "where the logger hung; missing where not noted",
    "half_range": "median over days of half of highest less lowest, °C",
    "n_days": "whole days",
}

CORRECTED_COLUMNS: dict[str, str] = {
    **{name: "as read" for name in Readings.to_schema().columns},
    "logger_id": "logger that was used; empty where none fits",
    "logger_then": "what it read at that time, between its two readings, °C",
    "logger_day_mean": "its mean over that local day, °C",
    "corrected": "reading as the day's mean: value + logger_day_mean − logger_then, °C; missing without a logger",
}

SELECTION_COLUMNS: dict[str, str] = {
    **_CELL,
    "season": "warm, cold or other months",
    "word": "selected or observed",
    "side": "cooler or warmer than what was to be had, where selected",
    "reason": "why only observed",
    "difference": "median over visits of reading at animals less reading where none were, °C",
    "low": "lower end of its 95 % interval, °C",
    "high": "upper end of its 95 % interval, °C",
    "n_visits": "visits with both",
    "n_dates": "their dates",
    "n_sites": "their sites",
    "n_years": "their years",
    "n_readings": "readings at animals on these visits",
    "n_points": "readings where no animals were on these visits",
    "n_unpaired": "visits with readings at animals and none where animals were not",
}

DETECTION_COLUMNS: dict[str, str] = {
    "taxon": "taxon code of the book",
    "third": "cool, middle or warm third of the visits of each site",
    "n_visits": "visits that looked for it, with a temperature",
    "n_found": "of these, visits that found it",
    "share": "n_found / n_visits; what was not found may have been there",
    "n_sites": "sites of these visits",
    "n_left_out": "visits that looked for it and are in no third: no temperature, unfinished, or too few at their site",
}

_STAGE = {name: TARGET_COLUMNS[name] for name in ("taxon", "population", "life_stage")}
_COUNTS = {name: TARGET_COLUMNS[name] for name in COUNT_TARGET_COLUMNS}

HUMIDITY_READING_COLUMNS: dict[str, str] = {
    **_STAGE,
    "site": "waterbody where filled, else site_id",
    "visit_id": "visit; the first where several gave the same reading",
    "date": "the visit's date",
    "month": "1 to 12",
    "year": "year of the date",
    "night": "between sunset and sunrise at the site; missing where it cannot be told",
    "from_visit": "the visit's reading, not one at the find",
    "medium_assumed": "the place of the find was set by a column map",
    "air_temp_c": "air temperature of the reading, °C",
    "rh_pct": "relative humidity, read or from the wet bulb, %",
    "deficit_kpa": "vapour pressure deficit, kPa",
    "by_wet_bulb": "the humidity comes from a wet bulb",
    "wettest_assumed": "instrument or elevation not noted: the wettest humidity that the pair of readings can mean",
    "reason": "why it feeds no target; empty where it does",
    "n_animals": "animals that share this reading",
    "n_finds": "finds that share this reading",
}

_AIR_QUANTILES = {
    f"{name}_{key}": f"{meaning}, {unit}"
    for name, unit in (("rh", "relative humidity, %"), ("deficit", "vapour pressure deficit, kPa"))
    for key, meaning in (
        ("min", "lowest"), ("p05", "5 % weighted quantile"), ("p25", "25 % weighted quantile"), ("p50", "median, weighted"),
        ("p75", "75 % weighted quantile"), ("p95", "95 % weighted quantile"), ("max", "highest"),
    )
}  # fmt: skip
_AIR_EVIDENCE = {
    **_COUNTS,
    "months": "months with a reading, in words",
    "night_share": "share of readings between sunset and sunrise",
    "medium_assumed_share": "share of readings whose medium was set by a column map",
    "n_wettest_assumed": "readings with a wet bulb whose instrument or elevation was not noted, taken as wet as they can be",
    "temp_low": "lowest air temperature at which a humidity was read, °C",
    "temp_high": "highest air temperature at which a humidity was read, °C",
}

HUMIDITY_FIGURE_COLUMNS: dict[str, str] = {
    **_STAGE,
    "read_at": "find (at the animal) or visit (once for the search)",
    **_AIR_EVIDENCE,
    **_AIR_QUANTILES,
    "caution": "what these figures do not say",
    "formula": "formula of saturation vapour pressure",
}

HUMIDITY_TARGET_COLUMNS: dict[str, str] = {
    **_STAGE,
    "status": "target or refused; it speaks of the open part alone",
    "reason": "why refused, or what limits the row",
    "grade": "evidence: B fair, C provisional, D none; never A, since no width of a humidity interval has been judged",
    **_AIR_EVIDENCE,
    "rh_p25": "25 % weighted quantile of the relative humidity read, %",
    "deficit_p50": "weighted median of the vapour pressure deficit read, kPa",
    "deficit_bound": "lower bound of that median: percentile of the crossed bootstrap, kPa",
    "deficit_cap": "published limit that no target exceeds, kPa",
    "deficit": "largest vapour pressure deficit to keep for long, kPa, rounded down; missing where refused",
    "bound_by": "your records or the published limit",
    "formula": "formula of saturation vapour pressure",
}

HUMIDITY_TABLE_COLUMNS: dict[str, str] = {
    **_STAGE,
    "temp_c": "air temperature, whole °C, inside the span where a humidity was read",
    "least_rh": "least relative humidity for long, %, rounded up; missing where not attainable",
    "printed": "what to print: a figure, or words where a sensor cannot tell",
    "set_by": "deficit, or humidity read (its 25 % quantile), whichever is wetter",
}

WETNESS_COLUMNS: dict[str, str] = {
    **_STAGE,
    "wetness": "code of the vocabulary substrate_wetness",
    "n_finds": "finds under cover or at the water's edge with it",
}

WATER_READING_COLUMNS: dict[str, str] = {
    **_STAGE,
    "site": "waterbody where filled, else site_id",
    "visit_id": "visit; the first of the day",
    "date": "the visit's date",
    "month": "1 to 12",
    "year": "year of the date",
    "quantity": "ph, conductivity, oxygen or saturation",
    "value": "median of the day, in the unit of the quantity",
    "medium_assumed": "the place of a find was set by a column map",
    "n_animals": "animals found on these visits",
}

WATER_LEFT_OUT_COLUMNS: dict[str, str] = {
    **_STAGE,
    "month": "1 to 12",
    "quantity": "ph, conductivity, oxygen or saturation",
    "reason": "why not used",
    "n_visits": "visits with finds whose value is not used",
}

WATER_TARGET_COLUMNS: dict[str, str] = {
    **_STAGE,
    "season": "warm, cold or other months",
    "quantity": "ph, conductivity, oxygen, saturation or hardness",
    "unit": "unit of the values",
    "status": "found (a band of what was found) or refused",
    "reason": "why refused, or what limits the row",
    "grade": "C provisional at most, since every water value is a visit's; D none",
    **_COUNTS,
    "months": "months with a value, in words",
    "min": "lowest",
    "p10": "10 % weighted quantile",
    "p50": "median, weighted",
    "p90": "90 % weighted quantile",
    "max": "highest",
    "band_low": "p10 rounded up, missing where refused",
    "band_high": "p90 rounded down, missing where refused",
    "n_not_used": "visits with finds whose value is not used",
    "not_used": "why, in words",
}
