"""Which humidity readings of the book count as evidence: at animals in the open by night for targets, all the rest for figures alone.

Missing evidence may raise the least humidity, never lower it (method §5). So a wet bulb whose instrument or elevation was not noted is read
as the wettest humidity that the pair can mean, and a pair that some instrument could not have shown is left out whichever was noted.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.formulas.moist_air import NO_WET_BULB, constant, pressure_kpa, rh_from_wet_bulb, vapour_pressure_deficit_kpa
from pipeline.settings import Settings
from pipeline.targets import usable_finds as finds
from schemas.frames.air_and_water import HumidityReadings, Wetness
from schemas.frames.frame import framed
from schemas.tables import fields
from schemas.vocabulary import codes

IN_THE_OPEN = "surface"
COVERED = "not in the open: nothing said of the air"
NONE_READ = "no humidity with an air temperature"
IMPOSSIBLE = "wet bulb gives no humidity"
THE_VISITS = "the visit's humidity, not read at the animal"

# What was read for the reach is the visit's, as for temperature.
JUDGED = f"""
WITH valued AS (
  SELECT *,
         reading_place NOT IN {finds.REACH} AND air_temp_c IS NOT NULL AND coalesce(rh_pct, wet_bulb_c) IS NOT NULL AS own,
         reading_place IN {finds.REACH} AND air_temp_c IS NOT NULL AND coalesce(rh_pct, wet_bulb_c) IS NOT NULL AS reach,
         NOT own AS from_visit,
         CASE WHEN own OR reach THEN air_temp_c ELSE visit_air_temp_c END AS air,
         CASE WHEN own OR reach THEN rh_pct ELSE visit_rh_pct END AS rh,
         CASE WHEN own OR reach THEN wet_bulb_c ELSE visit_wet_bulb_c END AS wet
  FROM found
),
judged AS (
SELECT find_id, visit_id, taxon, population, life_stage, medium, site, site_id, visit_date, n_animals, animal_id, medium_assumed, latitude,
       longitude, elevation_m, psychrometer, from_visit, air AS air_temp_c, rh AS rh_read, CASE WHEN rh IS NULL THEN wet END AS wet_bulb_c,
       {finds.CLOCKS},
       stage_fault,
       coalesce(name_fault, state_fault,
         CASE WHEN medium <> '{IN_THE_OPEN}' THEN '{COVERED}'
              WHEN air IS NULL OR coalesce(rh, wet) IS NULL THEN '{NONE_READ}'
              WHEN from_visit AND visit_flagged THEN '{finds.VISIT_FLAGGED}'
              WHEN {finds.TOO_COARSE} END) AS reason
  FROM valued)
"""

WETNESS = """
SELECT taxon, population, life_stage, substrate_wetness AS wetness, count(*) AS n_finds
FROM found
WHERE medium IN ('land', 'edge') AND substrate_wetness IS NOT NULL AND coalesce(name_fault, state_fault) IS NULL
  AND NOT coalesce(list_contains($hidden::VARCHAR[], site_id), FALSE)
GROUP BY ALL ORDER BY ALL
"""

CELL = ["taxon", "population", "life_stage"]
AS_READ = ["air_temp_c", "rh_read", "wet_bulb_c"]
ONE_READING = [*CELL, "month", "site", "date", *AS_READ, "from_visit", "reason"]
WITH_WET_BULB = tuple(code for code in codes("psychrometer") if code != NO_WET_BULB)


def humidity_readings(connection: Any, settings: Settings) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Choose the humidity that belongs to each find in the open; each reading counts once.

    Parameters
    ----------
    connection : duckdb connection
        An open book, with the views ``sites``, ``visits``, ``finds`` and the table ``flags``.
    settings : Settings
        Taxa, time zone and study areas of the book.

    Returns
    -------
    readings : DataFrame
        As :class:`schemas.frames.air_and_water.HumidityReadings`. Equal readings of one cell, site and day are one row: its humidity is the
        highest of them, its ``night`` false or missing where any is. Only rows with an empty ``reason`` may feed a target; the others (the
        visit's humidity, a find by day or at an unknown hour, a stage not told) are for figures.
    exclusions : DataFrame
        Columns ``taxon``, ``life_stage``, ``reason``, ``n_finds``: the finds that give no humidity, counted.

    Raises
    ------
    AssertionError
        Finds with a humidity and finds without do not add up to the finds of the book.

    Notes
    -----
    Names, health, flags, thermometers, clocks and night count as for temperature. A wet bulb at a find is that of the visit's psychrometer.
    Missing or electronic, the instrument counts as the one with the smallest coefficient; a missing elevation as `elevation_unknown` of
    `moist_air.csv`, above which no site is taken to lie: each gives the highest humidity that the pair can mean. What is missing so never
    makes a reading drier, nor adds or drops one. A missing clock time does drop a find, as it does for temperature.
    """
    finds.join(connection, settings)
    return once_each(*judged(connection, settings))


def judged(connection: Any, settings: Settings) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Choose the humidity of each find, and say which finds give none, before equal readings are made one.

    Parameters
    ----------
    connection : duckdb connection
        An open book with the table of :func:`pipeline.targets.usable_finds.join`.
    settings : Settings
        Time zone of the book.

    Returns
    -------
    frame : DataFrame
        A row a find that may have a humidity, with its ``site_id``; ``rh_pct`` is missing where its pair of readings gives none, and
        ``reason`` is not empty where it feeds no target.
    left_out : DataFrame
        Finds that have no humidity, as the exclusions of :func:`humidity_readings`.
    """
    query = f"{JUDGED} SELECT * EXCLUDE (reason) FROM judged WHERE reason IS NULL {finds.IN_ORDER}"
    frame = connection.execute(query, finds.thermometer()).df()
    left_out = connection.execute(f"{JUDGED} {finds.LEFT_OUT}", finds.thermometer()).df()
    frame["rh_pct"], frame["wettest_assumed"] = _humidity(frame)
    frame["night"] = finds.night(frame, settings.time_zone)
    visits = pd.Series(THE_VISITS, index=frame.index).where(frame["from_visit"].astype(bool))
    frame["reason"] = frame["stage_fault"].fillna(visits).fillna(finds.not_by_night(frame, settings.time_zone)).fillna("")
    return frame, left_out


def once_each(frame: pd.DataFrame, left_out: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Let each humidity count once, and each marked animal once a day.

    Arguments as :func:`judged` gives them, returns as :func:`humidity_readings`. `frame` may lack the rows of some sites; `left_out` then
    counts those of all.
    """
    frame = frame.reset_index(drop=True)
    fault = pd.Series(None, index=frame.index, dtype=object).mask(frame["rh_pct"].isna(), IMPOSSIBLE)
    fault = fault.mask(finds.repeated(frame, fault.isna()), finds.REPEATED)
    merged, exclusions = _merge(frame[fault.isna()]), finds.with_left_out(frame, fault, left_out)
    counted = int(merged["n_finds"].sum()) + int(exclusions["n_finds"].sum())
    assert counted == len(frame) + int(left_out["n_finds"].sum()), "finds read and finds left out do not add up"
    return framed(HumidityReadings, merged), exclusions


def wetness_noted(connection: Any, settings: Settings) -> pd.DataFrame:
    """Count the hand tests of the substrate at finds under cover or at the water's edge: what the refuge was like.

    Parameters
    ----------
    connection : duckdb connection
        As for :func:`humidity_readings`.
    settings : Settings
        Taxa of the book.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.air_and_water.Wetness`. Names, health and flags count as for temperature; a stage not told is listed.
    """
    finds.join(connection, settings)
    return wetness_told(connection)


def wetness_told(connection: Any, hidden: Collection[str] = ()) -> pd.DataFrame:
    """As :func:`wetness_noted`, from the table of :func:`pipeline.targets.usable_finds.join`, without some sites."""
    return framed(Wetness, connection.execute(WETNESS, {"hidden": sorted(hidden)}).df())


def _humidity(frame: pd.DataFrame) -> tuple[pd.Series[Any], pd.Series[Any]]:
    """Relative humidity of each row, %, and whether it is the wettest that a pair of readings can mean."""
    rh = frame["rh_read"].astype("float64")
    pairs = frame[rh.isna() & frame[["air_temp_c", "wet_bulb_c"]].notna().all(axis=1)]
    highest = constant("elevation_unknown")
    pressure = pd.Series(pressure_kpa(pairs["elevation_m"].astype("float64").fillna(highest).clip(upper=highest)), index=pairs.index)
    ranked = sorted(WITH_WET_BULB, key=lambda code: constant(f"psychrometer_{code}"))
    noted = pairs["psychrometer"].isin(WITH_WET_BULB)
    for code, part in pairs.groupby(pairs["psychrometer"].where(noted, ranked[0])):
        rh[part.index] = rh_from_wet_bulb(part["air_temp_c"], part["wet_bulb_c"], pressure[part.index], str(code))
    deepest = float((fields("sites")["elevation_m"].possible or (0.0,))[0])
    driest = rh_from_wet_bulb(pairs["air_temp_c"], pairs["wet_bulb_c"], pressure_kpa(deepest), ranked[-1])
    rh[pairs.index] = rh[pairs.index].where(~np.isnan(driest))
    assumed = pd.Series(False, index=frame.index)
    assumed[pairs.index] = ~noted | pairs["elevation_m"].isna()
    return rh, assumed


def _merge(kept: pd.DataFrame) -> pd.DataFrame:
    # What is missing must win over what is known, and the wetter over the drier, or merging would hide it.
    rows = kept.assign(
        date=kept["visit_date"].astype("datetime64[us]"), night=kept["night"].astype("Float64").fillna(-1.0).astype("float64"), n_finds=1
    )
    rows["month"] = rows["date"].dt.month
    how = {
        "visit_id": "first", "night": "min", "rh_pct": "max", "medium_assumed": "max", "wettest_assumed": "max", "n_animals": "sum",
        "n_finds": "sum",
    }  # fmt: skip
    merged = rows.groupby(ONE_READING, dropna=False, sort=True).agg(how).reset_index()
    merged["year"] = merged["date"].dt.year
    merged["night"] = merged["night"].where(merged["night"] >= 0).astype("boolean")
    merged["by_wet_bulb"] = merged["rh_read"].isna()
    merged["deficit_kpa"] = _deficit(merged["air_temp_c"], merged["rh_pct"])
    return framed(HumidityReadings, merged)


def _deficit(temp_c: pd.Series[Any], rh_pct: pd.Series[Any]) -> NDArray[np.float64]:
    return vapour_pressure_deficit_kpa(temp_c.astype("float64"), rh_pct.astype("float64"))
