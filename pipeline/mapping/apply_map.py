"""Sheets through a column map: rows of tables, still text, with the column that each field comes from."""

from __future__ import annotations

from difflib import get_close_matches
from fnmatch import fnmatch
from functools import partial
from typing import Any

import numpy as np
import pandas as pd

from pipeline.errors import RillbookError
from pipeline.mapping import wide
from pipeline.mapping.sums import mean_of, summed, totals_that_differ
from pipeline.reading.patterns import search
from pipeline.reading.rows import UNCOUNTED, ZEROS, Cell, ColumnMap, FieldMap, Mapped, MappedSource, SourceMap, SourceTable
from pipeline.reading.values import Style, as_text, number_of, read_column
from schemas.distinct import Coded, by_distinct, distinct_values
from schemas.tables import fields, key_of


def apply_map(column_map: ColumnMap, tables: list[SourceTable]) -> list[MappedSource]:
    """Turn sheets into rows of tables.

    Parameters
    ----------
    column_map : ColumnMap
        The map.
    tables : list of SourceTable
        The sheets that were read.

    Returns
    -------
    list of MappedSource
        One a sheet that the map knows.

    Raises
    ------
    RillbookError
        A file has no source in the map, or a sheet lacks a column that the map names, or has one that it does not.
    """
    pairs: list[tuple[SourceMap, SourceTable]] = []
    for one in tables:
        fitting = [source for source in column_map.sources if fnmatch(one.file, source.file) and source.sheet in ("", one.sheet)]
        whole = [source for source in fitting if set(source.named_columns()) <= set(one.cells.columns)]
        named = [source for source in fitting if source.sheet or not one.sheet]
        if whole or named:
            pairs.append(((whole or named)[0], one))
    matched = {one.file for _, one in pairs}
    for one in tables:
        if one.file not in matched:
            sheets = [source.sheet for source in column_map.sources if fnmatch(one.file, source.file) and source.sheet]
            if sheets and not one.sheet:
                what = f"the map asks for the sheet {sheets[0]!r} of this file, and a text file has no sheets."
                raise RillbookError(what, "Take the word sheet out of that [[source]].", one.label)
            if sheets:
                what = f"this workbook has no sheet {sheets[0]!r}."
                raise RillbookError(what, f"It has {', '.join(repr(other.sheet) for other in tables if other.file == one.file)}.", one.file)
            patterns = ", ".join(source.file for source in column_map.sources)
            raise RillbookError("the column map has no source for this file.", f"It knows {patterns}.", one.label)
    return [_apply(source, one) for source, one in pairs]


def _apply(source: SourceMap, one: SourceTable) -> MappedSource:
    columns = source.named_columns()
    for column in columns:
        if column not in one.cells.columns:
            where = source.lines.get(column, source.where)
            if column in one.repeated:
                named = " or ".join(repr(other) for other in one.cells.columns if other.startswith(f"{column} (column "))
                raise RillbookError(f"{one.label} has more than one column {column!r}.", f"Say which: {named}.", where)
            raise RillbookError(f"{one.label} has no column {column!r}.", _near(column, one), where)
    unmapped = tuple(column for column in one.cells.columns if column not in columns)
    unused = {name.strip() for name in source.unused}
    unlisted = [column for column in unmapped if column not in unused and _plain(column, one) not in unused]
    if source.strict and unlisted:
        message = f"the map says nothing of the column {unlisted[0]!r} of {one.label}."
        raise RillbookError(message, "Map it, or list it under unused.", source.where)
    stripped, missing, coded = _stripped(one, source.missing)
    shaped, skipped = np.ones(len(stripped), dtype=bool), np.zeros(len(stripped), dtype=bool)
    for column, tokens in source.skip.items():
        skipped |= stripped[column].isin(tokens).to_numpy()
    # a row that is not read cannot be cut wrongly
    skipped[list(one.misshapen)] = False
    shaped[list(one.misshapen)] = False
    shaped &= ~skipped
    no_find = np.zeros(len(stripped), dtype=bool)
    for column, tokens in source.no_find.items():
        no_find |= stripped[column].isin(tokens).to_numpy()
    # a row that says "nothing" and yet counts an animal contradicts itself; as a find it is held, and nothing is said of absence
    no_find &= ~_counts_something(source, coded, missing)
    marked = no_find.copy()
    counts = wide.count_cells(source, stripped, missing) if source.wide else None
    no_find |= wide.nothing_found(source, counts) if counts is not None else False
    mapped: dict[str, Mapped] = {}
    for table, maps in source.tables.items():
        rows = np.flatnonzero(shaped & ~no_find) if table == "finds" else np.flatnonzero(shaped)
        columns_of: dict[str, np.ndarray] = {}
        if table == "finds" and counts is not None:
            rows, columns_of = wide.widen(source, counts, rows)
        mapped[table] = _map_table(table, maps, source, stripped, coded, rows, columns_of, mapped)
    find_words = tuple(dict.fromkeys([*source.no_find, *source.wide]))
    uncounted = _uncounted(source, stripped, counts, np.flatnonzero(shaped & ~marked), mapped)
    zeros, not_counted = (*ZEROS, *source.wide_zeros), source.not_counted
    totals = totals_that_differ(source, stripped, missing, np.flatnonzero(shaped))
    return MappedSource(
        one, tuple(mapped.values()), missing, unmapped, no_find & ~skipped, find_words, zeros, uncounted, not_counted, skipped, totals
    )


def _stripped(one: SourceTable, tokens: tuple[str, ...]) -> tuple[pd.DataFrame, np.ndarray, dict[str, Coded]]:
    """Cells without spaces around them, which of them hold nothing or a word for it, and the columns told apart."""
    cells = one.cells
    columns, coded, missing = {}, {}, np.zeros(cells.shape, dtype=bool, order="F")
    for number, name in enumerate(cells.columns):
        known = one.coded.get(name) or Coded(*distinct_values(cells[name]))
        values = known.values.str.strip()
        coded[name] = Coded(known.place, values)
        columns[name] = cells[name] if values.equals(known.values) else coded[name].spread(cells.index)
        missing[:, number] = values.isin(["", *tokens]).to_numpy()[known.place]
    return pd.DataFrame(columns, index=cells.index, columns=cells.columns, copy=False), missing, coded


def _counts_something(source: SourceMap, coded: dict[str, Coded], missing: np.ndarray) -> np.ndarray:
    """Rows whose count, or one of them, is written and is no zero, readable or not."""
    counting = {cell.column: cell.missing for one in source.tables.get("finds", ()) if one.name == "count" for cell in one.cells}
    if source.wide_field == "count":
        counting |= dict.fromkeys(source.wide, (*source.wide_zeros, *source.not_counted))
    some, columns = np.zeros(len(missing), dtype=bool), list(coded)
    for column, nothing in counting.items():
        zero = coded[column].values.isin([*ZEROS, *nothing]) | (coded[column].values.map(number_of) == 0)
        some |= ~missing[:, columns.index(column)] & ~zero.to_numpy()[coded[column].place]
    return some


def _near(column: str, one: SourceTable) -> str:
    """What to do about a column that is not there; the nearest heading first."""
    near = get_close_matches(column, list(one.cells.columns), n=1)
    return f"The nearest heading is {near[0]!r}. Mend the map." if near else "Check the map and the headings."


def _plain(column: str, one: SourceTable) -> str:
    """Heading of a column as it stands in the sheet."""
    return next((name for name in one.repeated if column.startswith(f"{name} (column ")), column)


def _uncounted(
    source: SourceMap, cells: pd.DataFrame, counts: wide.Counts | None, rows: np.ndarray, mapped: dict[str, Mapped]
) -> pd.DataFrame:
    """Cells of wide columns that hold no count, with the visit, taxon and stage of which they say nothing."""
    if counts is None or not counts.silent[rows].any():
        return pd.DataFrame(columns=list(UNCOUNTED))
    at, which = np.nonzero(counts.silent[rows])
    names = np.array(list(source.wide), dtype=object)[which]
    before = {table: one for table, one in mapped.items() if table != "finds"}
    text = _map_table("finds", source.tables["finds"], source, cells, {}, rows[at], {source.wide_field: names}, before).text
    written = cells.to_numpy()[rows[at], cells.columns.get_indexer(names)]
    return text.reindex(columns=["visit_id", "taxon", "life_stage"]).assign(text=written, row=rows[at], column=names)


def _map_table(
    table: str,
    maps: tuple[FieldMap, ...],
    source: SourceMap,
    cells: pd.DataFrame,
    coded: dict[str, Coded],
    rows: np.ndarray,
    columns_of: dict[str, np.ndarray],
    before: dict[str, Mapped],
) -> Mapped:
    every = pd.RangeIndex(len(cells))
    taken = cells if every.equals(cells.index) and np.array_equal(rows, every) else cells.iloc[rows].reset_index(drop=True)
    text: dict[str, pd.Series] = {}
    alone: dict[str, Coded] = {}
    columns: dict[str, tuple[str, ...]] = {}
    for name, names in columns_of.items():
        values = taken.to_numpy()[np.arange(len(taken)), taken.columns.get_indexer(names)]
        text[name] = _missing(pd.Series(values, dtype="str"), (*source.missing, *source.not_counted))
        set_names = list(dict.fromkeys(other for sets in source.wide.values() for other in sets))
        sets = pd.DataFrame([source.wide[one] for one in names], columns=set_names, dtype="str")
        text.update({other: sets[other] for other in sets.columns})
    for one in maps:
        columns[one.name] = tuple(cell.column for cell in one.cells)
        if (cell := one.only_cell) is not None and cell.column in coded:
            as_cut = coded[cell.column].rows(rows)
            alone[one.name] = as_cut.change(partial(_cell_text, cell, source))
            text[one.name] = alone[one.name].spread_unless(as_cut, taken[cell.column])
            continue
        noted = _noted(one, table, source, taken, rows, text, before)
        text[one.name] = _filled(one, noted, text)
        if table == "finds" and one.name == "microhabitat" and (one.constant is not None or one.by_stage):
            assumed = pd.Series("yes", index=taken.index, dtype="str").where(noted.isna() & text[one.name].notna(), np.nan)
            text.setdefault("medium_assumed", assumed)
    frame = pd.DataFrame(text, index=taken.index, copy=False).astype("str")
    key = next((one for one in maps if one.name == key_of(table)), None)
    # two finds of one kind are two animals; two points of one code are one point told twice, unless the map asks for numbers
    if key is not None and (key.number or (table == "finds" and (key.fields or len(key.cells) > 1))):
        frame[key.name] = _numbered(frame[key.name])
        alone.pop(key.name, None)
    for one in maps:
        if one.sum_over:
            frame[one.name] = summed(frame, one, taken, key_of(table))
            alone.pop(one.name, None)
    styles, several = {one.name: one.style for one in maps}, {one.name: one.several for one in maps if one.several}
    return Mapped(table, frame, rows, styles, columns, columns_of, several, alone)


def _noted(
    one: FieldMap,
    table: str,
    source: SourceMap,
    taken: pd.DataFrame,
    rows: np.ndarray,
    text: dict[str, pd.Series],
    before: dict[str, Mapped],
) -> pd.Series:
    """Text that the sheet itself gives for a field."""
    parts = [by_distinct(taken[cell.column], partial(_cell_text, cell, source)) for cell in one.cells]
    parts += [_reference(name, table, source, taken, rows, text, before) for name in one.fields]
    if not parts:
        return pd.Series(np.nan, index=taken.index, dtype="str")
    if one.mean:
        return mean_of(parts)
    joined = parts[0]
    for part in parts[1:]:
        joined = joined.str.cat(part, sep=one.join).where(joined.notna() & part.notna(), joined.fillna(part))
    return joined


def _filled(one: FieldMap, noted: pd.Series, text: dict[str, pd.Series]) -> pd.Series:
    """What the map says where the sheet says nothing: by life stage, else the constant."""
    if one.by_stage and "life_stage" in text:
        stage = read_column(text["life_stage"], fields("finds")["life_stage"]).values
        noted = noted.fillna(stage.map(one.by_stage).astype("str"))
    return noted if one.constant is None else noted.fillna(one.constant)


def _reference(
    name: str,
    table: str,
    source: SourceMap,
    taken: pd.DataFrame,
    rows: np.ndarray,
    text: dict[str, pd.Series],
    before: dict[str, Mapped],
) -> pd.Series:
    """Text of a mapped field; days and clock times in the one form that sorts, so that an id does not depend on how a sheet writes them."""
    other, _, field_name = name.rpartition(".")
    if not other:
        values, style, owner = text.get(name), next((one.style for one in source.tables[table] if one.name == name), Style()), table
    else:
        mapped = before.get(other)
        values = None if mapped is None else mapped.text.get(field_name)
        if values is not None and mapped is not None:
            values = values.set_axis(mapped.rows).reindex(rows).set_axis(taken.index)
        style, owner = Style() if mapped is None else mapped.styles.get(field_name, Style()), other
    if values is None:
        raise RillbookError(f"{table} refers to {name!r}, which is not mapped before it.", "Map that field, or name another.", "column map")
    declared = fields(owner)[field_name]
    if declared.kind not in ("day", "clock"):
        return values
    typed = read_column(values, declared, style).values
    return as_text(typed, declared.kind).fillna(values)


def _missing(text: pd.Series, tokens: tuple[str, ...]) -> pd.Series:
    return text.where(~text.isin(["", *tokens]), np.nan)


def _cell_text(cell: Cell, source: SourceMap, text: pd.Series) -> pd.Series:
    if "" in cell.recode:
        text = text.where(text != "", cell.recode[""])
    text = _missing(text, (*source.missing, *cell.missing))
    if cell.part is not None:
        parts = {whole: found[1] for whole in text.unique() if isinstance(whole, str) and (found := search(cell.part, whole))}
        text = text.map({whole: part for whole, part in parts.items() if part is not None}).fillna(text)
    if cell.case:
        text = text.str.upper() if cell.case == "upper" else text.str.lower()
    if cell.recode:
        recoded = text.map({old: new for old, new in cell.recode.items() if old})
        known = recoded.notna() | text.isin(list(cell.recode.values())) if "" in cell.recode else recoded.notna()
        text = recoded.where(recoded.notna(), text if cell.others is None else text.where(known | text.isna(), cell.others))
    text = text.where(text != "", np.nan).astype("str")
    return (cell.before + text + cell.after).astype("str") if cell.before or cell.after else text


def _numbered(ids: pd.Series) -> pd.Series:
    """Ids with ``-2``, ``-3`` … on their repeats, never one that the sheet itself writes."""
    made: list[Any] = []
    taken, count = set(ids.dropna()), dict.fromkeys(ids.dropna(), 0)
    for one in ids:
        if pd.isna(one):
            made.append(np.nan)
            continue
        count[one] += 1
        while count[one] > 1 and f"{one}-{count[one]}" in taken:
            count[one] += 1
        made.append(one if count[one] == 1 else f"{one}-{count[one]}")
    return pd.Series(made, index=ids.index, dtype="str")
