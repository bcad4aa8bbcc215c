"""What stored rows owe to the settings of their book, made anew after a change: instants, taxa, marks, places.

Every row that was ever stored is looked at, also of loads that were undone or replaced: an undo may bring it back. Nothing is deleted: a
mark or reason that no longer holds keeps its line under the negative number of its load, which no view shows, and comes back with the
settings that it held under.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pandas as pd

from pipeline.book.current import conform
from pipeline.book.versions import facts_of, note_facts
from pipeline.checking.completing import found_instant, instant
from pipeline.checking.context import of_settings
from pipeline.reading.values import as_text
from pipeline.settings import Settings
from schemas.enums import Effect
from schemas.rules.rule import Rule
from schemas.rules.rules import rules_of
from schemas.tables import fields, key_of

if TYPE_CHECKING:
    from pipeline.book.engine import DuckDBPyConnection

CLOCKS = {
    "visits": ("visit_date", "start_time", "start_utc"),
    "water_tests": ("tested_on", "tested_at", "tested_utc"),
    "husbandry_events": ("event_date", "event_time", "event_utc"),
}
MARKS = {
    "sites": ("outside_study_area",),
    "visits": ("visit_warm_water", "clock_ambiguous"),
    "finds": ("adult_with_gills", "warm_for_cool_stream", "stage_near_overlap"),
}
"""Rules that mark a row by the settings of its book."""
PLACES = ("coordinates_swapped", "longitude_sign_lost")
"""Rules that hold a place back by the study area."""
TAKEN = "places_taken_out"
Taken = dict[str, Any]
"""A place that was taken out: ``row`` (load, number), ``place`` (latitude, longitude), ``items`` (numbers of its reasons)."""
# The visit as the load of the find knew it: the last one before it that stood then
OF_FINDS = """
SELECT f.load_id, f.row_no, f.found_at, f.found_utc, v.visit_date, v.start_time FROM finds_all f JOIN loads t ON t.load_id = f.load_id
JOIN visits_all v ON v.visit_id = f.visit_id AND v.load_id <= f.load_id JOIN loads l ON l.load_id = v.load_id
WHERE f.found_at IS NOT NULL AND (v.load_id = f.load_id OR ((l.undone_at IS NULL OR l.undone_at > t.loaded_at)
  AND NOT EXISTS (SELECT 1 FROM loads c WHERE c.corrects = v.load_id AND c.load_id <= f.load_id
    AND (c.undone_at IS NULL OR c.undone_at > t.loaded_at))))
QUALIFY row_number() OVER (PARTITION BY f.load_id, f.row_no ORDER BY v.load_id DESC) = 1
"""


def new_instants(connection: DuckDBPyConnection, time_zone: str) -> dict[str, int]:
    """Work out the instants of clock times in a time zone, and store those that differ.

    Parameters
    ----------
    connection : DuckDBPyConnection
        A book that is open for writing.
    time_zone : str
        IANA name.

    Returns
    -------
    dict of str to int
        Rows that got another instant, by table; none are left out.
    """
    changed = {}
    for table, (day, clock, utc) in CLOCKS.items():
        rows = connection.execute(f"SELECT load_id, row_no, {day}, {clock}, {utc} FROM {table}_all WHERE {clock} IS NOT NULL").df()
        if len(rows):
            new = instant(rows[day].astype("datetime64[us]"), rows[clock].astype("str"), time_zone)
            changed[table] = _store_instants(connection, table, utc, rows, new)
    rows = connection.execute(OF_FINDS).df()
    if len(rows):
        day, start = rows["visit_date"].astype("datetime64[us]"), rows["start_time"].astype("str")
        changed["finds"] = _store_instants(
            connection, "finds", "found_utc", rows, found_instant(day, start, rows["found_at"].astype("str"), time_zone)
        )
    return {table: number for table, number in changed.items() if number}


def _store_instants(connection: DuckDBPyConnection, table: str, name: str, rows: pd.DataFrame, new: pd.Series) -> int:
    old = rows[name].astype("datetime64[us]")
    differs = ~((old == new) | (old.isna() & new.isna()))
    if differs.any():
        _update(connection, table, rows.loc[differs, ["load_id", "row_no"]].assign(**{name: new[differs]}), f"{name} = i.{name}")
    return int(differs.sum())


def _update(connection: DuckDBPyConnection, table: str, rows: pd.DataFrame, what: str) -> None:
    connection.register("incoming", rows)
    connection.execute(
        f"UPDATE {table}_all SET {what} FROM incoming i WHERE {table}_all.load_id = i.load_id AND {table}_all.row_no = i.row_no"
    )
    connection.unregister("incoming")


def new_marks(connection: DuckDBPyConnection, settings: Settings) -> tuple[int, int]:
    """Judge every row anew by the rules that rest on the settings; how many marks came, and how many fell away."""
    came = gone = 0
    for table, names in MARKS.items():
        rows = _rows(connection, table)
        if rows.empty:
            continue
        typed = conform(table, rows)
        seen = of_settings(table, typed, settings)
        for rule in (one for one in rules_of(table) if one.id in names):
            broken = rule.mask(seen).fillna(False).astype(bool)
            known = connection.execute(
                "SELECT min(flag_id) AS flag_id, abs(load_id) AS load_id, row_key, bool_or(load_id > 0) AS stands FROM flags_all"
                " WHERE table_name = ? AND rule = ? GROUP BY ALL",
                [table, rule.id],
            ).df()
            keyed = rows[["load_id"]].assign(row_key=typed[key_of(table)], broken=broken, place=range(len(rows)))
            both = keyed.merge(known, on=["load_id", "row_key"], how="left")
            stands = both["stands"].fillna(False).astype(bool)
            turned = both[both["flag_id"].notna() & (stands != both["broken"])]
            _turn(connection, "flags_all", "flag_id", turned["flag_id"].astype("int64").tolist())
            new = both[both["broken"] & both["flag_id"].isna()]["place"].tolist()
            _mark(connection, rule, rows.iloc[new], typed.iloc[new])
            came += int(turned["broken"].sum()) + len(new)
            gone += int((~turned["broken"]).sum())
    return came, gone


def _rows(connection: DuckDBPyConnection, table: str) -> pd.DataFrame:
    """Every row of a table that was ever stored, with the file that it came from."""
    return connection.execute(
        f"SELECT a.*, o.file AS in_file, o.sheet AS in_sheet FROM {table}_all a"
        " LEFT JOIN source_files o ON o.load_id = a.load_id AND o.source = a.source ORDER BY a.load_id, a.row_no"
    ).df()


def _turn(connection: DuckDBPyConnection, table: str, number: str, listed: list[int]) -> None:
    """Let marks or reasons fall away, or come back."""
    connection.execute(f"UPDATE {table} SET load_id = -load_id WHERE list_contains(?::INTEGER[], {number})", [listed])


def _mark(connection: DuckDBPyConnection, rule: Rule, rows: pd.DataFrame, typed: pd.DataFrame) -> None:
    if rows.empty:
        return
    kinds = fields(rule.table)
    texts = pd.DataFrame({name: as_text(typed[name], kinds[name].kind) for name in rule.fields})
    first = _next(connection, "flags_all", "flag_id")
    new = pd.DataFrame({
        "flag_id": range(first, first + len(rows)), "load_id": rows["load_id"].to_numpy(), "table_name": rule.table,
        "row_key": typed[key_of(rule.table)].to_numpy(), "field": rule.fields[0], "rule": rule.id, "effect": str(Effect(rule.effect)),
        "message": rule.message, "remedy": rule.remedy, "value": ["; ".join(one.dropna()) for _, one in texts.iterrows()],
        "file": rows["in_file"].to_numpy(), "sheet": rows["in_sheet"].to_numpy(), "line": rows["line"].to_numpy(),
    })  # fmt: skip
    connection.register("incoming", new)
    connection.execute(f"INSERT INTO flags_all ({', '.join(new)}) SELECT {', '.join(new)} FROM incoming")
    connection.unregister("incoming")


def new_places(connection: DuckDBPyConnection, settings: Settings) -> tuple[int, int]:
    """Hold back places that the study area speaks against, and give back those that it no longer speaks against.

    Returns
    -------
    int, int
        Places that were held back, and places that were given back. A place that was held back when its sheet was loaded is not among
        them: nobody knows in which order its numbers stand.
    """
    taken = json.loads(facts_of(connection).get(TAKEN, "[]"))
    rows = _rows(connection, "sites")
    if rows.empty:
        return 0, 0
    rows = rows.set_index(["load_id", "row_no"], drop=False)
    typed = conform("sites", rows)
    answered = {row[0] for row in connection.execute("SELECT item FROM corrections").fetchall()}
    for one in taken:
        typed.loc[tuple(one["row"]), ["latitude", "longitude"]] = one["place"]
    seen = of_settings("sites", typed, settings)
    rules = [one for one in rules_of("sites") if one.id in PLACES]
    masks = [one.mask(seen).fillna(False).astype(bool) for one in rules]
    back: list[Taken] = []
    kept: list[Taken] = []
    for one in taken:
        held = any(mask[tuple(one["row"])] for mask in masks) or not answered.isdisjoint(f"held-{item}" for item in one["items"])
        (kept if held else back).append(one)
    for one in back:
        connection.execute(
            "UPDATE sites_all SET latitude = ?, longitude = ? WHERE load_id = ? AND row_no = ? AND latitude IS NULL AND longitude IS NULL",
            [*one["place"], *one["row"]],
        )
        _turn(connection, "held_all", "held_id", one["items"])
    held_already = {tuple(one["row"]) for one in taken}
    new = [(rule, place) for rule, mask in zip(rules, masks, strict=True) for place in mask.index[mask] if tuple(place) not in held_already]
    kept += [_hold_place(connection, rule, rows.loc[place], typed.loc[place]) for rule, place in new]
    note_facts(connection, {TAKEN: json.dumps(kept)})
    return len(new), len(back)


def _hold_place(connection: DuckDBPyConnection, rule: Rule, row: pd.Series, typed: pd.Series) -> Taken:
    """Take the place out of a row, and list its two numbers as held back, as they are stored."""
    first = _next(connection, "held_all", "held_id")
    load_id, row_no = int(row["load_id"]), int(row["row_no"])
    for place, name in enumerate(rule.fields):
        text = as_text(pd.Series([typed[name]]), fields("sites")[name].kind)[0]
        connection.execute(
            "INSERT INTO held_all VALUES (?, ?, 'sites', ?, '', ?, '', ?, ?, ?, ?, ?, ?, ?, ?, false)",
            [
                first + place, load_id, typed["site_id"], name, _text(row["in_file"]), _text(row["in_sheet"]), _number(row["line"]), text,
                rule.id, rule.message, rule.remedy, row_no,
            ],
        )  # fmt: skip
    connection.execute("UPDATE sites_all SET latitude = NULL, longitude = NULL WHERE load_id = ? AND row_no = ?", [load_id, row_no])
    return {
        "row": [load_id, row_no], "place": [float(typed["latitude"]), float(typed["longitude"])],
        "items": list(range(first, first + len(rule.fields))),
    }  # fmt: skip


def _next(connection: DuckDBPyConnection, table: str, number: str) -> int:
    return int(connection.execute(f"SELECT coalesce(max({number}), 0) + 1 FROM {table}").fetchall()[0][0])


def _text(value: object) -> str | None:
    return value if isinstance(value, str) else None


def _number(value: float) -> int | None:
    return None if pd.isna(value) else int(value)
