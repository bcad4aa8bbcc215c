"""Logger readings that count: those at sites, without the stretches that the checks marked as doubtful (method §6, §10)."""

from __future__ import annotations

from typing import Any

import pandas as pd

from pipeline.formulas.exceedances import excursions
from pipeline.formulas.series import usual_step_h

DOUBTFUL = ("out_of_range", "jump", "flat_line", "flat_day", "out_of_water")
"""Marks after which a temperature is no evidence; a gap or a clock that was set back takes no reading away."""

_MARKED = f"""SELECT DISTINCT logger_id, from_at, to_at FROM logger_flags
  WHERE rule IN ({", ".join(f"'{rule}'" for rule in DOUBTFUL)}) AND field = 'temp_c'"""
RECORD_COLUMNS = ("site", "medium", "n_days", "max", "mean_daily_max", "line_c", "longest_h")


def usable_readings(connection: Any) -> tuple[pd.DataFrame, int]:
    """Temperatures of the loggers at sites, less every stretch that a check marked.

    Parameters
    ----------
    connection : DuckDBPyConnection
        A book.

    Returns
    -------
    DataFrame
        Columns ``logger_id``, ``read_at`` (UTC, no zone), ``temp_c`` (°C), sorted.
    int
        Readings left out.
    """
    at_sites = "SELECT r.* FROM logger_readings r JOIN loggers l USING (logger_id) WHERE l.site_id <> '' AND r.temp_c IS NOT NULL"
    kept = connection.execute(
        f"""WITH here AS ({at_sites}), marked AS ({_MARKED})
        SELECT logger_id, read_at, temp_c FROM here
        WHERE NOT EXISTS (SELECT 1 FROM marked m WHERE m.logger_id = here.logger_id AND here.read_at BETWEEN m.from_at AND m.to_at)
        ORDER BY logger_id, read_at"""
    ).df()
    total = connection.execute(f"SELECT count(*) FROM ({at_sites})").fetchall()[0][0]
    return kept, int(total) - len(kept)


def doubtful_stretches(connection: Any) -> pd.DataFrame:
    """Stretches that a check marked: ``logger_id``, ``from_at``, ``to_at`` (UTC, no zone), both ends included."""
    return connection.execute(f"{_MARKED} ORDER BY ALL").df()


def record(
    readings: pd.DataFrame, loggers: pd.DataFrame, sites: pd.DataFrame, time_zone: str, line_c: float, gap_steps: float
) -> pd.DataFrame:
    """What the loggers of each site and medium say of their highest and of the longest time above a line.

    Parameters
    ----------
    readings : DataFrame
        As :func:`usable_readings` gives it.
    loggers : DataFrame
        Columns ``logger_id``, ``site_id``, ``medium``.
    sites : DataFrame
        Columns ``site_id``, ``waterbody``.
    time_zone : str
        IANA name of the book's zone; days are local.
    line_c : float
        Line whose passing is timed, °C.
    gap_steps : float
        Gaps of more usual steps than this are not bridged.

    Returns
    -------
    DataFrame
        Columns ``site``, ``medium``, ``n_days``, ``max``, ``mean_daily_max`` (°C), ``line_c``, ``longest_h`` (longest unbroken
        time above it, h).
    """
    named = sites.assign(site=sites["waterbody"].where(sites["waterbody"].fillna("") != "", sites["site_id"]))[["site_id", "site"]]
    frame = readings.merge(loggers[["logger_id", "site_id", "medium"]], on="logger_id").merge(named, on="site_id")
    if frame.empty:
        return pd.DataFrame(columns=list(RECORD_COLUMNS))
    local = frame["read_at"].dt.tz_localize("UTC").dt.tz_convert(time_zone)
    daily = frame.assign(day=local.dt.date).groupby(["site", "medium", "logger_id", "day"])["temp_c"].max().reset_index()
    figures = daily.groupby(["site", "medium"])["temp_c"].agg(n_days="size", max="max", mean_daily_max="mean").reset_index()
    longest = {logger: _longest_above(part, line_c, gap_steps) for logger, part in frame.groupby("logger_id")}
    hours = frame.drop_duplicates("logger_id").assign(longest_h=lambda rows: rows["logger_id"].map(longest))
    hours = hours.groupby(["site", "medium"])["longest_h"].max().reset_index()
    return figures.merge(hours, on=["site", "medium"]).assign(line_c=line_c)[list(RECORD_COLUMNS)]


def _longest_above(part: pd.DataFrame, line_c: float, gap_steps: float) -> float:
    if len(part) < 2:
        return 0.0
    found = excursions(part["read_at"], part["temp_c"], line_c, gap_steps * usual_step_h(part["read_at"]))
    return float(found["hours"].max()) if len(found) else 0.0
