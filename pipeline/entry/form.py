"""The entry form: one page with its own script, made from the schemas and the book, for a phone in the stream or the kitchen table."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.checking.animals import MEASURED_TO, SEXES
from pipeline.entry.page_parts import SHARED_SCRIPTS, assembled, code_lists, common_data, field_words, rule_words, shown_fields
from pipeline.settings import Area, Settings
from pipeline.writing.files import write_files
from schemas.rules.figures import READINGS_ALIKE_C, SEASON_ALIKE_C, SEASON_DAYS, SEASON_VISITS
from schemas.rules.rules import COOL, LONG_MINUTES, MASS_PER_SVL3, NEAR_DUPLICATE_IN, RULES, WARM_C
from schemas.vocabulary import EGGS, vocabulary

FILE = "form.html"
TABLES = ("sites", "visits", "finds", "availability")
SCRIPTS = (
    "draft.js", *SHARED_SCRIPTS, "offers.js", "evening.js", "rows.js", "finds.js", "readback.js", "saving.js", "opening.js", "page.js",
)  # fmt: skip
EVENING = {
    "first": ("protocol", "observer_count", "thermometer_accuracy_c", "target_taxa"),
    "more": ("observers", "thermometer", "thermometer_checked_on", "permit"),
}
"""Fields of a visit that stay as they are from site to site: set once, then one line."""

USUAL = ("taxon", "life_stage", "count", "microhabitat", "water_temp_c")
"""Fields of a find that a phone shows on one screen. On land the substrate's reading takes the place of the water's."""

FIRST = {
    "sites": ("site_id", "habitat", "latitude", "longitude", "datum", "coordinate_uncertainty_m", "waterbody"),
    "visits": (
        *EVENING["first"], "site_id", "visit_date", "start_time", "end_time", "search_minutes", "all_counted", "air_temp_c", "water_temp_c",
    ),
    "finds": (*USUAL, "substrate_temp_c", "substrate", "svl_mm", "found_at"),
    "availability": ("microhabitat", "water_temp_c", "substrate_temp_c"),
}  # fmt: skip
"""Fields that are open at once; all others are folded away, and the Tab key passes them."""

CARRIED = (
    "taxon",
    "verbatim_taxon",
    "identified_by",
    "id_certainty",
    "life_stage",
    "microhabitat",
    "cover_object",
    "substrate",
    "sun",
    "reading_place",
)
"""What "Same again" takes from the find before: what was chosen, never what was read or measured, for a reading belongs to one animal."""

MADE_HERE = {"finds": ("find_id", "visit_id"), "availability": ("point_id", "visit_id")}
"""Codes that the form makes from the visit's."""


def write(out_folder: Path, settings: Settings, known: Mapping[str, pd.DataFrame], title: str | None = None) -> Path:
    """Write the form to `out_folder`/form.html and return that path; arguments as :func:`form_page`."""
    path = out_folder / FILE
    write_files({path: form_page(settings, known, title)}, "the form")
    return path


def form_page(settings: Settings, known: Mapping[str, pd.DataFrame], title: str | None = None) -> str:
    """Make the form of a book.

    Parameters
    ----------
    settings : Settings
        Title, taxa and study areas of the book.
    known : mapping of str to DataFrame
        Rows that the book holds, by table; ``sites`` and ``visits`` are used, so that a known site is chosen and a code is not given twice.
    title : str, optional
        What the page is headed with; the book's own title where left out. Empty where the book's must not be shown: a heading is what
        others see over a shoulder.

    Returns
    -------
    str
        One HTML page that asks for nothing else; the same text for the same book. It names the book's sites: it is not for others.
    """
    heading = settings.title if title is None else title
    return assembled("form.html", SCRIPTS, form_data(settings, known), title=heading, invented=settings.invented)


def form_data(settings: Settings, known: Mapping[str, pd.DataFrame]) -> dict[str, Any]:
    """What the form's script knows of schemas and book.

    Returns
    -------
    dict
        ``tables`` (fields by table), ``codes`` (lists by name: code and meaning), ``areas``, ``visits`` (codes that are taken), ``first``,
        ``evening``, ``usual``, ``offered`` (codes in the order in which they are offered), ``carried``, ``made_here``,
        ``near_duplicate_in``, ``seasons`` (what the water of each site was by day of the year), ``rules`` (words, and the comparisons of
        those that are data), ``rule_ids`` (in order), ``joined`` (what the check knows beside a row), ``book`` (a word by which the
        browser keeps this book's draft apart).
    """
    shown = {table: shown_fields(table, FIRST[table], MADE_HERE.get(table, ())) for table in TABLES}
    lists = code_lists((one for each in shown.values() for one in each), settings)
    lists["sites"] = [[str(row.site_id), _site_words(row)] for row in known["sites"].sort_values("site_id").itertuples()]
    common = common_data(settings)
    return {
        **common,
        "tables": {table: [field_words(one) for one in each] for table, each in shown.items()},
        "codes": lists,
        "areas": [_area(area) for area in settings.areas],
        "visits": sorted(str(one) for one in known["visits"]["visit_id"]),
        "first": FIRST,
        "evening": EVENING,
        "usual": USUAL,
        "offered": {"life_stage": _stages_by_use(), "microhabitat": list(vocabulary("microhabitat"))},
        "carried": CARRIED,
        "made_here": MADE_HERE,
        "near_duplicate_in": list(NEAR_DUPLICATE_IN),
        "rules": rule_words(TABLES),
        "rule_ids": [rule.id for rule in RULES if rule.table in TABLES],
        "figures": {
            **common["figures"],
            "warm": WARM_C,
            "long": LONG_MINUTES,
            "mass": MASS_PER_SVL3,
            "alike": READINGS_ALIKE_C,
            "measured_to": MEASURED_TO,
            "sexes": SEXES,
            "season": {"days": SEASON_DAYS, "visits": SEASON_VISITS, "alike": SEASON_ALIKE_C},
        },
        "seasons": _seasons(known["visits"]),
        "joined": {"cool_stream_book": bool(settings.taxa["group"].isin(COOL).any())},
        "eggs": EGGS,
        "media": {code: row["medium"] for code, row in vocabulary("microhabitat").items()},
        "book": hashlib.sha256(settings.title.encode()).hexdigest()[:12],
    }


def _stages_by_use() -> list[str]:
    stages = vocabulary("life_stage")
    return sorted(stages, key=lambda code: int(stages[code]["card_order"] or len(stages) + 1))


def _seasons(visits: pd.DataFrame) -> dict[str, list[list[float]]]:
    """Day of the year and water [°C] of the visits of each site, newest first."""
    read = visits.reindex(columns=["site_id", "visit_date", "water_temp_c"]).dropna().sort_values("visit_date", ascending=False)
    return {
        str(site): [
            [int(day), round(float(water), 2)] for day, water in zip(group["visit_date"].dt.dayofyear, group["water_temp_c"], strict=True)
        ]
        for site, group in read.groupby("site_id")
    }


def _site_words(row: Any) -> str:
    return "; ".join(str(part) for part in (row.site_name, row.waterbody) if isinstance(part, str) and part)


def _area(area: Area) -> dict[str, Any]:
    return {"kind": area.kind, "numbers": list(area.numbers)}
