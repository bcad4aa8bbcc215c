"""The figures of a sensor as rows of a table and of a file: shares, hours, degree-hours, the longest excursion."""

from __future__ import annotations

from typing import Any

import pandas as pd

from pipeline.settings.limits import judgement
from pipeline.tanks.audit import Audit, Sensor, moment
from pipeline.tanks.stretch import Stretch
from pipeline.writing.words import NBSP, number

DAY_HOURS = (8, 20)


def sensor_figures(sensor: Sensor, stretch: Stretch) -> dict[str, Any]:
    """Figures of one sensor over the stretch.

    Parameters
    ----------
    sensor : Sensor
        As `audit.Audit` holds it.
    stretch : Stretch
        What was looked at.

    Returns
    -------
    dict
        Numbers by name, °C, hours and °C hours; None where nothing is known. ``days_known`` are whole days that readings cover and for
        which there is a band; ``days_in_band`` those with their mean in it.
    """
    days = sensor.days
    hours = float(days["hours"].fillna(0).sum())
    length = (days["ends"] - days["starts"]) / pd.Timedelta(hours=1)
    whole = (days["starts"] >= stretch.start) & (days["ends"] <= stretch.end) & (days["hours"] >= judgement("day_known_least") * length)
    known = days[whole & days["band_high"].notna() & days["mean"].notna()]
    inside = known["mean"].between(known["band_low"], known["band_high"])
    swing = days.loc[whole, "high"] - days.loc[whole, "low"]
    longest = _longest(sensor)
    return {
        "n_readings": int(days["n"].fillna(0).sum()),
        "hours_covered": hours,
        "hours_of_stretch": (stretch.end - stretch.start) / pd.Timedelta(hours=1),
        "lowest": _least(days["low"]),
        "highest": _most(days["high"]),
        "mean": float((days["mean"] * days["hours"]).sum() / hours) if hours else None,
        "days_known": len(known),
        "days_in_band": int(inside.sum()),
        "days_above_band": int((known["mean"] > known["band_high"]).sum()),
        "days_below_band": int((known["mean"] < known["band_low"]).sum()),
        **{f"{name}_{of}": _sum(days[f"{name}_{of}"]) for name in ("act_line", "ceiling", "cold_line", "watch_line") for of in ("h", "dh")},
        "daily_swing": float(swing.median()) if len(swing) else None,
        "jump": _most(days["jump"]),
        "gaps": len(sensor.gaps),
        "longest_h": longest[0],
        "longest_start": longest[1],
        "longest_end": longest[2],
    }


def _longest(sensor: Sensor) -> tuple[float | None, Any, Any]:
    if sensor.verdict is None:
        return None, None, None
    spells = sensor.verdict.spells
    over = spells[(spells["state"] == "warm") & (spells["why"] == "above the act line")]
    if over.empty:
        return 0.0, None, None
    row = over.loc[over["hours"].idxmax()]
    return float(row["hours"]), row["start"], row["end"]


def _sum(values: pd.Series) -> float | None:
    return float(values.sum()) if values.notna().any() else None


def _most(values: pd.Series) -> float | None:
    return float(values.max()) if values.notna().any() else None


def _least(values: pd.Series) -> float | None:
    return float(values.min()) if values.notna().any() else None


def figure_rows(sensor: Sensor, stretch: Stretch) -> list[tuple[str, str]]:
    """The same as lines for a person."""
    found = sensor_figures(sensor, stretch)
    rows = [("Readings", f"{found['n_readings']}, covering {_hours(found['hours_covered'])} of {_hours(found['hours_of_stretch'])}")]
    if not found["n_readings"]:
        return rows
    if found["days_known"]:
        share = round(100 * found["days_in_band"] / found["days_known"])
        beyond = [f"{found[name]} {words}" for name, words in (("days_above_band", "above"), ("days_below_band", "below")) if found[name]]
        more = f" ({', '.join(beyond)})" if beyond else ""
        rows.append(("Days with their mean in the band", f"{found['days_in_band']} of {found['days_known']}, {share} %{more}"))
    else:
        rows.append(("Days with their mean in the band", "not known: no whole day with readings and a band"))
    rows += [
        ("Above the act line", _beyond(found, "act_line")),
        ("Above the ceiling", _beyond(found, "ceiling")),
        ("Below what is safe", _beyond(found, "cold_line")),
        ("Above 18 °C", _beyond(found, "watch_line")),
    ]
    if found["longest_start"] is not None:
        span = f"{moment(stretch, found['longest_start'])} to {moment(stretch, found['longest_end'])}"
        rows.append(("Longest time above the act line", f"{_hours(found['longest_h'])}, {span}"))
    rows.append(("Lowest, mean, highest", " · ".join(_degrees(found[name]) for name in ("lowest", "mean", "highest"))))
    if found["daily_swing"] is not None:
        rows.append(("From the day's lowest to its highest", f"{_degrees(found['daily_swing'])} (median of the days)"))
    if found["jump"] is not None and found["jump"] >= judgement("act_line_step"):
        rows.append(("Largest jump within an hour", f"{_degrees(found['jump'])}: was the sensor moved, or water changed?"))
    rows.append(("Gaps", f"{found['gaps']}, none filled in" if found["gaps"] else "none"))
    accuracy = (
        f"plus or minus {_degrees(sensor.accuracy_c)}" if sensor.accuracy_c == sensor.accuracy_c else "not noted: hold it to a reference"
    )
    rows.append(("Error of the sensor", accuracy))
    return rows


def _beyond(found: dict[str, Any], name: str) -> str:
    hours, area = found[f"{name}_h"], found[f"{name}_dh"]
    if hours is None:
        return "no such line here"
    return "never" if hours == 0 else f"{_hours(hours)}, {number(round(area, 1))}{NBSP}°C hours"


def _hours(value: float) -> str:
    return f"{number(round(value, 1 if value < 100 else 0))}{NBSP}h"


def _degrees(value: float) -> str:
    return f"{number(round(value, 2), None)}{NBSP}°C"


def day_table(audit: Audit) -> pd.DataFrame:
    """One row a sensor and day, for a file: lines and figures, °C and hours; times in UTC."""
    parts = [
        sensor.days.assign(enclosure_id=audit.enclosure["enclosure_id"], logger_id=sensor.logger_id, medium=sensor.medium)
        for sensor in audit.sensors
    ]
    if not parts:
        return pd.DataFrame()
    frame = pd.concat(parts, ignore_index=True).drop(columns=["act_or_ceiling", "month", "first_change", "last_change", "first_at"])
    first = ["enclosure_id", "logger_id", "medium", "day", "stage", "evidence"]
    return frame[[*first, *(name for name in frame.columns if name not in first)]]


def spell_table(audit: Audit) -> pd.DataFrame:
    """Every time outside or unknown, of every judged sensor; UTC."""
    parts = [
        sensor.verdict.spells.assign(enclosure_id=audit.enclosure["enclosure_id"], logger_id=sensor.logger_id)
        for sensor in audit.sensors
        if sensor.verdict is not None
    ]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()
