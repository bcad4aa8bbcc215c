"""The order of the steps: what each command does, from files to a report."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pipeline import accounting, book, candidates, check, column_map, read, repair
from pipeline.errors import RillbookError
from pipeline.records import MappedSource, SourceTable
from pipeline.settings import FILE_NAME, Settings, data_file, parse_settings, read_settings

METHOD_VERSION = "1"
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
    """

    account: accounting.Account | None
    held: pd.DataFrame
    flags: pd.DataFrame
    changes: book.Changes | None = None
    load_id: int | None = None
    notes: list[str] = field(default_factory=list)

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
            "would_change": self.changes.changed if self.changes else [],
            "would_vanish": self.changes.vanished if self.changes else [],
            "notes": self.notes,
        }


class WouldReplaceError(RillbookError):
    """A load that would replace what the book holds, without being told to."""

    def __init__(self, changes: book.Changes) -> None:
        self.changes = changes
        super().__init__(
            f"the book holds some of this already: {len(changes.changed)} would change and {len(changes.vanished)} would vanish. Nothing was changed.",
            "Look at the list; load with --replace if you want that.",
        )


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return json.loads(frame.drop(columns=["source", "row", "candidate"], errors="ignore").to_json(orient="records", force_ascii=False))


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


def map_sheets(paths: list[Path], map_path: Path | None) -> tuple[list[MappedSource], column_map.ColumnMap, list[str]]:
    """Read files and turn them into rows of tables."""
    tables = read.read_files(paths)
    return _map_tables(tables, map_path)


def _map_tables(tables: list[SourceTable], map_path: Path | None) -> tuple[list[MappedSource], column_map.ColumnMap, list[str]]:
    notes = []
    if map_path is not None:
        known = column_map.read_map(map_path)
    else:
        known, skipped = column_map.own_map(tables)
        notes += [f"{where}: not one of rillbook's sheets, not read." for where in skipped]
        tables = [one for one in tables if _label(one) not in skipped]
    sources = column_map.apply_map(known, tables)
    for one in sources:
        if not known.sha256 and one.unmapped:
            notes.append(f"{_label(one.source)}: not used: {', '.join(one.unmapped)}. The text is kept with the source rows.")
        if one.source.cells.empty:
            notes.append(f"{_label(one.source)}: only a heading, no rows.")
    return sources, known, notes


def _label(one: SourceTable) -> str:
    return one.file + (f", sheet {one.sheet}" if one.sheet else "")


def _with_files(frame: pd.DataFrame, sources: list[MappedSource]) -> pd.DataFrame:
    return frame.assign(
        file=[sources[one].source.file for one in frame["source"]], sheet=[sources[one].source.sheet for one in frame["source"]]
    )


def _report(checked: check.Checked, account: accounting.Account, **more: Any) -> Report:
    shape = [
        {
            "table": "", "row_key": "", "field": "", "column": "", "text": " | ".join(cells), "rule": "row_too_long",
            "message": f"the row has {len(cells)} cells, the heading {one.source.cells.shape[1]}.",
            "remedy": "Look for a stray delimiter, or put the text in quote marks.", "source": number, "row": place,
            "line": int(one.source.lines[place]), "candidate": 0,
        }
        for number, one in enumerate(checked.sources) for place, cells in one.source.misshapen.items()
    ]  # fmt: skip
    held = pd.concat([checked.held, pd.DataFrame(shape)], ignore_index=True) if shape else checked.held
    return Report(account, _with_files(held, checked.sources), _with_files(checked.flags, checked.sources), **more)


def check_files(folder: Path, paths: list[Path], map_path: Path | None = None, today: date | None = None, progress: Progress = _silent) -> Report:
    """Check files against the book without writing anything.

    Parameters
    ----------
    folder : Path
        The book.
    paths : list of Path
        Sheets, or a list of held items with corrections.
    map_path : Path, optional
        Column map.
    today : date, optional
        Dates after it lie in the future.
    progress : callable
        Told each step.

    Returns
    -------
    Report
    """
    settings = read_settings(folder)
    progress("reading")
    sources, _, notes = map_sheets(paths, map_path)
    known = _known(folder)
    progress("checking")
    checked = check.check(sources, settings, known, today or date.today())
    changes = book.changes(known, checked)
    return _report(checked, accounting.account(checked, changes.same), changes=changes, notes=notes)


def _known(folder: Path) -> dict[str, pd.DataFrame]:
    if not book.has_book(folder):
        return empty_book()
    with book.open_book(folder) as connection:
        return book.known_rows(connection)


def empty_book() -> dict[str, pd.DataFrame]:
    """Frames of a book that holds nothing."""
    return {table: candidates.gather(table, []).typed for table in check.LOADED}


def load_files(
    folder: Path,
    paths: list[Path],
    map_path: Path | None = None,
    *,
    replace: bool = False,
    corrects: int | None = None,
    today: date | None = None,
    progress: Progress = _silent,
    show: Callable[[book.Changes], None] | None = None,
) -> Report:
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
    Report

    Raises
    ------
    WouldReplaceError
        The book holds some of the rows, different, and `replace` is not set.
    RillbookError
        The files or the book cannot be used; nothing was changed.
    """
    settings = read_settings(folder)
    progress("reading")
    tables = read.read_files(paths)
    if any(repair.is_repair_list(one) for one in tables):
        return _load_repairs(folder, tables, settings, today or date.today(), progress)
    sources, known_map, notes = _map_tables(tables, map_path)
    content = book.content_hash([*(one.source.sha256 for one in sources), known_map.sha256])
    with book.open_book(folder, write=True) as connection:
        before = book.loaded_as(connection, content)
        if before is not None and corrects is None:
            notes.append(f"This was loaded before, as load {before}. Nothing was changed.")
            return Report(None, _no_reasons(), _no_reasons(), notes=notes)
        now = datetime.now(UTC).replace(tzinfo=None)
        load_id = book.start_load(connection, "load", [str(path.name) for path in paths], content, known_map.title, corrects, now)
        known = book.known_rows(connection)
        progress("checking")
        checked = check.check(sources, settings, known, today or date.today())
        changes = book.changes(known, checked)
        changes = book.Changes(changes.same, changes.changed + book.added_to_known(known, checked, changes), changes.vanished)
        if changes.changed or changes.vanished:
            if not replace:
                raise WouldReplaceError(changes)
            if show is not None:
                show(changes)
        account = accounting.account(checked, changes.same)
        report = _report(checked, account, changes=changes, load_id=load_id, notes=notes)
        progress("storing")
        book.store(connection, load_id, checked, account, changes.same)
    return report


def _no_reasons() -> pd.DataFrame:
    return pd.DataFrame(columns=[*check.HELD_COLUMNS, "file", "sheet"])


def _load_repairs(folder: Path, tables: list[SourceTable], settings: Settings, today: date, progress: Progress) -> Report:
    """Apply a list of held items that came back; what is still wrong stays held."""
    if len(tables) != 1:
        raise RillbookError("a list of held items is loaded alone.", "Load one file at a time.")
    source = tables[0]
    with book.open_book(folder, write=True) as connection:
        content = book.content_hash([source.sha256])
        if (before := book.loaded_as(connection, content)) is not None:
            return Report(None, _no_reasons(), _no_reasons(), notes=[f"This was loaded before, as load {before}. Nothing was changed."])
        wanted = repair.read_repairs(source, book.held(connection))
        if wanted.asked.empty:
            return Report(None, _no_reasons(), _no_reasons(), notes=["No item has an answer. Nothing was changed."])
        now = datetime.now(UTC).replace(tzinfo=None)
        load_id = book.start_load(connection, "repair", [source.file], content, "", None, now)
        known, held_rows = book.known_rows(connection), book.held_row_texts(connection, [])
        progress("checking")
        asked = repair.following(wanted.asked, held_rows)
        checked, failed = _recheck(source, asked, known, held_rows, settings, today)
        still = failed["item"].drop_duplicates()
        applied = asked[~asked["item"].isin(still)]
        notes = [f"{row.item}: still held: {row.message}" for row in failed.itertuples()]
        follow = len(asked) - len(wanted.asked)
        if follow:
            notes.append(f"{follow} rows that hang on repaired ones follow.")
        fates = np.full(len(source.cells), "repeat", dtype=object)
        fates[applied["place"].astype(int)] = "accepted"
        fates[failed["place"].astype(int)] = "held"
        account = _repair_account(source, checked, fates)
        book.store(connection, load_id, checked, account, {table: set() for table in check.LOADED}, patch=True)
        book.settle(connection, load_id, applied)
    held = _no_reasons() if failed.empty else _with_files(failed.assign(source=0), checked.sources)
    return Report(account, held, _with_files(checked.flags, checked.sources), load_id=load_id, notes=notes)


def _recheck(
    source: SourceTable, asked: pd.DataFrame, known: dict[str, pd.DataFrame], held_rows: pd.DataFrame, settings: Settings, today: date
) -> tuple[check.Checked, pd.DataFrame]:
    """Check the repaired rows; take out what is still faulty, and check again until the rest is clean."""
    failed = []
    while True:
        checked = check.check([repair.repaired_source(source, asked, known, held_rows)], settings, known, today)
        if checked.held.empty:
            return checked, pd.concat(failed) if failed else pd.DataFrame(columns=["item", "place", "message", *check.HELD_COLUMNS])
        bad = checked.held.rename(columns={"row": "place"})
        hit = asked.merge(bad[["table", "row_key", "field", "rule", "message", "remedy"]], left_on=["table", "row"], right_on=["table", "row_key"], suffixes=("", "_bad"))
        assert len(hit), f"a repaired row fails without an item: {bad.to_dict('records')}"
        failed.append(hit.assign(column="corrected", parent_key="", candidate=-1, line=[int(source.lines[int(one)]) for one in hit["place"]], text=hit["corrected"]))
        asked = asked[~asked["item"].isin(hit["item"])]


def _repair_account(source: SourceTable, checked: check.Checked, fates: np.ndarray) -> accounting.Account:
    rows = {fate: int((fates == fate).sum()) for fate in accounting.ROW_FATES}
    tables = {table: {"accepted": len(one.accepted), "held": 0, "same": 0} for table, one in checked.tables.items()}
    return accounting.Account(rows, {}, tables, pd.DataFrame(columns=["rule", "what", "n"]), [fates])


def held_items(folder: Path) -> pd.DataFrame:
    """Open held items of a book; see `book.held`."""
    read_settings(folder)
    with book.open_book(folder) as connection:
        return book.held(connection)


def write_held(folder: Path, path: Path) -> int:
    """Write the open held items with empty columns for answers; return their number."""
    frame = held_items(folder).drop(columns="whole_row").assign(corrected="", dismiss_reason="", by="")
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
    with book.open_book(folder, write=True) as connection:
        book.undo(connection, load_id, datetime.now(UTC).replace(tzinfo=None))


def status(folder: Path) -> dict[str, Any]:
    """What a book holds: loads, rows by table, open items, flags by rule."""
    settings = read_settings(folder)
    if not book.has_book(folder):
        return {"title": settings.title, "loads": [], "tables": {}, "held": 0, "flags": {}}
    with book.open_book(folder) as connection:
        known = book.known_rows(connection)
        outcome = connection.execute("SELECT count(*) FILTER (NOT EXISTS (SELECT 1 FROM finds f WHERE f.visit_id = v.visit_id) AND NOT incomplete), count(*) FILTER (incomplete) FROM visits v").fetchall()[0]
        flags = connection.execute("SELECT rule, count(*) FROM flags WHERE settled_by IS NULL GROUP BY rule ORDER BY rule").fetchall()
        loads = json.loads(book.loads(connection).to_json(orient="records", date_format="iso"))
        items = len(book.held(connection))
    tables = {table: len(frame) for table, frame in known.items()}
    return {
        "title": settings.title, "loads": loads, "tables": tables, "visits_without_finds": outcome[0], "visits_incomplete": outcome[1],
        "held": items, "flags": dict(flags),
    }  # fmt: skip


@dataclass(frozen=True)
class Derived:
    """Targets with what they rest on."""

    targets: pd.DataFrame
    readings: pd.DataFrame
    facts: dict[str, Any]
    kept: pd.DataFrame


def derive_targets(folder: Path, *, accept: str = "", by: str = "", reason: str = "", progress: Progress = _silent) -> Derived:
    """Derive the targets of a book, hold them to what was published, and write them down.

    Parameters
    ----------
    folder : Path
        The book.
    accept : str
        Taxon whose values a named person takes even where they are warmer than an earlier publication.
    by, reason : str
        Who, and why; required with `accept`.
    progress : callable
        Told each step.

    Returns
    -------
    Derived

    Raises
    ------
    RillbookError
        The book is empty, or a warmer value is accepted without name and reason.
    """
    from pipeline import derive, evidence, ledger

    settings = read_settings(folder)
    if accept and accept not in set(settings.taxa["code"]):
        raise RillbookError(f"{accept!r} is not among the book's taxa.", f"Known: {', '.join(settings.taxa['code'])}.")
    if accept and not (by.strip() and reason.strip()):
        raise RillbookError("a warmer value is accepted by a named person with a reason.", "Add --by NAME and --reason TEXT.")
    if not book.has_book(folder):
        raise RillbookError("nothing is loaded yet.", "Load a sheet with `rillbook load FILE`.", str(folder))
    with book.open_book(folder) as connection:
        progress("reading the evidence")
        readings, exclusions = evidence.readings(connection, settings)
        before, accepted = book.published(connection)
        hashes = connection.execute("SELECT file, sheet, sha256 FROM source_files SEMI JOIN active USING (load_id) ORDER BY ALL").df()
    progress("deriving")
    targets = derive.targets(readings, settings.taxa, settings)
    visits = ledger.visits_of_cells(readings, settings.taxa, settings)
    now = datetime.now(UTC).replace(tzinfo=None)
    kept_targets, kept = ledger.hold_to_published(targets, visits, before, accepted)
    with book.open_book(folder, write=True) as connection:
        if accept:
            book.accept_warmer(connection, kept[kept["taxon"] == accept], by, reason, now)
            before, accepted = book.published(connection)
            kept_targets, kept = ledger.hold_to_published(targets, visits, before, accepted)
        book.publish(connection, ledger.to_publish(kept_targets, visits), now)
    facts = {
        "title": settings.title, "invented": settings.invented, "author": settings.author, "licence": settings.licence, "seed": settings.seed,
        "time_zone": settings.time_zone, "method_version": METHOD_VERSION, "exclusions": exclusions,
        "allowances": derive.group_allowances(readings, settings.taxa, settings), "input_hash": evidence.input_hash(readings),
        "inputs": hashes.to_dict("records"), "cold_months": settings.cold_months,
        "notes": [f"{row.taxon} {row.life_stage} {row.medium} {row.month}: {row.quantity} kept at {row.kept:g} °C" for row in kept.itertuples()],
    }  # fmt: skip
    _write_targets(folder / "out", kept_targets, facts)
    return Derived(kept_targets, readings, facts, kept)


def _write_targets(out: Path, targets: pd.DataFrame, facts: dict[str, Any]) -> None:
    rows = json.loads(targets.to_json(orient="records", force_ascii=False, double_precision=6))
    document = {
        "study": facts["title"], "invented": facts["invented"], "licence": facts["licence"],
        "method_version": facts["method_version"], "seed": facts["seed"], "input_hash": facts["input_hash"], "inputs": facts["inputs"],
        "exclusions": facts["exclusions"].to_dict("records"),
        "allowances": [
            {**dict(zip(("taxon", "population", "life_stage", "medium"), cell, strict=True)), "parts_c": parts}
            for cell, parts in facts["allowances"].items()
        ],
        "notes": facts["notes"], "targets": rows,
    }  # fmt: skip
    try:
        out.mkdir(parents=True, exist_ok=True)
        targets.to_csv(out / "targets.csv", index=False, encoding="utf-8", lineterminator="\n")
        (out / "targets.json").write_text(json.dumps(document, indent=1, ensure_ascii=False) + "\n", encoding="utf-8", newline="\n")
    except OSError as problem:
        raise RillbookError(f"the targets cannot be written ({problem.strerror}).", "Close the file in other programs.", str(out)) from None


def write_care_sheets(folder: Path, derived: Derived) -> list[Path]:
    """Write one care sheet a taxon that has a find; return the paths."""
    from pipeline import care_sheet

    settings = read_settings(folder)
    seen = set(derived.facts["exclusions"]["taxon"]) | set(derived.readings["taxon"])
    taxa = [code for code in settings.taxa["code"] if code in seen]
    return [care_sheet.write(folder / "out", code, derived.targets, derived.readings, settings.taxa, derived.facts) for code in taxa]


def write_maps(folder: Path, progress: Progress = _silent) -> list[Path]:
    """Write the public map and the exact one; return the paths."""
    from pipeline import map_page

    settings = read_settings(folder)
    if not book.has_book(folder):
        raise RillbookError("nothing is loaded yet.", "Load a sheet with `rillbook load FILE`.", str(folder))
    progress("drawing the maps")
    known = _known(folder)
    book_rows = (known["sites"], known["visits"], known["finds"], settings)
    return [map_page.write_public(folder / "out", *book_rows), map_page.write_exact(folder / "out", *book_rows)]


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
    from pipeline import demo

    init(folder, demo.settings_text())
    report = load_files(folder, demo.copy_sheets(folder / "sheets"), progress=progress)
    derived = derive_targets(folder, progress=progress)
    progress("writing care sheets")
    files = write_care_sheets(folder, derived)
    return Demo(report, demo.compare(report.held, report.flags), derived, [*files, *write_maps(folder, progress)])
