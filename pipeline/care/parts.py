"""Parts of a care sheet beside the month table: schedule, spots to offer, night drop, humidity, water and finds by temperature."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from pipeline.care.evidence import own_rows
from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.settings import DEFAULTS
from pipeline.settings.limits import judgement
from pipeline.statistics.grades import down
from pipeline.statistics.quantiles import weighted_quantile
from pipeline.statistics.weights import site_day_weights
from pipeline.writing.words import Cell, Row, advised, counted, figure, number, plain
from schemas.vocabulary import CONSTANT, EGGS

SPOTS = {
    "water": ("coolest", "middle", "warmest, shallow and well aired"),
    "": ("cool and wet", "middle", "drier and airy, never dry"),
}
NO_LOGGER = "No logger: the night drop is not known."


def highest_advised(rows: pd.DataFrame) -> float:
    """Highest temperature that any part of the page may advise for long: the ceiling less the swing of a thermostat; NaN without one."""
    return float(rows["ceiling"].min()) - judgement("thermostat_margin")


def schedule_part(key: Cell, group: str, facts: Mapping[str, Any], least: tuple[float, int] | None = None) -> dict[str, Any]:
    """Set points by week, or why there are none.

    Parameters
    ----------
    key, group : tuple of str, str
        The cell, and the code of the taxon's group.
    facts : mapping
        ``schedule`` (days) and ``schedule_weeks``: columns as declared in `schemas.frames.targets`. May be missing.
    least : tuple of float and int, optional
        Least temperature that the page allows, °C and °F.

    Returns
    -------
    dict
        ``why`` (empty where there is a schedule) and ``weeks`` (rows of text and figures).
    """
    days = own_rows(facts.get("schedule"), key)
    if days.empty:
        return {"why": _no_schedule(key, group), "weeks": []}
    return {"why": "", "weeks": _steps(own_rows(facts["schedule_weeks"], key).to_dict("records"), least)}


def _no_schedule(key: Cell, group: str) -> str:
    if key[2] in EGGS:
        return "No schedule for eggs: only what was read at nests counts, and nothing is drawn between."
    if group in CONSTANT:
        return "No schedule: this water hardly changes through the year."
    return "No schedule: no month has a target."


def _stretch(row: Row, low: float, high: float, least: tuple[float, int] | None) -> Row:
    first, last = (f"{int(row[f'{end}_day'])} {MONTH_NAMES[int(row[f'{end}_month']) - 1]}" for end in ("from", "to"))
    return {
        "span": first if first == last else f"{first} to {last}",
        "low": figure(low),
        "high": figure(high),
        "words": advised(low, high, least),
        "note": "the field is colder: held a degree over the floor" if row["at_floor"] else "",
    }


def _steps(weeks: list[Row], least: tuple[float, int] | None) -> list[Row]:
    """Consecutive weeks of one set point in one line."""
    lines: list[Row] = []
    for week in weeks:
        value = figure(week["set_point"])
        same = bool(lines) and figure(lines[-1]["set_point"]) == value and lines[-1]["run"] == week["run"]
        if same and week["week"] - lines[-1]["week"] <= 1:
            lines[-1] = {**lines[-1], **{name: week[name] for name in ("to_month", "to_day", "week")}}
        else:
            lines.append(week)
    return [_stretch(row, row["set_point"], row["set_point"], least) for row in lines]


def mosaic_part(
    key: Cell, group: str, rows: pd.DataFrame, read: pd.DataFrame, facts: Mapping[str, Any], least: tuple[float, int] | None
) -> dict[str, Any]:
    """Spread of spots to offer in the warm season: P10, P50 and P90 of its readings, cut where the page forbids more.

    Parameters
    ----------
    key, group, facts, least
        As :func:`schedule_part`; ``warm_months`` of `facts` may be missing.
    rows, read : DataFrame
        Targets and readings of the cell, °C.

    Returns
    -------
    dict
        ``why`` (empty where there is one), ``spots`` (``name``, ``c``, ``words``), ``notes``.
    """
    warm = rows[rows["month"].astype(str) == "warm"]
    if key[2] in EGGS or group in CONSTANT:
        return {"why": "No spread of spots: one even temperature is what was found.", "spots": [], "notes": []}
    if warm.empty or figure(warm["band_high"].iloc[0]) is None:
        return {"why": "No spread of spots: the warm season as a whole has no target.", "spots": [], "notes": []}
    months = facts.get("warm_months", DEFAULTS["warm_months"])
    values = read.loc[read["month"].isin(months), ["site", "date", "month", "value"]].drop_duplicates()
    if values.empty:
        return {"why": "No spread of spots: nothing was read in the warm season.", "spots": [], "notes": []}
    weights = site_day_weights(values["site"], values["month"].astype("int64"), values["date"])
    shares = [judgement(f"mosaic_{name}_percentile") / 100 for name in ("low", "middle", "high")]
    shift = figure(warm["day_shift"].iloc[0]) or 0.0
    found = [float(value) - shift for value in weighted_quantile(values["value"].astype(float), weights, shares)]
    acts = rows.loc[rows["month"].astype(str).isin(map(str, months)), "act_line"].dropna()
    highest = min([highest_advised(rows), *acts.astype(float)])
    grade = str(warm["grade"].iloc[0])
    # Down, as every set point; the coolest spot too, since a cool retreat harms nobody above the least.
    kept = [min(down(value, grade), down(highest, grade)) for value in found]
    raised = [value if least is None else max(value, least[0]) for value in kept]
    notes = [f"cut to {number(down(highest, grade))} °C, as this page forbids more"] if found[-1] > highest else []
    notes += [f"raised to {number(least[0])} °C, the least that this page allows"] if least and raised != kept else []
    names = SPOTS.get(key[3], SPOTS[""])
    spots = [{"name": name, "c": c, "words": advised(c, c, least)} for name, c in zip(names, raised, strict=True)]
    return {"why": "", "spots": spots, "notes": notes}


def night_part(key: Cell, read: pd.DataFrame, facts: Mapping[str, Any]) -> dict[str, Any]:
    """Night drop where the cell was found, and readings corrected to the day's mean beside the raw ones; from loggers alone.

    Parameters
    ----------
    key, read
        As :func:`schedule_part`.
    facts : mapping
        ``night_drop`` and ``corrected``: columns as declared in `schemas.frames.targets`; may be missing.

    Returns
    -------
    dict
        ``why``, ``drops`` (month, drop, counts), ``corrected`` (month, readings, median as read, median corrected).
    """
    drops, corrected = _drops(key, read, facts.get("night_drop")), _corrected(own_rows(facts.get("corrected"), key))
    return {"why": "" if drops else NO_LOGGER, "drops": drops, "corrected": corrected}


def _drops(key: Cell, read: pd.DataFrame, drop: pd.DataFrame | None) -> list[Row]:
    if drop is None or drop.empty:
        return []
    mine = drop[(drop["medium"] == key[3]) & drop["site"].isin(read["site"])]
    return [
        {
            "month": MONTH_NAMES[int(month) - 1],
            "drop": f"{number(float(part['night_drop'].median()), 1)} °C",
            "counts": f"{counted(part['n_days'].sum(), 'day')} at {counted(part['site'].nunique(), 'site')}",
        }
        for month, part in mine.groupby("month", sort=True)
    ]


def _corrected(frame: pd.DataFrame) -> list[Row]:
    if frame.empty:
        return []
    return [
        {
            "month": MONTH_NAMES[int(month) - 1],
            "n": len(part),
            "raw": plain(float(part["value"].median())),
            "corrected": plain(float(part["corrected"].median())),
        }
        for month, part in frame.dropna(subset=["corrected"]).groupby("month", sort=True)
    ]


def logger_words(key: Cell, read: pd.DataFrame, facts: Mapping[str, Any]) -> str:
    """What loggers at the cell's sites say of their highest, the mean of the days' highest, and the longest time above a line.

    Parameters
    ----------
    key, read
        As :func:`schedule_part`.
    facts : mapping
        ``logger_record``: as from `pipeline.loggers.usable.record`; may be missing.
    """
    record = facts.get("logger_record")
    if record is not None and len(record):
        record = record[(record["medium"] == key[3]) & record["site"].isin(read["site"])]
    if record is None or record.empty:
        return "Not known: no logger hung in this medium where they were found."
    days, line, longest = record["n_days"], float(record["line_c"].iloc[0]), float(record["longest_h"].max())
    highest, usual = float(record["max"].max()), float((record["mean_daily_max"] * days).sum() / days.sum())
    return (
        f"{counted(record['site'].nunique(), 'site')}, {counted(days.sum(), 'logger-day')}: highest {plain(highest)}, mean of the days'"
        f" highest {plain(usual)}, longest time above {plain(line)} {number(longest, 1)} h."
    )


def detection_lines(taxon: str, detection: pd.DataFrame | None) -> list[str]:
    """How often the visits that looked for a taxon found it, by thirds of each site's visits from cool to warm."""
    if detection is None or detection.empty:
        return []
    mine = detection[detection["taxon"] == taxon]
    told = [f"{row.third} third: {row.n_found} of {row.n_visits} ({round(100 * row.share)} %)" for row in mine.itertuples() if row.n_visits]
    if not told:
        return ["No visit that looked for it can be placed by its temperature."]
    left = int(mine["n_left_out"].max())
    return [f"{'; '.join(told)}."] + [f"{counted(left, 'visit')} could not be placed."] * bool(left)
