"""Headings of rillbook's own sheets: the name of a field, its unit in brackets, a star where a row needs it; and the example row."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np

from pipeline.errors import RillbookError
from pipeline.reading.rows import SourceTable, refuse_repeats
from pipeline.reading.units import unit_named
from pipeline.reading.values import CANONICAL, Style
from schemas.fields import Field
from schemas.tables import LOADED, fields, key_of

EXAMPLE = "example"
NEEDED = " *"
DATE_FORM = "YYYY-MM-DD"
CODE_SHEET = ("code list", "code", "meaning")
GUIDE_SHEET = ("how to fill this in",)
FAULT_SHEET = ("where", "what", "what to do", "as written")
MARKS = {
    "water_tests": ("test_id",), "husbandry_events": ("event_id", "event"),
    "finds": ("find_id",), "availability": ("point_id",), "visits": ("visit_id", "visit_date"), "sites": ("site_id", "habitat"),
    "loggers": ("logger_id", "medium"), "enclosures": ("enclosure_id", "life_stage"),
}  # fmt: skip
NAMES = frozenset(name for table in LOADED for name in fields(table))
_HEADING = re.compile(r"(?P<name>[^(\[*]*?)\s*(?:[(\[]\s*(?P<unit>[^()\[\]]*?)\s*[)\]])?[\s*]*")


def filled_in(table: str) -> dict[str, Field]:
    """Fields of a table that a person fills in, in the order of their declaration."""
    return {name: declared for name, declared in fields(table).items() if not declared.derived}


def shown_unit(declared: Field) -> str:
    """Unit of a field as sheets show it; a date's is its form, and what has none gives an empty text."""
    return DATE_FORM if declared.kind == "day" else declared.unit


def heading_of(declared: Field) -> str:
    """Heading of a field in a sheet that rillbook writes, such as ``water_temp_c (°C)`` or ``site_id *``."""
    unit = shown_unit(declared)
    return declared.name + (f" ({unit})" if unit else "") + (NEEDED if declared.required else "")


def headings_of(sheet: SourceTable) -> dict[str, str]:
    """Headings of a sheet by the name that they give: case, spaces, the star and what stands in brackets do not count.

    Raises
    ------
    RillbookError
        Two headings name one field.
    """
    refuse_repeats(sheet)
    names: dict[str, str] = {}
    for column in sheet.cells.columns:
        name = _name(column)
        if name in names:
            raise RillbookError(f"the columns {names[name]!r} and {column!r} name one field.", "Rename one of them.", sheet.label)
        names[name] = column
    return names


def style_of(heading: str, declared: Field, where: str) -> Style:
    """How the column under a heading is to be read: in the unit that its brackets state.

    Parameters
    ----------
    heading : str
        As it stands in the sheet.
    declared : Field
        The field that it names.
    where : str
        Names the sheet in errors.

    Returns
    -------
    Style

    Raises
    ------
    RillbookError
        The brackets hold something else than a unit of this field: it may mean that the numbers are of another kind.
    """
    unit = _parts(heading)[1]
    if not unit or unit.casefold() == shown_unit(declared).casefold():
        return CANONICAL
    named = unit_named(unit, declared.unit)
    if named is None:
        known = f"({shown_unit(declared)})" if shown_unit(declared) else "no brackets"
        raise RillbookError(f"{unit!r} in the heading {heading!r} is no unit of this field.", f"Write {known}, or another unit.", where)
    return replace(CANONICAL, unit=named)


def _name(heading: str) -> str:
    """Name that a heading gives; brackets are part of it where no field has that name."""
    name = _parts(heading)[0]
    return name if name in NAMES else re.sub(r"\s+", "_", heading.strip().casefold())


def _parts(heading: str) -> tuple[str, str]:
    """Name and unit of a heading; a heading of another form is all name."""
    match = _HEADING.fullmatch(heading.strip())
    name, unit = (match["name"], match["unit"] or "") if match and match["name"] else (heading.strip(), "")
    return re.sub(r"\s+", "_", name.strip().casefold()), unit


def table_of(sheet: SourceTable) -> str | None:
    """Table that a sheet fills, known by the names among its headings; None where no table has them."""
    names = {_name(column) for column in sheet.cells.columns}
    return next((table for table, needed in MARKS.items() if all(name in names for name in needed)), None)


def is_guide(sheet: SourceTable) -> bool:
    """Whether a sheet is one that rillbook writes for the reader beside the tables: how to fill in, the codes, the list of faults."""
    return tuple(sheet.cells.columns) in (CODE_SHEET, GUIDE_SHEET, FAULT_SHEET)


def records_of(tables: list[SourceTable]) -> tuple[list[SourceTable], list[str]]:
    """Keep what is a record: leave out rillbook's guides, and the example rows, whose key is the word ``example``.

    Parameters
    ----------
    tables : list of SourceTable
        The sheets.

    Returns
    -------
    list of SourceTable, list of str
        The sheets without these rows, each other row on its line as before; and a note that names every row left out.

    Raises
    ------
    RillbookError
        There is nothing but guides.
    """
    kept, examples = [], []
    for one in tables:
        if is_guide(one):
            continue
        table = table_of(one)
        column = headings_of(one).get(key_of(table)) if table else None
        shows = (one.cells[column].str.strip().str.casefold() == EXAMPLE).to_numpy() if column else np.zeros(len(one.cells), dtype=bool)
        examples += [f"{one.label}, line {line}" for line in one.lines[shows]]
        kept.append(_without(one, shows) if shows.any() else one)
    if tables and not kept:
        raise RillbookError("there are only explanations and no table in it.", "Fill in one of the other sheets.", tables[0].file)
    if not examples:
        return kept, []
    return kept, [f"Example rows, not loaded: {'; '.join(examples)}. If you wrote over one of them, give it a code of its own."]


def _without(sheet: SourceTable, rows: np.ndarray) -> SourceTable:
    place = np.cumsum(~rows) - 1
    misshapen = {int(place[at]): cells for at, cells in sheet.misshapen.items() if not rows[at]}
    return replace(sheet, cells=sheet.cells[~rows].reset_index(drop=True), lines=sheet.lines[~rows], misshapen=misshapen, coded={})
