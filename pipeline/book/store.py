"""The book's database: append-only tables, views of the current version, one transaction a load. The only door to DuckDB."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pipeline.book.tables import EXTRA, READINGS_EXTRA, TABLES, VIEWS
from pipeline.checking.outcome import Account, Checked
from pipeline.errors import RillbookError
from pipeline.reading.values import as_text
from schemas.ddl import create_table
from schemas.enums import Effect
from schemas.tables import LOADED, fields, key_of

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection


FILE_NAME = "rillbook.duckdb"
LINKS = (
    ("visits", "site_id", "sites"), ("finds", "visit_id", "visits"), ("availability", "visit_id", "visits"),
    ("loggers", "site_id", "sites"), ("loggers", "enclosure_id", "enclosures"), ("logger_readings", "logger_id", "loggers"),
)  # fmt: skip
UNDER = {"finds": "visit_id", "availability": "visit_id"}
REASON = ("table", "row_key", "parent_key", "field", "rule", "text")
TYPES = {"whole": "Int64", "yes_no": "boolean", "day": "datetime64[us]", "instant": "datetime64[us]", "real": "float64"}


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
        connection = _connect(path, write)
    except duckdb.Error as problem:
        raise _not_opened(problem, path) from None
    try:
        connection.execute("BEGIN")
        _create(connection, write)
        yield connection
        if write:
            connection.execute("COMMIT")
    except (duckdb.OperationalError, duckdb.FatalException) as problem:
        what = f"the book could not be {'written' if write else 'read'} ({_first(problem)}). Nothing was changed."
        raise RillbookError(what, "Is the disk full? Then free some space and try again.", str(path)) from problem
    finally:
        _close(connection)


def _connect(path: Path, write: bool) -> DuckDBPyConnection:
    """A connection; where a reader finds nothing written yet, an empty book in memory, so that reading leaves no file behind."""
    import duckdb

    if write:
        return duckdb.connect(str(path))
    if path.exists():
        connection = duckdb.connect(str(path), read_only=True)
        if _has_tables(connection):
            return connection
        connection.close()
    return duckdb.connect(":memory:")


def _not_opened(problem: Exception, path: Path) -> RillbookError:
    text = str(problem)
    if "Could not set lock" in text:
        return RillbookError("the book is open in another program.", "Close it there and try again.", str(path))
    if "not a valid DuckDB database" in text or "Serialization" in type(problem).__name__:
        return RillbookError("this is not a database of rillbook, or it is damaged.", "Restore it from a copy.", str(path))
    return RillbookError(f"the book cannot be opened ({_first(problem)}).", "Check the disk and the rights of the folder.", str(path))


def _close(connection: DuckDBPyConnection) -> None:
    import duckdb

    # after a full disk the database refuses even to close; what matters was said already
    with suppress(duckdb.Error):
        connection.close()


def _first(problem: Exception) -> str:
    return str(problem).splitlines()[0].rstrip(".")


def _has_tables(connection: DuckDBPyConnection, name: str = "loads") -> bool:
    return bool(connection.execute("SELECT count(*) FROM information_schema.tables WHERE table_name = ?", [name]).fetchall()[0][0])


def _create(connection: DuckDBPyConnection, write: bool) -> None:
    if _has_tables(connection):
        # a book of an earlier version gets what came later
        if write and not all(_has_tables(connection, name) for name in ("uncounted_all", "conversions_all")):
            connection.execute(TABLES + VIEWS)
        return
    connection.execute(TABLES)
    for table in LOADED:
        connection.execute(create_table(table, f"{table}_all", EXTRA))
    connection.execute(create_table("logger_readings", "logger_readings_all", READINGS_EXTRA))
    connection.execute(VIEWS)


def is_empty(connection: DuckDBPyConnection) -> bool:
    """Whether no load stands."""
    return not connection.execute("SELECT 1 FROM active LIMIT 1").fetchall()


def conform(table: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Declared fields of a table in their types, from a frame that DuckDB gave."""
    columns = {}
    for name, declared in fields(table).items():
        column = frame[name]
        if declared.kind in ("whole", "yes_no"):
            column = column.astype("object").where(column.notna(), pd.NA)
        columns[name] = column.astype(TYPES.get(declared.kind, "str"))
    return pd.DataFrame(columns, index=frame.index)


def current(connection: DuckDBPyConnection, table: str, as_stored: bool = False) -> pd.DataFrame:
    """Rows of the current version, by key; visits with ``incomplete``.

    Parameters
    ----------
    connection : DuckDBPyConnection
        An open book.
    table : str
        One of `LOADED`.
    as_stored : bool
        Whether `target_taxa` of a visit are those that were written, to compare or repair them. Else they are the taxa that were found, and
        those of which the visit may say that they were not: see `book.absences`.

    Returns
    -------
    DataFrame
        Declared fields in their types.
    """
    frame = connection.execute(f"SELECT * FROM {table} ORDER BY {key_of(table)}").df()
    if as_stored and "said_target_taxa" in frame:
        frame = frame.assign(target_taxa=frame["said_target_taxa"])
    typed = conform(table, frame)
    return typed.assign(incomplete=frame["incomplete"].astype(bool)) if table == "visits" else typed


def known_rows(connection: DuckDBPyConnection, as_stored: bool = False) -> dict[str, pd.DataFrame]:
    """Current rows of every table; see :func:`current`."""
    return {table: current(connection, table, as_stored) for table in LOADED}


def content_hash(parts: list[str]) -> str:
    """Hash of what is loaded: files, map and schema."""
    return hashlib.sha256("\n".join([*sorted(parts), schema_version()]).encode()).hexdigest()


def settled_reasons(connection: DuckDBPyConnection) -> pd.DataFrame:
    """Reasons that a person has answered and that still count: ``table``, ``row_key``, ``parent_key``, ``field``, ``rule``, ``text``."""
    return connection.execute(f"""SELECT table_name AS "table", {", ".join(REASON[1:])} FROM reason WHERE is_settled""").df()


def brought_by(connection: DuckDBPyConnection, load_id: int) -> dict[str, set[str]]:
    """Keys of the rows that a load stored, by table."""
    query = "SELECT DISTINCT {key} FROM {table}_all WHERE load_id = ?"
    return {
        table: {row[0] for row in connection.execute(query.format(key=key_of(table), table=table), [load_id]).fetchall()}
        for table in LOADED
    }


def loaded_as(connection: DuckDBPyConnection, content: str) -> int | None:
    """Load that brought this very content and still stands; None too where rows of it waited for others that the book holds by now."""
    before = connection.execute(
        "SELECT max(load_id) FROM loads SEMI JOIN active USING (load_id) WHERE content_hash = ?", [content]
    ).fetchall()[0][0]
    for table, parent, above in LINKS:
        waiting = (
            f"FROM held JOIN current_{above} ON parent_key = {parent} WHERE held.load_id = ? AND table_name = ? AND rule LIKE 'parent_%'"
        )
        if connection.execute(f"SELECT 1 {waiting} LIMIT 1", [before, table]).fetchall():
            return None
    return before  # type: ignore[no-any-return]


def start_load(
    connection: DuckDBPyConnection, kind: str, files: list[str], content: str, map_title: str, corrects: int | None, at: datetime
) -> int:
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


def is_settled(held: pd.DataFrame, settled: pd.DataFrame) -> np.ndarray:
    """Which reasons a person has answered already, about the same text: they need no second answer."""
    answered = set(settled[list(REASON)].itertuples(index=False, name=None))
    return np.array([reason in answered for reason in held[list(REASON)].itertuples(index=False, name=None)], dtype=bool)


def changes(known: dict[str, pd.DataFrame], checked: Checked, settled: pd.DataFrame) -> Changes:
    """Compare accepted rows with the book.

    Parameters
    ----------
    known : dict of str to DataFrame
        Current rows of the book.
    checked : Checked
        Outcome of a check.
    settled : DataFrame
        As :func:`settled_reasons`: a value or row that was repaired in the book and stands in the sheet as before is no change.

    Returns
    -------
    Changes
        A sheet that only names a site, and says nothing that differs, leaves it as it is. A visit in the load stands for the whole
        visit: what the book holds of it and the load does not would vanish, and what the load adds to it is a change.
    """
    answered = checked.held[is_settled(checked.held, settled)]
    differing, kept = {}, {}
    for table in LOADED:
        frame, book = checked.tables[table].accepted, known[table]
        differs = _compare(table, frame[frame[key_of(table)].isin(book[key_of(table)])], book)
        if table == "sites":
            said = {name for _, mapped in checked.tables[table].candidates.parts for name in mapped.text.columns}
            differs = {key: parts for key, parts in differs.items() if said & set(parts)}
        cells = set(answered.loc[answered["table"] == table, ["row_key", "field"]].itertuples(index=False, name=None))
        differing[table] = {key: parts for key, parts in differs.items() if any((key, name) not in cells for name in parts)}
        kept[table] = {key: parts for key, parts in differs.items() if key not in differing[table]}
    vanishing = _vanishing(known, checked)
    repaired = [
        one for one in vanishing if one[1] in set(answered.loc[(answered["table"] == one[0]) & (answered["candidate"] >= 0), "row_key"])
    ]
    vanished = [one for one in vanishing if one not in repaired]
    broken = _broken_visits(known, checked, differing, vanished)
    same = _same(known, checked, differing, broken)
    for table in ("visits", *UNDER):
        frame = checked.tables[table].accepted
        lost = frame.loc[frame["visit_id"].isin(broken), key_of(table)]
        differing[table].update({key: kept[table][key] for key in lost if key in kept[table]})
    under = {table: known[table].set_index(key_of(table))["visit_id"] for table in UNDER}
    vanished += [(table, key) for table, key in repaired if under[table][key] in broken]
    changed = [f"{_one(table)} {key}: {', '.join(parts.values())}" for table in LOADED for key, parts in differing[table].items()]
    return Changes(same, changed + _added(known, checked), [f"{_one(table)} {key}" for table, key in vanished])


def _one(table: str) -> str:
    return "point" if table == "availability" else table[:-1]


def _compare(table: str, frame: pd.DataFrame, book: pd.DataFrame) -> dict[str, dict[str, str]]:
    """Rows that differ from the book: key, field, and the change in words."""
    if frame.empty:
        return {}
    key = key_of(table)
    names = [name for name, declared in fields(table).items() if not declared.derived]
    new = frame.set_index(key, drop=False)[names]
    old = book.set_index(key, drop=False).loc[new.index, names]
    new_text = pd.DataFrame({name: as_text(new[name], fields(table)[name].kind).fillna("") for name in names})
    old_text = pd.DataFrame({name: as_text(old[name], fields(table)[name].kind).fillna("") for name in names})
    differs = new_text != old_text
    return {
        str(row): {
            name: f"{name} {old_text.at[row, name] or 'blank'} → {new_text.at[row, name] or 'blank'}"
            for name in names
            if differs.at[row, name]
        }
        for row in differs.index[differs.any(axis=1)]
    }


def _vanishing(known: dict[str, pd.DataFrame], checked: Checked) -> list[tuple[str, str]]:
    replaced = set(checked.tables["visits"].accepted["visit_id"])
    gone = []
    for table, parent in UNDER.items():
        book, key = known[table], key_of(table)
        mine = book[book[parent].isin(replaced) & ~book[key].isin(checked.tables[table].accepted[key])]
        gone += [(table, str(one)) for one in mine[key]]
    return gone


def _broken_visits(
    known: dict[str, pd.DataFrame], checked: Checked, differing: dict[str, Any], vanished: list[tuple[str, str]]
) -> set[str]:
    """Visits of the load that are not, with all that hangs on them, as the book holds them; all of each is stored again."""
    broken = set(differing["visits"])
    for table, parent in UNDER.items():
        frame, key, book = checked.tables[table].accepted, key_of(table), known[table]
        broken |= set(frame.loc[~frame[key].isin(book[key]) | frame[key].isin(differing[table].keys()), parent])
        broken |= set(book.loc[book[key].isin([one for where, one in vanished if where == table]), parent])
    return broken & set(checked.tables["visits"].accepted["visit_id"])


def _same(known: dict[str, pd.DataFrame], checked: Checked, differing: dict[str, Any], broken: set[str]) -> dict[str, set[str]]:
    same = {}
    for table in LOADED:
        frame, key = checked.tables[table].accepted, key_of(table)
        stays = frame[key].isin(known[table][key]) & ~frame[key].isin(differing[table].keys())
        if "visit_id" in frame:
            stays &= ~frame["visit_id"].isin(broken)
        same[table] = set(frame.loc[stays, key])
    return same


def _added(known: dict[str, pd.DataFrame], checked: Checked) -> list[str]:
    """Rows that the load adds to visits which the book holds and the load describes again."""
    described = set(checked.tables["visits"].accepted["visit_id"]) & set(known["visits"]["visit_id"])
    added = []
    for table, parent in UNDER.items():
        frame, key = checked.tables[table].accepted, key_of(table)
        new = frame[frame[parent].isin(described) & ~frame[key].isin(known[table][key])]
        added += [f"{_one(table)} {one} is added to visit {visit}" for one, visit in zip(new[key], new[parent], strict=True)]
    return added


def store(
    connection: DuckDBPyConnection, load_id: int, checked: Checked, account: Account, same: dict[str, set[str]], patch: bool = False
) -> None:
    """Append what a check accepted and what it held back; `same` rows are left out.

    Raises
    ------
    RillbookError
        A row of an earlier load would hang on nothing.
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
        rows = pd.DataFrame(
            {"source": number, "source_row": range(len(texts)), "line": one.lines, "fate": account.row_fates[number], "cells": texts}
        )
        _insert(connection, "source_rows", rows, load_id)
    for table in LOADED:
        result = checked.tables[table]
        accepted = result.accepted[~result.accepted[key_of(table)].isin(same[table])]
        origin = result.candidates.origin.loc[accepted.index]
        frame = accepted.assign(row_no=accepted.index, patch=patch, source=origin["source"], source_row=origin["row"], line=origin["line"])
        _insert(connection, f"{table}_all", frame, load_id)
        held = result.candidates.text.loc[result.held_rows]
        texts = [
            json.dumps({name: text for name, text in row.items() if isinstance(text, str)}, ensure_ascii=False)
            for row in held.to_dict("records")
        ]
        _insert(connection, "held_rows", pd.DataFrame({"row_no": held.index, "table_name": table, "row_text": texts}), load_id)
        _rest(connection, load_id, table, same[table])
    _store_reasons(connection, load_id, checked, same)
    _store_conversions(connection, load_id, checked, same)
    _store_uncounted(connection, load_id, checked)
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
            stored = stored.assign(row_no=frame["of"], whole_row=frame["candidate"] >= 0)
        _insert(connection, name, stored, load_id)


def _store_conversions(connection: DuckDBPyConnection, load_id: int, checked: Checked, same: dict[str, set[str]]) -> None:
    known = [row.row_key in same.get(row.table, ()) for row in checked.converted.itertuples()]
    frame = checked.converted[~np.array(known, dtype=bool)].rename(columns={"table": "table_name"})
    origin = [checked.sources[one].source for one in frame["source"]]
    _insert(connection, "conversions_all", frame.assign(file=[one.file for one in origin], sheet=[one.sheet for one in origin]), load_id)


def _store_uncounted(connection: DuckDBPyConnection, load_id: int, checked: Checked) -> None:
    frame = checked.uncounted
    origin = [checked.sources[one].source for one in frame["source"]]
    _insert(connection, "uncounted_all", frame.assign(file=[one.file for one in origin], sheet=[one.sheet for one in origin]), load_id)


def conversions(connection: DuckDBPyConnection) -> pd.DataFrame:
    """Values of the current version that are more than a copy of what was written: the text, the value as text, and how it was read."""
    return connection.execute("SELECT * FROM conversions ORDER BY load_id, table_name, row_key, field").df()


def _insert(connection: DuckDBPyConnection, name: str, frame: pd.DataFrame, load_id: int) -> None:
    if frame.empty:
        return
    frame = frame.assign(load_id=load_id)
    columns = [row[0] for row in connection.execute(f"DESCRIBE {name}").fetchall() if row[0] in frame]
    listed = ", ".join(f'"{column}"' for column in columns)
    connection.register("incoming", frame[columns])
    connection.execute(f"INSERT INTO {name} ({listed}) SELECT {listed} FROM incoming")
    connection.unregister("incoming")


def _rest(connection: DuckDBPyConnection, load_id: int, table: str, keys: set[str]) -> None:
    """Write down on which loads this one rests because they brought some of its rows already."""
    if keys:
        connection.register("incoming", pd.DataFrame({"row_key": sorted(keys)}))
        connection.execute(
            f"INSERT INTO rests SELECT DISTINCT {load_id}, load_id FROM current_{table} JOIN incoming ON row_key = {key_of(table)}"
        )
        connection.unregister("incoming")


def _check_links(connection: DuckDBPyConnection) -> None:
    """No current row may hang on nothing; checked over the whole book."""
    for table, parent, above in LINKS:
        lost = connection.execute(
            f"""SELECT {key_of(table)}, {parent} FROM current_{table} ANTI JOIN current_{above} USING ({parent})
            WHERE {parent} IS NOT NULL ORDER BY ALL LIMIT 1"""
        ).fetchall()
        if lost:
            raise RillbookError(
                f"{_one(table)} {lost[0][0]} of another load hangs on {_one(above)} {lost[0][1]}, which would be gone. "
                "Nothing was changed.",
                f"Keep {_one(above)} {lost[0][1]} in the sheet, or undo the load that brought {_one(table)} {lost[0][0]}.",
            )


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
        c.item IN (SELECT 'held-' || held_id FROM held_all WHERE load_id = $1)
        OR c.item IN (SELECT 'flag-' || flag_id FROM flags_all WHERE load_id = $1))"""
    correcting = "SELECT min(load_id) FROM loads WHERE corrects = $1 AND undone_at IS NULL"
    under = """SELECT min(a.load_id) FROM {table}_all a SEMI JOIN active USING (load_id) WHERE a.load_id > $1
        AND a.{parent} IN (SELECT {parent} FROM {above}_all WHERE load_id = $1)
        AND a.{parent} NOT IN (SELECT {parent} FROM {above}_all SEMI JOIN active USING (load_id) WHERE load_id <> $1)"""
    same = "SELECT min(load_id) FROM rests SEMI JOIN active USING (load_id) WHERE on_load = $1"
    queries = [repairs, correcting, same, *(under.format(table=table, parent=parent, above=above) for table, parent, above in LINKS)]
    numbers = [row[0] for query in queries for row in connection.execute(query, [load_id]).fetchall() if row[0] is not None]
    return min(numbers) if numbers else None


def held(connection: DuckDBPyConnection) -> pd.DataFrame:
    """Open held rows and values, and unsettled flags that keep a row out of targets, each with its item name."""
    return connection.execute(f"""
        SELECT item, load_id, file, sheet, line, "table", "row", field, "column", text, rule, message, remedy, whole_row FROM (
          SELECT item, load_id, file, sheet, line, table_name AS "table", row_key AS "row", field,
            column_name AS "column", text, rule, message,
            remedy, whole_row, held_id AS number FROM held
          UNION ALL
          SELECT item, load_id, file, sheet, line, table_name, row_key, field, '', value, rule, message, remedy, false, flag_id FROM flags
            WHERE effect = '{Effect.FLAG_EXCLUDE}' AND settled_by IS NULL)
        ORDER BY load_id, file, sheet, line, number""").df()


def answers(connection: DuckDBPyConnection) -> pd.DataFrame:
    """Answers that stand: ``item``, ``corrected``, ``dismiss_reason``."""
    return connection.execute("SELECT item, corrected, dismiss_reason FROM settled").df()


def held_row_texts(connection: DuckDBPyConnection) -> pd.DataFrame:
    """Held rows that are open, one row a reason for the row or for a value of it.

    Returns
    -------
    DataFrame
        ``item``, ``table_name``, ``load_id``, ``row_no``, ``rule``, ``field``, ``row_key``, ``parent_key``, ``whole_row``,
        ``texts`` (field to text).
    """
    frame = connection.execute("""
        SELECT 'held-' || h.held_id AS item, h.table_name, h.load_id, h.row_no, h.rule, h.field, h.row_key, h.parent_key, h.whole_row,
          r.row_text
        FROM reason h JOIN held_rows r USING (load_id, row_no, table_name)
        WHERE (load_id, row_no, table_name) IN (SELECT (load_id, row_no, table_name) FROM held WHERE whole_row)
          AND NOT (h.whole_row AND h.is_settled)
        ORDER BY h.held_id""").df()
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
    if "method" not in before:
        before["method"] = None
    return before.assign(visits=[frozenset(days) for days in before["visits"]]), accepted


def publish(connection: DuckDBPyConnection, entries: pd.DataFrame, at: datetime) -> None:
    """Add values to the ledger; an entry that stands there already is not repeated."""
    if entries.empty:
        return
    rows = entries.assign(published_at=at, visits=[sorted(days) for days in entries["visits"]])
    connection.register("incoming", rows)
    names = "taxon, population, life_stage, medium, month, quantity, value, visits, method"
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
