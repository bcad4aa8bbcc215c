"""What the slips cost: the table of docs/typing.md, made by every slip in every way of entry."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest
from one_browser import offline_pages
from slips import RIGHT, SLIPS, TODAY, Document, Slip, document_of

from pipeline.checking import check
from pipeline.checking.outcome import Checked
from pipeline.checking.typed_rows import gather
from pipeline.entry import form
from pipeline.entry.cell_rules import validation
from pipeline.mapping import apply_map as mapping
from pipeline.mapping import own_sheets
from pipeline.reading import files as read
from pipeline.reading.rows import SourceTable
from pipeline.reading.survey_document import tables_of
from pipeline.settings import Settings, read_settings
from schemas.tables import LOADED, fields
from schemas.vocabulary import codes

ROOT = Path(__file__).resolve().parents[1]
CASES = ROOT / "tests" / "cases"
PAGE = ROOT / "docs" / "typing.md"
AT_ONCE, AT_LOAD, RECORDED, MEANT, PASSES = "named at once", "named at load", "read, on record", "read as meant", "passes"
LISTS = ("sites", "visits", "finds")
EARLIER = """visit_id,site_id,visit_date,start_time,protocol,search_minutes,water_temp_c
E1,S1,2022-06-14,20:00,visual_encounter,60,12.2
E2,S1,2022-06-28,20:00,visual_encounter,60,12.9
"""


@pytest.fixture(scope="module")
def settings() -> Settings:
    return read_settings(CASES / "base")


@pytest.fixture(scope="module")
def known(settings: Settings, tmp_path_factory: pytest.TempPathFactory) -> dict[str, pd.DataFrame]:
    """A book of one site and four visits of its June."""
    path = tmp_path_factory.mktemp("book") / "earlier_visits.csv"
    path.write_text(EARLIER, encoding="utf-8")
    empty = {table: gather(table, []).typed for table in LOADED}
    checked = checked_of(read.read_files([CASES / "base" / "sites.csv", CASES / "base" / "visits.csv", path]), settings, empty)
    return {table: one.accepted for table, one in checked.tables.items()}


def checked_of(tables: list[SourceTable], settings: Settings, known: dict[str, pd.DataFrame]) -> Checked:
    return check.check(mapping.apply_map(own_sheets.own_map(tables)[0], tables), settings, known, TODAY)


def as_csv(document: Document, folder: Path) -> list[SourceTable]:
    paths = []
    for table in LISTS:
        if table in document:
            paths.append(folder / f"{table}.csv")
            pd.DataFrame(document[table]).to_csv(paths[-1], index=False)
    return read.read_files(paths)


def as_workbook(document: Document, folder: Path) -> list[SourceTable]:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for table in LISTS:
        rows = pd.DataFrame(document.get(table, [])).fillna("")
        if len(rows):
            sheet = book.create_sheet(table)
            for line in [list(rows.columns), *rows.to_numpy().tolist()]:
                sheet.append(line)
    book.save(folder / "visit.xlsx")
    return read.read_files([folder / "visit.xlsx"])


def at_load(checked: Checked, right: Checked) -> str:
    if len(checked.held) or len(checked.flags):
        return AT_LOAD
    if len(checked.converted):
        return RECORDED
    same = all(checked.tables[table].accepted.equals(right.tables[table].accepted) for table in LISTS)
    return MEANT if same else PASSES


def stopped_in_its_cell(document: Document) -> bool:
    """Whether a cell of the workbook that differs from the right visit refuses what was typed or warns of it."""
    # a code that stands on the sheet itself is known there
    own = {table: {row[name] for row in document.get(table, [])} for table, name in (("sites", "site_id"), ("visits", "visit_id"))}
    listed = {"sites": {"S1", *own["sites"]}, "visits": own["visits"], "taxa": {"GPOR", "ETEN"}, "": {"yes", "no"}}
    for table in LISTS:
        for place, row in enumerate(document.get(table, [])):
            right = RIGHT.get(table, [])[place] if place < len(RIGHT.get(table, [])) else {}
            if any(refuses(table, name, text, listed) for name, text in row.items() if text and right.get(name) != text):
                return True
    return False


def refuses(table: str, name: str, text: str, listed: dict[str, set[str]]) -> bool:
    """What a spreadsheet program does with the rule of the cell; a text that is a number counts as one, as it does when typed."""
    declared = fields(table)[name]
    names = {one: one for one in ("yes_no", "taxa", "sites", declared.vocabulary)}
    rule = validation(declared, "A2", names)
    number = pd.to_numeric(pd.Series([text]), errors="coerce").iloc[0]
    if rule["validate"] == "list":
        # spreadsheet programs compare the items of a list without case, and not without blanks
        items = codes(declared.vocabulary) if declared.vocabulary else listed[declared.refers_to]
        return text.casefold() not in {item.casefold() for item in items}
    if rule["validate"] in ("decimal", "integer"):
        return bool(pd.isna(number) or not rule["minimum"] <= number <= rule["maximum"])
    if rule["validate"] == "custom" and declared.kind in ("real", "whole") and declared.possible:
        return bool(not pd.isna(number) and not declared.possible[0] <= number <= declared.possible[1])
    if rule["validate"] == "custom" and declared.kind == "day":
        # a number passes, and so does a date that the program itself turns into one
        return False
    return False


def told_by_the_form(page: Any, document: Document, folder: Path) -> str:
    """All that the form says of a visit, without the book."""
    path = folder / "visit.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    page.locator("#say").evaluate("e => e.replaceChildren()")
    page.locator("#file").set_input_files(path)
    page.get_by_text("is open. Save it again").wait_for()
    return " ".join(text for text in page.locator(".box .told, .twins > p").all_text_contents() if text.strip())


@pytest.fixture(scope="module")
def page(chromium: str, settings: Settings, known: dict[str, pd.DataFrame], tmp_path_factory: pytest.TempPathFactory) -> Any:
    folder = tmp_path_factory.mktemp("form")
    form.write(folder, settings, known)
    with offline_pages(chromium) as open_page:
        made = open_page(folder / "form.html")
        made.clock.set_fixed_time("2023-06-25T16:00:00Z")
        made.reload()
        yield made


def cells_of(tables: list[SourceTable]) -> dict[str, list[dict[str, str]]]:
    """The texts that the check would see: ways of entry that bring the same are checked once."""
    return {
        one.sheet or Path(one.file).stem: [{k: v for k, v in row.items() if v} for row in one.cells.to_dict("records")] for one in tables
    }


def outcome(slip: Slip, page: Any, settings: Settings, known: dict[str, pd.DataFrame], folder: Path, right: Checked) -> list[str]:
    document = document_of(slip)
    seen: list[tuple[Any, str, bool]] = []

    def loaded(tables: list[SourceTable]) -> str:
        cells = cells_of(tables)
        for other, said, _ in seen:
            if other == cells:
                return said
        checked = checked_of(tables, settings, known)
        # the served form asks the book while one types; what is empty it names when the visit is sent
        named = {*checked.held["text"], *checked.flags["value"].fillna("")} - {""}
        seen.append((cells, at_load(checked, right), bool(named)))
        return seen[-1][1]

    sheets = loaded(as_csv(document, folder))
    workbook = AT_ONCE if stopped_in_its_cell(document) else loaded(as_workbook(document, folder))
    if not slip.in_form:
        return ["–", "–", workbook, sheets]
    saved = loaded(tables_of(document, "visit.json", "", "the visit"))
    alone = AT_ONCE if told_by_the_form(page, document, folder) else saved
    served = AT_ONCE if alone == AT_ONCE or any(named for _, said, named in seen if said == AT_LOAD) else saved
    return [alone, served, workbook, sheets]


def lines_of_page() -> list[list[str]]:
    text = PAGE.read_text(encoding="utf-8").split("## Slips")[1].split("\n## ")[0]
    lines = [[cell.strip() for cell in line.strip()[1:-1].split("|")] for line in text.splitlines() if line.startswith("| ")]
    return lines[2:]


@pytest.mark.browser
def test_the_right_visit_is_told_of_nowhere(page: Any, settings: Settings, known: dict[str, pd.DataFrame], tmp_path: Path) -> None:
    document = document_of(None)
    for tables in (as_csv(document, tmp_path), as_workbook(document, tmp_path), tables_of(document, "visit.json", "", "the visit")):
        checked = checked_of(tables, settings, known)
        assert checked.held.empty and checked.flags.empty
    assert told_by_the_form(page, document, tmp_path) == ""
    new = document_of(Slip("a new site", lambda made: made.update(sites=[{**SITE_OF_PAGE}])))
    assert checked_of(as_csv(new, tmp_path), settings, known).flags.empty


SITE_OF_PAGE = {"site_id": "S2", "habitat": "headwater", "latitude": "36.22", "longitude": "-81.91", "datum": "WGS84"}


@pytest.mark.browser
@pytest.mark.slow
def test_the_table_of_slips_is_true_and_nothing_passes(
    page: Any, settings: Settings, known: dict[str, pd.DataFrame], tmp_path: Path
) -> None:
    right = checked_of(as_csv(document_of(None), tmp_path), settings, known)
    found = []
    for slip in SLIPS:
        found.append([slip.words, *outcome(slip, page, settings, known, tmp_path, right)])
        # what the page has to say, for whoever changes a rule
        print(f"| {' | '.join(found[-1])} |", flush=True)
    assert not [line for line in found if PASSES in line], "what can be seen from the sheet must not pass in silence"
    assert lines_of_page() == found
