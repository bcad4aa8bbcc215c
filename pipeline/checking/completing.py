"""What follows from a row itself: accepted codes of taxa, the place from its text, instants; and how each stored value was read."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
import pandas as pd

from pipeline.checking.columns import words
from pipeline.checking.merging import rows, rows_stored
from pipeline.checking.sheet import Sheet, as_written, exact, flag, hold, origin_of, take_out
from pipeline.reading import georeference
from pipeline.reading.values import as_text
from pipeline.settings import Settings
from schemas.distinct import by_distinct
from schemas.rules.rules import FLAG, minutes_of
from schemas.tables import fields, key_of

PLACE_REMEDY = "Write 36.20417N 81.9025W, 36 12 15.5 N 81 54 9.0 W, or UTM as 17 north 420000 4006000 (docs/typing.md); or dismiss it."


def complete(sheet: Sheet) -> None:
    """Fill in what follows from the row itself: accepted codes of taxa, the place from its text, its uncertainty, instants."""
    if sheet.table in ("finds", "enclosures"):
        known = alias_of(sheet.settings)
        accepted = by_distinct(sheet.typed["taxon"], lambda one: one.map(lambda text: known.get(text.casefold(), text), na_action="ignore"))
        changed = accepted.notna() & (accepted != sheet.typed["taxon"])
        if sheet.table == "finds":
            noted = rows(sheet.one, sheet.merged, sheet.one.written[["taxon"]])["taxon"]
            sheet.typed["verbatim_taxon"] = sheet.typed["verbatim_taxon"].fillna(noted.where(changed)).astype("str")
        sheet.typed["taxon"] = accepted.astype("str")
        alias = {int(row): as_written(sheet, int(row), "taxon") for row in changed.index[changed]}
        sheet.changes += [georeference.Change(row, "taxon", "", text, "an alias of the code") for row, text in alias.items()]
    if sheet.table == "sites":
        _complete_places(sheet)
    if sheet.table == "visits":
        _complete_target_taxa(sheet)
        _note_constant_statements(sheet)
        sheet.typed["start_utc"] = instant(sheet.typed["visit_date"], sheet.typed["start_time"], sheet.settings.time_zone)
    if sheet.table == "water_tests":
        sheet.typed["tested_utc"] = instant(sheet.typed["tested_on"], sheet.typed["tested_at"], sheet.settings.time_zone)
    if sheet.table == "husbandry_events":
        sheet.typed["event_utc"] = instant(sheet.typed["event_date"], sheet.typed["event_time"], sheet.settings.time_zone)


def alias_of(settings: Settings) -> dict[str, str]:
    """Taxon codes by every folded spelling that the book knows."""
    return spellings(zip(settings.taxa["code"], settings.taxa["aliases"], strict=True))


def spellings(taxa: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Taxon codes by every folded spelling, from codes and their aliases parted by ``|``."""
    listed = list(taxa)
    known = {alias.casefold(): code for code, aliases in listed for alias in str(aliases or "").split("|") if alias}
    return {**known, **{code.casefold(): code for code, _ in listed}}


def _complete_target_taxa(sheet: Sheet) -> None:
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
        hold(sheet, int(row), "target_taxa", "code_unknown", f"{unknown[0]!r} is not among the book's taxa.", remedy, False)  # type: ignore[call-overload]
        sheet.typed.at[row, "target_taxa"] = np.nan


def _note_constant_statements(sheet: Sheet) -> None:
    """Write down where a column map, and not a row, says what was looked for and that all was counted: absences rest on it."""
    start = 0
    for _, mapped in sheet.one.parts:
        for name in ("target_taxa", "all_counted"):
            if name in mapped.text and not mapped.columns.get(name):
                stored = rows_stored(sheet.one, sheet.merged, name)[start : start + len(mapped.text)]
                said, mine = "the column map, for every row", np.sort(stored[stored >= 0]).tolist()
                sheet.changes += [georeference.Change(row, name, "", str(as_written(sheet, row, name)), said) for row in mine]
        start += len(mapped.text)


def _complete_places(sheet: Sheet) -> None:
    """Read places that stand as text; hold back what cannot be read, and zeros that stand for nothing."""
    free = [row for row in sheet.typed.index if not {(row, "latitude"), (row, "longitude")} & sheet.held_cells]
    changes, refused = georeference.read_places(sheet.typed.loc[free])
    for row, name, reason in refused:
        text = sheet.typed.at[row, name] if name == "verbatim_coordinates" else exact(sheet, row, name)
        rule = "unreadable" if name == "verbatim_coordinates" else "not_possible"
        hold(sheet, row, name, rule, f"{text!r} cannot be read as a place: {reason}.", PLACE_REMEDY, False)
        take_out(sheet, [row], name)
    _apply_changes(sheet, changes)


def settle_places(sheet: Sheet) -> None:
    """Bring accepted places to WGS 84; after the rules, so that what they hold back keeps the numbers and the datum that were written."""
    kept = sheet.typed.index.difference(sorted(sheet.held_rows))
    written = rows(sheet.one, sheet.merged, sheet.one.written)
    _apply_changes(sheet, georeference.settle_places(sheet.typed.loc[kept], written.loc[kept]))


def _apply_changes(sheet: Sheet, changes: list[georeference.Change]) -> None:
    for change in changes:
        sheet.typed.at[change.row, change.field] = change.value
    sheet.changes += changes


def converted(sheet: Sheet, accepted: pd.DataFrame) -> list[dict[str, Any]]:
    """Stored values of accepted rows that are more than a copy of what was written, with the way that each was read."""
    ways: dict[tuple[int, str], tuple[str, list[str]]] = {}
    for row, name, text, how, fewest in _stored_ways(sheet):
        ways[(row, name)] = (text, [how])
        if fewest and row in accepted.index:
            flag(sheet, row, (name,), "at_least", FLAG, *words("at_least", sheet, row, name))
    for change in sheet.changes:
        text, hows = ways.setdefault((change.row, change.field), (change.text, []))
        hows.append(change.how)
    found = []
    written = {name: as_text(accepted[name], fields(sheet.table)[name].kind) for name in {name for _, name in ways}}
    for (row, name), (text, hows) in ways.items():
        if row in accepted.index and pd.notna(written[name].at[row]):
            found.append({
                "table": sheet.table, "row_key": accepted.at[row, key_of(sheet.table)], "field": name, "text": text,
                "value": written[name].at[row], "how": "; ".join(hows), **origin_of(sheet, row, name)[0],
            })  # fmt: skip
    return found


def _stored_ways(sheet: Sheet) -> list[tuple[int, str, str, str, bool]]:
    """Ways of reading, of those cells alone whose value is stored; by the row that they are stored in."""
    to = {name: rows_stored(sheet.one, sheet.merged, name) for name in sheet.one.ways["field"].unique()}
    return [
        (int(to[name][row]), name, text, how, fewest)
        for row, name, text, how, fewest in sheet.one.ways[["row", "field", "text", "how", "at_least"]].itertuples(index=False)
        if to[name][row] >= 0
    ]


def instant(day: pd.Series, clock: pd.Series, time_zone: str) -> pd.Series:
    """Instants in UTC (without zone) of local days and clock texts; a repeated hour is standard time, a skipped one moves forward."""
    local = day + pd.to_timedelta(minutes_of(clock), unit="m")
    aware = local.dt.tz_localize(time_zone, ambiguous=np.zeros(len(local), dtype=bool), nonexistent="shift_forward")
    return aware.dt.tz_convert("UTC").dt.tz_localize(None).astype("datetime64[us]")


def found_instant(day: pd.Series, start: pd.Series, found_at: pd.Series, time_zone: str) -> pd.Series:
    """Instants of finds, as :func:`instant`; a clock before the start of the visit is of the day after it."""
    next_day = (minutes_of(found_at) < minutes_of(start)).fillna(False)
    return instant(day.where(~next_day, day + pd.Timedelta(days=1)), found_at, time_zone)


def start_is_ambiguous(day: pd.Series, clock: pd.Series, time_zone: str) -> pd.Series:
    """Whether the clock time came twice on that day because daylight saving ended."""
    local = day + pd.to_timedelta(minutes_of(clock), unit="m")
    summer = local.dt.tz_localize(time_zone, ambiguous=np.ones(len(local), dtype=bool), nonexistent="shift_forward")
    winter = local.dt.tz_localize(time_zone, ambiguous=np.zeros(len(local), dtype=bool), nonexistent="shift_forward")
    return local.notna() & (summer != winter)
