"""A book as SQL text that makes it again: how the small books of earlier versions are kept in tests/book/earlier.

To keep the book of today's version, before a version rises: ``python tests/book_dump.py BOOK > tests/book/earlier/version_N.sql``.
"""

from __future__ import annotations

import re
import sys
from graphlib import TopologicalSorter
from pathlib import Path
from typing import Any

import duckdb


def dump(connection: duckdb.DuckDBPyConnection) -> str:
    """Tables, rows and views of an open book as SQL."""
    tables = connection.execute("SELECT table_name, sql FROM duckdb_tables() WHERE NOT internal ORDER BY table_name").fetchall()
    views = dict(connection.execute("SELECT view_name, sql FROM duckdb_views() WHERE NOT internal ORDER BY view_name").fetchall())
    parts = [sql.rstrip(";") + ";" for _, sql in tables]
    for table, _ in tables:
        parts += [
            f"INSERT INTO {table} VALUES ({', '.join(literal(one) for one in row)});"
            for row in connection.execute(f'SELECT * FROM "{table}" ORDER BY ALL').fetchall()
        ]
    return "\n".join([*parts, *(views[name].rstrip(";\n ") + ";" for name in in_order(views))]) + "\n"


def in_order(views: dict[str, str]) -> list[str]:
    """Names of views, each after those that it reads."""
    needs = {name: set(re.findall(r"(?:FROM|JOIN)\W+(\w+)", sql)) & views.keys() - {name} for name, sql in views.items()}
    return list(TopologicalSorter(needs).static_order())


def literal(value: Any) -> str:
    """A value as SQL."""
    if value is None:
        return "NULL"
    if isinstance(value, list):
        return "[" + ", ".join(literal(one) for one in value) + "]"
    return str(value) if isinstance(value, bool | int | float) else "'" + str(value).replace("'", "''") + "'"


def rebuild(sql: Path, path: Path) -> None:
    """Make the file of a book from its SQL."""
    with duckdb.connect(str(path)) as connection:
        connection.execute(sql.read_text(encoding="utf-8"))


if __name__ == "__main__":
    with duckdb.connect(str(Path(sys.argv[1]) / "rillbook.duckdb"), read_only=True) as opened:
        sys.stdout.write(dump(opened))
