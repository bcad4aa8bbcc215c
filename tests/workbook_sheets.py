"""A book whose workbook is filled in by hand."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
from openpyxl.worksheet.datavalidation import DataValidation

from pipeline.book.connection import open_book
from pipeline.book.current import known_rows
from pipeline.commands import demo_study as demo
from pipeline.commands import run
from pipeline.entry.workbook import FIRST

# What a spreadsheet program runs as a formula when it stands at the head of a cell: OWASP, "CSV Injection", read 2024 from memory.
HOSTILE = "=1+1"
TODAY = datetime.date(2025, 1, 1)
BLANK_ROW = FIRST + 1
Rows = dict[str, list[dict[str, Any]]]


def make_book(folder: Path) -> Path:
    """Make a book that holds one site with a hostile code, and its sheets."""
    made = folder / "book"
    run.init(made, demo.settings_text())
    sites = made.parent / "sites.csv"
    sites.write_text(f"site_id,site_name,habitat\nS1,{HOSTILE},stream\n{HOSTILE},@SUM(1),seep\n", encoding="utf-8")
    run.load_files(made, [sites], today=TODAY)
    run.write_sheets(made)
    return made


GOOD: Rows = {
    "sites": [{"site_id": "S2", "site_name": HOSTILE, "habitat": "seep"}],
    "visits": [
        {"visit_id": "V1", "site_id": "S1", "visit_date": "2024-06-01", "start_time": "9:52", "end_time": "11:05",
         "protocol": "time_constrained", "search_minutes": 60, "water_temp_c": "58F", "observers": HOSTILE},
        {"visit_id": "V2", "site_id": "S2", "visit_date": datetime.date(2024, 6, 15), "start_time": datetime.time(21, 30),
         "protocol": "time_constrained", "search_minutes": 30},
    ],
    "finds": [
        {"find_id": "F1", "visit_id": "V1", "taxon": "DMON", "life_stage": "adult", "count": 1, "microhabitat": "rock_in_flow",
         "water_temp_c": 14.5, "svl_mm": 45},
        {"find_id": "F2", "visit_id": "V1", "taxon": "DMON", "life_stage": "larva", "count": "3+", "microhabitat": "rock_in_flow"},
    ],
    "availability": [{"point_id": "P1", "visit_id": "V1", "microhabitat": "rock_in_flow", "water_temp_c": 13}],
    "enclosures": [{"enclosure_id": "T1", "taxon": "DMON", "life_stage": "adult", "volume_l": 40}],
    "loggers": [{"logger_id": "L1", "site_id": "S1", "medium": "water"}],
    "water_tests": [{"test_id": "W1", "visit_id": "V1", "ph": 6.8}],
    "husbandry_events": [{"event_id": "H1", "enclosure_id": "T1", "event_date": "2024-06-02", "event": "fed"}],
}  # fmt: skip


def columns(sheet: Any) -> dict[str, int]:
    return {str(sheet.cell(1, column).value).split(" ")[0]: column for column in range(1, sheet.max_column + 1)}


def filled(blank: Path, rows: Rows, out: Path) -> Path:
    """Type rows into a blank workbook under its example rows, texts as texts, as a person at a spreadsheet program does."""
    made = openpyxl.load_workbook(blank)
    for table, lines in rows.items():
        sheet = made[table]
        for row, line in enumerate(lines, BLANK_ROW):
            for name, value in line.items():
                cell = sheet.cell(row, columns(sheet)[name])
                cell.value = value
                if isinstance(value, str):
                    cell.data_type = "s"
    made.save(out)
    return out


def with_cell(rows: Rows, table: str, place: int, **changes: Any) -> Rows:
    lines = [dict(line) for line in rows[table]]
    lines[place].update(changes)
    return {**rows, table: lines}


def validations(path: Path, table: str) -> dict[str, DataValidation]:
    """Validation of the first row below the example, by field."""
    sheet = openpyxl.load_workbook(path)[table]
    return {
        name: next(one for one in sheet.data_validations.dataValidation if f"{sheet.cell(BLANK_ROW, column).coordinate}" in one.sqref)
        for name, column in columns(sheet).items()
    }


def known(folder: Path, table: str) -> pd.DataFrame:
    with open_book(folder) as connection:
        return known_rows(connection)[table]
