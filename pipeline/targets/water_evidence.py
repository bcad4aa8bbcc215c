"""Water values of the book where animals lived in the channel: oxygen, conductivity at 25 °C and pH, one value a waterbody and day."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd

from pipeline.formulas.moist_air import pressure_kpa
from pipeline.formulas.water import conductivity_at_25c, oxygen_saturation_pct
from pipeline.settings import Settings
from pipeline.targets import usable_finds as finds
from schemas.frames.air_and_water import WaterLeftOut, WaterReadings
from schemas.frames.frame import framed

# A nest is not the channel, and what eggs bear is not read from a meter in the flow.
EVIDENCE = f"""
SELECT find_id, visit_id, taxon, population, life_stage, medium, site, site_id, visit_date, n_animals, animal_id,
       medium_assumed, elevation_m, visit_water_temp_c AS temp_c, ph, conductivity_us_cm, conductivity_at_25c, dissolved_oxygen_mg_l
FROM found
WHERE in_channel AND life_stage NOT IN {finds.EGGS} AND NOT visit_flagged AND coalesce(name_fault, stage_fault, state_fault) IS NULL
{finds.IN_ORDER}
"""

CELL = ["taxon", "population", "life_stage"]
SITE_DAY = [*CELL, "site", "date"]
UNCORRECTED = "not noted whether the meter had corrected to 25 °C"
NO_TEMPERATURE = "no water temperature of 0 °C or more beside it"
NO_ELEVATION = "no elevation of the site, so no air pressure"
LOWEST_PRESSURE_KPA = 50.0
Values = tuple["pd.Series[Any]", "pd.Series[Any]"]


def water_readings(connection: Any, settings: Settings) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Collect the water values of the visits on which a stage was found in the channel.

    Parameters
    ----------
    connection : duckdb connection
        An open book, with the views ``sites``, ``visits``, ``finds`` and the table ``flags``.
    settings : Settings
        Taxa and study areas of the book.

    Returns
    -------
    readings : DataFrame
        As :class:`schemas.frames.air_and_water.WaterReadings`, one row a taxon, population, stage, waterbody, day and quantity: the
        median of that day's visits (the lower of two, so that it is a value that was read). `ph` has no unit, `conductivity` is in µS/cm
        at 25 °C, `oxygen` in mg/L, `saturation` in % at the air pressure of the site's elevation. left_out : DataFrame As
        :class:`schemas.frames.air_and_water.WaterLeftOut`: values that were read and could not be used, counted by visit.

    Notes
    -----
    Names, health and flags count as for temperature; nothing is assumed where a temperature, an elevation or the meter's correction is
    missing. References: ISO 7888:1985 and Benson & Krause, as in :mod:`pipeline.formulas.water`.
    """
    finds.join(connection, settings)
    return by_day(found_in_water(connection))


def found_in_water(connection: Any) -> pd.DataFrame:
    """Finds in the channel with what meters showed on their visits, from the table of :func:`pipeline.targets.usable_finds.join`."""
    return connection.execute(EVIDENCE).df()


def by_day(frame: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Make of finds in the channel one value a waterbody and day.

    Argument as :func:`found_in_water` gives it, or a part of it; returns as :func:`water_readings`.
    """
    frame = frame.reset_index(drop=True)
    frame["n_animals"] = frame["n_animals"].mask(finds.repeated(frame, pd.Series(True, index=frame.index)), 0)
    values: dict[str, Callable[[pd.DataFrame], Values]] = {
        "ph": _as_read("ph"), "conductivity": _conductivity, "oxygen": _as_read("dissolved_oxygen_mg_l"), "saturation": _saturation,
    }  # fmt: skip
    visits = _visits(frame)
    parts = []
    for quantity, compute in values.items():
        value, reason = compute(visits)
        parts.append(visits.assign(quantity=quantity, value=value, reason=reason))
    rows = pd.concat(parts, ignore_index=True)
    days = _days(rows[rows["value"].notna()])
    unused = rows[rows["reason"] != ""].groupby([*CELL, "month", "quantity", "reason"]).size().rename("n_visits").reset_index()
    return days, framed(WaterLeftOut, unused)


def _visits(frame: pd.DataFrame) -> pd.DataFrame:
    same = ["elevation_m", "temp_c", "ph", "conductivity_us_cm", "conductivity_at_25c", "dissolved_oxygen_mg_l"]
    rows = frame.assign(date=frame["visit_date"].astype("datetime64[us]"))
    rows["month"] = rows["date"].dt.month
    how = {**dict.fromkeys([*same, "month"], "first"), "n_animals": "sum", "medium_assumed": "max"}
    visits = rows.groupby([*SITE_DAY, "visit_id"], sort=True).agg(how).reset_index()
    real = {name: "float64" for name in same if name != "conductivity_at_25c"}
    return visits.astype(real)


def _as_read(column: str) -> Callable[[pd.DataFrame], Values]:
    return lambda visits: (visits[column], pd.Series("", index=visits.index))


def _conductivity(visits: pd.DataFrame) -> Values:
    answer = visits["conductivity_at_25c"].astype("boolean")
    value = pd.Series(
        conductivity_at_25c(visits["conductivity_us_cm"], _not_frozen(visits), answer.astype(object).where(answer.notna(), None)),
        index=visits.index,
    )
    reason = pd.Series(np.where(answer.isna(), UNCORRECTED, NO_TEMPERATURE), index=visits.index)
    return value, reason.where(visits["conductivity_us_cm"].notna() & value.isna(), "")


def _saturation(visits: pd.DataFrame) -> Values:
    pressure = pd.Series(pressure_kpa(visits["elevation_m"]), index=visits.index)
    pressure = pressure.where(pressure >= LOWEST_PRESSURE_KPA)
    temp_c = _not_frozen(visits)
    value = pd.Series(oxygen_saturation_pct(visits["dissolved_oxygen_mg_l"], temp_c, pressure), index=visits.index)
    reason = pd.Series(np.where(temp_c.isna(), NO_TEMPERATURE, NO_ELEVATION), index=visits.index)
    return value, reason.where(visits["dissolved_oxygen_mg_l"].notna() & value.isna(), "")


def _not_frozen(visits: pd.DataFrame) -> pd.Series[Any]:
    # A thermometer a little low reads below 0 °C in running water; the formulas start at 0.
    return visits["temp_c"].where(visits["temp_c"] >= 0)


def _days(rows: pd.DataFrame) -> pd.DataFrame:
    grouped = rows.groupby([*SITE_DAY, "quantity"], sort=True)
    days = grouped.agg(visit_id=("visit_id", "first"), n_animals=("n_animals", "sum"), medium_assumed=("medium_assumed", "max"))
    days["value"] = grouped["value"].quantile(0.5, interpolation="lower")
    days = days.reset_index()
    days["month"], days["year"] = days["date"].dt.month, days["date"].dt.year
    return framed(WaterReadings, days)
