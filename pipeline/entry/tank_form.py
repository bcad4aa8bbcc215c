"""The log of the enclosures: a page of its own, where a feeding is three taps, made from schemas and book on the scripts of the form."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.entry.page_parts import SHARED_SCRIPTS, assembled, code_lists, common_data, field_words, rule_words, shown_fields
from pipeline.reading.units import UNITS
from pipeline.settings import Settings
from pipeline.writing.files import write_files
from schemas.tables import fields
from schemas.vocabulary import vocabulary

FILE = "tank_log.html"
TABLES = ("enclosures", "loggers", "water_tests", "husbandry_events")
SCRIPTS = ("tank.js", *SHARED_SCRIPTS, "tank_rows.js")
LEFT_OUT = {
    "loggers": ("site_id",),
    "water_tests": ("test_id", "visit_id"),
    "husbandry_events": ("event_id",),
}
"""Codes that the page makes, and what belongs to a stream: the page names no place of the wild."""

NEEDED_HERE = {"loggers": ("enclosure_id",), "water_tests": ("enclosure_id", "tested_on")}
KIT = ("total_ammonia_mg_l_n", "nitrite_mg_l_n", "nitrate_mg_l_n", "hardness_mg_l_caco3")
"""Numbers whose unit the person must name: kits show the ion or its nitrogen, and the same 10 differs fourfold."""

FIRST = {
    "enclosures": ("enclosure_id", "taxon", "population", "life_stage", "medium", "since", "volume_l"),
    "loggers": ("logger_id", "enclosure_id", "medium", "accuracy_c"),
    "water_tests": (
        "enclosure_id", "tested_on", "tested_at", "instrument", "water_temp_c", "ph", *KIT, "conductivity_us_cm", "chlorine_mg_l",
    ),
    "husbandry_events": ("enclosure_id", "event", "event_date", "event_time"),
}  # fmt: skip
"""Fields that are open at once, beside those of `ASKED`; all others are folded away."""

ASKED = {
    "fed": ("what", "amount"),
    "refused": ("what", "animal_id"),
    "weighed": ("animal_id", "mass_g"),
    "measured": ("animal_id", "svl_mm", "total_length_mm"),
    "shed": ("animal_id",),
    "moved": ("animal_id", "to_enclosure_id"),
    "arrived": ("what", "amount"),
    "metamorphosed": ("animal_id", "svl_mm", "mass_g"),
    "stage_reached": ("life_stage",),
    "eggs_laid": ("amount",),
    "ill": ("animal_id", "remarks"),
    "treated": ("animal_id", "what", "amount", "done_by"),
    "died": ("animal_id", "remarks"),
    "water_changed": ("water_changed_pct", "water_from"),
    "filter_cleaned": ("what",),
    "lights_changed": ("what",),
    "sensor_checked": ("what", "remarks"),
    "alarm_tested": ("what",),
    "noted": ("remarks",),
}
"""Fields of the log that an event asks for."""

MEALS_OFFERED = 3


def write(out_folder: Path, settings: Settings, known: Mapping[str, pd.DataFrame], title: str | None = None) -> Path:
    """Write the log's page to `out_folder`/tank_log.html and return that path; arguments as :func:`tank_page`."""
    path = out_folder / FILE
    write_files({path: tank_page(settings, known, title)}, "the page of the enclosures' log")
    return path


def tank_page(settings: Settings, known: Mapping[str, pd.DataFrame], title: str | None = None) -> str:
    """Make the page of the enclosures' log.

    Parameters
    ----------
    settings : Settings
        Title and taxa of the book.
    known : mapping of str to DataFrame
        Rows that the book holds, by table; ``enclosures`` and ``husbandry_events`` are used, so that an enclosure and its usual meal are
        one tap each.
    title : str, optional
        What the page is headed with; the book's own title where left out.

    Returns
    -------
    str
        One HTML page that asks for nothing else; the same text for the same book. It holds the keeper's log: it is not for others.
    """
    heading = settings.title if title is None else title
    return assembled("tank.html", SCRIPTS, tank_data(settings, known), title=heading, invented=settings.invented)


def tank_data(settings: Settings, known: Mapping[str, pd.DataFrame]) -> dict[str, Any]:
    """What the page's script knows of schemas and book.

    Returns
    -------
    dict
        ``tables`` (fields by table), ``codes``, ``first``, ``asked`` (fields by event), ``kit`` (units by field), ``in_use`` (code and
        words of each enclosure with animals in it), ``meals`` (what was fed last in each: food and amount), ``rules``, ``rule_ids``,
        ``joined`` and ``book`` (a word by which the browser keeps this draft apart), beside what both forms know.
    """
    shown = {
        table: shown_fields(table, (*FIRST[table], *(name for each in ASKED.values() for name in each)), LEFT_OUT.get(table, ()))
        for table in TABLES
    }
    lists = code_lists((one for each in shown.values() for one in each), settings)
    enclosures = known["enclosures"].sort_values("enclosure_id")
    lists["enclosures"] = [[str(row.enclosure_id), _words(row)] for row in enclosures.itertuples()]
    rules = {name: rule for name, rule in rule_words(TABLES).items() if set(rule["fields"]) <= {one.name for one in shown[rule["table"]]}}
    return {
        **common_data(settings),
        "tables": {table: [field_words(one, one.name in NEEDED_HERE.get(table, ())) for one in each] for table, each in shown.items()},
        "codes": lists,
        "first": FIRST,
        "asked": ASKED,
        "events": [[code, row["definition"]] for code, row in vocabulary("husbandry_event").items()],
        "kit": {name: list(UNITS[fields("water_tests")[name].unit]) for name in KIT},
        "in_use": [[str(row.enclosure_id), _words(row)] for row in enclosures[enclosures["until"].isna()].itertuples()],
        "meals": _meals(known["husbandry_events"]),
        "rules": rules,
        "rule_ids": list(rules),
        "joined": {},
        "book": hashlib.sha256(f"{settings.title} enclosures".encode()).hexdigest()[:12],
    }


def _words(row: Any) -> str:
    return "; ".join(str(part) for part in (row.taxon, row.life_stage, row.medium) if isinstance(part, str) and part)


def _meals(events: pd.DataFrame) -> dict[str, list[list[str]]]:
    """Food and amount of the last meals of each enclosure, each once, newest first."""
    fed = events[events["event"] == "fed"].dropna(subset=["what"]).sort_values(["event_date", "event_time", "event_id"], ascending=False)
    pairs = fed.assign(amount=fed["amount"].fillna("")).drop_duplicates(["enclosure_id", "what", "amount"])
    return {
        str(code): [[str(row.what), str(row.amount)] for row in group.head(MEALS_OFFERED).itertuples()]
        for code, group in pairs.groupby("enclosure_id")
    }
