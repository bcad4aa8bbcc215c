"""What becomes of a visit or a log that was typed in: kept as a file, checked and loaded like any other, each fault at its cell."""

from __future__ import annotations

import hashlib
import json
import os
import re
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.errors import RillbookError
from pipeline.intake.check import check_tables
from pipeline.intake.load import load_files
from pipeline.intake.report import Report, WouldReplaceError
from pipeline.intake.settings_changed import settled
from pipeline.reading.rows import SourceTable
from pipeline.reading.survey_document import VERSION, tables_of
from pipeline.reading.values import as_text, read_column
from schemas.rules.rules import HOLD_ROW, HOLD_VALUE, NEAR_DUPLICATE_IN
from schemas.tables import fields

FOLDER = "surveys"
WHERE = "the survey"
SHOWN = 5
IN_BOOK = "in_book"
OTHER_CODE = "If it is another visit or find, give it a code of its own."
ONE = {
    "sites": "site", "visits": "visit", "finds": "find", "availability": "point", "enclosures": "enclosure", "loggers": "logger",
    "water_tests": "water test", "husbandry_events": "event",
}  # fmt: skip


def check_document(folder: Path, document: Any) -> dict[str, Any]:
    """Check a survey document against the rules and the book without writing anything.

    Parameters
    ----------
    folder : Path
        The book.
    document : Any
        As `survey_file.parse` gives it.

    Returns
    -------
    dict
        ``problems`` (see :func:`problems_of`) and ``clean``: nothing would be held back and nothing stands in the way of loading.

    Raises
    ------
    RillbookError
        It is no survey document, or the book cannot be read.
    """
    tables = tables_of(document, WHERE, "", WHERE)
    report = check_tables(folder, settled(folder), tables)
    problems = problems_of(report, tables)
    if report.changes is not None and (report.changes.changed or report.changes.vanished):
        problems.insert(0, _in_book(report.changes.changed, report.changes.vanished, tables))
    return {"problems": problems, "clean": not any(one["effect"] in (HOLD_ROW, HOLD_VALUE) for one in problems)}


def load_document(folder: Path, document: Any, send_good_rows: bool) -> dict[str, Any]:
    """Load a survey document into the book; before anything else it is kept as a file under ``surveys/``.

    Parameters
    ----------
    folder, document
        As :func:`check_document`.
    send_good_rows : bool
        Whether to load although something would be held back.

    Returns
    -------
    dict
        ``loaded``, ``load`` (number, or None), ``held`` (reasons), ``problems`` and ``message``. What could not be loaded stays under
        ``surveys/``, except where the person goes on typing at what would be held back.

    Raises
    ------
    RillbookError
        It is no survey document, or cannot be kept; nothing was changed.
    """
    tables = tables_of(document, WHERE, "", WHERE)
    path, is_new = keep(folder, document)
    kept, later = f"What you typed is kept in {path}", f"rillbook load {path}" + (f" --book {folder}" if folder != Path() else "")
    try:
        if not send_good_rows and (found := check_tables(folder, settled(folder), tables)).exit_code:
            if is_new:
                path.unlink(missing_ok=True)
            message = (
                f"Not loaded: {len(found.held)} would be held back. Mend them, or send the good rows; what is held back waits in the book."
            )
            return _answer(False, None, found, tables, message)
        report = load_files(folder, [path])
    except WouldReplaceError as problem:
        found_in_book = _in_book(problem.changes.changed, problem.changes.vanished, tables)
        message = f"Not loaded: {found_in_book['message']} {OTHER_CODE} {kept}; `{later} --replace` puts it in the place of the other."
        return {"loaded": False, "load": None, "held": 0, "problems": [found_in_book], "message": message}
    except RillbookError as problem:
        message = f"Not loaded: {problem} {kept}; load it later with `{later}`."
        return {"loaded": False, "load": None, "held": 0, "problems": [], "message": message}
    assert isinstance(report, Report), "a survey document is no logger's export"
    return _answer(True, report.load_id, report, tables, f"{_told(report)} {kept}.")


def _answer(loaded: bool, load: int | None, report: Report, tables: list[SourceTable], message: str) -> dict[str, Any]:
    problems = problems_of(report, tables)
    return {"loaded": loaded, "load": load, "held": len(report.held), "problems": problems, "message": message}


def _told(report: Report) -> str:
    """What a load came to, in words."""
    if report.load_id is None or report.account is None:
        return " ".join(report.notes)
    counts = [(ONE[table], one["accepted"]) for table, one in report.account.tables.items() if table in ONE and one["accepted"]]
    rows = ", ".join(f"{number} {word}{'s' if number > 1 else ''}" for word, number in counts) or "nothing new"
    held = f" {len(report.held)} held back: `rillbook held` lists them." if len(report.held) else ""
    return f"Stored as load {report.load_id}: {rows}.{held}"


def keep(folder: Path, document: dict[str, Any]) -> tuple[Path, bool]:
    """Write a document to a file under ``surveys/``, named after its visit or enclosure; none is ever written over.

    Parameters
    ----------
    folder : Path
        The book.
    document : dict
        A survey document.

    Returns
    -------
    Path, bool
        The file, and whether it is new: the very same document is kept once.

    Raises
    ------
    RillbookError
        It cannot be written.
    """
    content = (json.dumps({**document, "version": int(VERSION)}, ensure_ascii=False, indent=1) + "\n").encode()
    kind, first, named = _named(document)
    words = [re.sub(r"[^A-Za-z0-9-]+", "-", str(first.get(name) or "")).strip("-")[:40] for name in named]
    # the word in front keeps a code such as NUL from being a name that some systems refuse
    stem, number = "_".join([kind, *filter(None, words)]), 1
    try:
        (folder / FOLDER).mkdir(exist_ok=True)
        while (path := folder / FOLDER / (f"{stem}-{number}.json" if number > 1 else f"{stem}.json")).exists():
            if hashlib.sha256(path.read_bytes()).digest() == hashlib.sha256(content).digest():
                return path, False
            number += 1
        _write(path, content)
    except OSError as problem:
        remedy = "Leave the page open: it still holds everything. Free some space or check the rights of the folder, and send it again."
        raise RillbookError(f"what you typed could not be kept ({problem.strerror}).", remedy, str(folder / FOLDER)) from None
    return path, True


def _named(document: dict[str, Any]) -> tuple[str, dict[str, Any], tuple[str, ...]]:
    """What a document's file is called after: a word, a row, and fields of that row."""
    if not document.get("visits"):
        for table, day in (("husbandry_events", "event_date"), ("water_tests", "tested_on"), ("enclosures", "since"), ("loggers", "")):
            if document.get(table):
                return "tank_log", document[table][0], (day, "enclosure_id")
    return "visit", (document.get("visits") or [{}])[0], ("visit_date", "visit_id")


def _write(path: Path, content: bytes) -> None:
    """Write a file whole or not at all."""
    part = path.with_suffix(".part")
    try:
        with part.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def problems_of(report: Report, tables: list[SourceTable]) -> list[dict[str, Any]]:
    """Reasons of a report at their cells.

    Parameters
    ----------
    report : Report
        Of a survey document.
    tables : list of SourceTable
        The document's lists.

    Returns
    -------
    list of dict
        ``table``, ``row`` (from 0, in that list), ``field`` (empty for the whole row), ``rule``, ``effect``, ``message``, ``remedy``,
        ``value``; a near-duplicate also names the other rows in ``with``, none where its twin stands in the book.
    """
    effects = pd.Series(HOLD_VALUE, index=report.held.index).where(report.held["candidate"].lt(0), HOLD_ROW) if len(report.held) else ""
    held = report.held.assign(effect=effects, value=report.held["text"])
    twins = _twins(tables)
    problems = []
    for one in [*held.to_dict("records"), *report.flags.to_dict("records")]:
        row = int(one["line"]) - 1
        problem = {name: one[name] for name in ("table", "field", "rule", "effect", "message", "remedy", "value")} | {"row": row}
        problems.append(problem | {"with": twins.get(row, [])} if one["rule"] == "near_duplicate" else problem)
    return problems


def _twins(tables: list[SourceTable]) -> dict[int, list[int]]:
    """For each find of the document the other finds that agree with it in what tells animals apart."""
    source = next((one for one in tables if one.sheet == "finds"), None)
    if source is None:
        return {}
    cells = source.cells.reindex(columns=list(NEAR_DUPLICATE_IN), fill_value="")
    typed = {name: as_text(read_column(cells[name], fields("finds")[name]).values, fields("finds")[name].kind) for name in cells}
    groups: dict[tuple[str, ...], list[int]] = {}
    for place, key in zip(source.lines, pd.DataFrame(typed).fillna("").itertuples(index=False, name=None), strict=True):
        groups.setdefault(key, []).append(int(place) - 1)
    return {row: [other for other in rows if other != row] for rows in groups.values() for row in rows}


def _in_book(changed: list[str], vanished: list[str], tables: list[SourceTable]) -> dict[str, Any]:
    """The rule of replacing, as a problem at the visit."""
    said = [*changed, *(f"{one} would vanish" for one in vanished)]
    more = f" and {len(said) - SHOWN} more" if len(said) > SHOWN else ""
    table = "visits" if any(one.sheet == "visits" for one in tables) else tables[0].sheet
    name = next(name for name, declared in fields(table).items() if declared.key)
    source = next(one for one in tables if one.sheet == table)
    return {
        "table": table, "row": int(source.lines[0]) - 1, "field": name, "rule": IN_BOOK, "effect": HOLD_ROW,
        "message": f"the book holds this already, and not the same: {'; '.join(said[:SHOWN])}{more}. Nothing was changed.",
        "remedy": f"{OTHER_CODE} To replace what the book holds, send this: it is kept as a file, for `rillbook load --replace`.",
        "value": source.cells[name].iloc[0],
    }  # fmt: skip
