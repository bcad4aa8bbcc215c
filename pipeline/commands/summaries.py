"""From readings of loggers, in the book or in an engine that is already there, to their reduced tables."""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.book.connection import open_book
from pipeline.book.current import current_rows
from pipeline.errors import RillbookError
from pipeline.intake.report import silent
from pipeline.intake.settings_changed import settled
from pipeline.writing.words import some_of

ENGINES = ("duckdb", "spark", "postgresql")
STRETCH = ("logger_id", "from_at", "to_at")
MOST_NAMED = 5


@dataclass(frozen=True)
class Summarised:
    """What was written.

    Attributes
    ----------
    about : dict
        As `summaries.reduce.reduce_readings` gives it.
    tables : tuple of str
        Names of the tables, each a folder.
    notes : list of str
        What a person should know.
    """

    about: dict[str, Any]
    tables: tuple[str, ...]
    notes: list[str]


def write_summaries(
    book: Path,
    folder: Path,
    readings: str = "",
    engine: str = ENGINES[0],
    lines_c: tuple[float, ...] = (),
    leave_out: Path | None = None,
    progress: Callable[[str], None] = silent,
) -> Summarised:
    """Reduce readings of loggers.

    Parameters
    ----------
    book : Path
        The book: its time zone, the sites of its loggers, and what its checks marked.
    folder : Path
        New folder for the tables.
    readings : str
        Folder of Parquet files, or a table of PostgreSQL; empty: the book's own.
    engine : str
        One of ``ENGINES``.
    lines_c : tuple of float
        Lines whose passing is timed, °C; empty: `watch_line`.
    leave_out : Path, optional
        CSV with more stretches in doubt.
    progress : callable
        Told each step.

    Raises
    ------
    RillbookError
        The engine is not known or not there, or the readings cannot be reduced.
    """
    from pipeline.loggers.usable import doubtful_stretches
    from pipeline.settings.limits import judgement
    from pipeline.summaries.reduce import Asked, reduce_readings
    from schemas.frames.summaries import SUMMARIES

    if engine not in ENGINES:
        raise RillbookError(f"{engine!r} is no engine.", f"Known: {', '.join(ENGINES)}.")
    if engine != ENGINES[0] and not readings:
        raise RillbookError(f"the book's own readings are not where {engine} finds them.", "Name its readings with --readings.")
    settings = settled(book)
    with open_book(book) as connection:
        sites = current_rows(connection, "sites")[["site_id", "latitude", "longitude"]]
        places = current_rows(connection, "loggers")[["logger_id", "site_id"]].merge(sites, on="site_id")
        in_doubt = pd.concat([doubtful_stretches(connection), _stretches(leave_out)], ignore_index=True)
        lines = tuple(dict.fromkeys(lines_c)) or (judgement("watch_line"),)
        asked = Asked(settings.time_zone, lines, places[["logger_id", "latitude", "longitude"]], in_doubt)
        with tempfile.TemporaryDirectory(prefix="rillbook_") as scratch, _engine(engine, readings, connection, Path(scratch)) as adapter:
            about = reduce_readings(adapter, asked, folder, progress)
            notes = [*adapter.notes, *_notes(about["without_place"], bool(readings))]
    return Summarised(about, tuple(SUMMARIES), notes)


@contextmanager
def _engine(name: str, readings: str, connection: Any, scratch: Path) -> Iterator[Any]:
    if not readings:
        from pipeline.summaries.in_duckdb import InDuckDB

        yield InDuckDB(connection, "logger_readings", "the book")
    elif name == "spark":
        from pipeline.summaries.in_spark import in_spark

        yield in_spark(readings)
    elif name == "postgresql":
        from pipeline.summaries.in_postgresql import in_postgresql

        with in_postgresql(readings, scratch) as adapter:
            yield adapter
    else:
        from pipeline.summaries.in_duckdb import in_parquet

        with in_parquet(Path(readings), scratch) as adapter:
            yield adapter


def _notes(without_place: list[str], unchecked: bool) -> list[str]:
    notes = []
    if without_place:
        notes.append(f"No night, for the book knows no place of: {some_of(without_place, MOST_NAMED)}.")
    if unchecked:
        notes.append("These readings were not looked through for gaps, jumps and dead sensors as `rillbook load` does; see docs/scale.md.")
    return notes


def _stretches(path: Path | None) -> pd.DataFrame:
    """Stretches of a CSV file, in UTC without zone."""
    if path is None:
        return pd.DataFrame({name: pd.Series(dtype="str" if name == "logger_id" else "datetime64[us]") for name in STRETCH})
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = list(csv.DictReader(file))
    except (OSError, UnicodeDecodeError, csv.Error) as problem:
        raise RillbookError(f"the stretches cannot be read ({problem}).", "Is it a CSV file in UTF-8?", str(path)) from None
    found = []
    for number, row in enumerate(rows, 2):
        try:
            start, end = (pd.to_datetime(row[name], utc=True, format="ISO8601").tz_localize(None) for name in STRETCH[1:])
        except (KeyError, ValueError, TypeError, AttributeError):
            start = end = pd.NaT
        if not row.get("logger_id") or not start <= end:
            remedy = "Each line needs logger_id, from_at and to_at (UTC, such as 2024-07-01 03:30), the end not before the beginning."
            raise RillbookError("this is no stretch.", remedy, f"{path}, line {number}")
        found.append((row["logger_id"], start, end))
    return pd.DataFrame(found, columns=list(STRETCH)).astype({name: "datetime64[us]" for name in STRETCH[1:]})
