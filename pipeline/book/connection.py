"""The book's database file: opened, made and closed, in one transaction."""

from __future__ import annotations

import filecmp
import logging
import os
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from pipeline.book import versions
from pipeline.book.damage import damaged, is_damage, refuse_damaged
from pipeline.book.engine import engine
from pipeline.errors import RillbookError

if TYPE_CHECKING:
    from pipeline.book.engine import DuckDBPyConnection as DuckDBPyConnection


FILE_NAME = "rillbook.duckdb"
LOOK_AGAIN_S = 0.1
LEAST_MEMORY, TIMES_THE_FILE = 512 * 2**20, 4
"""What the engine may hold in memory, bytes, and in files of the book; beyond it, it writes beside the book. By itself it would keep all it
has ever read, up to most of the machine."""
# Rows that are handed to the engine together: a frame of a million at once is held twice
AT_ONCE = 100_000
WAIT_S: ContextVar[float] = ContextVar("wait_s", default=30.0)
"""Seconds to wait for a book that another command has open."""
log = logging.getLogger("rillbook")


@contextmanager
def open_book(folder: Path, write: bool = False, *, trial: bool = False, copy: str = "") -> Iterator[DuckDBPyConnection]:
    """Open the database of a book; with `write` in one transaction that ends in commit, or in rollback on any error.

    Parameters
    ----------
    folder : Path
        The book's folder.
    write : bool
        Whether anything is to be stored.
    trial : bool
        Whether what is written is taken back at the end: to see what the book would hold.
    copy : str
        Name of a copy that is made beside the book before anything is written; none if empty.

    Yields
    ------
    DuckDBPyConnection

    Raises
    ------
    RillbookError
        The database is locked for longer than `WAIT_S`, damaged, no book, of a later version, or the disk is full.

    Notes
    -----
    A book of an earlier version is brought up to date first, with a copy beside it; see `book.versions`.
    """
    duckdb = engine()

    path = folder / FILE_NAME
    with _told(path, write):
        connection, is_new = _opened(path, write or trial)
        if copy:
            close(connection, path)
            connection, kept = _opened_with_copy(path, copy)
            log.warning("A copy of the book as it was: %s.", kept)
    try:
        connection.execute("BEGIN")
        if is_new:
            versions.create(connection)
        elif write:
            refuse_damaged(connection, path)
        yield connection
        if write:
            connection.execute("COMMIT")
    except duckdb.Error as problem:
        # the look at a damaged file opens it anew
        close(connection, path)
        raise _said(problem, path, write) from problem
    finally:
        close(connection, path)


@contextmanager
def _told(path: Path, write: bool) -> Iterator[None]:
    """Say in one line what the database says in its own words."""
    duckdb = engine()

    try:
        yield
    except duckdb.Error as problem:
        raise _said(problem, path, write, opened=False) from None


def _said(problem: Exception, path: Path, write: bool, opened: bool = True) -> Exception:
    duckdb = engine()

    if is_damage(problem):
        return damaged(path)
    if isinstance(problem, duckdb.OperationalError | duckdb.FatalException):
        if not opened:
            remedy = "Check the disk and the rights of the folder."
            return RillbookError(f"the book cannot be opened ({_first(problem)}).", remedy, str(path))
        what = f"the book could not be {'written' if write else 'read'} ({_first(problem)}). Nothing was changed."
        if isinstance(problem, duckdb.OutOfMemoryException):
            return RillbookError(what, "Close other programs, or work on a machine with more memory (docs/scale.md).", str(path))
        return RillbookError(what, "Is the disk full? Then free some space and try again.", str(path))
    return problem


@cache
def _empty_book() -> DuckDBPyConnection:
    """What a reader sees before anything is stored: made once, because its views take longer to make than most questions to answer.

    Each reader gets a cursor of it, in a transaction that is never committed, and so leaves nothing for the next.
    """
    connection = engine().connect(":memory:")
    versions.create(connection)
    return connection


def _opened(path: Path, write: bool) -> tuple[DuckDBPyConnection, bool]:
    """A connection to an up-to-date book, and whether it is new; where a reader finds nothing written yet, an empty book in memory."""
    if not write and not path.exists():
        return _empty_book().cursor(), False
    while True:
        connection = connect(path, write)
        try:
            found = versions.version_of(connection, path)
            if found is not None and versions.is_current(connection, found):
                return connection, False
        except BaseException:
            close(connection, path)
            raise
        if found is None and write:
            return connection, True
        close(connection, path)
        if found is None:
            return _empty_book().cursor(), False
        _bring_up_to_date(path, found)


def connect(path: Path, write: bool) -> DuckDBPyConnection:
    """A connection as soon as no other command stands in the way.

    Raises
    ------
    RillbookError
        Another program has the book open for longer than `WAIT_S`.
    """
    duckdb = engine()

    until = time.monotonic() + WAIT_S.get()
    told = False
    while True:
        try:
            connection = duckdb.connect(str(path), read_only=not write)
        except duckdb.IOException as problem:
            if "Could not set lock" not in str(problem):
                raise
            if time.monotonic() >= until:
                what = "the book is open in another program."
                raise RillbookError(what, "Close it there and try again.", str(path)) from None
            if not told:
                log.warning("The book is in use by another command; waiting up to %g s for it.", WAIT_S.get())
            told = True
            time.sleep(LOOK_AGAIN_S)
            continue
        # what goes there may hold exact places; the engine itself would let everybody look
        mark = _in_use(connection, path)
        with suppress(OSError):
            mark.parent.mkdir(mode=0o700, exist_ok=True)
            mark.touch()
        limit = max(LEAST_MEMORY, TIMES_THE_FILE * path.stat().st_size)
        connection.execute(f"SET memory_limit = '{limit} bytes'")
        if write:
            # exact places lie in it; a file system without rights keeps what it has
            with suppress(OSError):
                path.chmod(0o600)
                # who writes is alone: what others left there was left by a kill
                for left in mark.parent.glob("*"):
                    if f"_{os.getpid()}_" not in left.name:
                        left.unlink(missing_ok=True)
        return connection


def _bring_up_to_date(path: Path, found: int) -> None:
    """Migrate a book of an earlier version in one transaction, with a copy of it beside it first."""
    connection, copy = _opened_with_copy(path, f"version_{found}" if found < versions.VERSION else "")
    try:
        refuse_damaged(connection, path)
        connection.execute("BEGIN")
        changed = versions.migrate(connection, found)
        connection.execute("COMMIT")
    finally:
        close(connection, path)
    if copy is not None:
        log.warning(
            "The book was of version %s and is now of version %s (%s). A copy as it was: %s.",
            found, versions.VERSION, "; ".join(changed), copy,
        )  # fmt: skip


def _opened_with_copy(path: Path, name: str) -> tuple[DuckDBPyConnection, Path | None]:
    """A connection that writes, and a copy of the file as it was before; none without a name for it."""
    while True:
        # what a kill left beside the file goes into it, so that the copy is whole
        close(connect(path, write=True), path)
        known = os.stat(path)
        copy = copy_beside(path, name) if name else None
        connection = connect(path, write=True)
        now = os.stat(path)
        if (now.st_mtime_ns, now.st_size) == (known.st_mtime_ns, known.st_size):
            return connection, copy
        # another command wrote while it was copied
        close(connection, path)
        if copy is not None:
            copy.unlink()


def copy_beside(path: Path, name: str) -> Path:
    """Copy the file of a book beside it under a name, whole or not at all; an older copy that differs is left alone.

    Raises
    ------
    RillbookError
        There is no room for it.
    """
    number = 1
    while (copy := path.with_name(f"rillbook_{name}{'' if number == 1 else f'_{number}'}.duckdb")).exists():
        if filecmp.cmp(path, copy, shallow=False):
            return copy
        number += 1
    part = copy.with_name(f".{copy.name}.new")
    try:
        shutil.copyfile(path, part)
        part.chmod(0o600)
        os.replace(part, copy)
    except OSError as problem:
        what = f"a copy of the book, which must come first, cannot be made ({problem.strerror}). Nothing was changed."
        raise RillbookError(what, "Free some space, or mend the rights of the folder.", str(copy)) from None
    finally:
        part.unlink(missing_ok=True)
    return copy


def _in_use(connection: DuckDBPyConnection, path: Path) -> Path:
    """Empty file that keeps the folder for what the engine cannot hold in memory; the folder's name is the engine's."""
    return path.with_name(f"{path.name}.tmp") / f"in_use_{os.getpid()}_{id(connection)}"


def close(connection: DuckDBPyConnection, path: Path) -> None:
    """Close a connection that :func:`connect` opened, and take away its folder for what does not fit in memory."""
    duckdb = engine()

    # after a full disk the database refuses even to close; what matters was said already
    with suppress(duckdb.Error):
        connection.close()
    mark = _in_use(connection, path)
    # another command may use the folder at this moment: one that the engine makes anew is open to everybody
    with suppress(OSError):
        mark.unlink(missing_ok=True)
        mark.parent.rmdir()


def _first(problem: Exception) -> str:
    return str(problem).splitlines()[0].rstrip(".")


def is_empty(connection: DuckDBPyConnection) -> bool:
    """Whether no load stands."""
    return not connection.execute("SELECT 1 FROM active LIMIT 1").fetchall()


def has_rows(connection: DuckDBPyConnection, name: str) -> bool:
    """Whether a table of the database holds anything; far cheaper than to plan a view on it."""
    return bool(connection.execute(f"SELECT 1 FROM {name} LIMIT 1").fetchall())


def append_rows(connection: DuckDBPyConnection, name: str, frame: pd.DataFrame, load_id: int) -> None:
    """Append the columns of a frame that a table has; each row bears the number of its load."""
    if frame.empty:
        return
    frame = frame.assign(load_id=load_id)
    columns = [row[0] for row in connection.execute(f"DESCRIBE {name}").fetchall() if row[0] in frame]
    listed = ", ".join(f'"{column}"' for column in columns)
    for start in range(0, len(frame), AT_ONCE):
        connection.register("incoming", frame.iloc[start : start + AT_ONCE][columns])
        connection.execute(f"INSERT INTO {name} ({listed}) SELECT {listed} FROM incoming")
        connection.unregister("incoming")
