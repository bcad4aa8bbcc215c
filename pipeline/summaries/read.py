"""The reduced tables read again: a folder that `rillbook summaries` wrote, by whatever engine."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.book.engine import engine
from pipeline.errors import RillbookError
from pipeline.settings.limits import judgement
from pipeline.summaries.in_duckdb import parquet_files, quoted
from pipeline.summaries.reduce import ABOUT
from schemas.frames.frame import framed
from schemas.frames.summaries import SUMMARIES, SUMMARY_COLUMNS

REMEDY = "Name a folder that `rillbook summaries` wrote."
ONE_ROW = {"daily": ("logger_id", "day"), "nights": ("logger_id", "day"), "excursions": ("logger_id", "line_c", "start_at")}


def read_about(folder: Path, time_zone: str, line_c: float) -> dict[str, Any]:
    """Tell what was reduced, and refuse what was reduced by other rules than the book's.

    Parameters
    ----------
    folder : Path
        Folder of the tables.
    time_zone : str
        IANA name of the book's zone: days are local.
    line_c : float
        Line whose passing must have been timed, °C.

    Returns
    -------
    dict
        ``summaries.json``.

    Raises
    ------
    RillbookError
        This is no such folder; its days are those of another zone; the line or the rule of gaps is another.
    """
    try:
        about = json.loads((folder / ABOUT).read_text(encoding="utf-8"))
        zone, lines, gap_steps = about["time_zone"], list(about["lines_c"]), about.get("gap_steps")
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        raise RillbookError(f"here is no {ABOUT} that can be read.", REMEDY, str(folder)) from None
    again = "Reduce the readings again with `rillbook summaries`"
    if zone != time_zone:
        raise RillbookError(f"the days of these tables are those of {zone}, the book's those of {time_zone}.", f"{again}.", str(folder))
    if line_c not in lines:
        raise RillbookError(f"the passing of {line_c:g} °C was not timed.", f"{again} --line {line_c:g}.", str(folder))
    if gap_steps != judgement("logger_gap_steps"):
        raise RillbookError("excursions were ended by another rule of gaps than today's.", f"{again}.", str(folder))
    return dict(about)


def read_summaries(folder: Path, names: Iterable[str]) -> dict[str, pd.DataFrame]:
    """Read reduced tables.

    Parameters
    ----------
    folder : Path
        Folder of the tables.
    names : iterable of str
        Some of ``SUMMARIES``.

    Returns
    -------
    dict of str to DataFrame
        As the models of ``SUMMARIES``; in the order of their first columns.

    Raises
    ------
    RillbookError
        A table is missing, cut or of other columns; a value is missing; a row comes twice.
    """
    return {name: _read(folder / name, name) for name in names}


def _read(folder: Path, name: str) -> pd.DataFrame:
    from pandera.errors import SchemaError

    columns = list(SUMMARY_COLUMNS[name])
    try:
        files = ", ".join(f"'{quoted(str(file))}'" for file in parquet_files(folder)[0])
    except RillbookError:
        # a reduction that found no row of a kind writes no file
        if folder.is_dir():
            return framed(SUMMARIES[name], pd.DataFrame({column: [] for column in columns}))
        raise RillbookError(f"the table {name} is missing.", REMEDY, str(folder.parent)) from None
    try:
        with engine().connect() as connection:
            found = connection.execute(
                f"SELECT {', '.join(columns)} FROM read_parquet([{files}], union_by_name = true, hive_partitioning = false) ORDER BY ALL"
            ).df()
        frame = framed(SUMMARIES[name], found)
    except (engine().Error, SchemaError, ValueError, TypeError) as problem:
        first = (str(problem).splitlines() or [""])[0]
        raise RillbookError(f"the table {name} cannot be read ({first}).", "Reduce the readings again.", str(folder)) from None
    key = list(ONE_ROW.get(name, ()))
    if key and (twice := frame.duplicated(key)).any():
        which = " ".join(str(value) for value in frame.loc[twice, key].iloc[0])
        raise RillbookError(f"the table {name} has two rows of {which}.", "Two reductions may lie in one folder; make one.", str(folder))
    return frame


def digest(folder: Path) -> str:
    """SHA-256 of the files of a folder, by name, so that what was used can be told apart from another reduction."""
    found = hashlib.sha256()
    for path in sorted(path for path in folder.rglob("*") if path.is_file()):
        found.update(path.relative_to(folder).as_posix().encode() + b"\0")
        found.update(hashlib.sha256(path.read_bytes()).digest())
    return found.hexdigest()
