"""Other people's sheets: a TOML column map turns their columns into rillbook's fields, still as text.

The words of a map are explained in docs/column_maps.md.
"""

from __future__ import annotations

import hashlib
import re
import tomllib
from dataclasses import dataclass, field
from fnmatch import fnmatch
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pipeline.errors import RillbookError
from pipeline.records import ZEROS, Mapped, MappedSource, SourceTable
from pipeline.values import CLOCKS, DATE_ORDERS, UNITS, Style, as_text, read_column
from schemas.tables import LOADED, fields, key_of

READING_WORDS = ("date_order", "pivot_year", "clock", "date_is", "missing")
SOURCE_WORDS = ("file", "sheet", "missing", "unused", "no_find", "wide", *LOADED)
CELL_WORDS = ("column", "recode", "others", "case", "part", "missing")
FIELD_WORDS = (
    *CELL_WORDS, "columns", "fields", "join", "number", "same_as", "constant", "by_stage", "unit", "date_order", "pivot_year", "clock",
    "date_is", "sum_over", "mean_of",
)  # fmt: skip


@dataclass(frozen=True)
class Cell:
    """How the text of one column is taken: see docs/column_maps.md for the words."""

    column: str
    recode: dict[str, str] = field(default_factory=dict)
    others: str | None = None
    case: str = ""
    part: re.Pattern[str] | None = None
    missing: tuple[str, ...] = ()


@dataclass(frozen=True)
class FieldMap:
    """Where the text of one field comes from."""

    name: str
    cells: tuple[Cell, ...] = ()
    fields: tuple[str, ...] = ()
    join: str = "_"
    number: bool = False
    constant: str | None = None
    by_stage: dict[str, str] = field(default_factory=dict)
    sum_over: tuple[str, ...] = ()
    mean: bool = False
    style: Style = Style()


@dataclass(frozen=True)
class SourceMap:
    """How one sheet is read."""

    file: str
    sheet: str
    missing: tuple[str, ...]
    unused: tuple[str, ...]
    no_find: dict[str, tuple[str, ...]]
    wide_field: str
    wide: dict[str, dict[str, str]]
    tables: dict[str, tuple[FieldMap, ...]]
    strict: bool = True


@dataclass(frozen=True)
class ColumnMap:
    """A whole map; `sha256` is empty for rillbook's own sheets."""

    title: str
    sha256: str
    sources: tuple[SourceMap, ...]


def read_map(path: Path) -> ColumnMap:
    """Read a column map.

    Parameters
    ----------
    path : Path
        A TOML file.

    Returns
    -------
    ColumnMap

    Raises
    ------
    RillbookError
        The map says something it must not; the message names its line.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise RillbookError("there is no such column map.", "Check the name.", str(path)) from None
    except (OSError, UnicodeDecodeError) as problem:
        raise RillbookError(f"the column map cannot be read ({problem}).", "Save it as UTF-8 text.", str(path)) from None
    return parse_map(text, str(path))


def parse_map(text: str, where: str) -> ColumnMap:
    """Read a column map from its text; `where` names the file in errors."""
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise RillbookError(f"not valid TOML: {problem}.", "Mend that line.", where) from None
    place = _Place(text, where)
    place.known(document, ("title", "about", "reading", "source"))
    reading = document.get("reading", {})
    place.known(reading, READING_WORDS, "reading")
    sources = document.get("source", [])
    if not sources:
        raise RillbookError("the map has no [[source]].", "Add one for each sheet.", where)
    parsed = tuple(_source(entry, reading, place) for entry in sources)
    return ColumnMap(document.get("title", ""), hashlib.sha256(text.encode()).hexdigest(), parsed)


@dataclass(frozen=True)
class _Place:
    """Finds the line of a word, so that a map's own mistakes can be named."""

    text: str
    where: str

    def at(self, word: str, table: str = "") -> str:
        current = ""
        for number, line in enumerate(self.text.splitlines(), 1):
            if header := re.match(r"\s*\[+\s*([^\]]+?)\s*\]+", line):
                current = header[1].removeprefix("source.")
                if current == word:
                    return f"{self.where}, line {number}"
            elif (not table or current == table) and re.match(rf"\s*[\"']?{re.escape(word)}[\"']?(\.\S+)?\s*=", line):
                return f"{self.where}, line {number}"
        for number, line in enumerate(self.text.splitlines(), 1):
            if word in line:
                return f"{self.where}, line {number}"
        return self.where

    def known(self, entry: dict[str, Any], words: tuple[str, ...], table: str = "") -> None:
        for word in entry:
            if word not in words:
                raise RillbookError(f"unknown word {word!r}.", f"Known here: {', '.join(words)}.", self.at(word, table))


def _source(entry: dict[str, Any], reading: dict[str, Any], place: _Place) -> SourceMap:
    place.known(entry, SOURCE_WORDS, "source")
    wide = entry.get("wide", {})
    place.known(wide, ("field", "columns"), "wide")
    tables = {table: _table(entry[table], table, reading, place) for table in LOADED if table in entry}
    if not tables:
        raise RillbookError("a [[source]] maps no table.", f"Add one of {', '.join('[source.' + table + ']' for table in LOADED)}.", place.where)
    if wide and "finds" not in tables:
        raise RillbookError("[source.wide] needs [source.finds].", "Add it.", place.at("wide"))
    for sets in wide.get("columns", {}).values():
        for name in (wide.get("field", "count"), *sets):
            if name not in fields("finds"):
                raise RillbookError(f"{name!r} is no field of finds.", "See docs/data_dictionary.md.", place.at("wide"))
    return SourceMap(
        file=entry.get("file", "*"),
        sheet=entry.get("sheet", ""),
        missing=tuple(entry.get("missing", reading.get("missing", ()))),
        unused=tuple(entry.get("unused", ())),
        no_find={column: tuple(tokens) for column, tokens in entry.get("no_find", {}).items()},
        wide_field=wide.get("field", "count"),
        wide={column: {name: str(value) for name, value in sets.items()} for column, sets in wide.get("columns", {}).items()},
        tables=tables,
    )


def _table(entry: dict[str, Any], table: str, reading: dict[str, Any], place: _Place) -> tuple[FieldMap, ...]:
    maps = []
    for name, spec in entry.items():
        declared = fields(table).get(name)
        if declared is None or (declared.derived and name != "medium_assumed"):
            raise RillbookError(f"{name!r} is no field of {table}.", "See docs/data_dictionary.md.", place.at(name, table))
        maps.append(_field(name, {"column": spec} if isinstance(spec, str) else spec, table, reading, place))
    return tuple(sorted(maps, key=lambda one: (bool(one.fields), bool(one.by_stage))))


def _field(name: str, spec: dict[str, Any], table: str, reading: dict[str, Any], place: _Place) -> FieldMap:
    place.known(spec, FIELD_WORDS, table)
    where = place.at(name, table)
    kind, stored = fields(table)[name].kind, fields(table)[name].unit
    unit = spec.get("unit", "")
    if unit and unit not in UNITS.get(stored, {}):
        raise RillbookError(f"unit {unit!r} cannot be turned into {stored or 'a number without unit'}.", f"Known here: {', '.join(UNITS.get(stored, {})) or 'none'}.", where)
    style = Style(unit=unit)
    if kind == "day":
        order = spec.get("date_order", reading.get("date_order", "iso"))
        _one_of(order, DATE_ORDERS, "date_order", where)
        day = spec.get("date_is", reading.get("date_is", "civil"))
        _one_of(day, ("civil", "evening"), "date_is", where)
        style = Style(date_order=order, pivot=spec.get("pivot_year", reading.get("pivot_year")), evening=day == "evening")
    if kind == "clock":
        clock = spec.get("clock", reading.get("clock", "24h"))
        _one_of(clock, CLOCKS, "clock", where)
        style = Style(clock=clock)
    own = {word: spec[word] for word in CELL_WORDS if word in spec and word != "column"}
    listed = spec.get("columns", spec.get("mean_of", [spec["column"]] if "column" in spec else []))
    cells = tuple(_cell({**own, **({"column": one} if isinstance(one, str) else one)}, where, place, table) for one in listed)
    sources = ("same_as",) if "same_as" in spec else ("fields",) if "fields" in spec else ()
    if sum((bool(cells), bool(sources), "constant" in spec or "by_stage" in spec)) == 0:
        raise RillbookError(f"{name} has no column, columns, fields, same_as, constant or by_stage.", "Say where it comes from.", where)
    return FieldMap(
        name=name,
        cells=cells,
        fields=(spec["same_as"],) if "same_as" in spec else tuple(spec.get("fields", ())),
        join=spec.get("join", "_"),
        number=bool(spec.get("number", False)),
        constant=None if "constant" not in spec else str(spec["constant"]),
        by_stage=spec.get("by_stage", {}),
        sum_over=tuple(spec.get("sum_over", ())),
        mean="mean_of" in spec,
        style=style,
    )


def _one_of(value: Any, known: tuple[str, ...], word: str, where: str) -> None:
    if value not in known:
        raise RillbookError(f"{word} {value!r} is not one of {', '.join(known)}.", "Mend it.", where)


def _cell(spec: dict[str, Any], where: str, place: _Place, table: str) -> Cell:
    place.known(spec, CELL_WORDS, table)
    part = None
    if "part" in spec:
        try:
            part = re.compile(spec["part"])
        except re.error as problem:
            raise RillbookError(f"part {spec['part']!r} is no regular expression ({problem}).", "Mend it.", where) from None
        if part.groups != 1:
            raise RillbookError(f"part {spec['part']!r} must have one group in round brackets.", "Mark the part to take.", where)
    if spec.get("case", "") not in ("", "upper", "lower"):
        raise RillbookError(f"case {spec['case']!r} is neither upper nor lower.", "Mend it.", where)
    recode = {str(old): str(new) for old, new in spec.get("recode", {}).items()}
    others = spec.get("others")
    return Cell(spec["column"], recode, others, spec.get("case", ""), part, tuple(spec.get("missing", ())))


def own_map(tables: list[SourceTable]) -> tuple[ColumnMap, list[str]]:
    """Map of rillbook's own sheets, whose headings are the names of the fields.

    Parameters
    ----------
    tables : list of SourceTable
        The sheets; each is recognised by the key field among its headings.

    Returns
    -------
    ColumnMap, list of str
        The map, and the sheets of workbooks that no table recognises.

    Raises
    ------
    RillbookError
        A text file, or every sheet of a workbook, is no sheet of rillbook's; or a required column is missing.
    """
    sources, skipped = [], []
    for one in tables:
        table = _recognise(one)
        if table is None:
            skipped.append(one)
            continue
        names = _headings(one)
        for name, declared in fields(table).items():
            if declared.required and name not in names:
                raise RillbookError(f"the column {name} is missing.", f"{table} cannot be loaded without it.", _where(one))
        maps = tuple(FieldMap(name, (Cell(column),)) for name, column in names.items() if _settable(table, name))
        sources.append(SourceMap(one.file, one.sheet, (), (), {}, "count", {}, {table: maps}, strict=False))
    recognised = {source.file for source in sources}
    for one in skipped:
        if one.file not in recognised:
            raise RillbookError(
                f"no table has these columns: {', '.join(one.cells.columns[:6])}{' …' if one.cells.shape[1] > 6 else ''}.",
                "Name a column map with --map, or use the headings of docs/data_dictionary.md.", _where(one),
            )  # fmt: skip
    return ColumnMap("", "", tuple(sources)), [_where(one) for one in skipped]


def _settable(table: str, name: str) -> bool:
    return name in fields(table) and not fields(table)[name].derived


def _headings(one: SourceTable) -> dict[str, str]:
    return {re.sub(r"\s+", "_", column.strip().casefold()): column for column in one.cells.columns}


def _recognise(one: SourceTable) -> str | None:
    names = _headings(one)
    marks = {"finds": ("find_id",), "availability": ("point_id",), "visits": ("visit_id", "visit_date"), "sites": ("site_id", "habitat")}
    return next((table for table, needed in marks.items() if all(name in names for name in needed)), None)


def _where(one: SourceTable) -> str:
    return one.file + (f", sheet {one.sheet}" if one.sheet else "")


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
        whole = [source for source in fitting if set(_columns_of(source)) <= set(one.cells.columns)]
        if whole or (fitting and not one.sheet):
            pairs.append(((whole or fitting)[0], one))
    matched = {one.file for _, one in pairs}
    for one in tables:
        if one.file not in matched:
            patterns = ", ".join(source.file for source in column_map.sources)
            raise RillbookError("the column map has no source for this file.", f"It knows {patterns}.", _where(one))
    return [_apply(source, one) for source, one in pairs]


def _columns_of(source: SourceMap) -> dict[str, None]:
    named = [cell.column for maps in source.tables.values() for one in maps for cell in one.cells]
    named += [column for maps in source.tables.values() for one in maps for column in one.sum_over]
    return dict.fromkeys([*named, *source.no_find, *source.wide])


def _apply(source: SourceMap, one: SourceTable) -> MappedSource:
    columns = _columns_of(source)
    for column in columns:
        if column not in one.cells.columns:
            raise RillbookError(f"the column {column!r} is not in this sheet.", "Check the map and the headings.", _where(one))
    unmapped = tuple(column for column in one.cells.columns if column not in columns)
    unlisted = [column for column in unmapped if column not in source.unused]
    if source.strict and unlisted:
        raise RillbookError(
            f"the map says nothing of the column {unlisted[0]!r}.", "Map it, or list it under unused in the map.", _where(one)
        )
    stripped = one.cells.apply(lambda column: column.str.strip())
    missing = stripped.isin(["", *source.missing]).to_numpy()
    shaped = np.ones(len(stripped), dtype=bool)
    shaped[list(one.misshapen)] = False
    no_find = np.zeros(len(stripped), dtype=bool)
    for column, tokens in source.no_find.items():
        no_find |= stripped[column].isin(tokens).to_numpy()
    mapped: dict[str, Mapped] = {}
    for table, maps in source.tables.items():
        rows = np.flatnonzero(shaped & ~no_find) if table == "finds" else np.flatnonzero(shaped)
        wide: dict[str, np.ndarray] = {}
        if table == "finds" and source.wide:
            rows, wide = _widen(source, stripped, missing, rows)
        mapped[table] = _map_table(table, maps, source, stripped, rows, wide, mapped)
    return MappedSource(one, tuple(mapped.values()), missing, unmapped, no_find, tuple(dict.fromkeys([*source.no_find, *source.wide])))


def _widen(source: SourceMap, cells: pd.DataFrame, missing: np.ndarray, rows: np.ndarray) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """One row for each wide column that holds something other than zero; a row with none keeps its first written cell."""
    names = list(source.wide)
    places = [cells.columns.get_loc(name) for name in names]
    written = ~missing[np.ix_(rows, places)]
    positive = written & ~cells.iloc[rows, places].isin(ZEROS).to_numpy()
    none = ~positive.any(axis=1)
    first = np.where(written.any(axis=1), written.argmax(axis=1), 0)
    positive[np.flatnonzero(none), first[none]] = True
    at, which = np.nonzero(positive)
    return rows[at], {source.wide_field: np.array(names, dtype=object)[which]}


def _map_table(
    table: str, maps: tuple[FieldMap, ...], source: SourceMap, cells: pd.DataFrame, rows: np.ndarray, wide: dict[str, np.ndarray], before: dict[str, Mapped]
) -> Mapped:
    taken = cells.iloc[rows].reset_index(drop=True)
    text: dict[str, pd.Series] = {}
    columns: dict[str, tuple[str, ...]] = {}
    assumed = False
    for name, names in wide.items():
        values = taken.to_numpy()[np.arange(len(taken)), taken.columns.get_indexer(names)]
        text[name] = _missing(pd.Series(values, dtype="str"), source.missing)
        sets = pd.DataFrame([source.wide[one] for one in names], dtype="str")
        text.update({other: sets[other] for other in sets.columns})
    for one in maps:
        columns[one.name] = tuple(cell.column for cell in one.cells)
        text[one.name] = _field_text(one, table, source, taken, rows, text, before)
        assumed = assumed or (one.name == "microhabitat" and (one.constant is not None or bool(one.by_stage)))
    if assumed and "medium_assumed" not in text:
        text["medium_assumed"] = pd.Series("yes", index=taken.index, dtype="str")
    frame = pd.DataFrame(text, index=taken.index).astype("str")
    key = next((one for one in maps if one.name == key_of(table)), None)
    if table in ("finds", "availability") and key is not None and (key.number or key.fields or len(key.cells) > 1):
        frame[key.name] = _numbered(frame[key.name])
    for one in maps:
        if one.sum_over:
            frame[one.name] = _summed(frame, one, taken, key_of(table))
    return Mapped(table, frame, rows, {one.name: one.style for one in maps}, columns, wide)


def _field_text(
    one: FieldMap, table: str, source: SourceMap, taken: pd.DataFrame, rows: np.ndarray, text: dict[str, pd.Series], before: dict[str, Mapped]
) -> pd.Series:
    if one.by_stage:
        stage = text.get("life_stage", pd.Series(np.nan, index=taken.index, dtype="str"))
        return stage.map(one.by_stage).fillna(np.nan if one.constant is None else one.constant).astype("str")
    parts = [_cell_text(cell, source, taken) for cell in one.cells]
    parts += [_reference(name, table, source, taken, rows, text, before) for name in one.fields]
    if not parts:
        return pd.Series(one.constant, index=taken.index, dtype="str")
    if one.mean:
        return _mean(parts)
    joined = parts[0]
    for part in parts[1:]:
        joined = joined.str.cat(part, sep=one.join).where(joined.notna() & part.notna(), joined.fillna(part))
    return joined if one.constant is None else joined.fillna(one.constant)


def _reference(
    name: str, table: str, source: SourceMap, taken: pd.DataFrame, rows: np.ndarray, text: dict[str, pd.Series], before: dict[str, Mapped]
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


def _cell_text(cell: Cell, source: SourceMap, taken: pd.DataFrame) -> pd.Series:
    text = taken[cell.column]
    if "" in cell.recode:
        text = text.where(text != "", cell.recode[""])
    text = _missing(text, (*source.missing, *cell.missing))
    if cell.part is not None:
        text = text.str.extract(cell.part, expand=False).fillna(text)
    if cell.case:
        text = text.str.upper() if cell.case == "upper" else text.str.lower()
    if cell.recode:
        recoded = text.map({old: new for old, new in cell.recode.items() if old})
        known = recoded.notna() | text.isin(list(cell.recode.values())) if "" in cell.recode else recoded.notna()
        text = recoded.where(recoded.notna(), text if cell.others is None else text.where(known | text.isna(), cell.others))
    return text.where(text != "", np.nan).astype("str")


def _mean(parts: list[pd.Series]) -> pd.Series:
    """Mean of several columns; where one of them is no number the texts stand side by side, to be held back as unreadable."""
    together = pd.concat(parts, axis=1)
    numbers = together.apply(lambda column: pd.to_numeric(column, errors="coerce"))
    mean = numbers.mean(axis=1).round(6).map(lambda number: np.nan if pd.isna(number) else f"{number:.10g}").astype("str")
    bad = (numbers.isna() & together.notna()).any(axis=1)
    return mean.where(~bad, together.fillna("").agg("|".join, axis=1))


def _numbered(ids: pd.Series) -> pd.Series:
    place = ids.groupby(ids).cumcount() + 1
    return ids.where(place.isna() | (place < 2), ids + "-" + place.astype("Int64").astype("str"))


def _summed(frame: pd.DataFrame, one: FieldMap, taken: pd.DataFrame, key: str) -> pd.Series:
    """Sum over distinct passes; a pass with two different figures leaves both texts side by side, to be held back as unreadable."""
    rows = taken[list(one.sum_over)].assign(key=frame[key], text=frame[one.name]).dropna(subset=["text"]).drop_duplicates()
    numbers = pd.to_numeric(rows["text"], errors="coerce")
    odd = rows.loc[numbers.isna() | rows.duplicated([*one.sum_over, "key"], keep=False), "key"]
    sums = numbers.groupby(rows["key"]).sum()
    texts = sums.map(lambda number: f"{number:.10g}").astype("str")
    for name in odd.unique():
        texts[name] = "|".join(rows.loc[rows["key"] == name, "text"])
    return frame[key].map(texts).astype("str")

