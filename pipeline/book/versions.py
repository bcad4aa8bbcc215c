"""What a book is of: its version, the migrations from every earlier one, and whether its tables are those that it should have.

A version is a whole number that rises with every released change of a table. A book without a number is of version 1.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.book.engine import engine
from pipeline.book.tables import EXTRA, READINGS_EXTRA, TABLES, VIEWS
from pipeline.errors import RillbookError
from schemas.ddl import create_table
from schemas.tables import LOADED

if TYPE_CHECKING:
    from pipeline.book.engine import DuckDBPyConnection

VERSION = 2
FACTS = "CREATE TABLE IF NOT EXISTS book_facts (name VARCHAR PRIMARY KEY, value VARCHAR NOT NULL)"
DECLARED = {f"{table}_all": create_table(table, f"{table}_all", EXTRA) for table in LOADED} | {
    "logger_readings_all": create_table("logger_readings", "logger_readings_all", READINGS_EXTRA)
}
"""SQL that makes each table that is written from the schemas, by its name."""


@dataclass(frozen=True)
class Migration:
    """A step from one version of the book to the next.

    Attributes
    ----------
    to : int
        Version that the book has afterwards.
    what : str
        What changes, in words.
    change : callable
        What is done beyond making the tables as they are declared, which follows the last step; inside the transaction.
    """

    to: int
    what: str
    change: Callable[[DuckDBPyConnection], None]


def _know_the_method(connection: DuckDBPyConnection) -> None:
    """The first ledgers did not say by which method a value was derived."""
    connection.execute("ALTER TABLE IF EXISTS published ADD COLUMN IF NOT EXISTS method VARCHAR")


MIGRATIONS = (Migration(2, "the book knows its version", _know_the_method),)


def shape() -> str:
    """Hash of every table of the book as this program declares it."""
    return hashlib.sha256("\n".join([FACTS, TABLES, *DECLARED.values()]).encode()).hexdigest()[:16]


def version_of(connection: DuckDBPyConnection, path: Path) -> int | None:
    """Version of an open book; None where nothing was ever stored in it.

    Raises
    ------
    RillbookError
        It is no book of rillbook, of a later version than this program knows, or lacks a table or column.
    """
    columns = _columns(connection)
    if not columns:
        return None
    if "loads" not in columns:
        what = f"this is a database, but no book of rillbook: it has no table of loads, but {', '.join(sorted(columns)[:3])}."
        raise RillbookError(what, "Put the book's own file back, or restore it from a backup.", str(path))
    facts = facts_of(connection) if "book_facts" in columns else {}
    found = int(facts["version"]) if facts.get("version", "").isdigit() else 1
    if found > VERSION:
        what = f"the book is of version {found}; this rillbook knows versions up to {VERSION}."
        raise RillbookError(what, "Use the newer rillbook that wrote it. Nothing was changed.", str(path))
    for table, names in json.loads(facts.get("columns", "{}")).items():
        if lost := [name for name in names if name not in columns.get(table, ())]:
            what = (
                f"the book lacks {table + '.' + lost[0] if table in columns else 'the table ' + table}, which it had when it was written."
            )
            raise RillbookError(what, "Restore it from a backup: `rillbook restore FILE`.", str(path))
    return found


def is_current(connection: DuckDBPyConnection, found: int) -> bool:
    """Whether a book of that version has the tables and views of this very program."""
    if found != VERSION:
        return False
    facts = facts_of(connection)
    return facts.get("shape") == shape() and facts.get("views") == _views()


def facts_of(connection: DuckDBPyConnection) -> dict[str, str]:
    """What the book says of itself."""
    return dict(connection.execute("SELECT name, value FROM book_facts").fetchall())


def note_facts(connection: DuckDBPyConnection, facts: dict[str, str]) -> None:
    """Write down what the book says of itself; a fact that it has is replaced."""
    rows = ", ".join(["(?, ?)"] * len(facts))
    connection.execute(f"INSERT OR REPLACE INTO book_facts VALUES {rows}", [text for one in facts.items() for text in one])


def create(connection: DuckDBPyConnection) -> None:
    """Make the tables and views of a new book."""
    connection.execute(FACTS)
    connection.execute(TABLES)
    for text in DECLARED.values():
        connection.execute(text)
    _finish(connection)


def migrate(connection: DuckDBPyConnection, found: int) -> list[str]:
    """Take an open book from its version to this program's, inside the caller's transaction; what changed, in words.

    Raises
    ------
    RillbookError
        It holds a value that is no longer possible.
    """
    steps = [step for step in MIGRATIONS if step.to > found]
    connection.execute(FACTS)
    for step in steps:
        step.change(connection)
    connection.execute(TABLES)
    for table, text in DECLARED.items():
        _as_declared(connection, table, text)
    _finish(connection)
    return [step.what for step in steps]


def _as_declared(connection: DuckDBPyConnection, table: str, text: str) -> None:
    """Make a table as it is declared now, with its rows; a column that is declared no more stays, at its end."""
    duckdb = engine()

    if facts_of(connection).get(f"declared:{table}") == _hash(text):
        return
    old = dict(connection.execute("SELECT column_name, data_type FROM duckdb_columns() WHERE table_name = ?", [table]).fetchall())
    if not old:
        connection.execute(text)
        return
    new = f"new_{table}"
    connection.execute(text.replace(table, new, 1))
    declared = [row[0] for row in connection.execute(f"DESCRIBE {new}").fetchall()]
    for name in old.keys() - set(declared):
        connection.execute(f'ALTER TABLE {new} ADD COLUMN "{name}" {old[name]}')
    listed = ", ".join(f'"{name}"' for name in old)
    try:
        connection.execute(f"INSERT INTO {new} ({listed}) SELECT {listed} FROM {table}")
    except (duckdb.ConstraintException, duckdb.ConversionException) as problem:
        what = f"the book holds a value of {table} that this version does not take ({str(problem).splitlines()[0]}). Nothing was changed."
        raise RillbookError(what, "Go on with the rillbook that wrote it, and report this.") from None
    connection.execute(f"DROP TABLE {table}")
    connection.execute(f"ALTER TABLE {new} RENAME TO {table}")


def _finish(connection: DuckDBPyConnection) -> None:
    connection.execute(VIEWS)
    views = {row[0] for row in connection.execute("SELECT view_name FROM duckdb_views() WHERE NOT internal").fetchall()}
    columns = {table: sorted(names) for table, names in sorted(_columns(connection).items()) if table not in views}
    declared = {f"declared:{table}": _hash(text) for table, text in DECLARED.items()}
    facts = {"version": str(VERSION), "shape": shape(), "views": _views(), "columns": json.dumps(columns)}
    note_facts(connection, facts | declared)


def _columns(connection: DuckDBPyConnection) -> dict[str, set[str]]:
    """Columns of every table and view of the book itself."""
    rows = connection.execute(
        "SELECT table_name, column_name FROM duckdb_columns() WHERE database_name = current_database() AND NOT internal"
    ).fetchall()
    found: dict[str, set[str]] = {}
    for table, name in rows:
        found.setdefault(table, set()).add(name)
    return found


def _views() -> str:
    return _hash(VIEWS)


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:16]
