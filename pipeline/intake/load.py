"""Load files into the book, in one transaction."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pandas as pd

from pipeline.book.changes import Changes, compare_with_book
from pipeline.book.connection import open_book
from pipeline.book.current import brought_by, known_rows
from pipeline.book.held_items import settle_items, settled_reasons
from pipeline.book.loads import State, content_hash, loaded_as, start_load, state_of, store_checked
from pipeline.book.standards import keep_to
from pipeline.checking import accounting, check, held_list
from pipeline.checking.datum import datum_that_fits
from pipeline.checking.join import joined
from pipeline.checking.outcome import Checked
from pipeline.intake import load_loggers as loggers
from pipeline.intake.logger_report import LoggerReport
from pipeline.intake.places_and_photos import add_waypoints, file_hash, split_waypoints
from pipeline.intake.read_sheets import map_tables, typed_repairs
from pipeline.intake.repairs import load_repairs
from pipeline.intake.report import Progress, Report, WouldReplaceError, absence_notes, nothing_done, now, report_of, silent
from pipeline.intake.settings_changed import settled
from pipeline.reading import files as read
from pipeline.reading.odd_files import refuse_odd
from pipeline.settings import Settings
from schemas.tables import key_of


def load_files(
    folder: Path,
    paths: list[Path],
    map_path: Path | None = None,
    *,
    replace: bool = False,
    corrects: int | None = None,
    today: date | None = None,
    progress: Progress = silent,
    show: Callable[[Changes], None] | None = None,
    tell: Callable[[str], None] | None = None,
) -> Report | LoggerReport:
    """Load files into the book in one transaction.

    Parameters
    ----------
    folder, paths, map_path, today, progress
        As :func:`check_files`.
    replace : bool
        Whether rows that the book holds may be replaced.
    corrects : int, optional
        Load that this one takes the place of.
    show : callable, optional
        Told what will change and vanish, before it does.
    tell : callable, optional
        Told how the files go together, before anything is stored; without it the report says so.

    Returns
    -------
    Report or LoggerReport

    Raises
    ------
    WouldReplaceError
        The book holds some of the rows, different, and `replace` is not set.
    RillbookError
        The files or the book cannot be used; nothing was changed.
    """
    settings, today, (paths, gpx) = settled(folder), today or date.today(), split_waypoints(paths)
    refuse_odd([map_path] if map_path is not None else [])
    progress("reading")
    if loggers.are_exports(paths, map_path):
        return loggers.load(folder, paths, map_path, corrects=corrects, today=today, progress=progress)
    tables = read.read_files(paths)
    if any(held_list.is_repair_list(one) for one in tables):
        return load_repairs(folder, tables, settings, today, progress)
    sources, known_map, notes = map_tables(tables, map_path)
    hashes = [one.source.sha256 for one in sources] + [file_hash(path) for path in gpx]
    content = content_hash([*hashes, known_map.sha256, _standards(settings)])
    while True:
        seen = _look(folder, content, corrects)
        if seen.before is not None and corrects is None:
            return nothing_done([*notes, f"This was loaded before, as load {seen.before}. Nothing was changed."])
        progress("checking")
        placed, said = add_waypoints(sources, gpx, settings, seen.known, today)
        checked = check.check(placed, settings, seen.known, today)
        changes = compare_with_book(seen.known, checked, seen.settled)
        changes = changes if corrects is None else _corrections(seen, changes, checked)
        if (changes.changed or changes.vanished) and not replace and corrects is None:
            raise WouldReplaceError(changes)
        account = accounting.account(checked, changes.same)
        told = joined(checked, seen.known) + datum_that_fits(checked, seen.known)
        # the book is held only from here on: others may read and write while a large sheet is checked
        with open_book(folder, write=True) as connection:
            if state_of(connection) != seen.state:
                progress("checking again: another command changed the book")
                continue
            if (changes.changed or changes.vanished) and show is not None:
                show(changes)
            for one in told if tell is not None else []:
                tell(one)  # type: ignore[misc]
            progress("storing")
            repairs, checked = typed_repairs(tables), checked.to_store()
            # nothing is checked again from here on
            del sources, placed, tables
            keep_to(connection, settings)
            load_id = start_load(connection, "load", [path.name for path in [*paths, *gpx]], content, known_map.title, corrects, now())
            store_checked(connection, load_id, checked, account, changes.same)
            settle_items(connection, load_id, repairs)
            notes += [*said, *(told if tell is None else [])]
            notes += absence_notes(connection, said_nothing=account.rows.get("no_find", 0) + account.cells.get("no_find", 0))
        return report_of(checked, account, seen.settled, changes=changes, load_id=load_id, notes=notes)


@dataclass(frozen=True)
class _Seen:
    """What the book held when it was looked at: its state, the load of the same content, and its rows before and after a correction."""

    state: State
    before: int | None
    had: dict[str, pd.DataFrame]
    known: dict[str, pd.DataFrame]
    settled: pd.DataFrame
    brought: dict[str, set[str]]


def _look(folder: Path, content: str, corrects: int | None) -> _Seen:
    with open_book(folder, trial=corrects is not None) as connection:
        state, before, had = state_of(connection), loaded_as(connection, content), known_rows(connection, as_stored=True)
        if corrects is None:
            return _Seen(state, before, had, had, settled_reasons(connection), {})
        # taken back at the end: only to see what the book holds without the load that is corrected
        start_load(connection, "load", [], content, "", corrects, now())
        known = known_rows(connection, as_stored=True)
        return _Seen(state, before, had, known, settled_reasons(connection), brought_by(connection, corrects))


def _standards(settings: Settings) -> str:
    """What rows are held against, as text: after a change of it the same file is a new load."""
    return settings.taxa.to_json(orient="records") + repr(settings.areas)


def _corrections(seen: _Seen, found: Changes, checked: Checked) -> Changes:
    """What a correcting load changes: rows of the load that it corrects, and of others that it describes differently."""
    lost = []
    for table, frame in seen.had.items():
        key = key_of(table)
        stays = set(seen.known[table][key]) | set(checked.tables[table].accepted[key])
        lost += [
            f"{table[:-1] if table != 'availability' else 'point'} {one}"
            for one in frame[key]
            if one in seen.brought[table] and one not in stays
        ]
    return Changes(found.same, found.changed, found.vanished + lost)
