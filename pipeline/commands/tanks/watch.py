"""Logger files that arrive in a folder: each is taken in once it has come to rest, and what is new in it is stored once.

What was taken in stands in the book alone, so a restart, a renamed file or a clock that was set back takes nothing in twice.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import RillbookError
from pipeline.intake.load import load_files
from pipeline.intake.logger_report import LoggerReport
from pipeline.loggers import exports

ENDINGS = (".csv", ".txt", ".tsv")
Mark = tuple[int, int]


@dataclass(frozen=True)
class Arrival:
    """What became of one file.

    Attributes
    ----------
    file : str
        Its name.
    stored : int
        Readings that were new.
    words : str
        What happened, in words; empty where nothing need be said.
    """

    file: str
    stored: int
    words: str


def look(folder: Path, watched: Path, map_path: Path | None, seen: dict[Path, Mark], done: dict[Path, Mark]) -> list[Arrival]:
    """Look once at a folder and take in what has come to rest since the last look.

    Parameters
    ----------
    folder : Path
        The book.
    watched : Path
        Where logger files arrive.
    map_path : Path, optional
        Map of the loggers.
    seen : dict
        Size and time of change of each file at the last look; brought up to date.
    done : dict
        The same of files that were taken in or refused; one that changes again is looked at again. Brought up to date. A file that could
        not be stored (the disk is full, the book is open elsewhere) is not put here: it is tried again at the next look.

    Returns
    -------
    list of Arrival
        One a file that was tried.

    Raises
    ------
    RillbookError
        The folder cannot be read.
    """
    found = []
    for path in _files(watched):
        mark = _mark(path)
        # half-written: it was not there, or was another, at the last look
        rests = mark is not None and seen.get(path) == mark
        if mark is not None:
            seen[path] = mark
        if rests and mark is not None and done.get(path) != mark:
            arrival, settled = _take(folder, path, map_path)
            # it may have grown while it was read
            if settled and _mark(path) == mark:
                done[path] = mark
            found.append(arrival)
    return found


def _files(watched: Path) -> list[Path]:
    try:
        return sorted(path for path in watched.iterdir() if path.suffix.lower() in ENDINGS and not path.name.startswith("."))
    except OSError as problem:
        raise RillbookError(f"the folder cannot be read ({problem.strerror}).", "Check its name and rights.", str(watched)) from None


def _mark(path: Path) -> Mark | None:
    """Size and time of change, or None where the file has gone."""
    try:
        known = os.stat(path)
    except OSError:
        return None
    return known.st_size, known.st_mtime_ns


def _take(folder: Path, path: Path, map_path: Path | None) -> tuple[Arrival, bool]:
    """Take one file in; whether it need not be tried again as it is."""
    try:
        if map_path is None and not exports.is_export(path):
            return Arrival(path.name, 0, "no logger's export: left alone"), True
        report = load_files(folder, [path], map_path)
    except RillbookError as problem:
        again = any(word in str(problem) for word in ("disk", "another program", "cannot be read"))
        return Arrival(path.name, 0, f"not taken in{', tried again later' if again else ''}: {problem}"), not again
    except OSError as problem:
        return Arrival(path.name, 0, f"not taken in, tried again later: {problem.strerror}"), False
    assert isinstance(report, LoggerReport), "a map of sheets was given for loggers"
    stored, same = (report.rows.get(fate, 0) for fate in ("stored", "same"))
    if not report.files:
        return Arrival(path.name, 0, "taken in before: nothing new"), True
    if not stored and not same:
        return Arrival(path.name, 0, "no reading was found in it: look at its headings"), True
    held = f", {len(report.held)} kinds of rows held back" if len(report.held) else ""
    return Arrival(path.name, stored, f"{stored} new readings{held}"), True


def watch(
    folder: Path, watched: Path, map_path: Path | None, every_s: float, rest: Callable[[float], None] = time.sleep
) -> Iterator[list[Arrival]]:
    """Look again and again; each look gives what was tried, an empty list where nothing came. It ends when the caller stops asking.

    Parameters
    ----------
    folder, watched, map_path
        As :func:`look`.
    every_s : float
        Seconds between two looks.
    rest : callable
        Waits.
    """
    seen: dict[Path, Mark] = {}
    done: dict[Path, Mark] = {}
    while True:
        yield look(folder, watched, map_path, seen, done)
        rest(every_s)
