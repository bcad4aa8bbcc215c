"""What loggers at sites tell, as reduced tables: of the book's own readings, and of those that were reduced elsewhere."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.errors import RillbookError
from pipeline.intake.report import silent
from pipeline.settings import Settings
from pipeline.writing.words import some_of

TABLES = ("daily", "nights", "excursions")
MOST_NAMED = 5


@dataclass(frozen=True)
class FieldLoggers:
    """Reduced tables of the loggers at sites.

    Attributes
    ----------
    tables : dict of str to DataFrame
        By their name; as the models of `schemas.frames.summaries`.
    left_out : int
        Readings that were not possible or in doubt.
    around : callable
        From moments to the readings of the book on both sides; see `loggers.usable.values_around`.
    digest : str
        SHA-256 of the tables that came from elsewhere; empty where none did.
    notes : list of str
        What a person should know of them.
    """

    tables: dict[str, pd.DataFrame]
    left_out: int
    around: Callable[[pd.DataFrame], pd.DataFrame]
    digest: str
    notes: list[str]


def field_loggers(
    connection: Any, settings: Settings, known: dict[str, pd.DataFrame], reduced: Path | None = None, wanted: Iterable[str] = TABLES
) -> FieldLoggers | None:
    """Reduce the readings of the book's loggers at sites, and add those that were reduced elsewhere.

    Parameters
    ----------
    connection : DuckDBPyConnection
        The open book.
    settings : Settings
        Its settings: days are local.
    known : dict of str to DataFrame
        ``loggers`` and ``sites`` of the book.
    reduced : Path, optional
        Folder that `rillbook summaries` wrote. A logger that is in it is taken from there and not from the book.
    wanted : iterable of str
        Names of the tables that are needed.

    Returns
    -------
    FieldLoggers or None
        None where no reading of a logger at a site counts.

    Raises
    ------
    RillbookError
        The folder holds no tables that can be used, or none of a logger of the book's sites.
    """
    from pipeline.loggers.usable import at_sites, doubtful_stretches, values_around
    from pipeline.settings.limits import judgement
    from pipeline.summaries.in_duckdb import InDuckDB
    from pipeline.summaries.read import digest, read_about, read_summaries
    from pipeline.summaries.reduce import Asked, NoReadingCounts, reduce_readings

    wanted, line_c = tuple(wanted), judgement("watch_line")
    loggers = known["loggers"]
    parts: list[dict[str, pd.DataFrame]] = []
    notes: list[str] = []
    left_out, used = 0, ""
    taken: frozenset[str] = frozenset()
    if reduced is not None:
        about = read_about(reduced, settings.time_zone, line_c)
        given = read_summaries(reduced, dict.fromkeys((*wanted, "daily")))
        taken, notes = _taken(given, loggers, connection, reduced)
        parts.append({name: given[name][given[name]["logger_id"].isin(taken)] for name in wanted})
        left_out, used = about["readings"]["in_doubt"] + about["readings"]["not_possible"], digest(reduced)
    places = loggers[["logger_id", "site_id"]].merge(known["sites"][["site_id", "latitude", "longitude"]], on="site_id")
    asked = Asked(settings.time_zone, (line_c,), places[["logger_id", "latitude", "longitude"]], doubtful_stretches(connection))
    # what a reduction makes on its way must not stay beside the tables of whoever goes on with this connection
    with connection.cursor() as aside, tempfile.TemporaryDirectory(prefix="rillbook_") as scratch, suppress(NoReadingCounts):
        own = at_sites(aside, taken)
        # most books have no logger at a site, and what says the reduction takes long to import
        if aside.execute(f"SELECT 1 FROM {own} LIMIT 1").fetchall():
            about = reduce_readings(InDuckDB(aside, own, "the book"), asked, Path(scratch) / "own", silent, wanted)
            parts.append(read_summaries(Path(scratch) / "own", wanted))
            left_out += about["readings"]["in_doubt"] + about["readings"]["not_possible"]
    if not parts:
        return None
    tables = {name: pd.concat([part[name] for part in parts], ignore_index=True) for name in wanted}
    return FieldLoggers(tables, left_out, lambda moments: values_around(connection, moments), used, notes)


def _taken(given: dict[str, pd.DataFrame], loggers: pd.DataFrame, connection: Any, folder: Path) -> tuple[frozenset[str], list[str]]:
    """Loggers at sites of the book that the tables hold, and what a person should know."""
    there = {str(code) for frame in given.values() for code in frame["logger_id"].unique()}
    at_a_site = set(loggers.loc[loggers["site_id"].fillna("") != "", "logger_id"])
    taken, others = there & at_a_site, sorted(there - at_a_site)
    if not taken:
        raise RillbookError(
            "no logger of these tables hangs at a site of the book.", "Load a sheet of loggers with their sites first.", str(folder)
        )
    notes = [f"Readings of {len(taken)} loggers are taken from {folder}; those were not looked through as the book's own are."]
    if others:
        notes.append(f"Not used, for they hang at no site of the book: {some_of(others, MOST_NAMED)}.")
    both = connection.execute(
        "SELECT DISTINCT logger_id FROM logger_readings WHERE list_contains(?, logger_id)", [sorted(taken)]
    ).fetchall()
    if both:
        notes.append(f"{len(both)} of them have readings in the book too, which are not used.")
    return frozenset(taken), notes
