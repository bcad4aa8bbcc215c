"""A book as one file, checked after it was written, and a book made from it again, compared row by row."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
import zipfile
from collections.abc import Iterator
from pathlib import Path, PurePosixPath
from typing import IO, TYPE_CHECKING, Any

from pipeline.book.connection import FILE_NAME, close, connect, open_book
from pipeline.book.damage import refuse_damaged
from pipeline.book.engine import engine
from pipeline.errors import RillbookError

if TYPE_CHECKING:
    from pipeline.book.engine import DuckDBPyConnection

MANIFEST = "backup.json"
KEPT = ("rillbook.toml", "published.json", "surveys", "notes")
"""What is kept beside the database. Pages and tables under `out` can be made again."""
PIECE = 1 << 20


def back_up(folder: Path, file: Path) -> dict[str, int]:
    """Write a book to one file while nothing else writes, and read that file again from end to end.

    Parameters
    ----------
    folder : Path
        The book.
    file : Path
        A file that is not there yet.

    Returns
    -------
    dict of str to int
        Rows of each table of the book.

    Raises
    ------
    RillbookError
        The file exists, the book is damaged or empty, or the disk is full; no half file stays.
    """
    if file.exists() or file.is_symlink():
        raise RillbookError("there is such a file already.", "Choose another name; a backup is never written over.", str(file))
    path = folder / FILE_NAME
    if not path.exists():
        raise RillbookError("nothing is loaded yet: there is nothing to back up.", "Load a sheet first.", str(folder))
    # brought up to date, and what a kill left beside the file goes into it
    with open_book(folder, write=True):
        pass
    part = file.with_name(f".{file.name}.new")
    try:
        # as long as this is open no other command writes; the file is closed after it, which would end the lock
        with path.open("rb") as database:
            held = connect(path, write=False)
            try:
                refuse_damaged(held, path)
                rows = content_of(held)
                _write(part, folder, database, rows)
            finally:
                close(held, path)
        with tempfile.TemporaryDirectory(prefix=".rillbook", dir=file.parent) as work:
            _take_out(part, Path(work), rows)
        os.replace(part, file)
    except OSError as problem:
        raise RillbookError(f"the backup cannot be written ({problem.strerror}).", "Free some space.", str(file)) from None
    finally:
        part.unlink(missing_ok=True)
    return {table: number for table, (number, _) in rows.items()}


def restore(file: Path, folder: Path) -> dict[str, int]:
    """Make a book from a backup in a new folder, and compare every file's hash and every table's rows.

    Parameters
    ----------
    file : Path
        As `back_up` wrote it.
    folder : Path
        A folder that is not there yet.

    Returns
    -------
    dict of str to int
        Rows of each table.

    Raises
    ------
    RillbookError
        It is no backup, something in it is not as it was written, or the folder exists; no half book stays.
    """
    if folder.exists() or folder.is_symlink():
        raise RillbookError("there is such a folder already.", "Restore into a new one; then compare, and rename.", str(folder))
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(prefix=".rillbook", dir=folder.parent))
        try:
            rows = _take_out(file, work)
            work.chmod(0o777 & ~_umask())
            os.rename(work, folder)
        finally:
            shutil.rmtree(work, ignore_errors=True)
    except OSError as problem:
        raise RillbookError(f"the book cannot be restored ({problem.strerror}).", "Check the name and the disk.", str(file)) from None
    return {table: number for table, (number, _) in rows.items()}


def content_of(connection: DuckDBPyConnection) -> dict[str, tuple[int, str]]:
    """Number of rows of every table, and a hash of them that does not mind their order."""
    tables = [row[0] for row in connection.execute("SELECT table_name FROM duckdb_tables() WHERE NOT internal ORDER BY ALL").fetchall()]
    found = {}
    for table in tables:
        number, words = connection.execute(f'SELECT count(*), sum(hash(one)::HUGEINT)::VARCHAR FROM "{table}" one').fetchall()[0]
        found[table] = int(number), words or ""
    return found


def _write(part: Path, folder: Path, database: IO[bytes], rows: dict[str, tuple[int, str]]) -> None:
    hashes: dict[str, str] = {}
    number = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(number, "wb") as file:
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
            hashes[FILE_NAME] = _put(archive, FILE_NAME, database)
            for path in _beside(folder):
                name = path.relative_to(folder).as_posix()
                with path.open("rb") as one:
                    hashes[name] = _put(archive, name, one)
            archive.writestr(MANIFEST, json.dumps({"rillbook_backup": 1, **_engine(), "sha256": hashes, "tables": rows}, indent=1))
        file.flush()
        os.fsync(file.fileno())


def _engine() -> dict[str, str]:
    """Version of the database: another one may hash the same rows otherwise."""
    duckdb = engine()

    return {"duckdb": duckdb.__version__}


def _beside(folder: Path) -> Iterator[Path]:
    """What is kept beside the database, without links to elsewhere."""
    for path in (folder / name for name in KEPT):
        inside = sorted(path.rglob("*")) if path.is_dir() and not path.is_symlink() else [path]
        yield from (one for one in inside if one.is_file() and not one.is_symlink())


def _put(archive: zipfile.ZipFile, name: str, source: IO[bytes]) -> str:
    digest = hashlib.sha256()
    with archive.open(name, "w", force_zip64=True) as target:
        while piece := source.read(PIECE):
            digest.update(piece)
            target.write(piece)
    return digest.hexdigest()


def _take_out(file: Path, work: Path, rows: dict[str, tuple[int, str]] | None = None) -> dict[str, tuple[int, str]]:
    """Take a backup out into a folder, and compare it with what it says of itself and with what is expected."""
    try:
        with zipfile.ZipFile(file) as archive:
            said = _manifest(archive, file)
            for name, wanted in said["sha256"].items():
                _take(archive, name, work / name, wanted, file)
    except (zipfile.BadZipFile, EOFError, KeyError, NotImplementedError, ValueError, zipfile.zlib.error) as problem:  # type: ignore[attr-defined]
        raise RillbookError(f"this is no whole backup ({problem}).", "Use another backup.", str(file)) from None
    found = _rows_of(work / FILE_NAME, file)
    same_hashes = {"duckdb": said.get("duckdb")} == _engine()
    stated = {table: (int(number), words) for table, (number, words) in said["tables"].items()}
    for expected in (stated, *([rows] if rows is not None else [])):
        for table in {**expected, **found}:
            one, other = found.get(table, (-1, "")), expected.get(table, (-1, ""))
            if one[0] != other[0] or (same_hashes and one != other):
                raise RillbookError(f"the rows of {table} are not those that were backed up.", "Use another backup.", str(file))
    return found


def _manifest(archive: zipfile.ZipFile, file: Path) -> dict[str, Any]:
    said = json.loads(archive.read(MANIFEST)) if MANIFEST in archive.namelist() else {}
    if not isinstance(said, dict) or said.get("rillbook_backup") != 1 or FILE_NAME not in said.get("sha256", {}):
        raise RillbookError("this is no backup of a book.", "Name a file that `rillbook backup` wrote.", str(file))
    for name in said["sha256"]:
        place = PurePosixPath(name)
        if place.is_absolute() or ".." in place.parts or "\\" in name or ":" in name:
            raise RillbookError(f"the backup holds a file for another place, {name!r}.", "Do not use it.", str(file))
    return said


def _take(archive: zipfile.ZipFile, name: str, target: Path, wanted: str, file: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    digest = hashlib.sha256()
    with archive.open(name) as source, target.open("xb") as out:
        target.chmod(0o600)
        while piece := source.read(PIECE):
            digest.update(piece)
            out.write(piece)
    if digest.hexdigest() != wanted:
        raise RillbookError(f"{name} in the backup is not as it was written.", "Use another backup.", str(file))


def _rows_of(path: Path, file: Path) -> dict[str, tuple[int, str]]:
    duckdb = engine()

    try:
        connection = duckdb.connect(str(path), read_only=True)
        try:
            return content_of(connection)
        finally:
            connection.close()
    except duckdb.Error as problem:
        what = f"the book in the backup cannot be read ({str(problem).splitlines()[0]})."
        raise RillbookError(what, "Use another backup.", str(file)) from None


def _umask() -> int:
    """The umask, which can only be read by setting it."""
    kept = os.umask(0o077)
    os.umask(kept)
    return kept
