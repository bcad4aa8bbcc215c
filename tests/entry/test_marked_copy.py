"""The marked copy points at each fault, keeps what stood there, and overwrites nothing."""

from __future__ import annotations

import shutil
import zipfile
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from workbook_sheets import BLANK_ROW, GOOD, TODAY, Rows, columns, filled, known, make_book, validations, with_cell

from pipeline.commands import run
from pipeline.entry import marked_copy
from pipeline.entry.workbook import EXAMPLE_ROW
from pipeline.errors import RillbookError
from pipeline.reading import files as read
from schemas.tables import LOADED


@pytest.fixture(scope="session")
def workbook_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book that holds one site with a hostile code, and its sheets; copy it."""
    return make_book(tmp_path_factory.mktemp("workbook"))


@pytest.fixture
def folder(workbook_book: Path, tmp_path: Path) -> Path:
    """A copy of that book."""
    return Path(shutil.copytree(workbook_book, tmp_path / "book"))


PLANTED = [
    ("visits", 0, {"ph": 70}, "not_possible"),
    ("visits", 1, {"protocol": ""}, "required_missing"),
    ("finds", 0, {"water_temp_c": 70}, "likely_fahrenheit"),
    ("finds", 1, {"life_stage": "adlt"}, "code_unknown"),
    ("finds", 0, {"svl_mm": "long"}, "unreadable"),
    ("availability", 0, {"rh_pct": 0.8}, "point_rh_as_fraction"),
    ("visits", 0, {"air_temp_c": -25}, "visit_air_water_gap"),
]


def planted() -> Rows:
    rows = GOOD
    for table, place, changes, _ in PLANTED:
        rows = with_cell(rows, table, place, **changes)
    return rows


def marked_cells(path: Path) -> dict[tuple[str, int, str], str]:
    made = openpyxl.load_workbook(path)
    return {
        (sheet.title, cell.row, name): cell.comment.text
        for sheet in made.worksheets
        if sheet.title in LOADED
        for row in sheet.iter_rows()
        for cell in row
        if cell.comment
        for name, column in columns(sheet).items()
        if column == cell.column
    }


def test_the_marked_copy_points_at_each_planted_fault_and_loads_after_repair(folder: Path, tmp_path: Path) -> None:
    path = filled(folder / "out" / "private" / "book.xlsx", planted(), tmp_path / "filled.xlsx")
    before, out = path.read_bytes(), tmp_path / "marked.xlsx"
    report = run.check_files(folder, [path], today=TODAY, mark=out)
    assert path.read_bytes() == before
    reasons = pd.concat([report.held, report.flags])
    comments = marked_cells(out)
    made = openpyxl.load_workbook(out)
    for table, place, changes, rule in PLANTED:
        (name,) = changes
        found = reasons[(reasons["rule"] == rule) & (reasons["table"] == table)]
        cell = (table, BLANK_ROW + place, name)
        assert found["message"].iloc[0] in comments[cell] and found["remedy"].iloc[0] in comments[cell]
        colour = made[table].cell(cell[1], columns(made[table])[name]).fill.start_color.rgb
        assert colour in marked_copy.COLOURS.values()
    assert not any(row == EXAMPLE_ROW + 1 for _, row, _ in comments)
    listed = [row[0] for row in made[marked_copy.SHEET].iter_rows(min_row=2, values_only=True)]
    assert any(one.startswith("finds ") for one in listed) and len(listed) >= len(PLANTED)
    # what a person does next: mends each marked cell in the copy and loads the copy
    repaired = filled(out, GOOD, tmp_path / "repaired.xlsx")
    blanked = openpyxl.load_workbook(repaired)
    for table, place, changes, _ in PLANTED:
        for name in changes:
            if name not in GOOD[table][place]:
                blanked[table].cell(BLANK_ROW + place, columns(blanked[table])[name]).value = None
    blanked.save(repaired)
    report = run.load_files(folder, [repaired], today=TODAY)
    assert report.held.empty and set(known(folder, "finds")["find_id"]) == {"F1", "F2"}


def test_the_copy_keeps_drop_downs_names_notes_and_formulas(folder: Path, tmp_path: Path) -> None:
    path = filled(folder / "out" / "private" / "book.xlsx", planted(), tmp_path / "filled.xlsx")
    made = openpyxl.load_workbook(path)
    finds = made["finds"]
    note = finds.cell(BLANK_ROW, columns(finds)["water_temp_c"])
    note.comment = openpyxl.comments.Comment("probe under the rock", "me")
    own = made.create_sheet("my own")
    own["A1"], own["A2"] = "sum", 3
    made.save(path)
    _formula(path, "my own", "B2", "A2*2", "6")
    blank, out = folder / "out" / "private" / "book.xlsx", tmp_path / "marked.xlsx"
    run.check_files(folder, [path], today=TODAY, mark=out)
    copied = openpyxl.load_workbook(out)
    assert copied["my own"]["B2"].value == "=A2*2"
    # a formula keeps its result, or the copy would be read as blank there
    assert {sheet.sheet: sheet for sheet in read.read_file(out)}["my own"].cells["column 2"].tolist() == ["6"]
    text = copied["finds"].cell(BLANK_ROW, columns(finds)["water_temp_c"]).comment.text
    assert text.startswith("probe under the rock") and "Fahrenheit" in text
    assert set(copied.defined_names) == set(openpyxl.load_workbook(blank).defined_names)
    for table in LOADED:
        assert {name: one.formula1 for name, one in validations(out, table).items()} == {
            name: one.formula1 for name, one in validations(blank, table).items()
        }


def _formula(path: Path, sheet: str, place: str, formula: str, result: str) -> None:
    """Write a formula with its result, as a spreadsheet program does and the library in this test does not."""
    made = openpyxl.load_workbook(path)
    made[sheet]["B1"] = "column 2"
    made[sheet][place] = 6.0
    number = made.sheetnames.index(sheet) + 1
    made.save(path)
    with zipfile.ZipFile(path) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    name = f"xl/worksheets/sheet{number}.xml"
    old = f'<c r="{place}" t="n"><v>6</v></c>'.encode()
    assert old in members[name]
    members[name] = members[name].replace(old, f'<c r="{place}"><f>{formula}</f><v>{result}</v></c>'.encode())
    with zipfile.ZipFile(path, "w") as archive:
        for member, body in members.items():
            archive.writestr(member, body)


def test_a_marked_copy_that_is_marked_again_shows_what_is_wrong_now(folder: Path, tmp_path: Path) -> None:
    path = filled(folder / "out" / "private" / "book.xlsx", planted(), tmp_path / "filled.xlsx")
    run.check_files(folder, [path], today=TODAY, mark=tmp_path / "first.xlsx")
    mended = filled(tmp_path / "first.xlsx", {"finds": [{"water_temp_c": 14}]}, tmp_path / "mended.xlsx")
    run.check_files(folder, [mended], today=TODAY, mark=tmp_path / "second.xlsx")
    first, second = marked_cells(tmp_path / "first.xlsx"), marked_cells(tmp_path / "second.xlsx")
    assert set(first) - set(second) == {("finds", BLANK_ROW, "water_temp_c")}
    assert all(text.count("[rillbook]") == first[cell].count("[rillbook]") for cell, text in second.items())


def test_no_file_is_ever_overwritten(folder: Path, tmp_path: Path) -> None:
    path = filled(folder / "out" / "private" / "book.xlsx", planted(), tmp_path / "filled.xlsx")
    other = tmp_path / "other.xlsx"
    other.write_text("mine")
    for out in (path, other):
        before = out.read_bytes()
        with pytest.raises(RillbookError, match=r"a file of that name already.*Choose another name"):
            run.check_files(folder, [path], today=TODAY, mark=out)
        assert out.read_bytes() == before


@pytest.mark.parametrize(
    ("files", "out", "message"),
    [
        (["sites.csv"], "m.xlsx", "only a workbook"),
        (["filled.xlsx"], "m.csv", "ends in .xlsx"),
        (["filled.xlsx"], "nowhere/m.xlsx", "no such folder"),
        (["filled.xlsx", "sites.csv"], "m.xlsx", "one workbook is marked at a time"),
    ],
)
def test_what_cannot_be_marked(folder: Path, tmp_path: Path, files: list[str], out: str, message: str) -> None:
    filled(folder / "out" / "private" / "book.xlsx", GOOD, tmp_path / "filled.xlsx")
    with pytest.raises(RillbookError, match=message):
        run.check_files(folder, [tmp_path / name for name in files], today=TODAY, mark=tmp_path / out)
    assert not (tmp_path / out).exists()


def test_a_copy_that_would_lose_a_cell_is_not_left_behind(folder: Path, tmp_path: Path) -> None:
    """A day number below zero under a date format: the copying library makes an error of it."""
    path = filled(folder / "out" / "private" / "book.xlsx", planted(), tmp_path / "filled.xlsx")
    made = openpyxl.load_workbook(path)
    cell = made["finds"].cell(BLANK_ROW, columns(made["finds"])["remarks"])
    cell.value, cell.number_format = -5000000, "yyyy-mm-dd"
    made.save(path)
    with pytest.raises(RillbookError, match=r"sheet finds, line 3: a copy would not hold everything"):
        run.check_files(folder, [path], today=TODAY, mark=tmp_path / "marked.xlsx")
    assert not (tmp_path / "marked.xlsx").exists()
