"""What cells of the workbook take."""

from __future__ import annotations

import datetime
import shutil
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl.worksheet.datavalidation import DataValidation

from pipeline.commands import demo_study as demo
from pipeline.commands import run
from pipeline.entry.cell_rules import LONGEST_MESSAGE, LONGEST_TITLE, validation
from pipeline.entry.workbook import FIRST
from pipeline.reading.headings import filled_in
from schemas.tables import LOADED, fields

# What a spreadsheet program runs as a formula when it stands at the head of a cell: OWASP, "CSV Injection", read 2024 from memory.
HOSTILE = "=1+1"
TODAY = datetime.date(2025, 1, 1)
BLANK_ROW = FIRST + 1


@pytest.fixture(scope="session")
def workbook_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book that holds one site with a hostile code, and its sheets; copy it."""
    made = tmp_path_factory.mktemp("workbook") / "book"
    run.init(made, demo.settings_text())
    sites = made.parent / "sites.csv"
    sites.write_text(f"site_id,site_name,habitat\nS1,{HOSTILE},stream\n{HOSTILE},@SUM(1),seep\n", encoding="utf-8")
    run.load_files(made, [sites], today=TODAY)
    run.write_sheets(made)
    return made


@pytest.fixture
def folder(workbook_book: Path, tmp_path: Path) -> Path:
    """A copy of that book."""
    return Path(shutil.copytree(workbook_book, tmp_path / "book"))


def columns(sheet: Any) -> dict[str, int]:
    return {str(sheet.cell(1, column).value).split(" ")[0]: column for column in range(1, sheet.max_column + 1)}


def validations(path: Path, table: str) -> dict[str, DataValidation]:
    """Validation of the first row below the example, by field."""
    sheet = openpyxl.load_workbook(path)[table]
    return {
        name: next(one for one in sheet.data_validations.dataValidation if f"{sheet.cell(BLANK_ROW, column).coordinate}" in one.sqref)
        for name, column in columns(sheet).items()
    }


@pytest.mark.parametrize("table", LOADED)
def test_cells_take_what_the_schema_takes(folder: Path, table: str) -> None:
    path = folder / "out" / "private" / "book.xlsx"
    names = openpyxl.load_workbook(path).defined_names
    for name, one in validations(path, table).items():
        declared = fields(table)[name]
        assert declared.meaning[:40] in str(one.prompt) and len(one.prompt) <= LONGEST_MESSAGE and len(one.promptTitle) <= LONGEST_TITLE
        if declared.kind in ("code", "yes_no"):
            assert one.type == "list" and one.formula1.lstrip("=") in names and one.errorStyle in (None, "stop")
        if declared.kind in ("real", "whole"):
            low, high = declared.possible or (None, None)
            figures = {one.formula1, one.formula2} if one.type in ("decimal", "whole") else set()
            spans = figures == {f"{low:.10g}", f"{high:.10g}"} or (f">={low:.10g}," in one.formula1 and f"<={high:.10g}" in one.formula1)
            assert spans, (name, one.formula1, one.formula2)
            # the words of the rule not_possible of docs/rules.md
            assert one.error.startswith(f"This is not possible here ({low:.10g} to {high:.10g}")
        if declared.expected is not None:
            assert f"Usual: {declared.expected[0]:.10g} to {declared.expected[1]:.10g}" in one.prompt


def test_a_long_message_is_cut_and_never_refused_by_the_format() -> None:
    """255 and 32 signs: ECMA-376 part 1, 18.3.1.32 (error, prompt, errorTitle, promptTitle)."""
    named = {one.vocabulary: "x" for table in LOADED for one in filled_in(table).values()} | {"yes_no": "x"}
    for table in LOADED:
        for column, one in enumerate(filled_in(table).values()):
            made = validation(one, column, named)
            assert max(len(made.get(word, "")) for word in ("error_message", "input_message")) <= 255
            assert max(len(made.get(word, "")) for word in ("error_title", "input_title")) <= 32
