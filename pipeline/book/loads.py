"""Loads: appended, never written over, taken back as a whole."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pipeline.book.changes import row_word
from pipeline.book.connection import append_rows, has_rows
from pipeline.checking.outcome import Account, Checked
from pipeline.errors import RillbookError
from pipeline.reading.rows import SourceTable
from schemas.ddl import create_table
from schemas.tables import LOADED, key_of

if TYPE_CHECKING:
    from pipeline.book.connection import DuckDBPyConnection


# Rows that are written as JSON together
AT_ONCE = 20_000
AS_JSON = json.JSONEncoder(ensure_ascii=False).encode
LINKS = (
    ("visits", "site_id", "sites"), ("finds", "visit_id", "visits"), ("availability", "visit_id", "visits"),
    ("loggers", "site_id", "sites"), ("loggers", "enclosure_id", "enclosures"), ("logger_readings", "logger_id", "loggers"),
    ("water_tests", "visit_id", "visits"), ("water_tests", "enclosure_id", "enclosures"),
    ("husbandry_events", "enclosure_id", "enclosures"),
)  # fmt: skip


State = list[tuple[int, datetime | None]]
"""Which loads a book has and which were undone: two commands that see the same see the same rows."""


def state_of(connection: DuckDBPyConnection) -> State:
    """State of an open book."""
    return connection.execute("SELECT load_id, undone_at FROM loads ORDER BY load_id").fetchall()


def schema_version() -> str:
    """Hash of all table definitions; a file may be loaded again when it changes."""
    return hashlib.sha256("".join(create_table(table) for table in LOADED).encode()).hexdigest()[:16]


def content_hash(parts: list[str]) -> str:
    """Hash of what is loaded: files, map and schema."""
    return hashlib.sha256("\n".join([*sorted(parts), schema_version()]).encode()).hexdigest()


def loaded_as(connection: DuckDBPyConnection, content: str) -> int | None:
    """Load that brought this very content and still stands; None too where rows of it waited for others that the book holds by now."""
    before = connection.execute(
        "SELECT max(load_id) FROM loads SEMI JOIN active USING (load_id) WHERE content_hash = ?", [content]
    ).fetchall()[0][0]
    if before is None:
        return None
    for table, parent, above in LINKS:
        if not has_rows(connection, f"{above}_all"):
            continue
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


def store_checked(
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
        for start, texts in _rows_as_json(one):
            part = slice(start, start + len(texts))
            rows = {"source_row": range(part.start, part.stop), "line": one.lines[part], "fate": account.row_fates[number][part]}
            append_rows(connection, "source_rows", pd.DataFrame({"source": number, **rows, "cells": texts}), load_id)
    for table in LOADED:
        result = checked.tables[table]
        known = result.accepted[key_of(table)].isin(same[table])
        accepted = result.accepted[~known] if known.any() else result.accepted
        origin = result.candidates.origin.loc[accepted.index]
        frame = accepted.assign(row_no=accepted.index, patch=patch, source=origin["source"], source_row=origin["row"], line=origin["line"])
        append_rows(connection, f"{table}_all", frame, load_id)
        held = result.candidates.text.loc[result.held_rows]
        texts = [
            json.dumps({name: text for name, text in row.items() if isinstance(text, str)}, ensure_ascii=False)
            for row in held.to_dict("records")
        ]
        append_rows(connection, "held_rows", pd.DataFrame({"row_no": held.index, "table_name": table, "row_text": texts}), load_id)
        _rest(connection, load_id, table, same[table])
    _store_reasons(connection, load_id, checked, same)
    _store_conversions(connection, load_id, checked, same)
    _store_uncounted(connection, load_id, checked)
    _check_links(connection)
    summary = {"rows": account.rows, "cells": account.cells, "tables": account.tables}
    connection.execute("UPDATE loads SET account = ? WHERE load_id = ?", [json.dumps(summary), load_id])


def _rows_as_json(one: SourceTable) -> Iterator[tuple[int, list[str]]]:
    """Cells of each row as a JSON list, some rows at a time with the position of the first; each distinct text is written once."""
    written = {name: known.change(lambda texts: pd.Series(list(map(AS_JSON, texts)), dtype="object")) for name, known in one.coded.items()}
    told_apart = list(written) == list(one.cells.columns)
    for start in range(0, len(one.lines), AT_ONCE):
        part = slice(start, start + AT_ONCE)
        if told_apart:
            columns = [known.values.to_numpy()[known.place[part]].tolist() for known in written.values()]
            found = [f"[{', '.join(row)}]" for row in zip(*columns, strict=True)]
        else:
            found = [AS_JSON(row) for row in one.cells.iloc[part].to_numpy().tolist()]
        for place in one.misshapen.keys() & range(start, start + len(found)):
            found[place - start] = AS_JSON(one.misshapen[place])
        yield start, found


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
        append_rows(connection, name, stored, load_id)


def _store_conversions(connection: DuckDBPyConnection, load_id: int, checked: Checked, same: dict[str, set[str]]) -> None:
    known = [row.row_key in same.get(row.table, ()) for row in checked.converted.itertuples()]
    frame = checked.converted[~np.array(known, dtype=bool)].rename(columns={"table": "table_name"})
    origin = [checked.sources[one].source for one in frame["source"]]
    append_rows(
        connection, "conversions_all", frame.assign(file=[one.file for one in origin], sheet=[one.sheet for one in origin]), load_id
    )


def _store_uncounted(connection: DuckDBPyConnection, load_id: int, checked: Checked) -> None:
    frame = checked.uncounted
    origin = [checked.sources[one].source for one in frame["source"]]
    append_rows(connection, "uncounted_all", frame.assign(file=[one.file for one in origin], sheet=[one.sheet for one in origin]), load_id)


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
        # to plan a query over the views of a table costs more than a small load
        if not has_rows(connection, f"{table}_all"):
            continue
        lost = connection.execute(
            f"""SELECT {key_of(table)}, {parent} FROM current_{table} ANTI JOIN current_{above} USING ({parent})
            WHERE {parent} IS NOT NULL ORDER BY ALL LIMIT 1"""
        ).fetchall()
        if lost:
            raise RillbookError(
                f"{row_word(table)} {lost[0][0]} of another load hangs on {row_word(above)} {lost[0][1]}, which would be gone. "
                "Nothing was changed.",
                f"Keep {row_word(above)} {lost[0][1]} in the sheet, or undo the load that brought {row_word(table)} {lost[0][0]}.",
            )


def undo_load(connection: DuckDBPyConnection, load_id: int, at: datetime) -> None:
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


def all_loads(connection: DuckDBPyConnection) -> pd.DataFrame:
    """All loads, with what became of their rows."""
    return connection.execute("""
        SELECT load_id, loaded_at, kind, files, map_title, corrects, undone_at, load_id IN (SELECT load_id FROM active) AS stands, account
        FROM loads ORDER BY load_id""").df()
