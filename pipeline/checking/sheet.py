"""The table under check: its rows, and the reasons and marks that are gathered on the way."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from pipeline.checking.merging import Merged
from pipeline.checking.outcome import VALUE_ONLY
from pipeline.checking.typed_rows import Candidates
from pipeline.reading import georeference
from pipeline.reading.rows import MappedSource
from pipeline.settings import Settings
from schemas.tables import fields, key_of

PARENTS = {
    "visits": ("site_id", "sites"), "finds": ("visit_id", "visits"), "availability": ("visit_id", "visits"),
    "loggers": ("site_id", "sites"), "water_tests": ("visit_id", "visits"), "husbandry_events": ("enclosure_id", "enclosures"),
}  # fmt: skip
OTHER_PARENTS = {
    "loggers": ("enclosure_id", "enclosures"), "water_tests": ("enclosure_id", "enclosures"),
    "husbandry_events": ("to_enclosure_id", "enclosures"),
}  # fmt: skip


@dataclass
class Sheet:
    """The table under check, and the reasons gathered so far."""

    table: str
    one: Candidates
    merged: Merged
    typed: pd.DataFrame
    sources: list[MappedSource]
    settings: Settings
    origin: np.ndarray
    held: list[dict[str, Any]] = field(default_factory=list)
    flags: list[dict[str, Any]] = field(default_factory=list)
    changes: list[georeference.Change] = field(default_factory=list)
    held_rows: set[int] = field(default_factory=set)
    held_cells: set[tuple[int, str]] = field(default_factory=set)


def _provider(sheet: Sheet, row: int, name: str) -> int:
    """The candidate whose cell of the field is stored in a row."""
    return sheet.merged.borrowed[name].get(row, row) if name else row


def as_written(sheet: Sheet, row: int, name: str) -> Any:
    """The text of a field of a row, as written; missing where nothing was."""
    return sheet.one.written.at[_provider(sheet, row, name), name]


def origin_of(sheet: Sheet, row: int, name: str) -> tuple[dict[str, Any], str]:
    """Place of a cell, and the heading of its column."""
    provider = _provider(sheet, row, name)
    source, row, line = sheet.origin[provider].tolist()
    return {"source": source, "row": row, "line": line}, _heading(sheet.one, provider, name)


def _heading(one: Candidates, candidate: int, name: str) -> str:
    start = 0
    for _, mapped in one.parts:
        if candidate < start + len(mapped.text):
            if name in mapped.wide:
                return str(mapped.wide[name][candidate - start])
            return " + ".join(mapped.columns.get(name, ()))
        start += len(mapped.text)
    return ""


def exact(sheet: Sheet, row: int, name: str) -> str:
    """The text of a cell to the letter, or of the whole source row."""
    place, column = origin_of(sheet, row, name)
    cells = sheet.sources[place["source"]].source.cells
    if not name:
        return "; ".join(f"{heading} = {text}" for heading, text in cells.iloc[place["row"]].items() if text.strip())
    headings = [heading for heading in column.split(" + ") if heading in cells.columns]
    if headings:
        text = " + ".join(str(cells[heading].iat[place["row"]]) for heading in headings)
        # a value may come from the cell of another field, as the dry bulb of a pair does
        if text.strip() or pd.isna(as_written(sheet, row, name)):
            return text
    written = as_written(sheet, row, name)
    return str(written) if pd.notna(written) else ""


def hold(sheet: Sheet, row: int, name: str, rule: str, message: str, remedy: str, whole_row: bool) -> None:
    """Hold back a value, or the whole row; the reason for a row may still name a field."""
    place, column = origin_of(sheet, row, name)
    parents = [known[sheet.table][0] for known in (PARENTS, OTHER_PARENTS) if sheet.table in known]
    key = sheet.typed.at[row, key_of(sheet.table)]
    above = next((key for key in (sheet.typed.at[row, parent] for parent in parents) if pd.notna(key)), "")
    text = exact(sheet, row, name)
    if whole_row:
        sheet.held_rows.add(row)
    elif (row, name) in sheet.held_cells:
        return
    sheet.held_cells.add((row, name))
    sheet.held.append({
        "table": sheet.table, "row_key": "" if pd.isna(key) else key, "parent_key": above,
        "field": name, "column": column, "text": text, "rule": rule, "message": message, "remedy": remedy,
        **place, "candidate": row if whole_row else VALUE_ONLY, "of": row,
    })  # fmt: skip


def flag(sheet: Sheet, row: int, involved: tuple[str, ...], rule: str, effect: str, message: str, remedy: str) -> None:
    """Mark a row; every value involved is named, so that a settled flag opens again when one of them changes."""
    name = involved[0]
    place, _ = origin_of(sheet, row, name)
    written = [as_written(sheet, row, one) for one in involved]
    value = "; ".join(str(one) for one in written if pd.notna(one))
    sheet.flags.append({
        "table": sheet.table, "row_key": sheet.typed.at[row, key_of(sheet.table)], "field": name, "rule": rule, "effect": effect,
        "message": message, "remedy": remedy, "value": value, **place, "candidate": row,
    })  # fmt: skip


def take_out(sheet: Sheet, rows: Any, name: str) -> None:
    """Leave the values of some rows out of the typed frame."""
    sheet.typed.loc[rows, name] = _nothing(fields(sheet.table)[name].kind)


def _nothing(kind: str) -> Any:
    return pd.NA if kind in ("whole", "yes_no") else pd.NaT if kind in ("day", "instant") else np.nan
