"""The paper sheet: the fields of the schemas as boxes to write in, for a waterproof page and a pencil."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.reading.headings import filled_in, shown_unit
from pipeline.settings import Settings
from pipeline.writing.files import write_files
from pipeline.writing.page import render
from schemas.fields import Field
from schemas.vocabulary import vocabulary

FILE = "paper.html"
TABLES = ("visits", "finds", "availability", "sites")
# Judgement: what is noted at nearly every animal stands first; a field that is named nowhere here follows in the schema's order.
FIRST = {
    "visits": (
        "visit_id", "site_id", "visit_date", "start_time", "end_time", "observers", "observer_count", "protocol", "search_minutes",
        "water_temp_c", "air_temp_c", "rh_pct", "wet_bulb_c", "psychrometer", "thermometer", "target_taxa", "all_counted", "disinfectant",
    ),
    "finds": (
        "find_id", "found_at", "taxon", "life_stage", "gills", "count", "microhabitat", "water_temp_c", "substrate_temp_c", "reading_place",
        "cover_object", "substrate", "substrate_wetness", "svl_mm", "photo", "total_length_mm", "mass_g", "air_temp_c", "rh_pct",
        "depth_cm", "distance_to_water_m", "id_certainty", "condition", "disposition", "pass_no", "cover_longest_mm", "sun",
    ),
}  # fmt: skip
LAST = ("remarks",)
# Said once over a grid, not in each of its rows.
ONCE = {"finds": ("visit_id",), "availability": ("visit_id",)}
FIND_ROWS, POINT_ROWS, SITE_ROWS = 12, 6, 3
# Widths of columns in mm, for a pencil and a cold hand (judgement); a sheet of Letter laid across has 259 mm between its margins.
WIDTHS = {"real": 13, "whole": 11, "code": 20, "clock": 14, "yes_no": 10, "day": 24, "codes": 26}
OWN_WIDTHS = {
    "remarks": 44,
    "latitude": 24,
    "longitude": 24,
    "photo": 20,
    "find_id": 17,
    "point_id": 17,
    "site_id": 20,
    "substrate_temp_c": 17,
    "taxon": 20,
    "microhabitat": 23,
    "count": 13,
}
TEXT_WIDTH, NUMBER_WIDTH, SHEET_WIDTH = 22, 7, 259
BOXES = {"remarks": 3, "observers": 2, "target_taxa": 2, "disinfectant": 2, "thermometer": 2, "visit_id": 2, "site_id": 2, "protocol": 2}


def write(out_folder: Path, settings: Settings, known: Mapping[str, pd.DataFrame]) -> Path:
    """Write the paper sheet.

    Parameters
    ----------
    out_folder : Path
        Folder of the book's outputs.
    settings : Settings
        The book's settings; its taxa stand among the codes.
    known : mapping of str to DataFrame
        Rows of the book. They are not printed: a sheet is lost sooner than a book is.

    Returns
    -------
    Path
        One HTML file that needs no network; it prints on A4 or Letter, laid across.

    Raises
    ------
    RillbookError
        The file cannot be written.
    """
    path = out_folder / FILE
    write_files({path: page(settings)}, "the paper sheet")
    return path


def page(settings: Settings) -> str:
    """Text of the page; see :func:`write`."""
    finds = grids("finds")
    return render(
        "entry",
        "paper.html",
        title=settings.title,
        invented=settings.invented,
        visit=[_box(one) for one in ordered("visits")],
        finds=[[_column(one) for one in part] for part in finds],
        find_rows=range(1, FIND_ROWS + 1),
        points=[_column(one) for one in _in_grid("availability")],
        point_rows=range(1, POINT_ROWS + 1),
        sites=[[_column(one) for one in part] for part in grids("sites")],
        site_rows=range(1, SITE_ROWS + 1),
        lists=code_lists(),
        taxa=[(str(code), str(name)) for code, name in zip(settings.taxa["code"], settings.taxa["scientific_name"], strict=True)],
    )


def ordered(table: str) -> list[Field]:
    """Fields of a table that a person fills in, most used first and remarks last."""
    every = filled_in(table)
    first = [name for name in FIRST.get(table, ()) if name in every]
    rest = [name for name in every if name not in first and name not in LAST]
    return [every[name] for name in [*first, *rest, *(name for name in LAST if name in every)]]


def grids(table: str) -> list[list[Field]]:
    """Columns of a table parted into grids that each fit across a sheet."""
    parts: list[list[Field]] = [[]]
    width = NUMBER_WIDTH
    for one in _in_grid(table):
        if width + width_of(one) > SHEET_WIDTH and parts[-1]:
            parts.append([])
            width = NUMBER_WIDTH
        parts[-1].append(one)
        width += width_of(one)
    return parts


def _in_grid(table: str) -> list[Field]:
    return [one for one in ordered(table) if one.name not in ONCE.get(table, ())]


def width_of(one: Field) -> int:
    """Least width of a field's column [mm]."""
    return OWN_WIDTHS.get(one.name, WIDTHS.get(one.kind, TEXT_WIDTH))


def _column(one: Field) -> dict[str, Any]:
    unit = "yes/no" if one.kind == "yes_no" else shown_unit(one)
    return {"field": f"{one.table}.{one.name}", "title": one.title, "unit": unit, "needed": one.required, "width": width_of(one)}


def _box(one: Field) -> dict[str, Any]:
    return {**_column(one), "hint": one.meaning, "span": BOXES.get(one.name, 1)}


def code_lists(tables: Sequence[str] = TABLES) -> list[tuple[str, list[tuple[str, str]]]]:
    """Code lists that the sheet's fields draw on, with the meaning of each code, in the order in which the fields stand."""
    used = dict.fromkeys((one.vocabulary, one.title) for table in tables for one in ordered(table) if one.kind == "code")
    named: dict[str, str] = {}
    for name, title in used:
        named.setdefault(name, title)
    return [(title, [(code, row["definition"]) for code, row in vocabulary(name).items()]) for name, title in named.items()]
