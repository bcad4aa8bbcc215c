"""Files are whole or absent: all of a set is written beside its place first, then put there in one go."""

from __future__ import annotations

import errno
import os
import tempfile
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from pipeline.errors import RillbookError

PRIVATE = "private"
"""Name of the folder of what must not be shared, under the `out` of a book."""


def write_files(
    contents: Mapping[Path, str | bytes | None], what: str, remedy: str = "Close them in other programs.", *, private: bool = False
) -> list[Path]:
    """Write a set of files.

    Parameters
    ----------
    contents : mapping of Path to str, bytes or None
        Text (UTF-8, line ends as given) or bytes of each file; None takes away one of earlier days.
    what : str
        What they are, for the message: ``"the report"``.
    remedy : str
        What to do where it fails.
    private : bool
        They are for their owner alone, wherever they lie.

    Returns
    -------
    list of Path
        The files that were written, in order.

    Raises
    ------
    RillbookError
        The disk is full, a folder is a link to elsewhere, or a file cannot be written. What stood there before stands there still.

    Notes
    -----
    A link in the place of a file is replaced and not followed. What lies in a folder ``private`` is readable by its owner alone.
    """
    ready: list[tuple[str, Path]] = []
    try:
        for path, content in contents.items():
            _folder(path.parent)
            if content is not None:
                ready.append((_beside(path, content, private or path.parent.name == PRIVATE), path))
        for new, path in ready:
            os.replace(new, path)
        for path, content in contents.items():
            if content is None:
                path.unlink(missing_ok=True)
    except OSError as problem:
        why = "the disk is full" if problem.errno in (errno.ENOSPC, errno.EDQUOT) else problem.strerror
        tail = "Free some space and try again." if problem.errno in (errno.ENOSPC, errno.EDQUOT) else remedy
        where = str(problem.filename or next(iter(contents), ""))
        raise RillbookError(f"{what} cannot be written ({why}).", tail, where) from None
    finally:
        for new, _ in ready:
            with suppress(OSError):
                os.unlink(new)
    return [path for path, content in contents.items() if content is not None]


def private_folder(book: Path) -> Path:
    """The folder of a book for what must not be shared; made, for its owner alone, where it is not there.

    Raises
    ------
    OSError
        It cannot be made.
    """
    folder = book / "out" / PRIVATE
    _folder(folder)
    return folder


def _folder(folder: Path) -> None:
    if folder.is_symlink():
        raise OSError(errno.ELOOP, "its folder is a link to another place", str(folder))
    folder.mkdir(parents=True, exist_ok=True)
    if folder.name == PRIVATE:
        # whatever the umask says; a file system without rights keeps what it has
        with suppress(OSError):
            folder.chmod(0o700)


def _beside(path: Path, content: str | bytes, private: bool) -> str:
    number, new = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".new", dir=path.parent)
    try:
        with os.fdopen(number, "wb") as file:
            file.write(content.encode("utf-8") if isinstance(content, str) else content)
            file.flush()
            os.fsync(file.fileno())
        if not private:
            os.chmod(new, 0o666 & ~_umask())
    except BaseException:
        with suppress(OSError):
            os.unlink(new)
        raise
    return new


def _umask() -> int:
    """The umask, which can only be read by setting it."""
    kept = os.umask(0o077)
    os.umask(kept)
    return kept
