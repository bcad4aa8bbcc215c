"""The workbook for typing in: made from the schemas, alive in another spreadsheet program, loaded when filled, marked when wrong."""

from __future__ import annotations

import shutil
import subprocess
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest
from conftest import absent
from workbook_sheets import BLANK_ROW, GOOD, HOSTILE, TODAY, Rows, columns, filled, known, make_book, validations, with_cell

from pipeline.commands import demo_study as demo
from pipeline.commands import run
from pipeline.entry import marked_copy
from pipeline.entry.workbook import EXAMPLE_ROW, example_row, write_workbook
from pipeline.errors import RillbookError
from pipeline.reading.headings import EXAMPLE, filled_in, heading_of, headings_of, style_of
from pipeline.reading.rows import SourceTable
from pipeline.settings import Settings, parse_settings
from schemas.tables import LOADED, fields, key_of
from schemas.vocabulary import codes


@pytest.fixture(scope="session")
def workbook_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book that holds one site with a hostile code, and its sheets; copy it."""
    return make_book(tmp_path_factory.mktemp("workbook"))


@pytest.fixture
def folder(workbook_book: Path, tmp_path: Path) -> Path:
    """A copy of that book."""
    return Path(shutil.copytree(workbook_book, tmp_path / "book"))


@pytest.fixture(scope="module")
def settings() -> Settings:
    return parse_settings(demo.settings_text(), "rillbook.toml")


@pytest.fixture(scope="session")
def soffice() -> str:
    """Path of LibreOffice: the test is skipped where there is none, and fails in CI."""
    found = shutil.which("soffice")
    if not found:
        absent("LibreOffice is not installed.")
    return str(found)


def test_every_table_has_a_sheet_with_the_columns_of_the_schema(folder: Path) -> None:
    made = openpyxl.load_workbook(folder / "out" / "private" / "book.xlsx")
    assert [name for name in made.sheetnames if name not in ("guide", "codes")] == list(LOADED)
    for table in LOADED:
        sheet = made[table]
        declared = [one for one in fields(table).values() if not one.derived]
        headings = [sheet.cell(1, column).value for column in range(1, sheet.max_column + 1)]
        assert headings == [heading_of(one) for one in declared]
        for heading, one in zip(headings, declared, strict=True):
            assert (f"({one.unit})" in heading) == bool(one.unit)
            assert heading.endswith(" *") == one.required
        assert sheet.freeze_panes == "B2"


def test_the_three_sheets_are_written_together_and_made_anew(folder: Path) -> None:
    made = run.write_sheets(folder)
    assert [path.relative_to(folder).as_posix() for path in made] == [
        "out/private/form.html",
        "out/private/tank_log.html",
        "out/private/paper.html",
        "out/private/book.xlsx",
    ]
    assert all(path.stat().st_size > 1000 for path in made)


def test_every_code_stands_on_the_sheet_of_codes(folder: Path) -> None:
    sheet = openpyxl.load_workbook(folder / "out" / "private" / "book.xlsx")["codes"]
    written = {(row[0], row[1]) for row in sheet.iter_rows(min_row=2, values_only=True)}
    used = {one.vocabulary for table in LOADED for one in filled_in(table).values() if one.kind == "code"}
    assert {(name.replace("_", " "), code) for name in used for code in codes(name)} <= written
    assert ("taxa", "DMON") in written


def test_ids_dates_and_times_stay_text(folder: Path) -> None:
    sheet = openpyxl.load_workbook(folder / "out" / "private" / "book.xlsx")["visits"]
    for name, column in columns(sheet).items():
        letter = sheet.cell(1, column).column_letter
        is_number = fields("visits")[name].kind in ("real", "whole")
        assert (_format_of(sheet, letter) == "@") == (not is_number), name


def _format_of(sheet: Any, letter: str) -> str:
    groups = [one for one in sheet.column_dimensions.values() if one.min <= openpyxl.utils.column_index_from_string(letter) <= one.max]
    return str(groups[0].number_format)


def sheet_of(*headings: str) -> SourceTable:
    frame = pd.DataFrame([["x"] * len(headings)], columns=list(headings), dtype="str")
    return SourceTable("a.csv", "", frame, frame.index.to_numpy() + 2, "", {}, 0)


def test_headings_are_known_with_their_brackets_and_without() -> None:
    found = headings_of(sheet_of("Site ID *", "Water temp C (°F)", "habitat", "ph [ ]", "my notes (old)"))
    assert set(found) == {"site_id", "water_temp_c", "habitat", "ph", "my_notes_(old)"}


@pytest.mark.parametrize(
    ("heading", "unit"),
    [
        ("water_temp_c", ""),
        ("water_temp_c (°C)", ""),
        ("water_temp_c (°F)", "degF"),
        ("water_temp_c [F] *", "degF"),
        ("water_temp_c (K)", "K"),
    ],
)
def test_the_unit_in_a_heading_is_the_unit_of_its_cells(heading: str, unit: str) -> None:
    assert style_of(heading, fields("visits")["water_temp_c"], "a.csv").unit == unit


@pytest.mark.parametrize("heading", ["water_temp_c (mm)", "water_temp_c (of the flow)", "ph (°C)", "visit_date (DD/MM/YYYY)"])
def test_brackets_that_hold_no_unit_are_not_passed_over(heading: str) -> None:
    with pytest.raises(RillbookError, match=r"is no unit of this field\. Write"):
        style_of(heading, fields("visits")[heading.split(" ")[0]], "a.csv")


def test_a_workbook_in_fahrenheit(folder: Path, tmp_path: Path) -> None:
    path = filled(folder / "out" / "private" / "book.xlsx", with_cell(GOOD, "finds", 0, water_temp_c=58), tmp_path / "f.xlsx")
    made = openpyxl.load_workbook(path)
    made["finds"].cell(1, columns(made["finds"])["water_temp_c"]).value = "water_temp_c (°F)"
    made.save(path)
    run.load_files(folder, [path], today=TODAY)
    # 58 °F is 14.44 °C by the definition of the scale
    assert known(folder, "finds").set_index("find_id")["water_temp_c"]["F1"] == pytest.approx(14.444, abs=0.001)


def test_a_filled_copy_loads_with_nothing_held_back(folder: Path, tmp_path: Path) -> None:
    path = filled(folder / "out" / "private" / "book.xlsx", GOOD, tmp_path / "filled.xlsx")
    report = run.load_files(folder, [path], today=TODAY)
    assert report.exit_code == 0 and report.held.empty
    for table, lines in GOOD.items():
        assert {line[key_of(table)] for line in lines} <= set(known(folder, table)[key_of(table)])
    visits = known(folder, "visits").set_index("visit_id")
    assert list(visits.loc[["V1", "V2"], "visit_date"].dt.strftime("%Y-%m-%d")) == ["2024-06-01", "2024-06-15"]
    assert list(visits.loc[["V1", "V2"], "start_time"]) == ["09:52", "21:30"]
    assert visits.loc["V1", "water_temp_c"] == pytest.approx(14.444, abs=0.001)


def test_example_rows_are_never_loaded_and_the_account_says_so(folder: Path, tmp_path: Path) -> None:
    path = filled(folder / "out" / "private" / "book.xlsx", GOOD, tmp_path / "filled.xlsx")
    report = run.load_files(folder, [path], today=TODAY)
    (note,) = [note for note in report.notes if "xample" in note]
    for table in LOADED:
        assert f"filled.xlsx, sheet {table}, line {EXAMPLE_ROW + 1}" in note
        assert EXAMPLE not in set(known(folder, table)[key_of(table)])
    assert report.account is not None
    assert sum(report.account.rows.values()) == sum(map(len, GOOD.values()))


def test_a_blank_workbook_brings_nothing(folder: Path) -> None:
    report = run.check_files(folder, [folder / "out" / "private" / "book.xlsx"], today=TODAY)
    assert report.exit_code == 0 and report.account is not None and sum(report.account.rows.values()) == 0


def test_the_example_shows_what_would_be_taken(folder: Path, tmp_path: Path, settings: Settings) -> None:
    """The same texts under codes of their own: nothing in them is held back."""
    own = {"sites": "S9", "visits": "V9", "enclosures": "T9"}
    rows: Rows = {}
    for table in LOADED:
        line = example_row(table, settings)
        for name in line:
            if line[name] == EXAMPLE:
                parent = fields(table)[name].refers_to or table
                line[name] = own.get(parent, "X9")
        rows[table] = [line]
    report = run.check_files(folder, [filled(folder / "out" / "private" / "book.xlsx", rows, tmp_path / "x.xlsx")], today=TODAY)
    assert report.held.empty, report.held[["table", "field", "message"]].to_dict("records")


def test_a_row_written_over_the_example_under_its_own_code_is_loaded(folder: Path, tmp_path: Path) -> None:
    path = filled(folder / "out" / "private" / "book.xlsx", GOOD, tmp_path / "filled.xlsx")
    made = openpyxl.load_workbook(path)
    made["sites"].cell(EXAMPLE_ROW + 1, 1).value = "S7"
    made.save(path)
    run.load_files(folder, [path], today=TODAY)
    assert "S7" in set(known(folder, "sites")["site_id"])


def test_explanations_alone_are_no_load(folder: Path, tmp_path: Path) -> None:
    made = openpyxl.load_workbook(folder / "out" / "private" / "book.xlsx")
    for table in LOADED:
        del made[table]
    made.save(tmp_path / "guides.xlsx")
    with pytest.raises(RillbookError, match=r"only explanations and no table"):
        run.load_files(folder, [tmp_path / "guides.xlsx"], today=TODAY)


def test_a_name_that_looks_like_a_formula_stays_a_text(folder: Path, tmp_path: Path) -> None:
    blank = folder / "out" / "private" / "book.xlsx"
    path = filled(blank, with_cell(GOOD, "finds", 0, svl_mm=HOSTILE), tmp_path / "filled.xlsx")
    run.check_files(folder, [path], today=TODAY, mark=tmp_path / "marked.xlsx")
    listed = [row[3] for row in openpyxl.load_workbook(tmp_path / "marked.xlsx")[marked_copy.SHEET].iter_rows(values_only=True)]
    assert HOSTILE in listed
    for one in (blank, tmp_path / "marked.xlsx"):
        with zipfile.ZipFile(one) as archive:
            sheets = [archive.read(name) for name in archive.namelist() if name.startswith("xl/worksheets/sheet")]
        assert not any(b"<f>" in body.split(b"</sheetData>")[0] for body in sheets)
    # both the code of a known site in the drop-down and the name in the copy
    assert HOSTILE in {row[1] for row in openpyxl.load_workbook(blank)["codes"].iter_rows(values_only=True)}
    assert openpyxl.load_workbook(tmp_path / "marked.xlsx")["sites"].cell(BLANK_ROW, 2).value == HOSTILE


def test_a_study_title_that_looks_like_a_formula(tmp_path: Path) -> None:
    text = demo.settings_text().replace('title = "', 'title = "=cmd()', 1)
    path = write_workbook(tmp_path / "b.xlsx", parse_settings(text, "x"), {})
    cell = openpyxl.load_workbook(path)["guide"]["A3"]
    assert cell.value.startswith("=cmd()") and cell.data_type == "s"


def test_it_opens_in_another_program_with_its_drop_downs_alive(folder: Path, tmp_path: Path, soffice: str) -> None:
    """LibreOffice reads the filled workbook and writes it anew; then it is loaded as any other."""
    path = filled(folder / "out" / "private" / "book.xlsx", GOOD, tmp_path / "filled.xlsx")
    profile, out = (tmp_path / "profile").as_uri(), tmp_path / "again"
    command = [soffice, f"-env:UserInstallation={profile}", "--headless", "--convert-to", "xlsx", "--outdir", str(out), str(path)]
    subprocess.run(command, check=True, capture_output=True, timeout=240)
    again = out / "filled.xlsx"
    names = openpyxl.load_workbook(again).defined_names
    for table in LOADED:
        before, after = validations(path, table), validations(again, table)
        for name, one in before.items():
            if one.type in ("list", "custom", "whole", "decimal"):
                assert (after[name].type, after[name].error) == (one.type, one.error)
            if one.type == "list":
                target = after[name].formula1.lstrip("=")
                assert target == one.formula1.lstrip("=") and names[target].attr_text
    stage = names["list_life_stage"].attr_text.replace("$", "").split("!")[1]
    cells = openpyxl.load_workbook(again)["codes"][stage]
    assert tuple(cell.value for (cell,) in cells) == codes("life_stage")
    report = run.load_files(folder, [again], today=TODAY)
    assert report.held.empty and set(known(folder, "finds")["find_id"]) == {"F1", "F2"}
