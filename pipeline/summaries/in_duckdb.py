"""Readings reduced by DuckDB, the default: in Parquet files, or in a book that is open."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from pipeline.book.engine import engine
from pipeline.errors import RillbookError
from pipeline.summaries.columns import INSTANT, OTHER, PARTED_BY, REAL, TEXT, WHOLE, shown_sql

if TYPE_CHECKING:
    from pipeline.book.engine import DuckDBPyConnection

WHOLES = {"TINYINT", "SMALLINT", "INTEGER", "BIGINT", "HUGEINT", "UTINYINT", "USMALLINT", "UINTEGER", "UBIGINT", "UHUGEINT"}


def parquet_files(folder: Path) -> tuple[list[Path], int]:
    """Parquet files in a folder and below, and how many others lie there; a file stands for itself.

    Raises
    ------
    RillbookError
        There is no such folder, or no Parquet file in it.
    """
    if not folder.exists():
        raise RillbookError("there is no such folder or file.", "Name the folder that holds the Parquet files.", str(folder))
    every = [folder] if folder.is_file() else sorted(path for path in folder.rglob("*") if path.is_file() and path.name[0] not in "._")
    found = [path for path in every if path.suffix == ".parquet"]
    if not found:
        raise RillbookError(
            "no Parquet file is there.", "Files are known by the ending .parquet, in folders such as year=2024 too.", str(folder)
        )
    return found, len(every) - len(found)


class InDuckDB:
    """Adapter; see `columns.Engine`.

    Parameters
    ----------
    connection : DuckDBPyConnection
        Where temporary tables may be made.
    source : str
        SQL of the readings.
    where : str
        What they are called in a message.
    """

    dialect = "duckdb"

    def __init__(self, connection: DuckDBPyConnection, source: str, where: str, notes: list[str] | None = None) -> None:
        self.connection, self.source, self.where = connection, source, where
        self.notes = list(notes or [])

    def kinds(self) -> dict[str, str]:
        """Columns of the readings."""
        return {name: _kind(str(kind)) for name, kind, *_ in self._ask(f"DESCRIBE SELECT * FROM {self.source}")}

    def open(self) -> None:
        """Make them known."""
        self._run(
            "CREATE OR REPLACE TEMP VIEW readings AS SELECT logger_id::VARCHAR AS logger_id,"
            f" CASE WHEN isfinite(read_at) THEN epoch_us(read_at) END AS at_us, temp_c::DOUBLE AS temp_c FROM {self.source}"
        )

    def put(self, name: str, frame: pd.DataFrame) -> None:
        """Make a frame a table."""
        self.connection.register("given", frame)
        try:
            self._run(f"CREATE OR REPLACE TEMP TABLE {name} AS SELECT * FROM given")
        finally:
            self.connection.unregister("given")

    def keep(self, name: str, sql: str) -> None:
        """Make an answer a table."""
        self._run(f"CREATE OR REPLACE TEMP TABLE {name} AS {sql}")

    def rows(self, sql: str) -> list[tuple[Any, ...]]:
        """Answer a question."""
        return self._ask(sql)

    def write(self, table: str, sql: str, folder: str) -> None:
        """Write a table; its rows are in no order."""
        Path(folder).mkdir(parents=True, exist_ok=True)
        shown = shown_sql(table, sql, lambda us: f"make_timestamp({us})", lambda us: f"make_timestamp({us})::DATE", '"')
        self._run(f"COPY ({shown}) TO '{quoted(folder)}' (FORMAT parquet, PARTITION_BY ({PARTED_BY}), OVERWRITE_OR_IGNORE)")

    def _ask(self, sql: str) -> list[tuple[Any, ...]]:
        return list(self._run(sql).fetchall())

    def _run(self, sql: str) -> Any:
        duckdb = engine()
        try:
            return self.connection.execute(sql)
        except duckdb.Error as problem:
            first = (str(problem).splitlines() or [""])[0]
            raise RillbookError(
                f"the readings cannot be reduced ({first}).", "Are all files whole, and is the disk not full?", self.where
            ) from None


@contextmanager
def in_parquet(path: Path, scratch: Path) -> Iterator[InDuckDB]:
    """Readings in Parquet files.

    Parameters
    ----------
    path : Path
        A file, or a folder of files; parted by folders such as ``year=2024`` or ``logger_id=L1``, whose text stays text.
    scratch : Path
        Folder for what does not fit in memory.
    """
    files, others = parquet_files(path)
    listed = ", ".join(f"'{quoted(str(file))}'" for file in files)
    notes = [f"{others} other file{'' if others == 1 else 's'} in {path} not read: no Parquet."] if others else []
    with engine().connect() as connection:
        connection.execute(f"SET temp_directory = '{quoted(str(scratch))}'")
        connection.execute("SET preserve_insertion_order = false")
        source = (
            f"read_parquet([{listed}], union_by_name = true, hive_partitioning = {str(path.is_dir()).lower()}, hive_types_autocast = false)"
        )
        yield InDuckDB(connection, source, str(path), notes)


def quoted(text: str) -> str:
    """A text for the inside of an SQL string."""
    return text.replace("'", "''")


def _kind(kind: str) -> str:
    if kind == "VARCHAR" or kind.startswith("ENUM"):
        return TEXT
    if kind in WHOLES:
        return WHOLE
    if kind in ("DOUBLE", "FLOAT") or kind.startswith("DECIMAL"):
        return REAL
    return INSTANT if kind.startswith("TIMESTAMP") else OTHER
