"""Damaged pages of the book's file: recognised before anything is written, with what can still be read."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.book.engine import engine
from pipeline.errors import RillbookError

if TYPE_CHECKING:
    from pipeline.book.engine import DuckDBPyConnection

SIGNS = (
    "checksum",
    "corrupt",
    "deserial",
    "serialization",
    "not a valid duckdb",
    "internal error",
    "could not read enough bytes",
    "wal file",
)
REMEDY = (
    "Keep the file as it is. Restore the latest backup into a new folder (`rillbook restore FILE FOLDER`) and load there what came later; "
    "`rillbook export-sheets` writes the sheets that can still be read."
)


def is_damage(problem: Exception) -> bool:
    """Whether an error of the database speaks of a damaged file and not of its use."""
    duckdb = engine()

    text = str(problem).casefold()
    return isinstance(problem, duckdb.InternalException | duckdb.SerializationException) or any(sign in text for sign in SIGNS)


def unreadable(connection: DuckDBPyConnection) -> tuple[list[str], list[str]]:
    """Tables of an open book that can be read from end to end, and those that cannot.

    Every value is read, so that the database compares each page with its checksum.
    """
    duckdb = engine()

    tables = [row[0] for row in connection.execute("SELECT table_name FROM duckdb_tables() WHERE NOT internal ORDER BY ALL").fetchall()]
    sound, lost = [], []
    at_once = connection.cursor()
    try:
        # one question in place of thirty, as long as all is well
        at_once.execute(" UNION ALL ".join(f'SELECT bit_xor(hash(one)) FROM "{table}" one' for table in tables)).fetchall()
        return tables, []
    except duckdb.Error:
        pass
    finally:
        at_once.close()
    for table in tables:
        # a connection of its own: after a page that cannot be read nothing more is answered in the same transaction
        apart = connection.cursor()
        try:
            apart.execute(f'SELECT bit_xor(hash(one)) FROM "{table}" one').fetchall()
            sound.append(table)
        except duckdb.Error:
            lost.append(table)
        finally:
            apart.close()
    return sound, lost


def refuse_damaged(connection: DuckDBPyConnection, path: Path) -> None:
    """Refuse to write into a book of which a page is damaged.

    Raises
    ------
    RillbookError
        Naming what can be read and what cannot.
    """
    sound, lost = unreadable(connection)
    if lost:
        raise damaged(path, sound, lost)


def damaged(path: Path, sound: list[str] | None = None, lost: list[str] | None = None) -> RillbookError:
    """The error for a damaged book; without lists the file is opened and looked through."""
    if sound is None or lost is None:
        sound, lost = _look_through(path)
    what = "the book's file is damaged. Nothing was changed."
    if not sound and not lost:
        return RillbookError(f"{what} Nothing of it can be read: it is no book, or its first pages are gone.", REMEDY, str(path))
    can = f"{len(sound)} of its {len(sound) + len(lost)} tables can be read"
    return RillbookError(f"{what} {can}{'; not ' + ', '.join(lost) if lost else ''}.", REMEDY, str(path))


def _look_through(path: Path) -> tuple[list[str], list[str]]:
    duckdb = engine()

    try:
        connection = duckdb.connect(str(path), read_only=True)
    except duckdb.Error:
        return [], []
    try:
        return unreadable(connection)
    except duckdb.Error:
        return [], []
    finally:
        connection.close()
