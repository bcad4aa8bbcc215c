"""A survey as the form saves it, and what a book holds after it was loaded."""

from __future__ import annotations

import copy
import csv
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.book.connection import open_book
from pipeline.book.current import known_rows
from pipeline.reading.survey_document import LISTS

CASES = Path(__file__).parent / "cases"
# The invented rows of tests/cases/base, as the form would save them.
SURVEY: dict[str, Any] = {
    "format": "rillbook survey",
    "version": 1,
    **{
        table: [
            {name: text for name, text in row.items() if text}
            for row in csv.DictReader((CASES / "base" / f"{table}.csv").read_text(encoding="utf-8").splitlines())
        ]
        for table in LISTS
    },
}
REPAIR = {
    "table": "finds", "row_key": "F1", "field": "water_temp_c", "as_written": "54.7", "corrected": "12.6", "why": "degrees Fahrenheit",
}  # fmt: skip


def survey(**changes: Any) -> dict[str, Any]:
    return copy.deepcopy(SURVEY) | changes


def rows(folder: Path) -> dict[str, pd.DataFrame]:
    with open_book(folder) as connection:
        return known_rows(connection)


def corrections(folder: Path) -> list[tuple[Any, ...]]:
    with open_book(folder) as connection:
        return connection.execute("SELECT * FROM corrections ORDER BY ALL").fetchall()
