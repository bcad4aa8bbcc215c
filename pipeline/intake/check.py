"""Check files against the book without loading them."""

from __future__ import annotations

from dataclasses import replace as replace_fields
from datetime import date
from pathlib import Path

from pipeline.book.changes import compare_with_book
from pipeline.book.connection import open_book
from pipeline.book.current import known_rows
from pipeline.book.held_items import settled_reasons
from pipeline.checking import accounting, check, held_list
from pipeline.checking.datum import datum_that_fits
from pipeline.checking.join import joined
from pipeline.errors import RillbookError
from pipeline.intake import load_loggers as loggers
from pipeline.intake import mark_copy as marking
from pipeline.intake.logger_report import LoggerReport
from pipeline.intake.places_and_photos import add_waypoints, split_waypoints
from pipeline.intake.read_sheets import map_tables
from pipeline.intake.repairs import judge_repairs
from pipeline.intake.report import Progress, Report, report_of, silent
from pipeline.intake.settings_changed import settled
from pipeline.reading import files as read
from pipeline.reading.odd_files import refuse_odd
from pipeline.reading.rows import SourceTable
from pipeline.settings import Settings


def check_files(
    folder: Path,
    paths: list[Path],
    map_path: Path | None = None,
    today: date | None = None,
    progress: Progress = silent,
    mark: Path | None = None,
) -> Report | LoggerReport:
    """Check files against the book without writing anything.

    Parameters
    ----------
    folder : Path
        The book.
    paths : list of Path
        Sheets, a list of held items with corrections, or logger exports.
    map_path : Path, optional
        Column map, or a map with a `[logger]` section.
    today : date, optional
        Dates after it lie in the future.
    progress : callable
        Told each step.
    mark : Path, optional
        Where to write a copy of the workbook with its faults in their cells; a new file.

    Returns
    -------
    Report or LoggerReport
    """
    settings, (paths, gpx) = settled(folder), split_waypoints(paths)
    if mark is not None:
        marking.refuse_files(paths, mark)
    refuse_odd([map_path] if map_path is not None else [])
    progress("reading")
    if loggers.are_exports(paths, map_path):
        if mark is not None:
            raise RillbookError("a logger's export is not marked.", "Read the list on the screen; leave out --mark.", str(paths[0]))
        return loggers.load(folder, paths, map_path, write=False, today=today, progress=progress)
    tables = read.read_files(paths)
    report = check_tables(folder, settings, tables, map_path, today, progress, gpx)
    if mark is None:
        return report
    if any(held_list.is_repair_list(one) for one in tables):
        raise RillbookError("a list of held items is not marked.", "Read the list on the screen; leave out --mark.", str(paths[0]))
    progress("marking")
    said = marking.mark_workbook(paths[0], map_tables(tables, map_path)[0], report.held, report.flags, mark)
    return replace_fields(report, notes=[*report.notes, said])


def check_tables(
    folder: Path,
    settings: Settings,
    tables: list[SourceTable],
    map_path: Path | None = None,
    today: date | None = None,
    progress: Progress = silent,
    gpx: list[Path] | None = None,
) -> Report:
    """Check sheets that are read already, with places from GPX files; see :func:`check_files`."""
    with open_book(folder) as connection:
        if any(held_list.is_repair_list(one) for one in tables):
            return judge_repairs(connection, tables, settings, today or date.today(), progress)[0]
        sources, _, notes = map_tables(tables, map_path)
        known, settled = known_rows(connection, as_stored=True), settled_reasons(connection)
    progress("checking")
    sources, said = add_waypoints(sources, gpx or [], settings, known, today or date.today())
    notes += said
    checked = check.check(sources, settings, known, today or date.today())
    notes += joined(checked, known) + datum_that_fits(checked, known)
    changes = compare_with_book(known, checked, settled)
    return report_of(checked, accounting.account(checked, changes.same), settled, changes=changes, notes=notes)
