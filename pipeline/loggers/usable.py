"""Logger readings that count: those at sites, without the stretches that the checks marked as doubtful (method §6, §10)."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import pandas as pd

DOUBTFUL = ("out_of_range", "jump", "flat_line", "flat_day", "out_of_water")
"""Marks after which a temperature is no evidence; a gap or a clock that was set back takes no reading away."""

_MARKED = f"""SELECT DISTINCT logger_id, from_at, to_at FROM logger_flags
  WHERE rule IN ({", ".join(f"'{rule}'" for rule in DOUBTFUL)}) AND field = 'temp_c'"""


def at_sites(connection: Any, without: Collection[str] = ()) -> str:
    """SQL of the readings of loggers at sites, those in doubt among them.

    Parameters
    ----------
    connection : DuckDBPyConnection
        A book.
    without : collection of str
        Loggers that are left out.
    """
    connection.register("loggers_left_out", pd.DataFrame({"logger_id": sorted(without)}, dtype="str"))
    here = "SELECT logger_id FROM loggers WHERE site_id <> '' EXCEPT SELECT logger_id FROM loggers_left_out"
    return f"(SELECT logger_id, read_at, temp_c FROM logger_readings SEMI JOIN ({here}) USING (logger_id))"


def doubtful_stretches(connection: Any) -> pd.DataFrame:
    """Stretches that a check marked: ``logger_id``, ``from_at``, ``to_at`` (UTC, no zone), both ends included."""
    return connection.execute(f"{_MARKED} ORDER BY ALL").df()


def values_around(connection: Any, asked: pd.DataFrame) -> pd.DataFrame:
    """Readings that count on both sides of moments.

    Parameters
    ----------
    connection : DuckDBPyConnection
        A book.
    asked : DataFrame
        ``logger_id``, ``read_at`` (UTC, no zone).

    Returns
    -------
    DataFrame
        ``before_at``, ``before_c`` (°C): last reading of the logger up to that moment; ``after_at``, ``after_c``: first from it on. Missing
        where there is none. Index of `asked`.
    """
    connection.register("asked", asked[["logger_id", "read_at"]].reset_index(drop=True).rename_axis("row").reset_index())
    counts = f"""SELECT logger_id, read_at, temp_c FROM logger_readings r SEMI JOIN asked USING (logger_id) WHERE temp_c IS NOT NULL
      AND NOT EXISTS (SELECT 1 FROM ({_MARKED}) m WHERE m.logger_id = r.logger_id AND r.read_at BETWEEN m.from_at AND m.to_at)"""
    found = connection.execute(
        f"""WITH counts AS MATERIALIZED ({counts})
        SELECT b.read_at AS before_at, b.temp_c AS before_c, a.read_at AS after_at, a.temp_c AS after_c FROM asked q
        ASOF LEFT JOIN counts b ON q.logger_id = b.logger_id AND q.read_at >= b.read_at
        ASOF LEFT JOIN counts a ON q.logger_id = a.logger_id AND q.read_at <= a.read_at ORDER BY q.row"""
    ).df()
    connection.unregister("asked")
    return found.set_axis(asked.index)
