"""Columns of what comes in and of what goes out, in words that the adapters of all engines share."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Protocol

import pandas as pd

from pipeline.errors import RillbookError
from schemas.fields import Text
from schemas.frames.frame import Count, names_of
from schemas.frames.summaries import SUMMARIES, SUMMARY_COLUMNS

TEXT, WHOLE, REAL, INSTANT, OTHER = "text", "whole number", "number", "date and time", "other"
WANTED: dict[str, tuple[str, ...]] = {"logger_id": (TEXT, WHOLE), "read_at": (INSTANT,), "temp_c": (REAL, WHOLE)}
PARTED_BY = "year"
"""Column by which tables are parted: year of the hour, of the local day or of the excursion's start."""


class Engine(Protocol):
    """What an adapter does: the rest is the same for all engines. Nothing that it makes outlasts it, but for what :meth:`write` writes.

    Attributes
    ----------
    dialect : str
        Name under which `expressions.sql_of` knows its SQL.
    where : str
        What the readings are called in a message.
    notes : list of str
        What a person should know of the readings that it found.
    """

    dialect: str
    where: str
    notes: list[str]

    def kinds(self) -> dict[str, str]:
        """Columns of the readings, each with its kind: ``TEXT``, ``WHOLE``, ``REAL``, ``INSTANT`` or ``OTHER``."""
        ...

    def open(self) -> None:
        """Make the readings known as ``readings``, in the columns of `expressions.READINGS`."""
        ...

    def put(self, name: str, frame: pd.DataFrame) -> None:
        """Make a small frame of texts and whole numbers a table."""
        ...

    def keep(self, name: str, sql: str) -> None:
        """Make what a question answers a table."""
        ...

    def rows(self, sql: str) -> list[tuple[Any, ...]]:
        """Answer a question of few rows."""
        ...

    def write(self, table: str, sql: str, folder: str) -> None:
        """Write one of the reduced tables as Parquet, a folder a year."""
        ...


def refuse_unfit(kinds: Mapping[str, str], where: str) -> None:
    """Stop where a column is missing or of a kind that cannot be read.

    Raises
    ------
    RillbookError
    """
    missing = [name for name in WANTED if name not in kinds]
    if missing:
        has = ", ".join(sorted(kinds)) or "none"
        remedy = f"Wanted are logger_id, read_at (UTC) and temp_c (°C); there are: {has}."
        raise RillbookError(f"the readings have no column {' and no column '.join(missing)}.", remedy, where)
    for name, wanted in WANTED.items():
        if kinds[name] not in wanted:
            remedy = f"Write it as {' or '.join(wanted)} and try again."
            raise RillbookError(f"the column {name} is no {wanted[0]}.", remedy, where)


def raw_columns(table: str) -> dict[str, str]:
    """Columns of a reduced table as its expression gives it, in order, each with the kind that ibis names: moments and days as µs."""
    model = SUMMARIES[table]
    kinds = {**dict.fromkeys(names_of(model, Text), "string"), **dict.fromkeys(names_of(model, Count), "int64")}
    raw = {}
    for name in SUMMARY_COLUMNS[table]:
        is_moment = name == "day" or name.endswith("_at")
        raw[f"{name.removesuffix('_at')}_us" if is_moment else name] = "int64" if is_moment else kinds.get(name, "float64")
    return raw


def shown_sql(table: str, sql: str, moment: Callable[[str], str], day: Callable[[str], str], quote: str) -> str:
    """SQL of a reduced table as it is written: moments and days for the numbers that stand for them, and the year.

    Parameters
    ----------
    table : str
        A name of ``SUMMARIES``.
    sql : str
        What its expression says to the engine.
    moment, day : callable
        SQL of the moment (UTC) and of the day of a column of whole microseconds.
    quote : str
        Sign around the names of columns.
    """
    parts, year = [], ""
    for name, (raw, kind) in zip(SUMMARY_COLUMNS[table], raw_columns(table).items(), strict=True):
        source = f"{quote}{raw}{quote}"
        if name != raw:
            year = year or f"CAST(EXTRACT(YEAR FROM {moment(source)}) AS INT) AS {quote}{PARTED_BY}{quote}"
            source = (day if name == "day" else moment)(source)
        elif kind != "string":
            source = f"CAST({source} AS {'BIGINT' if kind == 'int64' else 'DOUBLE'})"
        parts.append(f"{source} AS {quote}{name}{quote}")
    return f"SELECT {', '.join(parts)}, {year} FROM ({sql}) AS reduced"
