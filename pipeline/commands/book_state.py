"""Make a book, say what it holds, take a load back, keep a copy of it."""

from __future__ import annotations

import json
from datetime import date
from itertools import count
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.book.absences import absence_counts
from pipeline.book.as_written import sheets_as_written
from pipeline.book.connection import open_book
from pipeline.book.copies import back_up
from pipeline.book.copies import restore as restore
from pipeline.book.current import known_rows
from pipeline.book.held_items import open_items
from pipeline.book.loads import all_loads, undo_load
from pipeline.errors import RillbookError
from pipeline.intake.report import now
from pipeline.intake.settings_changed import settled
from pipeline.loggers import staging as logger_store
from pipeline.settings import FILE_NAME, data_file, parse_settings, read_settings
from pipeline.writing.files import PRIVATE, write_files

SHEETS = "sheets_as_written"


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


def undo(folder: Path, load_id: int) -> None:
    """Take a load back."""
    settled(folder, go_on=True)
    with open_book(folder, write=True) as connection:
        undo_load(connection, load_id, now())


def status(folder: Path) -> dict[str, Any]:
    """What a book holds: loads, rows by table, open items, flags by rule."""
    settings = settled(folder, go_on=True)
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
    finds, spans = _animals(known["finds"]), _spans(known)
    tables = {table: len(frame) for table, frame in known.items()}
    return {
        "title": settings.title, "loads": loads, "tables": tables, "visits_without_finds": outcome[0], "visits_incomplete": outcome[1],
        "absences": stated, "absences_not_stated": silent, "held": items, "flags": dict(flags), "logger_files": of_loggers,
        "animals": finds, "temperatures": spans,
    }  # fmt: skip


def _animals(finds: pd.DataFrame) -> dict[str, int]:
    """Animals and egg masses by taxon and stage, as counted."""
    counts = finds.groupby(["taxon", "life_stage"])["count"].sum()
    return {f"{taxon} {stage}": int(number) for (taxon, stage), number in counts.items()}


def _spans(known: dict[str, pd.DataFrame]) -> dict[str, dict[str, float]]:
    """Number, lowest and highest of every temperature, °C, by table and field."""
    columns = [(f"{table}.{name}", frame[name].dropna()) for table, frame in known.items() for name in frame if name.endswith("temp_c")]
    return {name: {"n": len(one), "lowest": float(one.min()), "highest": float(one.max())} for name, one in columns if len(one)}


def backup(folder: Path, file: Path | None = None, today: date | None = None) -> tuple[Path, dict[str, int]]:
    """Write a book to one file; by default a new one beside its folder, named after the folder and the day."""
    read_settings(folder)
    target = file or _new_backup(folder.resolve(), (today or date.today()).isoformat())
    return target, back_up(folder, target)


def _new_backup(place: Path, day: str) -> Path:
    names = (f"{place.name}_{day}{'' if number == 1 else f'_{number}'}.rillbook.zip" for number in count(1))
    return next(path for path in (place.parent / name for name in names) if not path.exists())


def export_sheets(folder: Path) -> tuple[list[Path], list[dict[str, Any]]]:
    """Write every sheet that was loaded, as it was written, under ``out/private`` of the book.

    Returns
    -------
    list of Path, list of dict
        The files, and ``file``, ``rows`` of each; None where the book is damaged and a sheet cannot be read.
    """
    read_settings(folder)
    out = folder / "out" / PRIVATE / SHEETS
    files: list[Path] = []
    told: list[dict[str, Any]] = []
    with open_book(folder) as connection:
        for name, text, rows in sheets_as_written(connection):
            if text is None:
                told.append({"file": str(out / name), "rows": None})
                continue
            # the mark by which spreadsheet programs know UTF-8
            files += write_files({out / name: "\ufeff" + text}, "the sheet", private=True)
            told.append({"file": str(out / name), "rows": rows})
    return files, told
