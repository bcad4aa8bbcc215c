"""Typed rows against the schemas and the rules: accepted with flags kept, or held back with reasons."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import pandas as pd

from pipeline.checking.absences import uncounted
from pipeline.checking.columns import check_columns, flag_several, flag_unexpected
from pipeline.checking.completing import complete, converted, settle_places
from pipeline.checking.context import context_of
from pipeline.checking.merging import merge, rows
from pipeline.checking.nearest import nearest_among
from pipeline.checking.outcome import (
    NO_CANDIDATE,
    ROW_CUT,
    ROW_TOO_LONG,
    Checked,
    TableCheck,
)
from pipeline.checking.sheet import OTHER_PARENTS, PARENTS, Sheet, flag, hold, take_out
from pipeline.checking.typed_rows import gather, without_readings
from pipeline.reading.rows import MappedSource
from pipeline.settings import Settings
from schemas.frames.checks import Converted, Flags, Held
from schemas.frames.frame import framed
from schemas.rules.column_faults import COLUMN_FAULTS, TOTAL_DIFFERS
from schemas.rules.rules import FLAG, FLAG_EXCLUDE, HOLD_ROW, HOLD_VALUE, Rule, rules_of
from schemas.tables import LOADED, key_of


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
    held, flags, ways = _misshapen(sources), [], []
    for table in LOADED:
        one = gather(table, sources)
        merged = merge(one)
        if one.typed.empty:
            tables[table] = TableCheck(one, merged, one.typed, pd.Index([], dtype="int64"))
            continue
        origin = one.origin[["source", "row", "line"]].to_numpy()
        typed, one = rows(one, merged, one.typed), without_readings(one)
        sheet = Sheet(table, one, merged, typed, sources, settings, origin)
        check_columns(sheet)
        complete(sheet)
        _check_parents(sheet, tables, known)
        _check_rules(sheet, context_of(sheet, tables, known, today))
        if table == "sites":
            settle_places(sheet)
        accepted = sheet.typed.drop(index=pd.Index(sorted(sheet.held_rows)))
        tables[table] = TableCheck(one, merged, accepted, pd.Index(sorted(sheet.held_rows), dtype="int64"))
        flag_unexpected(sheet, accepted)
        flag_several(sheet)
        if table == "visits":
            _flag_totals(sheet)
        ways += converted(sheet, accepted)
        held += sheet.held
        flags += [one for one in sheet.flags if one.pop("candidate") not in sheet.held_rows]
    reasons = framed(Held, held)
    silent = uncounted(sources, tables, settings, reasons, known)
    return Checked(sources, tables, reasons, framed(Flags, flags), framed(Converted, ways), silent)


CUT = "the file ends inside this row: it has {n} cells of {width}, and its last may be half of what was written."
WHOLE = "Get the whole file and load it again, and dismiss this one; if nothing is missing, end the line and load it again."


def _misshapen(sources: list[MappedSource]) -> list[dict[str, Any]]:
    """Rows with more cells than the heading, or cut at the end of the file: nobody knows what a cell is, so the whole row is held."""
    held = []
    for number, one in enumerate(sources):
        if not one.source.misshapen:
            continue
        table = next(table for table in reversed(LOADED) if table in {mapped.table for mapped in one.mapped})
        columns = next(mapped.columns for mapped in one.mapped if mapped.table == table)
        width = one.source.cells.shape[1]
        for place, cells in one.source.misshapen.items():
            cut = len(cells) < width
            known = one.source.cells.iloc[place]
            named = {name: known[columns[name][0]].strip() for name in columns if len(columns[name]) == 1}
            held.append({
                "table": table, "row_key": named.get(key_of(table), ""), "parent_key": named.get(PARENTS.get(table, ("",))[0], ""),
                "field": "", "column": "", "text": " | ".join(cells), "rule": ROW_CUT if cut else ROW_TOO_LONG,
                "message": CUT.format(n=len(cells), width=width) if cut else f"the row has {len(cells)} cells, the heading {width}.",
                "remedy": WHOLE if cut else
                "Look for a stray delimiter or put the text in quote marks, load the sheet again, and dismiss this one.",
                "source": number, "row": place, "line": int(one.source.lines[place]), "candidate": NO_CANDIDATE, "of": NO_CANDIDATE,
            })  # fmt: skip
    return held


def _flag_totals(sheet: Sheet) -> None:
    """Mark visits of which a row states another total than its counts add up to."""
    fault = TOTAL_DIFFERS
    origin = sheet.one.origin
    for number, source in enumerate(sheet.sources):
        for row, total, counted in source.totals.itertuples(index=False):
            for at in origin.index[(origin["source"] == number) & (origin["row"] == row)]:
                visit = int(sheet.merged.row_of[sheet.one.text.index.get_loc(at)])
                message = fault.message.format(counted=f"{counted:g}", total=total)
                flag(sheet, visit, ("visit_id",), fault.id, FLAG, message, fault.remedy)
                sheet.flags[-1].update(line=int(origin.at[at, "line"]), row=int(row), value=str(total))


def _check_parents(sheet: Sheet, tables: dict[str, TableCheck], known: dict[str, pd.DataFrame]) -> None:
    for parents in (PARENTS, OTHER_PARENTS):
        if sheet.table in parents:
            _check_parent(sheet, *parents[sheet.table], tables, known)


def _check_parent(sheet: Sheet, name: str, parent: str, tables: dict[str, TableCheck], known: dict[str, pd.DataFrame]) -> None:
    there = set(known[parent][key_of(parent)]) | set(tables[parent].accepted[key_of(parent)])
    held = set(tables[parent].candidates.typed.loc[tables[parent].held_rows, key_of(parent)].dropna())
    keys = sheet.typed[name].dropna()
    unknown = keys[~keys.isin(there)]
    look = nearest_among(there) if len(unknown) else None
    for row, key in unknown.items():
        fault = next(one for one in COLUMN_FAULTS if one.id == ("parent_held" if key in held else "parent_unknown"))
        message = fault.message.format(parent=f"{parent[:-1]} {key}")
        near = look(str(key)) if look and fault.id == "parent_unknown" else []
        remedy = f"{fault.remedy} The nearest is {' or '.join(near)}." if near else fault.remedy
        hold(sheet, int(row), name if fault.id == "parent_unknown" else "", fault.id, message, remedy, True)  # type: ignore[call-overload]


def _check_rules(sheet: Sheet, context: Callable[[], pd.DataFrame]) -> None:
    """Apply the rules: first those that hold, so that a value held by one is not marked by another."""
    if sheet.typed.empty:
        return
    frame = context()
    for effects in ((HOLD_ROW, HOLD_VALUE), (FLAG, FLAG_EXCLUDE)):
        changed = False
        for rule in rules_of(sheet.table):
            if rule.effect in effects:
                broken = rule.mask(frame).fillna(False).astype(bool)
                changed |= _apply(sheet, rule, [int(row) for row in broken.index[broken] if row >= 0])
        if changed:
            frame = context()
    if sheet.table == "finds":
        sheet.typed["found_utc"] = frame.loc[sheet.typed.index, "found_utc"]


def _apply(sheet: Sheet, rule: Rule, rows: list[int]) -> bool:
    """Hold or mark the rows that break a rule; tell whether a value was taken out of the typed frame."""
    if rule.effect == HOLD_VALUE:
        changed = False
        for name in rule.fields:
            written = sheet.typed.loc[rows, name].dropna().index
            for row in written:
                hold(sheet, int(row), name, rule.id, rule.message, rule.remedy, False)
            if len(written):
                take_out(sheet, written, name)
                changed = True
        return changed
    for row in rows:
        if rule.effect == HOLD_ROW:
            hold(sheet, row, rule.fields[0], rule.id, rule.message, rule.remedy, True)
        else:
            flag(sheet, row, rule.fields, rule.id, rule.effect, rule.message, rule.remedy)
    return False
