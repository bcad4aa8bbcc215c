"""Load files into the book, in one transaction."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.book.changes import Changes, compare_with_book
from pipeline.book.connection import open_book
from pipeline.book.current import brought_by, known_rows
from pipeline.book.held_items import settle_items, settled_reasons
from pipeline.book.loads import content_hash, loaded_as, start_load, store_checked
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
from pipeline.reading import files as read
from pipeline.settings import Settings, read_settings
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
    settings, today, (paths, gpx) = read_settings(folder), today or date.today(), split_waypoints(paths)
    progress("reading")
    if loggers.are_exports(paths, map_path):
        return loggers.load(folder, paths, map_path, corrects=corrects, today=today, progress=progress)
    tables = read.read_files(paths)
    if any(held_list.is_repair_list(one) for one in tables):
        return load_repairs(folder, tables, settings, today, progress)
    sources, known_map, notes = map_tables(tables, map_path)
    hashes = [one.source.sha256 for one in sources] + [file_hash(path) for path in gpx]
    content = content_hash([*hashes, known_map.sha256, _standards(settings)])
    with open_book(folder, write=True) as connection:
        before = loaded_as(connection, content)
        if before is not None and corrects is None:
            return nothing_done([*notes, f"This was loaded before, as load {before}. Nothing was changed."])
        had = known_rows(connection, as_stored=True)
        load_id = start_load(connection, "load", [path.name for path in [*paths, *gpx]], content, known_map.title, corrects, now())
        known = known_rows(connection, as_stored=True) if corrects is not None else had
        settled = settled_reasons(connection)
        progress("checking")
        sources, said = add_waypoints(sources, gpx, settings, known, today)
        notes += said
        checked = check.check(sources, settings, known, today)
        changes = (
            compare_with_book(known, checked, settled)
            if corrects is None
            else _corrections(connection, corrects, had, known, checked, settled)
        )
        if changes.changed or changes.vanished:
            if not replace and corrects is None:
                raise WouldReplaceError(changes)
            if show is not None:
                show(changes)
        account = accounting.account(checked, changes.same)
        told = joined(checked, known) + datum_that_fits(checked, known)
        if tell is None:
            notes += told
        else:
            for one in told:
                tell(one)
        progress("storing")
        store_checked(connection, load_id, checked, account, changes.same)
        settle_items(connection, load_id, typed_repairs(tables))
        notes += absence_notes(connection, said_nothing=account.rows.get("no_find", 0) + account.cells.get("no_find", 0))
    return report_of(checked, account, settled, changes=changes, load_id=load_id, notes=notes)


def _standards(settings: Settings) -> str:
    """What rows are held against, as text: after a change of it the same file is a new load."""
    return settings.taxa.to_json(orient="records") + repr(settings.areas)


def _corrections(
    connection: Any, corrects: int, had: dict[str, pd.DataFrame], known: dict[str, pd.DataFrame], checked: Checked, settled: pd.DataFrame
) -> Changes:
    """What a correcting load changes: rows of the load that it corrects, and of others that it describes differently."""
    found = compare_with_book(known, checked, settled)
    keys = brought_by(connection, corrects)
    lost = []
    for table, frame in had.items():
        key = key_of(table)
        stays = set(known[table][key]) | set(checked.tables[table].accepted[key])
        lost += [
            f"{table[:-1] if table != 'availability' else 'point'} {one}" for one in frame[key] if one in keys[table] and one not in stays
        ]
    return Changes(found.same, found.changed, found.vanished + lost)
