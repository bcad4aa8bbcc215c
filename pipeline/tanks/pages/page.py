"""The page of an audit: the verdict first, then what to do, the course, the figures, and what the record cannot say."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.tanks import advice, night
from pipeline.tanks.audit import Audit, Sensor, moment
from pipeline.tanks.day_lines import LINES
from pipeline.tanks.figures import figure_rows
from pipeline.tanks.growth import LARVAL_PERIOD
from pipeline.tanks.pages.plot import course_svg
from pipeline.tanks.stretch import Stretch
from pipeline.tanks.water_state import FINE
from pipeline.writing.files import write_files
from pipeline.writing.page import render
from pipeline.writing.words import NBSP, degrees, fahrenheit, number

SHAPES = {"inside": "●", "warm": "▲", "cold": "▼", "unknown": "?"}
SPELLS_SHOWN = 12
LINE_TITLES = {
    "band_low": "Band from",
    "band_high": "Band to",
    "act_line": "Act above",
    "ceiling": "Never reach",
    "cold_line": "Never below",
}
GUIDED_STAGES = ("metamorph",)


def write_audit_page(path: Path, audit: Audit, taxon_name: str, about: dict[str, Any], due: list[dict[str, str]]) -> Path:
    """Write the page of one enclosure.

    Parameters
    ----------
    path : Path
        The file.
    audit : Audit
        What was found.
    taxon_name : str
        Scientific name.
    about : dict
        ``invented``, ``source`` (whose targets), ``notes``, and where there is one ``grown``: frames of `growth.growth` and
        `growth.sizes_by_month`; ``night``: by logger, as `night.beside_field`; ``no_field_night``: why the field's is not known.
    due : list of dict
        ``what``, ``when``, ``words``; what is due next.

    Returns
    -------
    Path

    Raises
    ------
    RillbookError
        The file cannot be written.
    """
    text = render(
        "tanks",
        "audit.html",
        title=f"{audit.enclosure['enclosure_id']}: {audit.state}",
        settings={"invented": about["invented"]},
        audit=audit,
        shape=SHAPES[audit.state],
        band=band_today(audit),
        growth=_growth(about),
        larval_period=LARVAL_PERIOD,
        taxon=taxon_name,
        about=about,
        span=_span(audit.stretch),
        todo=advice.what_to_do(audit.state, at_ceiling(audit)),
        vet=advice.VET,
        vet_source=advice.VET_SOURCE,
        cannot=advice.CANNOT_SAY,
        due=due,
        land_ready=advice.LAND_READY if _transition(audit) else "",
        events=_events(audit),
        water=water_rows(audit),
        night_how=night.HOW,
        no_field_night=about.get("no_field_night", ""),
        sensors=[_sensor(sensor, audit.stretch, f"s{place}", about) for place, sensor in enumerate(audit.sensors)],
        damp=[_damp(one, audit.stretch) for one in audit.damp],
    )
    return save(path, text)


def save(path: Path, text: str) -> Path:
    """Write a page, whole or not at all."""
    write_files({path: text}, "the page")
    return path


def band_today(audit: Audit) -> dict[str, str]:
    """Lines of the last day, first sensor judged: ``band``, ``band_f``, ``act``, ``ceiling``, ``cold``; empty where there is none."""
    judged = [sensor for sensor in audit.sensors if sensor.verdict is not None]
    if not judged:
        return dict.fromkeys(("band", "band_f", "act", "ceiling", "cold"), "")
    day = judged[0].days.iloc[-1]

    def shown(name: str, up: bool = False) -> str:
        return "" if day[name] != day[name] else degrees(day[name], fahrenheit(day[name], up=up))

    low, high = day["band_low"], day["band_high"]
    known = low == low
    return {
        "band": f"{number(low)} to {number(high)}{NBSP}°C" if known else "",
        "band_f": f"{number(fahrenheit(low, up=True))} to {number(fahrenheit(high))}{NBSP}°F" if known else "",
        "act": shown("act_line"),
        "ceiling": shown("ceiling"),
        "cold": shown("cold_line", up=True),
    }


def at_ceiling(audit: Audit) -> bool:
    """Whether the last reading of a sensor is at its day's ceiling or above it."""
    return any(
        sensor.verdict is not None and sensor.last is not None and bool(sensor.last[1] >= sensor.days["ceiling"].iloc[-1])
        for sensor in audit.sensors
    )


def _span(stretch: Stretch) -> str:
    return f"{moment(stretch, stretch.start)} to {moment(stretch, stretch.end)}"


def _transition(audit: Audit) -> bool:
    return audit.stage in GUIDED_STAGES or audit.events["event"].eq("metamorphosed").any()


def _sensor(sensor: Sensor, stretch: Stretch, ident: str, about: dict[str, Any]) -> dict[str, Any]:
    title = f"Logger {sensor.logger_id}, {sensor.medium}"
    spells = (
        sensor.verdict.spells if sensor.verdict is not None else pd.DataFrame(columns=["state", "start", "end", "hours", "worst", "why"])
    )
    words = f"{title} from {_span(stretch)}. " + " ".join(f"{name}: {value}." for name, value in figure_rows(sensor, stretch))
    return {
        "title": title,
        "judged": sensor.verdict is not None,
        "figures": figure_rows(sensor, stretch),
        "used": sensor.used,
        "lines": _line_rows(sensor.days),
        "night": night.rows_of(about.get("night", {}).get(sensor.logger_id, night.beside_field(sensor.night, None))),
        "n_spells": len(spells),
        "plot": course_svg(title, stretch, sensor.days, sensor.course, spells, sensor.gap_h, words, ident),
        "spells": [
            _spell(row, stretch)
            for row in spells.sort_values("hours", ascending=False).head(SPELLS_SHOWN).sort_values("start").itertuples()
        ],
    }


def _spell(row: Any, stretch: Stretch) -> dict[str, str]:
    worst = "" if row.worst != row.worst else f"{number(round(row.worst, 1))}{NBSP}°C"
    return {
        "state": row.state,
        "shape": SHAPES[row.state],
        "start": moment(stretch, row.start),
        "end": moment(stretch, row.end),
        "hours": number(round(row.hours, 1)),
        "worst": worst,
        "why": row.why,
    }


def _line_rows(days: pd.DataFrame) -> list[dict[str, str]]:
    """Lines by month and stage, as printed; °F from the printed °C, in the safe direction."""
    rows = []
    keys = days.drop_duplicates(["month", "stage"])
    for day in keys.to_dict("records"):
        row = {"month": MONTH_NAMES[int(day["month"]) - 1], "stage": str(day["stage"]).replace("_", " "), "evidence": str(day["evidence"])}
        for name in (*LINES, "cold_line"):
            up = name in ("band_low", "cold_line")
            row[name] = "" if day[name] != day[name] else degrees(day[name], fahrenheit(day[name], up=up))
        rows.append(row)
    return rows


def water_rows(audit: Audit) -> list[dict[str, str]]:
    """Rows of the water table: the latest test whole, of earlier ones what was not fine; each value with its limit, its kind and source."""
    rows = audit.water.to_dict("records")
    latest = rows[0]["tested"] if rows else ""
    return [
        {**row, "shown": "not known" if row["value"] != row["value"] else f"{row['value']:.3g}{NBSP}{row['unit']}".strip()}
        for row in rows
        if row["tested"] == latest or row["state"] != FINE
    ]


def _events(audit: Audit) -> list[dict[str, str]]:
    rows = []
    for event in audit.events.sort_values("event_date", ascending=False).head(SPELLS_SHOWN).to_dict("records"):
        parts = [event[name] for name in ("what", "amount", "water_from", "done_by") if isinstance(event[name], str) and event[name]]
        parts += [
            f"{number(event[name])} {unit}"
            for name, unit in (("mass_g", "g"), ("svl_mm", "mm SVL"), ("water_changed_pct", "%"))
            if event[name] == event[name]
        ]
        rows.append({"day": f"{event['event_date']:%Y-%m-%d}", "event": event["event"].replace("_", " "), "words": ", ".join(parts)})
    return rows


def _damp(one: Any, stretch: Stretch) -> dict[str, str]:
    wet = [f"{moment(stretch, row.start)} to {moment(stretch, row.end)}" for row in one.wet.itertuples()]
    dry = f"{number(round(one.hours_above, 1))} of {number(round(one.hours, 1))} hours drier than {number(round(one.bound_kpa, 3))} kPa"
    largest = "" if one.largest_kpa != one.largest_kpa else f", at most {number(round(one.largest_kpa, 2))} kPa"
    return {"logger": one.logger_id, "words": f"{dry}{largest}." if one.hours else "It could not judge at any time.", "wet": "; ".join(wet)}


def _growth(about: dict[str, Any]) -> dict[str, list[dict[str, str]]]:
    """What was measured beside the wild, the latest first, and wild sizes by month."""
    if "grown" not in about:
        return {"rows": [], "sizes": []}
    measured, sizes = about["grown"]

    def span(low: float, middle: float, high: float) -> str:
        return "" if low != low else f"{number(round(low, 2))} · {number(round(middle, 2))} · {number(round(high, 2))}"

    rows = [
        {
            "day": f"{row.day:%Y-%m-%d}",
            "animal": row.animal,
            "measure": row.measure,
            "value": number(row.value),
            "words": row.words,
            "wild": span(row.wild_low, row.wild_middle, row.wild_high),
        }
        for row in measured.iloc[::-1].head(SPELLS_SHOWN).itertuples()
    ]
    return {
        "rows": rows,
        "sizes": [
            {"stage": row.life_stage, "month": MONTH_NAMES[row.month - 1], "n": str(row.n), "wild": span(row.low, row.middle, row.high)}
            for row in sizes.itertuples()
        ],
    }
