"""Readings reduced by PostgreSQL, in a table that is there; the door to psycopg (extra `postgresql`)."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.book.engine import engine
from pipeline.errors import RillbookError
from pipeline.summaries.columns import INSTANT, OTHER, REAL, TEXT, WHOLE, raw_columns
from pipeline.summaries.in_duckdb import InDuckDB, quoted

KINDS = {
    "text": TEXT, "character varying": TEXT, "character": TEXT, "smallint": WHOLE, "integer": WHOLE, "bigint": WHOLE, "real": REAL,
    "double precision": REAL, "numeric": REAL, "timestamp without time zone": INSTANT, "timestamp with time zone": INSTANT,
}  # fmt: skip


class InPostgreSQL:
    """Adapter; see `columns.Engine`. Parquet is written by DuckDB, to which the reduced rows are handed as CSV.

    Parameters
    ----------
    connection : psycopg.Connection
        All is done in one transaction that is taken back in the end: temporary tables, and no change.
    source : str
        Name of the table or view, with its schema before a point where it is not on the search path.
    scratch : Path
        Folder for the rows on their way.
    """

    dialect = "postgres"

    def __init__(self, connection: Any, source: str, scratch: Path) -> None:
        from psycopg import sql

        self.connection, self.where, self.scratch = connection, source, scratch
        self.notes: list[str] = []
        self.name = sql.Identifier(*source.split(".")).as_string(connection)

    def kinds(self) -> dict[str, str]:
        """Columns of the readings."""
        asked = (
            "SELECT a.attname, format_type(a.atttypid, NULL) FROM pg_attribute a"
            " WHERE a.attrelid = to_regclass(%s) AND a.attnum > 0 AND NOT a.attisdropped"
        )
        found = self._run(asked, [self.name]).fetchall()
        if not found:
            raise RillbookError("there is no such table.", "Name it as schema.table.", self.where)
        return {name: KINDS.get(kind, OTHER) for name, kind in found}

    def open(self) -> None:
        """Make them known."""
        self._run("SET LOCAL TIME ZONE 'UTC'")
        self._run("SET LOCAL extra_float_digits = 1")
        self._run(
            "CREATE TEMP VIEW readings AS SELECT logger_id::text AS logger_id,"
            " CASE WHEN isfinite(read_at) THEN (extract(epoch FROM read_at) * 1000000)::bigint END AS at_us,"
            # OFFSET keeps the moment from being worked out anew wherever a question names it
            f" temp_c::double precision AS temp_c FROM {self.name} OFFSET 0"
        )

    def put(self, name: str, frame: pd.DataFrame) -> None:
        """Make a frame a table."""
        kinds = ", ".join(f'"{column}" {"bigint" if frame[column].dtype == "int64" else "text"}' for column in frame.columns)
        self._run(f"CREATE TEMP TABLE {name} ({kinds})")
        with self._told(), self.connection.cursor() as cursor, cursor.copy(f"COPY {name} FROM STDIN") as copy:
            for row in frame.astype("object").to_numpy().tolist():
                copy.write_row(row)
        self._run(f"ANALYZE {name}")

    def keep(self, name: str, sql: str) -> None:
        """Make an answer a table."""
        self._run(f"CREATE TEMP TABLE {name} AS {sql}")
        self._run(f"ANALYZE {name}")

    def rows(self, sql: str) -> list[tuple[Any, ...]]:
        """Answer a question."""
        return list(self._run(sql).fetchall())

    def write(self, table: str, sql: str, folder: str) -> None:
        """Write a table; its rows are in no order."""
        path = self.scratch / f"{table}.csv"
        asked = f"COPY ({sql}) TO STDOUT (FORMAT csv, HEADER)"
        with self._told(), self.connection.cursor() as cursor, path.open("wb") as file, cursor.copy(asked) as copy:
            for part in copy:
                file.write(part)
        kinds = {"string": "VARCHAR", "int64": "BIGINT", "float64": "DOUBLE"}
        columns = ", ".join(f"'{name}': '{kinds[kind]}'" for name, kind in raw_columns(table).items())
        with engine().connect() as connection:
            connection.execute(f"SET temp_directory = '{quoted(str(self.scratch))}'")
            rows = f"read_csv('{quoted(str(path))}', header = true, auto_detect = false, columns = {{{columns}}})"
            InDuckDB(connection, rows, self.where).write(table, f"SELECT * FROM {rows}", folder)
        path.unlink()

    def _run(self, sql: str, values: list[str] | None = None) -> Any:
        with self._told():
            return self.connection.execute(sql, values)

    @contextmanager
    def _told(self) -> Iterator[None]:
        from psycopg import Error

        try:
            yield
        except Error as problem:
            first = (str(problem).splitlines() or [""])[0]
            raise RillbookError(
                f"PostgreSQL cannot do this ({first}).", "May you read the table, and is the disk not full?", self.where
            ) from None


@contextmanager
def in_postgresql(source: str, scratch: Path, conninfo: str = "") -> Iterator[InPostgreSQL]:
    """Readings in a table of the database that PostgreSQL's own variables name (PGHOST, PGDATABASE, PGSERVICE …): no password is typed.

    Parameters
    ----------
    source : str
        Name of the table, with its schema.
    scratch : Path
        Folder for rows on their way.
    conninfo : str
        More of where the database is, as PostgreSQL's own programs take it.

    Raises
    ------
    RillbookError
        psycopg is not installed, or there is no connection.
    """
    try:
        import psycopg
    except ImportError:
        raise RillbookError(
            "psycopg is not installed.", "Install rillbook with the extra postgresql: pip install '.[postgresql]'."
        ) from None
    try:
        connection = psycopg.connect(conninfo)
    except psycopg.Error as problem:
        first = (str(problem).splitlines() or [""])[0]
        raise RillbookError(
            f"there is no connection to PostgreSQL ({first}).", "Set PGHOST, PGDATABASE and PGUSER, or PGSERVICE."
        ) from None
    try:
        yield InPostgreSQL(connection, source, scratch)
    finally:
        connection.rollback()
        connection.close()
