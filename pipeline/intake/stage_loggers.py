"""Logger files read and checked chunk by chunk, and set aside in a database of their own until the book is free."""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.book.engine import engine
from pipeline.errors import RillbookError
from pipeline.loggers import checks as logger_checks
from pipeline.loggers import export_rows
from pipeline.loggers import staging as logger_store
from pipeline.loggers.exports import Layout

PREFIX, OWNER = ".rillbook_waiting_", "owner.duckdb"
YOUNG_S = 60.0
"""A folder without an owner that is younger than this may be one that another load is making."""


@dataclass
class Found:
    """What one file holds beside its readings.

    Attributes
    ----------
    fates, values : Counter
        Rows and values by what became of them.
    held : Counter
        ``(field, text, rule)`` to how often; the line of the first is in `first_line`.
    flags, days : DataFrame
        As :func:`pipeline.loggers.checks.finish` gives them.
    rising : bool
        Whether each reading is later than the one before.
    """

    fates: Counter[str] = field(default_factory=Counter)
    values: Counter[str] = field(default_factory=Counter)
    held: Counter[tuple[str, str, str]] = field(default_factory=Counter)
    first_line: dict[tuple[str, str, str], int] = field(default_factory=dict)
    flags: pd.DataFrame = field(default_factory=pd.DataFrame)
    days: pd.DataFrame = field(default_factory=pd.DataFrame)
    rising: bool = True


@contextmanager
def set_aside(folder: Path) -> Iterator[Path]:
    """A place for a database of readings that wait for the book; it goes when the load ends, and after a kill when the next one starts.

    Parameters
    ----------
    folder : Path
        The book; what waits lies in it under a name that begins with `PREFIX`, or in the system's folder where the book cannot be written.

    Yields
    ------
    Path
        A file that is not there yet.

    Raises
    ------
    RillbookError
        There is no room.
    """
    duckdb = engine()
    place = folder if os.access(folder, os.W_OK) else Path(tempfile.gettempdir())
    _clear(place)
    try:
        scratch = Path(tempfile.mkdtemp(prefix=PREFIX, dir=place))
    except OSError as problem:
        raise _no_room(problem.strerror or "", place) from None
    try:
        # as long as this is open nobody takes the folder for one that a kill left
        owner = duckdb.connect(str(scratch / OWNER))
        try:
            yield scratch / "staged.duckdb"
        finally:
            owner.close()
    finally:
        shutil.rmtree(scratch, ignore_errors=True)


def _clear(place: Path) -> None:
    """Remove what killed loads left."""
    duckdb = engine()
    for scratch in place.glob(f"{PREFIX}*"):
        try:
            if not (scratch / OWNER).exists() and time.time() - scratch.stat().st_mtime < YOUNG_S:
                continue
            duckdb.connect(str(scratch / OWNER)).close()
        except (duckdb.Error, OSError):
            # its load is under way
            continue
        shutil.rmtree(scratch, ignore_errors=True)


def _no_room(why: str, place: Path) -> RillbookError:
    what = f"the readings cannot be set aside ({why}). Nothing was changed."
    return RillbookError(what, "Is the disk full? Then free some space and try again.", str(place))


def read_into(
    path: Path, layouts: list[Layout], known: pd.DataFrame, time_zone: str, progress: Callable[[str], None], *, texts: bool
) -> list[Found]:
    """Read and check every file, and stage its readings in a new database.

    Parameters
    ----------
    path : Path
        Where the database is to be.
    layouts : list of Layout
        The files.
    known : DataFrame
        Loggers of the book by ``logger_id``; ``medium`` is used.
    time_zone : str
        The book's zone.
    progress : callable
        Told each file.
    texts : bool
        Whether the text of every row is kept too.

    Raises
    ------
    RillbookError
        A file changed meanwhile, or there is no room for the readings.
    """
    duckdb = engine()
    try:
        connection = duckdb.connect(str(path))
        try:
            connection.execute("BEGIN")
            logger_store.begin(connection)
            found = [_read(connection, number, one, known, time_zone, progress, texts) for number, one in enumerate(layouts)]
            connection.execute("COMMIT")
        finally:
            connection.close()
    except duckdb.Error as problem:
        raise _no_room(str(problem).splitlines()[0].rstrip("."), path.parent) from None
    return found


def _read(
    connection: object, number: int, layout: Layout, known: pd.DataFrame, time_zone: str, progress: Callable[[str], None], texts: bool
) -> Found:
    progress(f"reading {layout.path.name}")
    watched = logger_checks.watch(known.at[layout.logger_id, "medium"], layout.step_s, time_zone)
    found = Found()
    last = np.datetime64("NaT", "us")
    for part in export_rows.parts(layout):
        logger_store.add(connection, number, layout.logger_id, part.readings)
        if texts:
            logger_store.add_texts(connection, number, part.texts, sum(found.fates.values()))
        logger_checks.feed(watched, part.readings)
        found.fates.update(part.fates)
        found.values.update(part.values)
        found.held.update(part.held)
        found.first_line = {**part.held_line, **found.first_line}
        at = part.readings["read_at"].to_numpy()
        if len(at):
            found.rising &= bool((at[1:] > at[:-1]).all()) and not at[0] <= last
            last = at[-1]
    assert sum(found.fates.values()) == layout.rows, "a row has no fate"
    found.flags, found.days = logger_checks.finish(watched)
    return found
