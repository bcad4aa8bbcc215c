"""Typed rows against the schemas and the rules: accepted with flags kept, or held back with reasons."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from pipeline.checking.outcome import (
    CONVERTED_COLUMNS,
    FLAG_COLUMNS,
    HELD_COLUMNS,
    NO_CANDIDATE,
    ROW_TOO_LONG,
    VALUE_ONLY,
    Checked,
    TableCheck,
)
from pipeline.checking.typed_rows import Candidates, Merged, gather, merge, rows
from pipeline.formulas import places
from pipeline.reading import georeference
from pipeline.reading.rows import MappedSource
from pipeline.reading.values import EXAMPLES, KIND_WORDS, as_text
from pipeline.settings import Settings
from schemas.rules import COLUMN_FAULTS, FLAG, FLAG_EXCLUDE, HOLD_ROW, HOLD_VALUE, Rule, minutes_of, rules_of
from schemas.tables import LOADED, MODELS, fields, key_of
from schemas.vocabulary import codes, vocabulary

PARENTS = {
    "visits": ("site_id", "sites"), "finds": ("visit_id", "visits"), "availability": ("visit_id", "visits"),
    "loggers": ("site_id", "sites"),
}  # fmt: skip
PLACE_REMEDY = "Write 36.20417N 81.9025W, 36 12 15.5 N 81 54 9.0 W, or UTM as 17 north 420000 4006000 (docs/typing.md); or dismiss it."
OTHER_PARENTS = {"loggers": ("enclosure_id", "enclosures")}


@dataclass
class _Sheet:
    """The table under check, and the reasons gathered so far."""

    table: str
    one: Candidates
    merged: Merged
    typed: pd.DataFrame
    written: pd.DataFrame
    sources: list[MappedSource]
    settings: Settings
    origin: np.ndarray
    held: list[dict[str, Any]] = field(default_factory=list)
    flags: list[dict[str, Any]] = field(default_factory=list)
    changes: list[georeference.Change] = field(default_factory=list)
    held_rows: set[int] = field(default_factory=set)
    held_cells: set[tuple[int, str]] = field(default_factory=set)
    providers: dict[str, np.ndarray] = field(default_factory=dict)


def check(sources: list[MappedSource], settings: Settings, known: dict[str, pd.DataFrame], today: date) -> Checked:
    """Check the rows of a load against schemas, rules and the book.

    Parameters
    ----------
    sources : list of MappedSource
        Mapped sheets.
    settings : Settings
        The book's settings.
    known : dict of str to DataFrame
        Current sites, visits, finds and availability of the book; empty frames for a new one.
    today : date
        Dates after it lie in the future.

    Returns
    -------
    Checked

    Raises
    ------
    AssertionError
        A check failed without naming a row: never a row's fault.
    """
    tables: dict[str, TableCheck] = {}
    held, flags, converted = _misshapen(sources), [], []
    for table in LOADED:
        one = gather(table, sources)
        merged = merge(one)
        typed, written = rows(one, merged, one.typed), rows(one, merged, one.written)
        origin = one.origin[["source", "row", "line"]].to_numpy()
        sheet = _Sheet(table, one, merged, typed, written, sources, settings, origin)
        _check_columns(sheet)
        _complete(sheet)
        _check_parents(sheet, tables, known)
        _check_rules(sheet, _context(sheet, tables, known, today))
        if table == "sites":
            _settle_places(sheet)
        accepted = sheet.typed.drop(index=pd.Index(sorted(sheet.held_rows)))
        tables[table] = TableCheck(one, merged, accepted, pd.Index(sorted(sheet.held_rows), dtype="int64"))
        _flag_unexpected(sheet, accepted)
        converted += _converted(sheet, accepted)
        held += sheet.held
        flags += [flag for flag in sheet.flags if flag.pop("candidate") not in sheet.held_rows]
    reasons, marks = pd.DataFrame(held, columns=list(HELD_COLUMNS)), pd.DataFrame(flags, columns=list(FLAG_COLUMNS))
    return Checked(sources, tables, reasons, marks, pd.DataFrame(converted, columns=list(CONVERTED_COLUMNS)))


def _misshapen(sources: list[MappedSource]) -> list[dict[str, Any]]:
    """Rows with more cells than the heading: nobody knows which cell belongs where, so the whole row is held."""
    held = []
    for number, one in enumerate(sources):
        if not one.source.misshapen:
            continue
        table = next(table for table in reversed(LOADED) if table in {mapped.table for mapped in one.mapped})
        columns = next(mapped.columns for mapped in one.mapped if mapped.table == table)
        for place, cells in one.source.misshapen.items():
            known = one.source.cells.iloc[place]
            named = {name: known[columns[name][0]].strip() for name in columns if len(columns[name]) == 1}
            held.append({
                "table": table, "row_key": named.get(key_of(table), ""), "parent_key": named.get(PARENTS.get(table, ("",))[0], ""),
                "field": "", "column": "", "text": " | ".join(cells), "rule": ROW_TOO_LONG,
                "message": f"the row has {len(cells)} cells, the heading {one.source.cells.shape[1]}.",
                "remedy": "Look for a stray delimiter or put the text in quote marks, load the sheet again, and dismiss this one.",
                "source": number, "row": place, "line": int(one.source.lines[place]), "candidate": NO_CANDIDATE, "of": NO_CANDIDATE,
            })  # fmt: skip
    return held


def _provider(sheet: _Sheet, name: str) -> np.ndarray:
    """For each row of the sheet the candidate whose cell of the field is stored."""
    if name not in sheet.providers:
        found = np.arange(len(sheet.one.text))
        if name:
            provider = sheet.merged.provider[name]
            found[provider.index.to_numpy()] = provider.to_numpy()
        sheet.providers[name] = found
    return sheet.providers[name]


def _origin(sheet: _Sheet, row: int, name: str) -> tuple[dict[str, Any], str]:
    """Place of a cell, and the heading of its column."""
    provider = int(_provider(sheet, name)[row])
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


def _exact(sheet: _Sheet, row: int, name: str) -> str:
    """The text of a cell to the letter, or of the whole source row."""
    place, column = _origin(sheet, row, name)
    cells = sheet.sources[place["source"]].source.cells
    if not name:
        return "; ".join(f"{heading} = {text}" for heading, text in cells.iloc[place["row"]].items() if text.strip())
    headings = [heading for heading in column.split(" + ") if heading in cells.columns]
    if headings:
        text = " + ".join(str(cells[heading].iat[place["row"]]) for heading in headings)
        # a value may come from the cell of another field, as the dry bulb of a pair does
        if text.strip() or pd.isna(sheet.written.at[row, name]):
            return text
    return str(sheet.written.at[row, name]) if pd.notna(sheet.written.at[row, name]) else ""


def _hold(sheet: _Sheet, row: int, name: str, rule: str, message: str, remedy: str, whole_row: bool) -> None:
    """Hold back a value, or the whole row; the reason for a row may still name a field."""
    place, column = _origin(sheet, row, name)
    parents = [known[sheet.table][0] for known in (PARENTS, OTHER_PARENTS) if sheet.table in known]
    key, above = sheet.typed.at[row, key_of(sheet.table)], next((key for key in sheet.typed.loc[row, parents] if pd.notna(key)), "")
    text = _exact(sheet, row, name)
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


def _words(fault: str, sheet: _Sheet, row: int, name: str) -> tuple[str, str]:
    declared = fields(sheet.table)[name]
    text = sheet.written.at[row, name]
    value = sheet.one.typed[name].get(sheet.merged.provider[name].get(row, row)) if declared.kind in ("real", "whole") else None
    low, high = (declared.possible if fault != "unexpected" else declared.expected) or ("", "")
    words = {
        "title": declared.title, "text": "" if pd.isna(text) else text, "unit": declared.unit, "kind": KIND_WORDS.get(declared.kind, ""),
        "example": EXAMPLES.get(declared.kind, ""), "low": low, "high": high, "vocabulary": declared.vocabulary.replace("_", " "),
        "codes": ", ".join(codes(declared.vocabulary)) if declared.vocabulary else "",
        "celsius": "" if value is None or pd.isna(value) else f"{(value - 32) / 1.8:.1f}",
    }  # fmt: skip
    known = next(one for one in COLUMN_FAULTS if one.id == fault)
    return tuple(" ".join(part.format(**words).split()).replace(" )", ")") for part in (known.message, known.remedy))  # type: ignore[return-value]


def _check_columns(sheet: _Sheet) -> None:
    """Unreadable cells, missing required values, spans and codes; faulty values are taken out of the typed frame."""
    faults: dict[tuple[int, str], str] = {}
    provided = {name: {int(to): int(at) for at, to in provider.items()} for name, provider in sheet.merged.provider.items()}
    later = {int(row) for row, is_later in zip(sheet.merged.row_of, sheet.merged.later, strict=True) if is_later}
    for row, name, fault in sheet.one.faults.itertuples(index=False):
        at = row if row in later else provided[name].get(int(row))
        if at is not None:
            faults[(int(at), name)] = fault
    for row, name, number in _failures(sheet):
        faults.setdefault((row, name), "required_missing" if number is None else _span_fault(sheet.table, name, number))
    for (row, name), fault in faults.items():
        declared = fields(sheet.table)[name]
        message, remedy = _words(fault, sheet, row, name)
        _hold(sheet, row, name, fault, message, remedy, declared.required)
    for name in dict.fromkeys(name for _, name in faults):
        _take_out(sheet, [row for row, other in faults if other == name], name)
    for row in sorted(later):
        named = [name for name, mask in sheet.merged.differs.items() if mask[sheet.one.text.index.get_loc(row)]]
        key = sheet.typed.at[row, key_of(sheet.table)]
        known = next(one for one in COLUMN_FAULTS if one.id == "described_twice")
        message = known.message.format(
            key=f"{sheet.table[:-1] if sheet.table != 'availability' else 'point'} {key}", fields=", ".join(named)
        )
        _hold(sheet, row, "", "described_twice", message, known.remedy, True)


def _take_out(sheet: _Sheet, rows: Any, name: str) -> None:
    """Leave the values of some rows out of the typed frame."""
    sheet.typed.loc[rows, name] = _nothing(fields(sheet.table)[name].kind)


def _nothing(kind: str) -> Any:
    return pd.NA if kind in ("whole", "yes_no") else pd.NaT if kind in ("day", "instant") else np.nan


def _failures(sheet: _Sheet) -> list[tuple[int, str, float | None]]:
    """Rows and fields that pandera refuses: the value of a span failure, None where a required value is missing."""
    from pandera.errors import SchemaErrors

    if sheet.typed.empty:
        return []
    try:
        MODELS[sheet.table].validate(sheet.typed, lazy=True)
    except SchemaErrors as problem:
        cases = problem.failure_cases
    else:
        return []
    lost = cases[cases["index"].isna()]
    assert lost.empty, f"a check of {sheet.table} failed without naming a row: {lost.to_dict('records')}"
    found: list[tuple[int, str, float | None]] = []
    for case in cases.itertuples(index=False):
        if case.check == "not_nullable":
            found.append((int(case.index), case.column, None))
        elif str(case.check).startswith(("greater_than_or_equal_to", "less_than_or_equal_to", "in_range")):
            found.append((int(case.index), case.column, float(case.failure_case)))
        else:
            raise AssertionError(f"unknown failure of {sheet.table}.{case.column}: {case.check} at {case.index}")
    return found


def _span_fault(table: str, name: str, number: float) -> str:
    declared = fields(table)[name]
    celsius = (number - 32) / 1.8
    in_water = declared.unit == "°C" and name in ("water_temp_c", "substrate_temp_c")
    return "likely_fahrenheit" if in_water and declared.possible is not None and 0 <= celsius <= declared.possible[1] else "not_possible"


def _complete(sheet: _Sheet) -> None:
    """Fill in what follows from the row itself: accepted codes of taxa, the place from its text, its uncertainty, instants."""
    if sheet.table in ("finds", "enclosures"):
        known = alias_of(sheet.settings)
        accepted = sheet.typed["taxon"].map(lambda text: text if pd.isna(text) else known.get(text.casefold(), text))
        changed = accepted.notna() & (accepted != sheet.typed["taxon"])
        if sheet.table == "finds":
            as_noted = sheet.typed["verbatim_taxon"].fillna(sheet.written["taxon"].where(changed))
            sheet.typed["verbatim_taxon"] = as_noted.astype("str")
        sheet.typed["taxon"] = accepted.astype("str")
        alias = sheet.written.loc[changed, "taxon"]
        sheet.changes += [georeference.Change(int(row), "taxon", "", text, "an alias of the code") for row, text in alias.items()]
    if sheet.table == "sites":
        _complete_places(sheet)
    if sheet.table == "visits":
        _complete_target_taxa(sheet)
        sheet.typed["start_utc"] = instant(sheet.typed["visit_date"], sheet.typed["start_time"], sheet.settings.time_zone)


def alias_of(settings: Settings) -> dict[str, str]:
    """Taxon codes by every folded spelling that the book knows."""
    known = {alias.casefold(): row.code for row in settings.taxa.itertuples() for alias in str(row.aliases or "").split("|") if alias}
    return {**known, **{code.casefold(): code for code in settings.taxa["code"]}}


def _complete_target_taxa(sheet: _Sheet) -> None:
    known = alias_of(sheet.settings)
    for row, text in sheet.typed["target_taxa"].dropna().items():
        parts = [known.get(part.casefold(), "") for part in text.split("|")]
        if all(parts):
            if "|".join(parts) != text:
                sheet.changes.append(georeference.Change(int(row), "target_taxa", "", text, "aliases of the codes"))  # type: ignore[call-overload]
            sheet.typed.at[row, "target_taxa"] = "|".join(parts)
            continue
        unknown = [part for part in text.split("|") if part.casefold() not in known]
        remedy = f"Use one of: {', '.join(sheet.settings.taxa['code'])}."
        _hold(sheet, int(row), "target_taxa", "code_unknown", f"{unknown[0]!r} is not among the book's taxa.", remedy, False)  # type: ignore[call-overload]
        sheet.typed.at[row, "target_taxa"] = np.nan


def _complete_places(sheet: _Sheet) -> None:
    """Read places that stand as text; hold back what cannot be read, and zeros that stand for nothing."""
    free = [row for row in sheet.typed.index if not {(row, "latitude"), (row, "longitude")} & sheet.held_cells]
    changes, refused = georeference.read_places(sheet.typed.loc[free])
    for row, name, reason in refused:
        text = sheet.typed.at[row, name] if name == "verbatim_coordinates" else _exact(sheet, row, name)
        rule = "unreadable" if name == "verbatim_coordinates" else "not_possible"
        _hold(sheet, row, name, rule, f"{text!r} cannot be read as a place: {reason}.", PLACE_REMEDY, False)
        _take_out(sheet, [row], name)
    _apply_changes(sheet, changes)


def _settle_places(sheet: _Sheet) -> None:
    """Bring accepted places to WGS 84; after the rules, so that what they hold back keeps the numbers and the datum that were written."""
    kept = sheet.typed.index.difference(sorted(sheet.held_rows))
    _apply_changes(sheet, georeference.settle_places(sheet.typed.loc[kept], sheet.written.loc[kept]))


def _apply_changes(sheet: _Sheet, changes: list[georeference.Change]) -> None:
    for change in changes:
        sheet.typed.at[change.row, change.field] = change.value
    sheet.changes += changes


def _converted(sheet: _Sheet, accepted: pd.DataFrame) -> list[dict[str, Any]]:
    """Stored values of accepted rows that are more than a copy of what was written, with the way that each was read."""
    ways: dict[tuple[int, str], tuple[str, list[str]]] = {}
    for row, name, text, how, fewest in _stored_ways(sheet):
        ways[(row, name)] = (text, [how])
        if fewest and row in accepted.index:
            _flag(sheet, row, (name,), "at_least", FLAG, *_words("at_least", sheet, row, name))
    for change in sheet.changes:
        text, hows = ways.setdefault((change.row, change.field), (change.text, []))
        hows.append(change.how)
    found = []
    written = {name: as_text(accepted[name], declared.kind) for name, declared in fields(sheet.table).items()}
    for (row, name), (text, hows) in ways.items():
        if row in accepted.index and pd.notna(written[name].at[row]):
            found.append({
                "table": sheet.table, "row_key": accepted.at[row, key_of(sheet.table)], "field": name, "text": text,
                "value": written[name].at[row], "how": "; ".join(hows), **_origin(sheet, row, name)[0],
            })  # fmt: skip
    return found


def _stored_ways(sheet: _Sheet) -> list[tuple[int, str, str, str, bool]]:
    """Ways of reading, of those cells alone whose value is stored; by the row that they are stored in."""
    to = {name: dict(zip(at.to_numpy().tolist(), at.index.tolist(), strict=True)) for name, at in sheet.merged.provider.items()}
    return [
        (to[name][row], name, text, how, fewest)
        for row, name, text, how, fewest in sheet.one.ways[["row", "field", "text", "how", "at_least"]].itertuples(index=False)
        if row in to[name]
    ]


def instant(day: pd.Series, clock: pd.Series, time_zone: str) -> pd.Series:
    """Instants in UTC (without zone) of local days and clock texts; a repeated hour is standard time, a skipped one moves forward."""
    local = day + pd.to_timedelta(minutes_of(clock), unit="m")
    aware = local.dt.tz_localize(time_zone, ambiguous=np.zeros(len(local), dtype=bool), nonexistent="shift_forward")
    return aware.dt.tz_convert("UTC").dt.tz_localize(None).astype("datetime64[us]")


def start_is_ambiguous(day: pd.Series, clock: pd.Series, time_zone: str) -> pd.Series:
    """Whether the clock time came twice on that day because daylight saving ended."""
    local = day + pd.to_timedelta(minutes_of(clock), unit="m")
    summer = local.dt.tz_localize(time_zone, ambiguous=np.ones(len(local), dtype=bool), nonexistent="shift_forward")
    winter = local.dt.tz_localize(time_zone, ambiguous=np.zeros(len(local), dtype=bool), nonexistent="shift_forward")
    return local.notna() & (summer != winter)


def _check_parents(sheet: _Sheet, tables: dict[str, TableCheck], known: dict[str, pd.DataFrame]) -> None:
    for parents in (PARENTS, OTHER_PARENTS):
        if sheet.table in parents:
            _check_parent(sheet, *parents[sheet.table], tables, known)


def _check_parent(sheet: _Sheet, name: str, parent: str, tables: dict[str, TableCheck], known: dict[str, pd.DataFrame]) -> None:
    there = set(known[parent][key_of(parent)]) | set(tables[parent].accepted[key_of(parent)])
    held = set(tables[parent].candidates.typed.loc[tables[parent].held_rows, key_of(parent)].dropna())
    for row, key in sheet.typed[name].dropna().items():
        if key in there:
            continue
        fault = next(one for one in COLUMN_FAULTS if one.id == ("parent_held" if key in held else "parent_unknown"))
        message = fault.message.format(parent=f"{parent[:-1]} {key}")
        _hold(sheet, int(row), name if fault.id == "parent_unknown" else "", fault.id, message, fault.remedy, True)  # type: ignore[call-overload]


def _context(sheet: _Sheet, tables: dict[str, TableCheck], known: dict[str, pd.DataFrame], today: date) -> Callable[[], pd.DataFrame]:
    """How to make the frame that the rules see: the rows under check, with their kin in the book, joined to what is known of each."""
    kin = _kin(sheet, known)

    def make() -> pd.DataFrame:
        frame = pd.concat([sheet.typed, kin]) if len(kin) else sheet.typed
        joins = {"sites": _site_context, "visits": _visit_context, "finds": _find_context, "enclosures": _enclosure_context}
        return joins[sheet.table](frame, sheet.settings, tables, known, today) if sheet.table in joins else frame

    return make


def _kin(sheet: _Sheet, known: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Current rows of the book under the same parent, which group rules must see; their index cannot meet a candidate's."""
    book = known[sheet.table]
    if sheet.table not in PARENTS or book.empty:
        return book.iloc[:0]
    name = PARENTS[sheet.table][0]
    near = book[book[name].isin(sheet.typed[name]) & ~book[key_of(sheet.table)].isin(sheet.typed[key_of(sheet.table)])]
    near = near.reindex(columns=sheet.typed.columns).astype(sheet.typed.dtypes.to_dict())
    return near.set_axis(pd.RangeIndex(-len(near), 0))


def _site_context(frame: pd.DataFrame, settings: Settings, *others: Any) -> pd.DataFrame:
    frame = frame.copy()
    for name in ("in_area", "in_area_swapped", "in_area_negated"):
        frame[name] = pd.Series(pd.NA, index=frame.index, dtype="boolean")
    placed = frame["latitude"].notna() & frame["longitude"].notna()
    for code in {area.code for area in settings.areas} | {""}:
        areas = [area for area in settings.areas if code in ("", area.code)]
        mine = placed & ((frame["study_area"] == code) if code else ~frame["study_area"].isin([area.code for area in settings.areas]))
        if not areas or not mine.any():
            continue
        lat, lon, _, _ = places.to_wgs84(frame.loc[mine, "latitude"], frame.loc[mine, "longitude"], frame.loc[mine, "datum"])
        frame.loc[mine, "in_area"] = places.inside_area(lat, lon, areas)
        swapped = np.abs(lon) <= 90
        frame.loc[mine, "in_area_swapped"] = places.inside_area(np.where(swapped, lon, np.nan), np.where(swapped, lat, np.nan), areas)
        frame.loc[mine, "in_area_negated"] = places.inside_area(lat, -lon, areas)
    return frame


def _visit_context(frame: pd.DataFrame, settings: Settings, tables: Any, known: Any, today: date) -> pd.DataFrame:
    return frame.assign(
        today=pd.Timestamp(today),
        cool_stream_book=bool((settings.taxa["group"] == "cool_stream").any()),
        start_ambiguous=start_is_ambiguous(frame["visit_date"], frame["start_time"], settings.time_zone),
    )


def _enclosure_context(frame: pd.DataFrame, settings: Settings, *_: Any) -> pd.DataFrame:
    return frame.assign(taxon_known=frame["taxon"].isin(settings.taxa["code"]))


def _find_context(
    frame: pd.DataFrame, settings: Settings, tables: dict[str, TableCheck], known: dict[str, pd.DataFrame], today: date
) -> pd.DataFrame:
    taxa = settings.taxa.set_index("code")
    visits = _both("visits", ["visit_id", "site_id", "visit_date", "start_time", "end_time"], tables, known)
    sites = _both("sites", ["site_id", "latitude", "longitude"], tables, known)
    site = _look_up(frame["visit_id"], visits["site_id"])
    media = {code: row["medium"] for code, row in vocabulary("microhabitat").items()}
    return frame.assign(
        taxon_known=frame["taxon"].isin(taxa.index),
        taxon_group=_look_up(frame["taxon"], taxa["group"]),
        taxon_paedomorphic=_look_up(frame["taxon"], taxa["paedomorphic"]),
        taxon_overlap_low=_look_up(frame["taxon"], taxa["overlap_svl_low_mm"]),
        taxon_overlap_high=_look_up(frame["taxon"], taxa["overlap_svl_high_mm"]),
        medium=frame["microhabitat"].map(media),
        visit_start=_look_up(frame["visit_id"], visits["start_time"]),
        visit_end=_look_up(frame["visit_id"], visits["end_time"]),
        site_distance_m=places.distance_m(
            frame["latitude"], frame["longitude"], _look_up(site, sites["latitude"]), _look_up(site, sites["longitude"])
        ),
        found_utc=_found_utc(frame, visits, settings.time_zone),
    )


def _look_up(keys: pd.Series, values: pd.Series) -> pd.Series:
    """Value of each key, in the type of the values; missing where the key is."""
    return values.reindex(keys).set_axis(keys.index)


def _found_utc(frame: pd.DataFrame, visits: pd.DataFrame, time_zone: str) -> pd.Series:
    day = _look_up(frame["visit_id"], visits["visit_date"])
    start = minutes_of(_look_up(frame["visit_id"], visits["start_time"]))
    next_day = (minutes_of(frame["found_at"]) < start).fillna(False)
    return instant(day.where(~next_day, day + pd.Timedelta(days=1)), frame["found_at"], time_zone)


def _both(table: str, names: list[str], tables: dict[str, TableCheck], known: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Rows of the load and of the book, by key; the load's row wins."""
    parts = [frame[names] for frame in (tables[table].accepted, known[table]) if len(frame)]
    together = pd.concat(parts) if parts else tables[table].accepted[names]
    return together.drop_duplicates(key_of(table)).set_index(key_of(table))


def _check_rules(sheet: _Sheet, context: Callable[[], pd.DataFrame]) -> None:
    """Apply the rules: first those that hold, so that a value held by one is not marked by another."""
    if sheet.typed.empty:
        return
    for effects in ((HOLD_ROW, HOLD_VALUE), (FLAG, FLAG_EXCLUDE)):
        frame = context()
        for rule in rules_of(sheet.table):
            if rule.effect in effects:
                broken = rule.mask(frame).fillna(False).astype(bool)
                _apply(sheet, rule, [int(row) for row in broken.index[broken] if row >= 0])
    if sheet.table == "finds":
        sheet.typed["found_utc"] = frame.loc[sheet.typed.index, "found_utc"]


def _apply(sheet: _Sheet, rule: Rule, rows: list[int]) -> None:
    if rule.effect == HOLD_VALUE:
        for name in rule.fields:
            written = sheet.typed.loc[rows, name].dropna().index
            for row in written:
                _hold(sheet, int(row), name, rule.id, rule.message, rule.remedy, False)
            _take_out(sheet, written, name)
        return
    for row in rows:
        if rule.effect == HOLD_ROW:
            _hold(sheet, row, rule.fields[0], rule.id, rule.message, rule.remedy, True)
        else:
            _flag(sheet, row, rule.fields, rule.id, rule.effect, rule.message, rule.remedy)


def _flag(sheet: _Sheet, row: int, involved: tuple[str, ...], rule: str, effect: str, message: str, remedy: str) -> None:
    """Mark a row; every value involved is named, so that a settled flag opens again when one of them changes."""
    name = involved[0]
    place, _ = _origin(sheet, row, name)
    written = [sheet.written.at[row, one] for one in involved]
    value = "; ".join(str(one) for one in written if pd.notna(one))
    sheet.flags.append({
        "table": sheet.table, "row_key": sheet.typed.at[row, key_of(sheet.table)], "field": name, "rule": rule, "effect": effect,
        "message": message, "remedy": remedy, "value": value, **place, "candidate": row,
    })  # fmt: skip


def _flag_unexpected(sheet: _Sheet, accepted: pd.DataFrame) -> None:
    for name, declared in fields(sheet.table).items():
        if declared.expected is None:
            continue
        values = accepted[name].astype("float64")
        odd = (values < declared.expected[0]) | (values > declared.expected[1])
        for row in accepted.index[odd]:
            if pd.notna(sheet.written.at[row, name]):
                _flag(sheet, int(row), (name,), "unexpected", FLAG, *_words("unexpected", sheet, int(row), name))
