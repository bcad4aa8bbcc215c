"""From files to rows of tables: through a column map, or as rillbook's own sheets."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from pipeline.mapping import apply_map as mapping
from pipeline.mapping import column_map
from pipeline.mapping.own_sheets import own_map
from pipeline.reading import files as read
from pipeline.reading import headings
from pipeline.reading import survey_document as survey_file
from pipeline.reading.rows import ColumnMap, MappedSource, SourceTable


def map_sheets(paths: list[Path], map_path: Path | None) -> tuple[list[MappedSource], ColumnMap, list[str]]:
    """Read files and turn them into rows of tables."""
    tables = read.read_files(paths)
    return map_tables(tables, map_path)


def map_tables(tables: list[SourceTable], map_path: Path | None) -> tuple[list[MappedSource], ColumnMap, list[str]]:
    """Turn sheets that are read already into rows of tables; see :func:`map_sheets`."""
    typed = typed_repairs(tables)
    notes = [f"Repairs made while typing: {len(typed)}. The text as typed first is kept with each."] if len(typed) else []
    tables = [one for one in tables if not survey_file.is_corrections(one)]
    if map_path is not None:
        known = column_map.read_map(map_path)
    else:
        tables, examples = headings.records_of(tables)
        notes += examples
        known, skipped = own_map(tables)
        notes += [f"{where}: not one of rillbook's sheets, not read." for where in skipped]
        tables = [one for one in tables if one.label not in skipped]
    sources = mapping.apply_map(known, tables)
    mapped = [one.source for one in sources]
    left = [one for one in tables if all(one is not other for other in mapped)]
    notes += [f"{one.label}: the column map says nothing of this sheet, not read." for one in left]
    for one in sources:
        if not known.sha256 and one.unmapped:
            notes.append(f"{one.source.label}: not used: {', '.join(one.unmapped)}. The text is kept with the source rows.")
        if one.source.cells.empty:
            notes.append(f"{one.source.label}: only a heading, no rows.")
    return sources, known, notes


def typed_repairs(tables: list[SourceTable]) -> pd.DataFrame:
    """Repairs that survey documents carry: made at the form with one tap, before anything was loaded."""
    parts = [survey_file.corrections_of(one) for one in tables if survey_file.is_corrections(one)]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()
