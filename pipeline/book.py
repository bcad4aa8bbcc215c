"""The book's database: append-only tables, views of the current version, one transaction a load. The only door to DuckDB."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pipeline.errors import RillbookError
from pipeline.values import as_text
from schemas.ddl import create_table
from schemas.tables import LOADED, fields, key_of

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

    from pipeline.accounting import Account
    from pipeline.check import Checked

FILE_NAME = "rillbook.duckdb"
UNDER = {"finds": "visit_id", "availability": "visit_id"}
EXTRA = "load_id INTEGER NOT NULL, row_no INTEGER NOT NULL, patch BOOLEAN NOT NULL, source INTEGER, source_row INTEGER, line INTEGER"
TYPES = {"whole": "Int64", "yes_no": "boolean", "day": "datetime64[us]", "instant": "datetime64[us]", "real": "float64"}

TABLES = """
CREATE TABLE IF NOT EXISTS loads (load_id INTEGER PRIMARY KEY, loaded_at TIMESTAMP NOT NULL, kind VARCHAR NOT NULL, files VARCHAR NOT NULL,
  content_hash VARCHAR NOT NULL, map_title VARCHAR, corrects INTEGER, undone_at TIMESTAMP, account VARCHAR);
CREATE TABLE IF NOT EXISTS source_files (load_id INTEGER, source INTEGER, file VARCHAR, sheet VARCHAR, sha256 VARCHAR, header VARCHAR);
CREATE TABLE IF NOT EXISTS source_rows (load_id INTEGER, source INTEGER, source_row INTEGER, line INTEGER, fate VARCHAR, cells VARCHAR);
CREATE TABLE IF NOT EXISTS held_all (held_id INTEGER, load_id INTEGER, table_name VARCHAR, row_key VARCHAR, parent_key VARCHAR, field VARCHAR,
  column_name VARCHAR, file VARCHAR, sheet VARCHAR, line INTEGER, text VARCHAR, rule VARCHAR, message VARCHAR, remedy VARCHAR, row_no INTEGER);
CREATE TABLE IF NOT EXISTS held_rows (load_id INTEGER, row_no INTEGER, table_name VARCHAR, row_text VARCHAR);
CREATE TABLE IF NOT EXISTS flags_all (flag_id INTEGER, load_id INTEGER, table_name VARCHAR, row_key VARCHAR, field VARCHAR, rule VARCHAR,
  effect VARCHAR, message VARCHAR, remedy VARCHAR, value VARCHAR, file VARCHAR, sheet VARCHAR, line INTEGER);
CREATE TABLE IF NOT EXISTS corrections (load_id INTEGER, item VARCHAR, table_name VARCHAR, row_key VARCHAR, field VARCHAR, old_text VARCHAR,
  corrected VARCHAR, dismiss_reason VARCHAR, who VARCHAR);
CREATE TABLE IF NOT EXISTS published (published_at TIMESTAMP, taxon VARCHAR, population VARCHAR, life_stage VARCHAR, medium VARCHAR, month VARCHAR,
  quantity VARCHAR, value DOUBLE, visits VARCHAR[]);
CREATE TABLE IF NOT EXISTS accepted_warmer (accepted_at TIMESTAMP, taxon VARCHAR, population VARCHAR, life_stage VARCHAR, medium VARCHAR,
  month VARCHAR, quantity VARCHAR, value DOUBLE, who VARCHAR, reason VARCHAR);
"""

VIEWS = """
CREATE OR REPLACE VIEW active AS SELECT load_id FROM loads l WHERE undone_at IS NULL
  AND NOT EXISTS (SELECT 1 FROM loads c WHERE c.corrects = l.load_id AND c.undone_at IS NULL);
CREATE OR REPLACE VIEW settled AS SELECT c.* FROM corrections c SEMI JOIN active USING (load_id);
CREATE OR REPLACE VIEW current_sites AS SELECT a.* FROM sites_all a SEMI JOIN active USING (load_id)
  QUALIFY row_number() OVER (PARTITION BY site_id ORDER BY load_id DESC) = 1;
CREATE OR REPLACE VIEW current_visits AS SELECT a.* FROM visits_all a SEMI JOIN active USING (load_id)
  QUALIFY row_number() OVER (PARTITION BY visit_id ORDER BY load_id DESC) = 1;
CREATE OR REPLACE VIEW visit_since AS SELECT visit_id, max(load_id) AS since FROM visits_all SEMI JOIN active USING (load_id)
  WHERE NOT patch GROUP BY visit_id;
CREATE OR REPLACE VIEW current_finds AS SELECT a.* FROM finds_all a SEMI JOIN active USING (load_id)
  LEFT JOIN visit_since s ON s.visit_id = a.visit_id WHERE a.load_id >= coalesce(s.since, 0)
  QUALIFY row_number() OVER (PARTITION BY find_id ORDER BY a.load_id DESC) = 1;
CREATE OR REPLACE VIEW current_availability AS SELECT a.* FROM availability_all a SEMI JOIN active USING (load_id)
  LEFT JOIN visit_since s ON s.visit_id = a.visit_id WHERE a.load_id >= coalesce(s.since, 0)
  QUALIFY row_number() OVER (PARTITION BY point_id ORDER BY a.load_id DESC) = 1;
CREATE OR REPLACE VIEW row_since AS
  SELECT 'sites' AS table_name, site_id AS row_key, max(load_id) AS since FROM sites_all SEMI JOIN active USING (load_id) WHERE NOT patch GROUP BY ALL
  UNION ALL SELECT 'visits', visit_id, since FROM visit_since
  UNION ALL SELECT 'finds', find_id, max(load_id) FROM finds_all SEMI JOIN active USING (load_id) WHERE NOT patch GROUP BY ALL
  UNION ALL SELECT 'availability', point_id, max(load_id) FROM availability_all SEMI JOIN active USING (load_id) WHERE NOT patch GROUP BY ALL;
CREATE OR REPLACE VIEW held AS SELECT 'held-' || h.held_id AS item, h.* FROM held_all h SEMI JOIN active USING (load_id)
  LEFT JOIN row_since r ON r.table_name = h.table_name AND r.row_key = h.row_key
  LEFT JOIN visit_since v ON v.visit_id = h.parent_key AND h.table_name IN ('finds', 'availability')
  WHERE 'held-' || h.held_id NOT IN (SELECT item FROM settled)
    AND h.load_id >= coalesce(r.since, 0) AND h.load_id >= coalesce(v.since, 0);
CREATE OR REPLACE VIEW sites AS SELECT * EXCLUDE (patch, source, source_row, line) FROM current_sites;
CREATE OR REPLACE VIEW finds AS SELECT * EXCLUDE (patch, source, source_row, line) FROM current_finds;
CREATE OR REPLACE VIEW availability AS SELECT * EXCLUDE (patch, source, source_row, line) FROM current_availability;
CREATE OR REPLACE VIEW visits AS SELECT v.* EXCLUDE (patch, source, source_row, line),
  (EXISTS (SELECT 1 FROM held h WHERE h.table_name = 'finds' AND h.row_no IS NOT NULL AND h.parent_key = v.visit_id)
   AND NOT EXISTS (SELECT 1 FROM current_finds f WHERE f.visit_id = v.visit_id)) AS incomplete FROM current_visits v;
CREATE OR REPLACE VIEW flags AS SELECT f.*, 'flag-' || f.flag_id AS item, s.who AS settled_by, s.dismiss_reason AS settled_reason FROM flags_all f
  JOIN (SELECT 'sites' AS table_name, site_id AS row_key, load_id FROM current_sites
    UNION ALL SELECT 'visits', visit_id, load_id FROM current_visits
    UNION ALL SELECT 'finds', find_id, load_id FROM current_finds
    UNION ALL SELECT 'availability', point_id, load_id FROM current_availability) now USING (table_name, row_key, load_id)
  LEFT JOIN settled s ON s.item = 'flag-' || f.flag_id;
"""


@dataclass(frozen=True)
class Changes:
    """What a load would do to rows that the book holds.

    Attributes
    ----------
    same : dict of str to set of str
        Keys of rows that the book holds already, by table.
    changed, vanished : list of str
        What would change, and what would vanish, in words.
    """

    same: dict[str, set[str]]
    changed: list[str] = field(default_factory=list)
    vanished: list[str] = field(default_factory=list)


def schema_version() -> str:
    """Hash of all table definitions; a file may be loaded again when it changes."""
    return hashlib.sha256("".join(create_table(table) for table in LOADED).encode()).hexdigest()[:16]


@contextmanager
def open_book(folder: Path, write: bool = False) -> Iterator[DuckDBPyConnection]:
    """Open the database of a book; with `write` in one transaction that ends in commit, or in rollback on any error.

    Parameters
    ----------
    folder : Path
        The book's folder.
    write : bool
        Whether anything is to be stored.

    Yields
    ------
    DuckDBPyConnection

    Raises
    ------
    RillbookError
        The database is locked, damaged, or the disk is full.
    """
    import duckdb

    path = folder / FILE_NAME
    try:
        connection = duckdb.connect(str(path)) if write or not path.exists() else duckdb.connect(str(path), read_only=True)
    except duckdb.IOException as problem:
        remedy = "Close it there and try again." if "lock" in str(problem).lower() else "Check the disk and the rights of the folder."
        what = "the book is open in another program" if "lock" in str(problem).lower() else f"the book cannot be opened ({_first(problem)})"
        raise RillbookError(f"{what}.", remedy, str(path)) from None
    except duckdb.Error as problem:
        raise RillbookError(f"this is not a database of rillbook ({_first(problem)}).", "Restore it from a copy.", str(path)) from None
    try:
        if write or not _has_tables(connection):
            connection.execute("BEGIN")
            _create(connection)
        yield connection
        if write:
            connection.execute("COMMIT")
    except duckdb.Error as problem:
        raise RillbookError(f"the book could not be written ({_first(problem)}). Nothing was changed.", "Is the disk full? Then free some space.", str(path)) from problem
    finally:
        connection.close()


def _first(problem: Exception) -> str:
    return str(problem).splitlines()[0].rstrip(".")


def _has_tables(connection: DuckDBPyConnection) -> bool:
    return bool(connection.execute("SELECT count(*) FROM information_schema.tables WHERE table_name = 'loads'").fetchall()[0][0])


def _create(connection: DuckDBPyConnection) -> None:
    if _has_tables(connection):
        return
    connection.execute(TABLES)
    for table in LOADED:
        connection.execute(create_table(table, f"{table}_all", EXTRA))
    connection.execute(VIEWS)


def has_book(folder: Path) -> bool:
    """Whether the folder's database has been written yet."""
    return (folder / FILE_NAME).exists()


def conform(table: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Declared fields of a table in their types, from a frame that DuckDB gave."""
    columns = {}
    for name, declared in fields(table).items():
        column = frame[name]
        if declared.kind in ("whole", "yes_no"):
            column = column.astype("object").where(column.notna(), pd.NA)
        columns[name] = column.astype(TYPES.get(declared.kind, "str"))
    return pd.DataFrame(columns, index=frame.index)


def current(connection: DuckDBPyConnection, table: str) -> pd.DataFrame:
    """Rows of the current version, by key; visits with ``incomplete``.

    Parameters
    ----------
    connection : DuckDBPyConnection
        An open book.
    table : str
        sites, visits, finds or availability.

    Returns
    -------
    DataFrame
        Declared fields in their types.
    """
    frame = connection.execute(f"SELECT * FROM {table} ORDER BY {key_of(table)}").df()
    typed = conform(table, frame)
    return typed.assign(incomplete=frame["incomplete"].astype(bool)) if table == "visits" else typed


def known_rows(connection: DuckDBPyConnection) -> dict[str, pd.DataFrame]:
    """Current rows of every table."""
    return {table: current(connection, table) for table in LOADED}


def content_hash(parts: list[str]) -> str:
    """Hash of what is loaded: files, map and schema."""
    return hashlib.sha256("\n".join([*sorted(parts), schema_version()]).encode()).hexdigest()


def loaded_as(connection: DuckDBPyConnection, content: str) -> int | None:
    """Load that brought this very content and still stands, or None."""
    rows = connection.execute("SELECT max(load_id) FROM loads SEMI JOIN active USING (load_id) WHERE content_hash = ?", [content]).fetchall()
    return rows[0][0]


def start_load(connection: DuckDBPyConnection, kind: str, files: list[str], content: str, map_title: str, corrects: int | None, at: datetime) -> int:
    """Open a load: its number is the next one.

    Raises
    ------
    RillbookError
        The load to be corrected does not exist or no longer stands.
    """
    if corrects is not None and not connection.execute("SELECT 1 FROM active WHERE load_id = ?", [corrects]).fetchall():
        raise RillbookError(f"there is no load {corrects} that still stands.", "`rillbook status` lists the loads.")
    load_id = connection.execute("SELECT coalesce(max(load_id), 0) + 1 FROM loads").fetchall()[0][0]
    connection.execute(
        "INSERT INTO loads VALUES (?, ?, ?, ?, ?, ?, ?, NULL, NULL)", [load_id, at, kind, json.dumps(files), content, map_title, corrects]
    )
    return int(load_id)


def changes(known: dict[str, pd.DataFrame], checked: Checked) -> Changes:
    """Compare accepted rows with the book.

    Parameters
    ----------
    known : dict of str to DataFrame
        Current rows of the book.
    checked : Checked
        Outcome of a check.

    Returns
    -------
    Changes
        A visit in the load stands for the whole visit: what the book holds of it and the load does not would vanish.
    """
    same: dict[str, set[str]] = {table: set() for table in LOADED}
    changed: list[str] = []
    differing: dict[str, set[str]] = {}
    for table in LOADED:
        frame, book = checked.tables[table].accepted, known[table]
        key = key_of(table)
        both = _compare(table, frame[frame[key].isin(book[key])], book)
        differing[table] = set(both)
        same[table] = set(frame[key]) & set(book[key]) - set(both)
        changed += [f"{table[:-1] if table != 'availability' else 'point'} {row}: {what}" for row, what in both.items()]
    vanished = _vanishing(known, checked)
    return Changes(_whole_visits(same, known, checked, differing, vanished), changed, [f"{table[:-1]} {key}" for table, key in vanished])


def _compare(table: str, frame: pd.DataFrame, book: pd.DataFrame) -> dict[str, str]:
    """Rows that differ from the book, with the fields that do."""
    key = key_of(table)
    names = [name for name, declared in fields(table).items() if not declared.derived]
    new = frame.set_index(key, drop=False)[names]
    old = book.set_index(key, drop=False).loc[new.index, names]
    new_text = pd.DataFrame({name: as_text(new[name], fields(table)[name].kind).fillna("") for name in names})
    old_text = pd.DataFrame({name: as_text(old[name], fields(table)[name].kind).fillna("") for name in names})
    differs = new_text != old_text
    found = {}
    for row in differs.index[differs.any(axis=1)]:
        parts = [f"{name} {old_text.at[row, name] or 'blank'} → {new_text.at[row, name] or 'blank'}" for name in names if differs.at[row, name]]
        found[str(row)] = ", ".join(parts)
    return found


def _vanishing(known: dict[str, pd.DataFrame], checked: Checked) -> list[tuple[str, str]]:
    replaced = set(checked.tables["visits"].accepted["visit_id"])
    gone = []
    for table, parent in UNDER.items():
        book, key = known[table], key_of(table)
        mine = book[book[parent].isin(replaced) & ~book[key].isin(checked.tables[table].accepted[key])]
        gone += [(table, str(one)) for one in mine[key]]
    return gone


def _whole_visits(
    same: dict[str, set[str]], known: dict[str, pd.DataFrame], checked: Checked, differing: dict[str, set[str]], vanished: list[tuple[str, str]]
) -> dict[str, set[str]]:
    """A visit is the same only with all that hangs on it; otherwise all of it is stored again."""
    broken = {str(key) for key in same["visits"] if key in differing["visits"]}
    for table, parent in UNDER.items():
        frame, key, book = checked.tables[table].accepted, key_of(table), known[table]
        broken |= set(frame.loc[~frame[key].isin(same[table]), parent])
        gone = [one for where, one in vanished if where == table]
        broken |= set(book.loc[book[key].isin(gone), parent])
    broken &= set(checked.tables["visits"].accepted["visit_id"])
    broken |= differing["visits"]
    same["visits"] -= broken
    for table, parent in UNDER.items():
        frame = checked.tables[table].accepted
        same[table] -= set(frame.loc[frame[parent].isin(broken), key_of(table)])
    return same


def added_to_known(known: dict[str, pd.DataFrame], checked: Checked, found: Changes) -> list[str]:
    """Rows that the load adds to visits which the book holds and the load describes again."""
    described = set(checked.tables["visits"].accepted["visit_id"]) & set(known["visits"]["visit_id"])
    added = []
    for table, parent in UNDER.items():
        frame, key = checked.tables[table].accepted, key_of(table)
        new = frame[frame[parent].isin(described) & ~frame[key].isin(known[table][key])]
        added += [f"{table[:-1] if table == 'finds' else 'point'} {one} is added to visit {visit}" for one, visit in zip(new[key], new[parent], strict=True)]
    return added


def store(connection: DuckDBPyConnection, load_id: int, checked: Checked, account: Account, same: dict[str, set[str]], patch: bool = False) -> None:
    """Append what a check accepted and what it held back; `same` rows are left out.

    Raises
    ------
    AssertionError
        A row hangs on nothing.
    """
    for number, source in enumerate(checked.sources):
        one = source.source
        connection.execute(
            "INSERT INTO source_files VALUES (?, ?, ?, ?, ?, ?)",
            [load_id, number, one.file, one.sheet, one.sha256, json.dumps(list(one.cells.columns), ensure_ascii=False)],
        )
        texts = [json.dumps(row, ensure_ascii=False) for row in one.cells.to_numpy().tolist()]
        for place, cells in one.misshapen.items():
            texts[place] = json.dumps(cells, ensure_ascii=False)
        rows = pd.DataFrame({"source": number, "source_row": range(len(texts)), "line": one.lines, "fate": account.row_fates[number], "cells": texts})
        _insert(connection, "source_rows", rows, load_id)
    for table in LOADED:
        result = checked.tables[table]
        accepted = result.accepted[~result.accepted[key_of(table)].isin(same[table])]
        origin = result.candidates.origin.loc[accepted.index]
        frame = accepted.assign(row_no=accepted.index, patch=patch, source=origin["source"], source_row=origin["row"], line=origin["line"])
        _insert(connection, f"{table}_all", frame, load_id)
        held = result.candidates.text.loc[result.held_rows]
        texts = [json.dumps({name: text for name, text in row.items() if isinstance(text, str)}, ensure_ascii=False) for row in held.to_dict("records")]
        _insert(connection, "held_rows", pd.DataFrame({"row_no": held.index, "table_name": table, "row_text": texts}), load_id)
    _store_reasons(connection, load_id, checked, same)
    _check_links(connection)
    summary = {"rows": account.rows, "cells": account.cells, "tables": account.tables}
    connection.execute("UPDATE loads SET account = ? WHERE load_id = ?", [json.dumps(summary), load_id])


def _store_reasons(connection: DuckDBPyConnection, load_id: int, checked: Checked, same: dict[str, set[str]]) -> None:
    files = [source.source.file for source in checked.sources]
    sheets = [source.source.sheet for source in checked.sources]
    for name, frame, number in (("held_all", checked.held, "held_id"), ("flags_all", checked.flags, "flag_id")):
        known = [row.row_key in same.get(row.table, ()) for row in frame.itertuples()]
        frame = frame[~np.array(known, dtype=bool)]
        first = connection.execute(f"SELECT coalesce(max({number}), 0) + 1 FROM {name}").fetchall()[0][0]
        stored = frame.rename(columns={"table": "table_name", "column": "column_name"}).assign(
            file=[files[one] for one in frame["source"]], sheet=[sheets[one] for one in frame["source"]]
        )
        stored[number] = np.arange(first, first + len(frame))
        if name == "held_all":
            stored["row_no"] = frame["candidate"].where(frame["candidate"] >= 0, None).astype("Int64")
        _insert(connection, name, stored, load_id)


def _insert(connection: DuckDBPyConnection, name: str, frame: pd.DataFrame, load_id: int) -> None:
    if frame.empty:
        return
    frame = frame.assign(load_id=load_id)
    columns = [row[0] for row in connection.execute(f"DESCRIBE {name}").fetchall() if row[0] in frame]
    listed = ", ".join(f'"{column}"' for column in columns)
    connection.register("incoming", frame[columns])
    connection.execute(f"INSERT INTO {name} ({listed}) SELECT {listed} FROM incoming")
    connection.unregister("incoming")


def _check_links(connection: DuckDBPyConnection) -> None:
    """No current row may hang on nothing; checked over the whole book."""
    for table, parent, above in (("visits", "site_id", "sites"), ("finds", "visit_id", "visits"), ("availability", "visit_id", "visits")):
        lost = connection.execute(f"SELECT {parent} FROM current_{table} ANTI JOIN current_{above} USING ({parent}) LIMIT 1").fetchall()
        assert not lost, f"a row of {table} hangs on {parent} {lost}, which is not in the book"


def undo(connection: DuckDBPyConnection, load_id: int, at: datetime) -> None:
    """Take a load back; what it superseded is current again.

    Raises
    ------
    RillbookError
        There is no such load, it is undone already, or a later load rests on it; the message names that load.
    """
    rows = connection.execute("SELECT undone_at FROM loads WHERE load_id = ?", [load_id]).fetchall()
    if not rows:
        raise RillbookError(f"there is no load {load_id}.", "`rillbook status` lists the loads.")
    if rows[0][0] is not None:
        raise RillbookError(f"load {load_id} is undone already.", "`rillbook status` lists the loads.")
    if (later := _resting_on(connection, load_id)) is not None:
        raise RillbookError(f"load {later} rests on load {load_id}.", f"Undo load {later} first.")
    connection.execute("UPDATE loads SET undone_at = ? WHERE load_id = ?", [at, load_id])


def _resting_on(connection: DuckDBPyConnection, load_id: int) -> int | None:
    """First later load that would lose its ground without this one."""
    repairs = """SELECT min(c.load_id) FROM settled c WHERE c.load_id > $1 AND (
        c.item IN (SELECT 'held-' || held_id FROM held_all WHERE load_id = $1) OR c.item IN (SELECT 'flag-' || flag_id FROM flags_all WHERE load_id = $1))"""
    correcting = "SELECT min(load_id) FROM loads WHERE corrects = $1 AND undone_at IS NULL"
    under = """SELECT min(a.load_id) FROM {table}_all a SEMI JOIN active USING (load_id) WHERE a.load_id > $1
        AND a.{parent} IN (SELECT {parent} FROM {above}_all WHERE load_id = $1)
        AND a.{parent} NOT IN (SELECT {parent} FROM {above}_all SEMI JOIN active USING (load_id) WHERE load_id <> $1)"""
    links = (("visits", "site_id", "sites"), ("finds", "visit_id", "visits"), ("availability", "visit_id", "visits"))
    queries = [repairs, correcting, *(under.format(table=table, parent=parent, above=above) for table, parent, above in links)]
    numbers = [row[0] for query in queries for row in connection.execute(query, [load_id]).fetchall() if row[0] is not None]
    return min(numbers) if numbers else None


def held(connection: DuckDBPyConnection) -> pd.DataFrame:
    """Open held rows and values, and unsettled flags that keep a row out of targets, each with its item name."""
    return connection.execute("""
        SELECT item, load_id, file, sheet, line, table_name AS "table", row_key AS "row", field, column_name AS "column", text, rule, message,
          remedy, row_no IS NOT NULL AS whole_row FROM held
        UNION ALL
        SELECT item, load_id, file, sheet, line, table_name, row_key, field, '', value, rule, message, remedy, false FROM flags
          WHERE effect = 'flag_exclude' AND settled_by IS NULL
        ORDER BY load_id, file, sheet, line, item""").df()


def held_row_texts(connection: DuckDBPyConnection, items: list[str]) -> pd.DataFrame:
    """Texts of held rows, one row an item: ``item``, ``table_name``, ``load_id``, ``row_no``, ``rule``, ``field``, ``texts`` (dict)."""
    frame = connection.execute("""
        SELECT h.item, h.table_name, h.load_id, h.row_no, h.rule, h.field, h.row_key, h.parent_key, r.row_text FROM held h
        JOIN held_rows r USING (load_id, row_no, table_name)""").df()
    frame = frame[frame["item"].isin(items)] if items else frame
    return frame.assign(texts=[json.loads(text) for text in frame["row_text"]])


def settle(connection: DuckDBPyConnection, load_id: int, settled: pd.DataFrame) -> None:
    """Write corrections: item, table, row, field, old text, corrected, reason, by."""
    names = {"table": "table_name", "row": "row_key", "text": "old_text", "by": "who"}
    _insert(connection, "corrections", settled.rename(columns=names), load_id)


def loads(connection: DuckDBPyConnection) -> pd.DataFrame:
    """All loads, with what became of their rows."""
    return connection.execute("""
        SELECT load_id, loaded_at, kind, files, map_title, corrects, undone_at, load_id IN (SELECT load_id FROM active) AS stands, account
        FROM loads ORDER BY load_id""").df()


def published(connection: DuckDBPyConnection) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The ledger: values published so far with the site-days behind each, and the warmer ones that a named person accepted."""
    before = connection.execute("SELECT * EXCLUDE (published_at) FROM published").df()
    accepted = connection.execute("SELECT * EXCLUDE (accepted_at, who, reason) FROM accepted_warmer").df()
    return before.assign(visits=[frozenset(days) for days in before["visits"]]), accepted


def publish(connection: DuckDBPyConnection, entries: pd.DataFrame, at: datetime) -> None:
    """Add values to the ledger; an entry that stands there already is not repeated."""
    if entries.empty:
        return
    rows = entries.assign(published_at=at, visits=[sorted(days) for days in entries["visits"]])
    connection.register("incoming", rows)
    names = "taxon, population, life_stage, medium, month, quantity, value, visits"
    connection.execute(f"INSERT INTO published SELECT published_at, {names} FROM incoming i ANTI JOIN published p USING ({names})")
    connection.unregister("incoming")


def accept_warmer(connection: DuckDBPyConnection, notes: pd.DataFrame, who: str, reason: str, at: datetime) -> None:
    """Write down that a person takes values that are warmer than an earlier publication."""
    rows = notes.rename(columns={"derived": "value"}).assign(accepted_at=at, who=who, reason=reason)
    if rows.empty:
        return
    connection.register("incoming", rows)
    names = "accepted_at, taxon, population, life_stage, medium, month, quantity, value, who, reason"
    connection.execute(f"INSERT INTO accepted_warmer SELECT {names} FROM incoming")
    connection.unregister("incoming")
