"""DuckDB tables, written from the declared fields."""

from __future__ import annotations

from schemas.fields import CLOCK_PATTERN, Field
from schemas.tables import fields
from schemas.vocabulary import codes

TYPES = {
    "text": "VARCHAR", "code": "VARCHAR", "codes": "VARCHAR", "clock": "VARCHAR",
    "real": "DOUBLE", "whole": "BIGINT", "yes_no": "BOOLEAN", "day": "DATE", "instant": "TIMESTAMP",
}  # fmt: skip


def quoted(text: str) -> str:
    """A text as an SQL literal."""
    return "'" + text.replace("'", "''") + "'"


def column(field: Field) -> str:
    """One column definition with NOT NULL, span, codes and pattern."""
    parts = [f'"{field.name}"', TYPES[field.kind]]
    if field.required:
        parts.append("NOT NULL")
    if field.possible is not None:
        low, high = field.possible
        parts.append(f'CHECK ("{field.name}" >= {low} AND "{field.name}" <= {high})')
    if field.kind == "code":
        parts.append(f'CHECK ("{field.name}" IN ({", ".join(quoted(code) for code in codes(field.vocabulary))}))')
    if field.kind == "clock":
        parts.append(f'CHECK (regexp_full_match("{field.name}", {quoted(CLOCK_PATTERN)}))')
    if field.kind == "text" and field.required:
        parts.append(f'CHECK (length("{field.name}") >= 1)')
    return " ".join(parts)


def create_table(table: str, name: str | None = None, extra: str = "") -> str:
    """SQL that creates the table.

    Parameters
    ----------
    table : str
        Declared table.
    name : str, optional
        Name in the database; the declared one if not given.
    extra : str, optional
        Further column definitions, placed first.

    Returns
    -------
    str
        One CREATE TABLE statement.
    """
    columns = ([extra] if extra else []) + [column(field) for field in fields(table).values()]
    return f"CREATE TABLE IF NOT EXISTS {name or table} (\n  " + ",\n  ".join(columns) + "\n)"
