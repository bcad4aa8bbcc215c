"""The open part of an enclosure: how dry its air was, as a deficit, where a sensor could judge (method §7, §10)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from pipeline.formulas.moist_air import constant, vapour_pressure_deficit_kpa
from pipeline.tanks import readings
from pipeline.tanks.stretch import Stretch, local_days
from schemas.reference import data_file

LIMITS = "reference/logger_limits.csv"


@dataclass(frozen=True)
class Damp:
    """What one humidity sensor says.

    Attributes
    ----------
    logger_id : str
        Its code.
    bound_kpa : float
        Deficit that the open part should not exceed, kPa.
    hours, hours_above : float
        Hours covered, and hours with a larger deficit; hours of a wet sensor are in neither.
    largest_kpa : float
        Largest deficit, kPa.
    wet : DataFrame
        Times for which the sensor was wet and could not judge: ``start``, ``end`` (UTC), ``hours``.
    """

    logger_id: str
    bound_kpa: float
    hours: float
    hours_above: float
    largest_kpa: float
    wet: pd.DataFrame


def humidity_of(connection: Any, logger: Mapping[str, Any], stretch: Stretch, deficit: float) -> Damp | None:
    """Judge the humidity of one logger.

    Parameters
    ----------
    connection : DuckDBPyConnection
        An open book.
    logger : mapping
        Its row.
    stretch : Stretch
        What is looked at.
    deficit : float
        kPa; nan: the published cap.

    Returns
    -------
    Damp or None
        None where it wrote no humidity.
    """
    code = logger["logger_id"]
    span = [code, stretch.start.to_pydatetime(), stretch.end.to_pydatetime()]
    held = "FROM logger_readings WHERE logger_id = ? AND read_at >= ? AND read_at < ? AND rh_pct IS NOT NULL"
    pairs = connection.execute(f"SELECT DISTINCT temp_c, rh_pct {held}", span).df()
    if pairs.empty:
        return None
    wet = _wet(connection, code, stretch)
    bound = constant("deficit_cap") if pd.isna(deficit) else min(deficit, constant("deficit_cap"))
    whole = pairs.dropna()
    connection.register("deficits", whole.assign(vpd=vapour_pressure_deficit_kpa(whole["temp_c"], whole["rh_pct"])))
    connection.register("wet_times", wet[["start", "end"]])
    connection.execute(
        f"""CREATE OR REPLACE TEMP TABLE damp AS SELECT r.read_at, d.vpd AS v FROM (SELECT * {held}) r
        JOIN deficits d ON d.temp_c = r.temp_c AND d.rh_pct = r.rh_pct
        WHERE NOT EXISTS (SELECT 1 FROM wet_times w WHERE r.read_at BETWEEN w.start AND w."end")""",
        span,
    )
    for name in ("deficits", "wet_times"):
        connection.unregister(name)
    connection.execute("CREATE OR REPLACE TEMP VIEW series AS SELECT * FROM damp")
    readings.prepare(connection, stretch, pd.DataFrame({"bound": [bound] * len(local_days(stretch))}), ("bound",))
    figures = readings.daily(connection, ("bound",))
    hours, above = (float(figures[name].sum()) if len(figures) else 0.0 for name in ("hours", "bound_h"))
    return Damp(str(code), bound, hours, above, float(figures["high"].max()) if len(figures) else float("nan"), wet)


def _wet(connection: Any, code: str, stretch: Stretch) -> pd.DataFrame:
    """Unbroken times at or near saturation that are too long to be air."""
    with data_file(LIMITS).open("r", encoding="utf-8") as file:
        limits = pd.read_csv(file).set_index("quantity")["value"]
    readings.open_series(connection, code, "rh_pct")
    # at the limit counts as wet, and a spell lies above its line
    line = float(limits["wet_sensor_pct"]) - 1e-6
    readings.prepare(connection, stretch, pd.DataFrame({"wet": [line] * len(local_days(stretch))}), ("wet",))
    spells = readings.spells(connection, "wet", readings.HOT)
    return spells.loc[spells["hours"] > float(limits["wet_sensor_hours"]), ["start", "end", "hours"]].reset_index(drop=True)
