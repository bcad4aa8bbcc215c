"""The list of held items: written out with room for answers, and taken back with them."""

from __future__ import annotations

import os
from dataclasses import replace as replace_fields
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pipeline.book.connection import open_book
from pipeline.book.current import known_rows
from pipeline.book.held_items import held_row_texts, open_items, settle_items, standing_answers
from pipeline.book.loads import content_hash, start_load, state_of, store_checked
from pipeline.book.standards import keep_to
from pipeline.checking import check, held_list, repair
from pipeline.checking.outcome import ROW_FATES, Account, Checked
from pipeline.errors import RillbookError
from pipeline.intake.report import Progress, Report, absence_notes, no_reasons, nothing_done, now, with_files
from pipeline.intake.settings_changed import settled
from pipeline.reading import files as read
from pipeline.reading.rows import SourceTable
from pipeline.settings import Settings
from pipeline.writing.spreadsheet import for_spreadsheet
from schemas.frames.checks import HELD_COLUMNS
from schemas.tables import LOADED


def load_repairs(folder: Path, tables: list[SourceTable], settings: Settings, today: date, progress: Progress) -> Report:
    """Apply a list of held items that came back; what is still wrong stays held."""
    while True:
        with open_book(folder) as connection:
            state = state_of(connection)
            report, checked, applied = judge_repairs(connection, tables, settings, today, progress)
        if report.account is None or applied.empty:
            return report
        with open_book(folder, write=True) as connection:
            if state_of(connection) != state:
                continue
            keep_to(connection, settings)
            load_id = start_load(connection, "repair", [tables[0].file], content_hash([tables[0].sha256]), "", None, now())
            progress("storing")
            store_checked(connection, load_id, checked, report.account, {table: set() for table in LOADED}, patch=True)
            settle_items(connection, load_id, applied)
            notes = [*report.notes, *absence_notes(connection)]
        return replace_fields(report, load_id=load_id, notes=notes)


def judge_repairs(
    connection: Any, tables: list[SourceTable], settings: Settings, today: date, progress: Progress
) -> tuple[Report, Checked, pd.DataFrame]:
    """Check the answers of a list; return a report, the rows that are sound now, and the answers to write down."""
    if len(tables) != 1:
        raise RillbookError("a list of held items is loaded alone.", "Load it by itself, and the sheets after it.")
    source = tables[0]
    known, held_rows = known_rows(connection, as_stored=True), held_row_texts(connection)
    items = open_items(connection)
    wanted = held_list.read_repairs(source, items, standing_answers(connection))
    notes = [f"{wanted.repeated} answers are in the book already."] if wanted.repeated else []
    if wanted.asked.empty:
        return (
            nothing_done([*notes, "No open item has an answer. Nothing was changed."]),
            check.check([], settings, known, today),
            wanted.asked,
        )
    progress("checking")
    wanted_too = repair.with_pairs(wanted.asked, items)
    asked = repair.following(wanted_too, held_rows)
    checked, failed = _recheck(source, asked, known, held_rows, settings, today)
    applied = asked[~asked["item"].isin(failed["item"])]
    follow = int((~applied["item"].isin(wanted_too["item"])).sum())
    halves = wanted_too[~wanted_too["item"].isin(wanted.asked["item"]) & wanted_too["item"].isin(applied["item"])]
    notes += [f"{one.table} {one.row}: {one.field} is back as it was written, {one.text}." for one in halves.itertuples()]
    notes += repair.left_without(applied, items)
    if follow:
        notes.append(f"{follow} rows that hang on repaired ones follow.")
    fates = np.full(len(source.cells), "repeat", dtype=object)
    fates[applied["place"].astype(int)] = "accepted"
    fates[failed["place"].astype(int)] = "held"
    held = no_reasons() if failed.empty else with_files(failed.assign(source=0), checked.sources)
    report = Report(_repair_account(checked, fates), held, with_files(checked.flags, checked.sources), notes=notes)
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
    """Open held items of a book; see `open_items`."""
    settled(folder)
    with open_book(folder) as connection:
        return open_items(connection)


def held_groups(folder: Path) -> pd.DataFrame:
    """What there is to answer: the first of each group of items that one answer mends, without rows that follow by themselves.

    Returns
    -------
    DataFrame
        Columns of `open_items`, ``alike`` (items of the group) and ``items`` (their names).
    """
    found = held_list.grouped(held_items(folder))
    found = found[~(found["whole_row"].astype(bool) & (found["rule"] == "parent_held"))]
    names = found.groupby("group")["item"].agg(", ".join)
    first = found.drop_duplicates("group")
    return first.assign(items=first["group"].map(names)).drop(columns="group")


def write_held(folder: Path, path: Path) -> tuple[int, int]:
    """Write the open held items with empty columns for answers; a list that stands there already keeps its answers.

    Returns
    -------
    int, int
        Open items, and lines with an answer that were there already.
    """
    items = held_list.grouped(held_items(folder)).drop(columns=["whole_row", "group"])
    frame = items.assign(corrected="", dismiss_reason="", by="", for_all="")
    kept = 0
    if path.exists():
        frame = held_list.kept_answers(read.read_file(path)[0], frame, str(path))
        kept = int((frame[["corrected", "dismiss_reason"]] != "").any(axis=1).sum())
    new = path.with_name(path.name + ".new")
    try:
        for_spreadsheet(frame).to_csv(new, index=False, encoding="utf-8-sig", lineterminator="\n")
        os.replace(new, path)
    except OSError as problem:
        raise RillbookError(f"the list cannot be written ({problem.strerror}).", "Choose another folder.", str(path)) from None
    return len(items), kept
