"""The book's database file: opened, made and closed, in one transaction. The only door to DuckDB."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from pipeline.book.tables import EXTRA, READINGS_EXTRA, TABLES, VIEWS
from pipeline.errors import RillbookError
from schemas.ddl import TYPES as SQL_TYPES
from schemas.ddl import create_table
from schemas.tables import LOADED, fields

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection as DuckDBPyConnection


FILE_NAME = "rillbook.duckdb"


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
        connection = duckdb.connect(str(path))
        # exact places lie in it; a file system without rights keeps what it has
        with suppress(OSError):
            path.chmod(0o600)
        return connection
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
    return bool(connection.execute("SELECT count(*) FROM duckdb_tables() WHERE table_name = ?", [name]).fetchall()[0][0])


def _create(connection: DuckDBPyConnection, write: bool) -> None:
    if _has_tables(connection):
        # a book of an earlier version gets what came later
        lacks = [name for name in ("uncounted_all", "conversions_all") if not _has_tables(connection, name)]
        new = [table for table in LOADED if not _has_tables(connection, f"{table}_all")]
        if write:
            _create_loaded(connection, new)
            if _add_fields(connection) or lacks or new:
                connection.execute(TABLES + VIEWS)
        elif new:
            _stand_in(connection, new)
        return
    connection.execute(TABLES)
    _create_loaded(connection, LOADED)
    connection.execute(create_table("logger_readings", "logger_readings_all", READINGS_EXTRA))
    connection.execute(VIEWS)


def _create_loaded(connection: DuckDBPyConnection, tables: Iterable[str]) -> None:
    for table in tables:
        connection.execute(create_table(table, f"{table}_all", EXTRA))


def _stand_in(connection: DuckDBPyConnection, tables: Iterable[str]) -> None:
    """Empty tables for a reader of a book of an earlier version: it may not write, and must not stumble over what is not there."""
    for table in tables:
        for name in (table, f"current_{table}", f"{table}_all"):
            extra = EXTRA if name != table else "load_id INTEGER, row_no INTEGER"
            connection.execute(create_table(table, name, extra).replace("CREATE TABLE", "CREATE TEMP TABLE", 1))


def _add_fields(connection: DuckDBPyConnection) -> bool:
    """Give a book of an earlier version the fields that were declared since; whether there were any."""
    missing = []
    for table in LOADED:
        known = {row[0] for row in connection.execute(f"DESCRIBE {table}_all").fetchall()}
        missing += [(table, declared) for name, declared in fields(table).items() if name not in known]
    for table, declared in missing:
        connection.execute(f'ALTER TABLE {table}_all ADD COLUMN "{declared.name}" {SQL_TYPES[declared.kind]}')
    return bool(missing)


def is_empty(connection: DuckDBPyConnection) -> bool:
    """Whether no load stands."""
    return not connection.execute("SELECT 1 FROM active LIMIT 1").fetchall()


def has_rows(connection: DuckDBPyConnection, name: str) -> bool:
    """Whether a table of the database holds anything; far cheaper than to plan a view on it."""
    return bool(connection.execute(f"SELECT 1 FROM {name} LIMIT 1").fetchall())


def append_rows(connection: DuckDBPyConnection, name: str, frame: pd.DataFrame, load_id: int) -> None:
    """Append the columns of a frame that a table has; each row bears the number of its load."""
    if frame.empty:
        return
    frame = frame.assign(load_id=load_id)
    columns = [row[0] for row in connection.execute(f"DESCRIBE {name}").fetchall() if row[0] in frame]
    listed = ", ".join(f'"{column}"' for column in columns)
    connection.register("incoming", frame[columns])
    connection.execute(f"INSERT INTO {name} ({listed}) SELECT {listed} FROM incoming")
    connection.unregister("incoming")
