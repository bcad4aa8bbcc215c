"""Rows of the current version, in the types that the schemas declare."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pipeline.book.connection import has_rows
from schemas.tables import LOADED, fields, key_of

if TYPE_CHECKING:
    from pipeline.book.connection import DuckDBPyConnection


TYPES = {"whole": "Int64", "yes_no": "boolean", "day": "datetime64[us]", "instant": "datetime64[us]", "real": "float64"}


def conform(table: str, frame: pd.DataFrame, wanted: Collection[str] = ()) -> pd.DataFrame:
    """Declared fields of a table in their types, or those of them that are wanted, from a frame that DuckDB gave."""
    # most tables of a small book have no row, and to type their forty columns takes as long as to type a thousand rows
    return _typed(table, frame, wanted) if len(frame) else _of(_no_rows(table), wanted)


@cache
def _no_rows(table: str) -> pd.DataFrame:
    return _typed(table, pd.DataFrame(index=pd.RangeIndex(0)))


def _typed(table: str, frame: pd.DataFrame, wanted: Collection[str] = ()) -> pd.DataFrame:
    columns = {}
    for name, declared in fields(table).items():
        if wanted and name not in wanted:
            continue
        # a book of an earlier version lacks what came later
        column = frame[name] if name in frame else pd.Series(np.nan, index=frame.index, dtype="object")
        if declared.kind in ("whole", "yes_no"):
            column = column.astype("object").where(column.notna(), pd.NA)
        columns[name] = column.astype(TYPES.get(declared.kind, "str"))
    return pd.DataFrame(columns, index=frame.index)


def _of(frame: pd.DataFrame, wanted: Collection[str]) -> pd.DataFrame:
    return frame[[name for name in frame if not wanted or name in wanted]].copy()


def current_rows(connection: DuckDBPyConnection, table: str, as_stored: bool = False, wanted: Collection[str] = ()) -> pd.DataFrame:
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
    wanted : collection of str
        Fields that are asked for; all if empty. A large book is read in a fraction of the time and memory where few are.

    Returns
    -------
    DataFrame
        Declared fields in their types.
    """
    if not has_rows(connection, f"{table}_all"):
        return _of(_nothing(table), (*wanted, "incomplete") if wanted else ())
    read = [*wanted, *(["incomplete"] if table == "visits" else [])] if wanted else ["*"]
    frame = connection.execute(f"SELECT {', '.join(read)} FROM {table} ORDER BY {key_of(table)}").df()
    if as_stored and "said_target_taxa" in frame:
        frame = frame.assign(target_taxa=frame["said_target_taxa"])
    typed = conform(table, frame, wanted)
    return typed.assign(incomplete=frame["incomplete"].astype(bool)) if table == "visits" else typed


@cache
def _nothing(table: str) -> pd.DataFrame:
    typed = conform(table, pd.DataFrame(index=pd.RangeIndex(0)))
    return typed.assign(incomplete=pd.Series(dtype=bool)) if table == "visits" else typed


def hold_visits(connection: DuckDBPyConnection) -> None:
    """Work out once what visits say: a temporary table stands before the view ``visits``, for as long as this connection is open.

    For those who join visits many times, and store none meanwhile: to work them out takes longer than most joins.
    """
    connection.execute("CREATE TEMP TABLE visits AS SELECT * FROM visits")


def known_rows(
    connection: DuckDBPyConnection, as_stored: bool = False, wanted: Mapping[str, Collection[str]] | None = None
) -> dict[str, pd.DataFrame]:
    """Current rows of every table, of some tables no more than the wanted fields; see :func:`current_rows`."""
    return {table: current_rows(connection, table, as_stored, (wanted or {}).get(table, ())) for table in LOADED}


def brought_by(connection: DuckDBPyConnection, load_id: int) -> dict[str, set[str]]:
    """Keys of the rows that a load stored, by table."""
    query = "SELECT DISTINCT {key} FROM {table}_all WHERE load_id = ?"
    return {
        table: {row[0] for row in connection.execute(query.format(key=key_of(table), table=table), [load_id]).fetchall()}
        for table in LOADED
    }


def stored_conversions(connection: DuckDBPyConnection) -> pd.DataFrame:
    """Values of the current version that are more than a copy of what was written: the text, the value as text, and how it was read."""
    return connection.execute("SELECT * FROM conversions ORDER BY load_id, table_name, row_key, field").df()
