"""Other people's sheets: a TOML column map turns their columns into rillbook's fields, still as text.

The words of a map are explained in docs/column_maps.md.
"""

from __future__ import annotations

import hashlib
import re
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.errors import RillbookError
from pipeline.mapping.map_place import Place, refuse_open, texts, words
from pipeline.reading.patterns import pattern
from pipeline.reading.rows import Cell, ColumnMap, FieldMap, SourceMap
from pipeline.reading.units import UNITS
from pipeline.reading.values import CLOCKS, DATE_ORDERS, Style, read_column
from schemas.tables import LOADED, fields

TOTAL_WORDS = ("column", "of")
SEVERAL = ("mean", "median", "first")
WIDE_WORDS = ("field", "columns", "zeros", "not_counted")
READING_WORDS = ("date_order", "pivot_year", "clock", "date_is", "missing")
SOURCE_WORDS = ("file", "sheet", "missing", "unused", "skip", "total", "no_find", "wide", *LOADED)
CELL_WORDS = ("column", "recode", "others", "case", "part", "before", "after", "missing")
FIELD_WORDS = (
    *CELL_WORDS, "columns", "fields", "join", "number", "same_as", "constant", "by_stage", "unit", "date_order", "pivot_year", "clock",
    "date_is", "sum_over", "mean_of", "several",
)  # fmt: skip


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
    place = Place(text, where)
    place.known(document, ("title", "about", "confirm", "reading", "source"))
    refuse_open(document, place)
    reading = words(document.get("reading", {}), "reading", place.at("reading"))
    place.known(reading, READING_WORDS, "reading")
    texts(reading.get("missing", []), "missing", place.at("missing", "reading"))
    sources = document.get("source", [])
    if not isinstance(sources, list) or not sources:
        raise RillbookError("the map has no [[source]].", "Add one for each sheet.", where)
    parsed = tuple(_source(words(one, "source", where), reading, place.within(number)) for number, one in enumerate(sources))
    _check_constant_targets(parsed, text, where)
    return ColumnMap(str(document.get("title", "")), hashlib.sha256(text.encode()).hexdigest(), parsed)


def _check_constant_targets(sources: tuple[SourceMap, ...], text: str, where: str) -> None:
    """Where all counts stand in columns of their own, a taxon without one was counted by nobody and is no target."""
    counting = [source for source in sources if "finds" in source.tables]
    columns = [sets for source in counting for sets in source.wide.values()]
    if not counting or not all(source.wide for source in counting) or not all("taxon" in sets for sets in columns):
        return
    counted = {sets["taxon"].casefold() for sets in columns}
    stated = [one.constant for source in sources for one in source.tables.get("visits", ()) if one.name == "target_taxa" and one.constant]
    for one in dict.fromkeys(part for constant in stated for part in re.split(r"[|;,\s]+", constant) if part):
        if one.casefold() not in counted:
            remedy = "Take it out, or map the column that counts it; write each taxon as the columns of [source.wide] do."
            raise RillbookError(f"target_taxa names {one}, which no column counts.", remedy, Place(text, where).at("target_taxa"))


def _source(entry: dict[str, Any], reading: dict[str, Any], place: Place) -> SourceMap:
    place.known(entry, SOURCE_WORDS, "source")
    wide = words(entry.get("wide", {}), "wide", place.at("wide"))
    place.known(wide, WIDE_WORDS, "wide")
    tables = {table: _table(words(entry[table], table, place.at(table)), table, reading, place) for table in LOADED if table in entry}
    if not tables:
        remedy = f"Add one of {', '.join('[source.' + table + ']' for table in LOADED)}."
        raise RillbookError("a [[source]] maps no table.", remedy, place.at("source"))
    if wide and "finds" not in tables:
        raise RillbookError("[source.wide] needs [source.finds].", "Add it.", place.at("wide"))
    columns = {
        column.strip(): {name: str(value) for name, value in words(sets, column, place.key(column, "wide") or place.at("wide")).items()}
        for column, sets in words(wide.get("columns", {}), "columns", place.at("wide")).items()
    }
    for column, sets in columns.items():
        for name in (str(wide.get("field", "count")), *sets):
            if name not in fields("finds"):
                raise RillbookError(
                    f"{name!r} is no field of finds.", "See docs/data_dictionary.md.", place.key(column, "wide") or place.at("wide")
                )
    no_find, skip = _rows_that_say(entry, "no_find", place), _rows_that_say(entry, "skip", place)
    total = words(entry.get("total", {}), "total", place.at("total"))
    place.known(total, TOTAL_WORDS, "total")
    summed = texts(total.get("of", list(columns)), "of", place.at("of", "total"))
    if total and (not isinstance(total.get("column"), str) or not summed):
        raise RillbookError("[source.total] needs column, and of where there are no wide columns.", "Add them.", place.at("total"))
    made = SourceMap(
        file=str(entry.get("file", "*")),
        sheet=str(entry.get("sheet", "")),
        missing=texts(entry.get("missing", reading.get("missing", [])), "missing", place.at("missing")),
        unused=texts(entry.get("unused", []), "unused", place.at("unused")),
        no_find=no_find,
        skip=skip,
        total=str(total.get("column", "")).strip(),
        total_of=summed if total else (),
        wide_field=str(wide.get("field", "count")),
        wide=columns,
        wide_zeros=texts(wide.get("zeros", []), "zeros", place.at("zeros", "wide")),
        not_counted=texts(wide.get("not_counted", []), "not_counted", place.at("not_counted", "wide")),
        tables=tables,
        where=place.at("source"),
    )
    _check_references(made, place)
    return replace(made, lines={column: place.quoted(column) for column in made.named_columns()})


def _rows_that_say(entry: dict[str, Any], word: str, place: Place) -> dict[str, tuple[str, ...]]:
    """Texts of columns by which a row says something of itself: that nothing was found, or that it is no record."""
    listed = words(entry.get(word, {}), word, place.at(word))
    return {column.strip(): texts(tokens, word, place.key(column, word) or place.at(word)) for column, tokens in listed.items()}


def _check_references(source: SourceMap, place: Place) -> None:
    """A field may take its text from one that is mapped before it only."""
    mapped: dict[str, set[str]] = {}
    for table, maps in source.tables.items():
        wide = [source.wide_field, *(name for sets in source.wide.values() for name in sets)] if table == "finds" and source.wide else []
        mapped[table] = set(wide)
        for one in maps:
            for name in one.fields:
                other, _, own = name.rpartition(".")
                if own not in mapped.get(other or table, ()):
                    remedy = "Map that field, or name another."
                    raise RillbookError(f"{one.name} refers to {name!r}, which is not mapped before it.", remedy, place.at(one.name, table))
            mapped[table].add(one.name)


def _table(entry: dict[str, Any], table: str, reading: dict[str, Any], place: Place) -> tuple[FieldMap, ...]:
    maps = []
    for name, spec in entry.items():
        declared = fields(table).get(name)
        where = place.at(name, table)
        if declared is None or (declared.derived and name != "medium_assumed"):
            raise RillbookError(f"{name!r} is no field of {table}.", "See docs/data_dictionary.md.", where)
        maps.append(_field(name, {"column": spec} if isinstance(spec, str) else words(spec, name, where), table, reading, place))
    return tuple(sorted(maps, key=lambda one: (bool(one.by_stage), bool(one.fields))))


def _field(name: str, spec: dict[str, Any], table: str, reading: dict[str, Any], place: Place) -> FieldMap:
    where = place.at(name, table)
    place.known(spec, FIELD_WORDS, table, where)
    for several in (("column", "columns", "mean_of"), ("same_as", "fields")):
        if sum(word in spec for word in several) > 1:
            raise RillbookError(f"{name} has more than one of {', '.join(several)}.", "Keep one.", where)
    own = {word: spec[word] for word in CELL_WORDS if word in spec and word != "column"}
    listed = spec.get("columns", spec.get("mean_of", [spec["column"]] if "column" in spec else []))
    if not isinstance(listed, list) or not all(isinstance(one, (str, dict)) for one in listed):
        raise RillbookError(f"the columns of {name} must be texts, or a list of texts.", "Mend it.", where)
    cells = tuple(_cell({**own, **({"column": one} if isinstance(one, str) else one)}, where, place, table) for one in listed)
    if not cells and not any(word in spec for word in ("same_as", "fields", "constant", "by_stage")):
        raise RillbookError(f"{name} has no column, columns, fields, same_as, constant or by_stage.", "Say where it comes from.", where)
    made = FieldMap(
        name=name,
        cells=cells,
        fields=(str(spec["same_as"]),) if "same_as" in spec else texts(spec.get("fields", []), "fields", where),
        join=str(spec.get("join", "_")),
        number=bool(spec.get("number", False)),
        constant=None if "constant" not in spec else _plain(spec["constant"]),
        by_stage={stage: _plain(text) for stage, text in words(spec.get("by_stage", {}), "by_stage", where).items()},
        sum_over=texts(spec.get("sum_over", []), "sum_over", where),
        mean="mean_of" in spec,
        several=str(spec.get("several", "")),
        style=_style(name, spec, table, reading, where),
    )
    if made.several:
        _one_of(made.several, SEVERAL, "several", where)
        if table != "visits" or fields(table)[name].kind not in ("real", "whole"):
            raise RillbookError(f"{name} of {table} has no several readings.", "Only numbers of a visit have.", where)
    _check_constants(made, table, where)
    return made


def _plain(value: Any) -> str:
    return "yes" if value is True else "no" if value is False else str(value)


def _style(name: str, spec: dict[str, Any], table: str, reading: dict[str, Any], where: str) -> Style:
    kind, stored = fields(table)[name].kind, fields(table)[name].unit
    unit, pivot = spec.get("unit", ""), spec.get("pivot_year", reading.get("pivot_year"))
    if unit and unit not in UNITS.get(stored, {}):
        remedy = f"Known here: {', '.join(UNITS.get(stored, {})) or 'none'}."
        raise RillbookError(f"unit {unit!r} cannot be turned into {stored or 'a number without unit'}.", remedy, where)
    if kind == "day":
        order = spec.get("date_order", reading.get("date_order", "iso"))
        _one_of(order, DATE_ORDERS, "date_order", where)
        day = spec.get("date_is", reading.get("date_is", "civil"))
        _one_of(day, ("civil", "evening"), "date_is", where)
        if pivot is not None and (type(pivot) is not int or not 0 <= pivot <= 99):
            raise RillbookError(f"pivot_year {pivot!r} is not a whole number from 0 to 99.", "Mend it.", where)
        return Style(date_order=order, pivot=pivot, evening=day == "evening")
    if kind == "clock":
        clock = spec.get("clock", reading.get("clock", "24h"))
        _one_of(clock, CLOCKS, "clock", where)
        return Style(clock=clock)
    return Style(unit=unit)


def _check_constants(one: FieldMap, table: str, where: str) -> None:
    """A text that the map itself sets must be readable."""
    stages = read_column(pd.Series(list(one.by_stage), dtype="str"), fields("finds")["life_stage"]).faults
    if stages:
        raise RillbookError(f"by_stage of {one.name} names a stage that is no code.", "See docs/data_dictionary.md.", where)
    for text in [*([] if one.constant is None else [one.constant]), *one.by_stage.values()]:
        if read_column(pd.Series([text], dtype="str"), fields(table)[one.name], one.style).faults:
            raise RillbookError(f"{one.name} cannot be {text!r}.", "See docs/data_dictionary.md.", where)


def _one_of(value: Any, known: tuple[str, ...], word: str, where: str) -> None:
    if value not in known:
        raise RillbookError(f"{word} {value!r} is not one of {', '.join(known)}.", "Mend it.", where)


def _cell(spec: dict[str, Any], where: str, place: Place, table: str) -> Cell:
    place.known(spec, CELL_WORDS, table, where)
    if not isinstance(spec.get("column"), str):
        raise RillbookError("a column must be named by a text.", "Mend it.", where)
    part = None
    if "part" in spec:
        try:
            part = pattern(str(spec["part"]))
        except ValueError as problem:
            raise RillbookError(f"part {spec['part']!r} is no regular expression ({problem}).", "Mend it.", where) from None
        if part.groups != 1:
            raise RillbookError(f"part {spec['part']!r} must have one group in round brackets.", "Mark the part to take.", where)
    if spec.get("case", "") not in ("", "upper", "lower"):
        raise RillbookError(f"case {spec['case']!r} is neither upper nor lower.", "Mend it.", where)
    recode = {str(old): _plain(new) for old, new in words(spec.get("recode", {}), "recode", where).items()}
    others = None if "others" not in spec else _plain(spec["others"])
    around = tuple(str(spec.get(word, "")) for word in ("before", "after"))
    missing = texts(spec.get("missing", []), "missing", where)
    return Cell(spec["column"].strip(), recode, others, spec.get("case", ""), part, missing, *around)
