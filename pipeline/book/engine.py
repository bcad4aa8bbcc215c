"""The only door to DuckDB: it is imported when it is first asked for."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection as DuckDBPyConnection


def engine() -> Any:
    """Return the database's module: its errors and its way to open a file."""
    import duckdb

    return duckdb
