"""The order of the steps: what each command does, from files to a report."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from dataclasses import replace as replace_fields
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pipeline.book.absences import absence_counts
from pipeline.book.changes import Changes, compare_with_book, is_settled
from pipeline.book.connection import open_book
from pipeline.book.current import brought_by, known_rows
from pipeline.book.held_items import held_row_texts, open_items, settle_items, settled_reasons, standing_answers
from pipeline.book.loads import all_loads, content_hash, loaded_as, start_load, store_checked, undo_load
from pipeline.checking import accounting, check, repair
from pipeline.checking.outcome import HELD_COLUMNS, ROW_FATES, Account, Checked
from pipeline.commands import load_loggers as loggers
from pipeline.commands import mark_copy as marking
from pipeline.commands.assess_quality import write_quality as write_quality
from pipeline.commands.blank_sheets import write_sheets as write_sheets
from pipeline.commands.derive import Derived as Derived
from pipeline.commands.derive import derive_targets as derive_targets
from pipeline.commands.derive import refuse_empty
from pipeline.commands.derive import write_cards as write_cards
from pipeline.commands.derive import write_care_sheets as write_care_sheets
from pipeline.commands.logger_report import LoggerReport
from pipeline.commands.places_and_photos import add_waypoints, file_hash, split_waypoints
from pipeline.commands.places_and_photos import write_photo_offers as write_photo_offers
from pipeline.commands.publish import publish as publish
from pipeline.commands.write_reports import Written as Written
from pipeline.commands.write_reports import write_gaps as write_gaps
from pipeline.commands.write_reports import write_landowner as write_landowner
from pipeline.commands.write_reports import write_permits as write_permits
from pipeline.errors import RillbookError
from pipeline.loggers import staging as logger_store
from pipeline.reading import apply_map as mapping
from pipeline.reading import column_map, headings
from pipeline.reading import files as read
from pipeline.reading import survey_document as survey_file
from pipeline.reading.own_sheets import own_map
from pipeline.reading.rows import ColumnMap, MappedSource, SourceTable
from pipeline.settings import FILE_NAME, Settings, data_file, parse_settings, read_settings
from schemas.enums import Effect
from schemas.tables import LOADED, key_of

Progress = Callable[[str], None]
ALL_ACCEPTED, SOME_HELD = 0, 1


def _silent(step: str) -> None:
    """Say nothing."""


@dataclass(frozen=True)
class Report:
    """What a check or a load found.

    Attributes
    ----------
    account : Account or None
        What became of source rows and cells; None where nothing was read.
    held, flags : DataFrame
        Reasons with ``file`` and ``sheet``.
    changes : Changes or None
        What the load would replace.
    load_id : int or None
        Number of the load, where something was stored.
    notes : list of str
        What else a person should know.
    converted : DataFrame
        Values that are more than a copy of what was written, each with its text and the way that it was read.
    """

    account: Account | None
    held: pd.DataFrame
    flags: pd.DataFrame
    changes: Changes | None = None
    load_id: int | None = None
    notes: list[str] = field(default_factory=list)
    converted: pd.DataFrame = field(default_factory=pd.DataFrame)

    @property
    def exit_code(self) -> int:
        """0 where all was accepted, 1 where something is held back."""
        return SOME_HELD if len(self.held) else ALL_ACCEPTED

    def as_dict(self) -> dict[str, Any]:
        """The report for `--json`."""
        account = self.account
        return {
            "load": self.load_id,
            "rows": account.rows if account else {},
            "cells": account.cells if account else {},
            "tables": account.tables if account else {},
            "reasons": account.reasons.to_dict("records") if account else [],
            "held": _records(self.held),
            "flags": _records(self.flags),
            "converted": _records(self.converted),
            "would_change": self.changes.changed if self.changes else [],
            "would_vanish": self.changes.vanished if self.changes else [],
            "notes": self.notes,
        }


class WouldReplaceError(RillbookError):
    """A load that would replace what the book holds, without being told to."""

    def __init__(self, changes: Changes) -> None:
        self.changes = changes
        super().__init__(
            f"the book holds some of this already: {len(changes.changed)} would change and {len(changes.vanished)} would vanish. "
            "Nothing was changed.",
            "Look at the list. If the sheet holds another visit or find, give that a code of its own. If it corrects what was loaded, load "
            "it with --replace.",
        )


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return json.loads(
        frame.drop(columns=["source", "row", "candidate", "of"], errors="ignore").to_json(orient="records", force_ascii=False)
    )


def init(folder: Path, settings_text: str | None = None) -> Path:
    """Make a new book: a folder with its `rillbook.toml`.

    Raises
    ------
    RillbookError
        The folder holds a book already, or the settings say something wrong.
    """
    path = folder / FILE_NAME
    if path.exists():
        raise RillbookError(f"{folder} holds a book already.", "Choose another folder.")
    text = settings_text if settings_text is not None else data_file("new_book.toml").read_text(encoding="utf-8")
    parse_settings(text, str(path))
    try:
        folder.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="\n")
    except OSError as problem:
        raise RillbookError(f"the folder cannot be written ({problem.strerror}).", "Choose another.", str(folder)) from None
    return path


def map_sheets(paths: list[Path], map_path: Path | None) -> tuple[list[MappedSource], ColumnMap, list[str]]:
    """Read files and turn them into rows of tables."""
    tables = read.read_files(paths)
    return _map_tables(tables, map_path)


def _map_tables(tables: list[SourceTable], map_path: Path | None) -> tuple[list[MappedSource], ColumnMap, list[str]]:
    typed = _typed_repairs(tables)
    notes = [f"Repairs made while typing: {len(typed)}. The text as typed first is kept with each."] if len(typed) else []
    tables = [one for one in tables if not survey_file.is_corrections(one)]
    if map_path is not None:
        known = column_map.read_map(map_path)
    else:
        tables, examples = headings.records_of(tables)
        notes += examples
        known, skipped = own_map(tables)
        notes += [f"{where}: not one of rillbook's sheets, not read." for where in skipped]
        tables = [one for one in tables if one.label not in skipped]
    sources = mapping.apply_map(known, tables)
    mapped = [one.source for one in sources]
    left = [one for one in tables if all(one is not other for other in mapped)]
    notes += [f"{one.label}: the column map says nothing of this sheet, not read." for one in left]
    for one in sources:
        if not known.sha256 and one.unmapped:
            notes.append(f"{one.source.label}: not used: {', '.join(one.unmapped)}. The text is kept with the source rows.")
        if one.source.cells.empty:
            notes.append(f"{one.source.label}: only a heading, no rows.")
    return sources, known, notes


def _typed_repairs(tables: list[SourceTable]) -> pd.DataFrame:
    """Repairs that survey documents carry: made at the form with one tap, before anything was loaded."""
    parts = [survey_file.corrections_of(one) for one in tables if survey_file.is_corrections(one)]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()


def _with_files(frame: pd.DataFrame, sources: list[MappedSource]) -> pd.DataFrame:
    return frame.assign(
        file=[sources[one].source.file for one in frame["source"]], sheet=[sources[one].source.sheet for one in frame["source"]]
    )


def _report(checked: Checked, account: Account, settled: pd.DataFrame, *, notes: list[str], **more: Any) -> Report:
    answered = is_settled(checked.held, settled)
    if answered.any():
        notes = [*notes, f"{int(answered.sum())} that you answered before stay as they were decided; they are not listed again."]
    held, flags = _with_files(checked.held[~answered], checked.sources), _with_files(checked.flags, checked.sources)
    converted = _with_files(checked.converted, checked.sources)
    if len(converted):
        notes = [*notes, f"{len(converted)} values were worked out from what was written, not copied; each is on record with its text."]
    return Report(account, held, flags, notes=notes, converted=converted, **more)


def check_files(
    folder: Path,
    paths: list[Path],
    map_path: Path | None = None,
    today: date | None = None,
    progress: Progress = _silent,
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
    settings, (paths, gpx) = read_settings(folder), split_waypoints(paths)
    if mark is not None:
        marking.refuse_files(paths, mark)
    progress("reading")
    if loggers.are_exports(paths, map_path):
        if mark is not None:
            raise RillbookError("a logger's export is not marked.", "Read the list on the screen; leave out --mark.", str(paths[0]))
        return loggers.load(folder, paths, map_path, write=False, today=today, progress=progress)
    tables = read.read_files(paths)
    report = check_tables(folder, settings, tables, map_path, today, progress, gpx)
    if mark is None:
        return report
    if any(repair.is_repair_list(one) for one in tables):
        raise RillbookError("a list of held items is not marked.", "Read the list on the screen; leave out --mark.", str(paths[0]))
    progress("marking")
    said = marking.mark_workbook(paths[0], _map_tables(tables, map_path)[0], report.held, report.flags, mark)
    return replace_fields(report, notes=[*report.notes, said])


def check_tables(
    folder: Path,
    settings: Settings,
    tables: list[SourceTable],
    map_path: Path | None = None,
    today: date | None = None,
    progress: Progress = _silent,
    gpx: list[Path] | None = None,
) -> Report:
    """Check sheets that are read already, with places from GPX files; see :func:`check_files`."""
    with open_book(folder) as connection:
        if any(repair.is_repair_list(one) for one in tables):
            return _judge_repairs(connection, tables, settings, today or date.today(), progress)[0]
        sources, _, notes = _map_tables(tables, map_path)
        known, settled = known_rows(connection, as_stored=True), settled_reasons(connection)
    progress("checking")
    sources, said = add_waypoints(sources, gpx or [], settings, known, today or date.today())
    notes += said
    checked = check.check(sources, settings, known, today or date.today())
    changes = compare_with_book(known, checked, settled)
    return _report(checked, accounting.account(checked, changes.same), settled, changes=changes, notes=notes)


def load_files(
    folder: Path,
    paths: list[Path],
    map_path: Path | None = None,
    *,
    replace: bool = False,
    corrects: int | None = None,
    today: date | None = None,
    progress: Progress = _silent,
    show: Callable[[Changes], None] | None = None,
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
    if any(repair.is_repair_list(one) for one in tables):
        return _load_repairs(folder, tables, settings, today, progress)
    sources, known_map, notes = _map_tables(tables, map_path)
    hashes = [one.source.sha256 for one in sources] + [file_hash(path) for path in gpx]
    content = content_hash([*hashes, known_map.sha256, _standards(settings)])
    with open_book(folder, write=True) as connection:
        before = loaded_as(connection, content)
        if before is not None and corrects is None:
            return _nothing_done([*notes, f"This was loaded before, as load {before}. Nothing was changed."])
        had = known_rows(connection, as_stored=True)
        load_id = start_load(connection, "load", [path.name for path in [*paths, *gpx]], content, known_map.title, corrects, _now())
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
        progress("storing")
        store_checked(connection, load_id, checked, account, changes.same)
        settle_items(connection, load_id, _typed_repairs(tables))
        notes += _absence_notes(connection)
    return _report(checked, account, settled, changes=changes, load_id=load_id, notes=notes)


def _standards(settings: Settings) -> str:
    """What rows are held against, as text: after a change of it the same file is a new load."""
    return settings.taxa.to_json(orient="records") + repr(settings.areas)


def _now() -> datetime:
    return datetime.now(UTC).replace(tzinfo=None)


def _nothing_done(notes: list[str]) -> Report:
    return Report(None, _no_reasons(), _no_reasons(), notes=notes)


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


def _no_reasons() -> pd.DataFrame:
    return pd.DataFrame(columns=[*HELD_COLUMNS, "file", "sheet"])


def _load_repairs(folder: Path, tables: list[SourceTable], settings: Settings, today: date, progress: Progress) -> Report:
    """Apply a list of held items that came back; what is still wrong stays held."""
    with open_book(folder, write=True) as connection:
        report, checked, applied = _judge_repairs(connection, tables, settings, today, progress)
        if report.account is None or applied.empty:
            return report
        load_id = start_load(connection, "repair", [tables[0].file], content_hash([tables[0].sha256]), "", None, _now())
        progress("storing")
        store_checked(connection, load_id, checked, report.account, {table: set() for table in LOADED}, patch=True)
        settle_items(connection, load_id, applied)
        notes = [*report.notes, *_absence_notes(connection)]
    return replace_fields(report, load_id=load_id, notes=notes)


def _absence_notes(connection: Any) -> list[str]:
    """What the book states of absence, and what it does not; nothing where no visit says what it looked for and that it counted all."""
    stated, silent = absence_counts(connection)
    if not stated and not silent:
        return []
    note = f"The book states {stated} absences: taxa that a visit looked for, counting every animal, and did not find."
    if silent:
        number = sum(silent.values())
        reasons = ", ".join(f"{why} ({n})" for why, n in silent.items())
        note += f" Of {number} more nothing is said, which is not stated as an absence: {reasons}."
    return [note]


def _judge_repairs(
    connection: Any, tables: list[SourceTable], settings: Settings, today: date, progress: Progress
) -> tuple[Report, Checked, pd.DataFrame]:
    """Check the answers of a list; return a report, the rows that are sound now, and the answers to write down."""
    if len(tables) != 1:
        raise RillbookError("a list of held items is loaded alone.", "Load it by itself, and the sheets after it.")
    source = tables[0]
    known, held_rows = known_rows(connection, as_stored=True), held_row_texts(connection)
    wanted = repair.read_repairs(source, open_items(connection), standing_answers(connection))
    notes = [f"{wanted.repeated} answers are in the book already."] if wanted.repeated else []
    if wanted.asked.empty:
        return (
            _nothing_done([*notes, "No open item has an answer. Nothing was changed."]),
            check.check([], settings, known, today),
            wanted.asked,
        )
    progress("checking")
    asked = repair.following(wanted.asked, held_rows)
    checked, failed = _recheck(source, asked, known, held_rows, settings, today)
    applied = asked[~asked["item"].isin(failed["item"])]
    follow = int((~applied["item"].isin(wanted.asked["item"])).sum())
    if follow:
        notes.append(f"{follow} rows that hang on repaired ones follow.")
    fates = np.full(len(source.cells), "repeat", dtype=object)
    fates[applied["place"].astype(int)] = "accepted"
    fates[failed["place"].astype(int)] = "held"
    held = _no_reasons() if failed.empty else _with_files(failed.assign(source=0), checked.sources)
    report = Report(_repair_account(checked, fates), held, _with_files(checked.flags, checked.sources), notes=notes)
    return report, checked, repair.other_reasons(applied, held_rows)


def _recheck(
    source: SourceTable, asked: pd.DataFrame, known: dict[str, pd.DataFrame], held_rows: pd.DataFrame, settings: Settings, today: date
) -> tuple[Checked, pd.DataFrame]:
    """Check the repaired rows; take out what is still faulty, and check again until the rest is clean."""
    rows = repair.rows_under_repair(source, asked, known, held_rows)
    failed = [pd.DataFrame(columns=["item", "place", *HELD_COLUMNS])]
    while True:
        checked = check.check([repair.repaired_source(source, rows)], settings, known, today)
        if checked.held.empty:
            return checked, pd.concat(failed, ignore_index=True)
        faults = checked.held.drop_duplicates(["table", "row_key"]).drop(columns=["row", "line"])
        bad = rows.merge(faults, left_on=["table", "key"], right_on=["table", "row_key"])
        assert len(bad), f"a repaired row fails without an item: {checked.held.to_dict('records')}"
        line = [int(source.lines[place]) for place in bad["place"]]
        failed.append(
            bad.assign(line=line, row=bad["place"]).explode("items").rename(columns={"items": "item"}).drop(columns=["texts", "key"])
        )
        rows = rows[~rows["items"].isin(bad["items"])]


def _repair_account(checked: Checked, fates: np.ndarray) -> Account:
    rows = {fate: int((fates == fate).sum()) for fate in ROW_FATES}
    tables = {table: {"accepted": len(one.accepted), "held": 0, "same": 0} for table, one in checked.tables.items()}
    return Account(rows, {}, tables, pd.DataFrame(columns=["rule", "what", "n"]), [fates])


def held_items(folder: Path) -> pd.DataFrame:
    """Open held items of a book; see `book.held`."""
    read_settings(folder)
    with open_book(folder) as connection:
        return open_items(connection)


def write_held(folder: Path, path: Path) -> int:
    """Write the open held items with empty columns for answers; return their number."""
    frame = repair.for_spreadsheet(held_items(folder).drop(columns="whole_row")).assign(corrected="", dismiss_reason="", by="")
    if path.exists():
        raise RillbookError(f"{path} exists already.", "Choose another name, so that no answer is lost.")
    try:
        frame.to_csv(path, index=False, encoding="utf-8-sig", lineterminator="\n")
    except OSError as problem:
        raise RillbookError(f"the list cannot be written ({problem.strerror}).", "Choose another folder.", str(path)) from None
    return len(frame)


def undo(folder: Path, load_id: int) -> None:
    """Take a load back."""
    read_settings(folder)
    with open_book(folder, write=True) as connection:
        undo_load(connection, load_id, _now())


def status(folder: Path) -> dict[str, Any]:
    """What a book holds: loads, rows by table, open items, flags by rule."""
    settings = read_settings(folder)
    with open_book(folder) as connection:
        known = known_rows(connection)
        outcome = connection.execute(
            """SELECT count(*) FILTER (NOT EXISTS (SELECT 1 FROM finds f WHERE f.visit_id = v.visit_id) AND NOT incomplete),
              count(*) FILTER (incomplete) FROM visits v"""
        ).fetchall()[0]
        flags = connection.execute("SELECT rule, count(*) FROM flags WHERE settled_by IS NULL GROUP BY rule ORDER BY rule").fetchall()
        loads = json.loads(all_loads(connection).to_json(orient="records", date_format="iso"))
        items = len(open_items(connection))
        stated, silent = absence_counts(connection)
        of_loggers = logger_store.summary(connection)
    tables = {table: len(frame) for table, frame in known.items()}
    return {
        "title": settings.title, "loads": loads, "tables": tables, "visits_without_finds": outcome[0], "visits_incomplete": outcome[1],
        "absences": stated, "absences_not_stated": silent, "held": items, "flags": dict(flags), "logger_files": of_loggers,
    }  # fmt: skip


def compare_populations(folder: Path, first: str, second: str, *, taxon: str, life_stage: str, medium: str) -> dict[str, Any]:
    """Compare the temperatures at which two populations were found; see `compare.compare`.

    Returns
    -------
    dict
        The comparison's fields; ``words`` says the same in sentences.
    """
    from dataclasses import asdict

    from pipeline.targets import compare, evidence

    settings = read_settings(folder)
    with open_book(folder) as connection:
        refuse_empty(connection, folder)
        readings, _ = evidence.readings(connection, settings)
    found = asdict(compare.compare(readings, first, second, settings, taxon=taxon, life_stage=life_stage, medium=medium))
    return {name: None if isinstance(value, float) and math.isnan(value) else value for name, value in found.items()}


def write_maps(folder: Path, lines: Path | None = None, tiles: str | None = None, progress: Progress = _silent) -> list[Path]:
    """Write the public map and the exact one, each as a page with still pictures beside it; return the two pages.

    Parameters
    ----------
    folder : Path
        The book.
    lines : Path, optional
        Streams or boundaries to draw, GeoPackage or GeoJSON.
    tiles : str, optional
        Address of background tiles, which a reader may switch on.
    progress : callable
        Told each step.
    """
    from pipeline.maps import lines as map_lines
    from pipeline.maps import page as map_page
    from pipeline.maps import parts as map_parts
    from pipeline.publishing.public_book import open_to_all, public_book

    settings = read_settings(folder)
    address = map_parts.tiles_address(tiles) if tiles else ""
    with open_book(folder) as connection:
        refuse_empty(connection, folder)
        known, doubts = known_rows(connection), _in_doubt(connection)
    shapes = map_lines.read_lines(lines) if lines is not None else None
    progress("drawing the maps")
    shown = public_book(folder, settings)
    open_to_all(folder, settings, shown)
    doubted = map_parts.public_doubts(doubts, shown.key)
    marked = {
        **known,
        "visits": known["visits"].assign(in_doubt=known["visits"]["visit_id"].isin(doubts["visits"])),
        "finds": known["finds"].assign(in_doubt=known["finds"]["find_id"].isin(doubts["finds"])),
    }
    public = map_parts.public_parts(shown.tables, doubted, settings, shapes, address)
    exact = map_parts.exact_parts(marked, settings, shapes, address)
    return [map_page.write(one, folder / "out") for one in (public, exact)]


def _in_doubt(connection: Any) -> dict[str, set[str]]:
    """Visits and finds with an unsettled flag that keeps them out of targets."""
    asked = "SELECT DISTINCT table_name, row_key FROM flags WHERE effect = ? AND coalesce(settled_by, '') = ''"
    found = connection.execute(asked, [str(Effect.FLAG_EXCLUDE)]).fetchall()
    return {table: {key for name, key in found if name == table} for table in ("visits", "finds")}


@dataclass(frozen=True)
class Demo:
    """What the invented study came to."""

    report: Report
    faults: pd.DataFrame
    derived: Derived
    files: list[Path]

    @property
    def as_planned(self) -> bool:
        """Every planted fault met its effect, and nothing else was held or marked."""
        return bool((self.faults["expected"] == self.faults["met"]).all())


def run_demo(folder: Path, progress: Progress = _silent) -> Demo:
    """Run the whole path on the invented study in a new folder.

    Raises
    ------
    RillbookError
        The folder holds a book already.
    """
    from pipeline.commands import demo_study as demo

    init(folder, demo.settings_text())
    report = load_files(folder, demo.copy_sheets(folder / "sheets"), progress=progress)
    assert isinstance(report, Report), "the invented study holds a logger's export"
    derived = derive_targets(folder, progress=progress)
    progress("writing care sheets")
    files = [*write_cards(folder, derived), *write_care_sheets(folder, derived)]
    files += write_maps(folder, progress=progress)
    for written in (write_gaps(folder, progress=progress, derived=derived), write_permits(folder), write_landowner(folder)):
        files += [path for path in written.files if path.suffix == ".html"]
    files += publish(folder, progress=progress).files
    return Demo(report, demo.compare(report.held, report.flags), derived, files)
