"""The workbook for typing in: a sheet a table with its drop-downs, spans and example row, all made from the schemas."""

from __future__ import annotations

import io
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.entry.cell_rules import YES_NO, shown_when_chosen, validation
from pipeline.reading.headings import CODE_SHEET, DATE_FORM, EXAMPLE, GUIDE_SHEET, filled_in, heading_of
from pipeline.settings import Settings
from pipeline.writing.files import write_files
from pipeline.writing.page import KNOWS_SITES
from schemas.fields import Field
from schemas.tables import LOADED, key_of
from schemas.vocabulary import codes, vocabulary

FILE = "book.xlsx"
HEAD, EXAMPLE_ROW, FIRST, LAST = 0, 1, 2, 1001
AS_TEXT = ("text", "code", "codes", "day", "clock", "yes_no")
EXAMPLE_DAY, EXAMPLE_CLOCK = "2024-05-31", "21:30"
INK = {"needed": "#7a3b00", "head": "#12424f", "grey": "#6b6b6b", "odd": "#ffe8b3"}


def write_workbook(path: Path, settings: Settings, known: Mapping[str, pd.DataFrame]) -> Path:
    """Write the blank workbook.

    Parameters
    ----------
    path : Path
        Where to; what stands there is replaced, for a blank workbook holds nothing of anyone's.
    settings : Settings
        The book's settings; its taxa make a drop-down.
    known : mapping of str to DataFrame
        Current rows of the book by table; the codes of its sites and enclosures make drop-downs.

    Returns
    -------
    Path
        The file: a guide, a sheet for each table that sheets bring, and a sheet with every code and its meaning.

    Raises
    ------
    RillbookError
        The file cannot be written.
    """
    import xlsxwriter

    # texts are written by write_string only: by `write` one that begins like a formula would become one
    made = io.BytesIO()
    book = xlsxwriter.Workbook(made, {"in_memory": True})
    looks = _looks(book)
    _guide(book.add_worksheet("guide"), settings, looks)
    sheets = {table: book.add_worksheet(table) for table in LOADED}
    lists = _lists(settings, known)
    names = _codes(book, book.add_worksheet("codes"), lists, looks)
    for table, sheet in sheets.items():
        _table(book, sheet, table, settings, names, looks)
    sheets["visits"].activate()
    book.close()
    write_files({path: made.getvalue()}, "the workbook")
    return path


def _looks(book: Any) -> dict[str, Any]:
    head = {"bold": True, "text_wrap": True, "valign": "top", "font_color": "#ffffff", "border": 1, "num_format": "@"}
    return {
        "head": book.add_format({**head, "bg_color": INK["head"]}),
        "needed": book.add_format({**head, "bg_color": INK["needed"]}),
        "text": book.add_format({"num_format": "@"}),
        "number": book.add_format({}),
        "example": book.add_format({"italic": True, "font_color": INK["grey"], "num_format": "@"}),
        "example_number": book.add_format({"italic": True, "font_color": INK["grey"]}),
        "odd": book.add_format({"bg_color": INK["odd"]}),
        "wrapped": book.add_format({"text_wrap": True, "valign": "top"}),
    }


def _guide(sheet: Any, settings: Settings, looks: Mapping[str, Any]) -> None:
    lines = [
        KNOWS_SITES,
        settings.title or "(a book without a title)",
        "One sheet a table, one line a row. Leave a sheet empty that you do not need. Brown headings with a star are needed in every row.",
        f"The grey row {EXAMPLE_ROW + 1} of each sheet shows the form. It is known by its code, {EXAMPLE}, and is never loaded.",
        "Leave empty what was not noted. Units stand in the headings; a heading may be changed to another unit, such as (°F).",
        f"Dates are written {DATE_FORM}, such as {EXAMPLE_DAY}; clock times as {EXAMPLE_CLOCK}. They stay text, so that no spreadsheet "
        "program makes something else of them.",
        "A cell says what belongs in it when you stand on it. What is not possible is refused; what is unusual turns yellow: read the "
        "notes again.",
        "Drop-downs hold the codes; their meanings are on the sheet codes. A code of a site or a visit may also be new.",
        "Then: rillbook check FILE.xlsx, and rillbook load FILE.xlsx. rillbook check FILE.xlsx --mark MARKED.xlsx writes a copy with every "
        "fault in its cell.",
    ]
    sheet.set_column(0, 0, 110)
    sheet.write_string(HEAD, 0, GUIDE_SHEET[0], looks["head"])
    for row, line in enumerate(lines, 1):
        sheet.write_string(row, 0, line, looks["wrapped"])
        sheet.set_row(row, 16 * math.ceil(len(line) / 95))
    sheet.protect()


def _lists(settings: Settings, known: Mapping[str, pd.DataFrame]) -> dict[str, list[tuple[str, str]]]:
    """Every list that a drop-down draws on: the vocabularies in use, and the book's taxa, sites and enclosures."""
    used = dict.fromkeys(one.vocabulary for table in LOADED for one in filled_in(table).values() if one.kind == "code")
    lists = {name: [(code, row["definition"]) for code, row in vocabulary(name).items()] for name in used}
    lists["yes_no"] = [(word, "") for word in YES_NO]
    taxa = settings.taxa
    lists["taxa"] = [(str(code), str(name)) for code, name in zip(taxa["code"], taxa["scientific_name"], strict=True)]
    for table in ("sites", "enclosures"):
        rows = known.get(table)
        lists[table] = [] if rows is None else [(str(code), "in the book") for code in rows[key_of(table)].dropna()]
    return {name: rows for name, rows in lists.items() if rows}


def _codes(book: Any, sheet: Any, lists: Mapping[str, list[tuple[str, str]]], looks: Mapping[str, Any]) -> dict[str, str]:
    """Write the sheet of codes; return the named range of each list."""
    for column, (title, width) in enumerate(zip(CODE_SHEET, (20, 26, 90), strict=True)):
        sheet.write_string(HEAD, column, title, looks["head"])
        sheet.set_column(column, column, width, looks["text"])
    sheet.freeze_panes(1, 0)
    names, row = {}, 1
    for name, rows in lists.items():
        # direct references to another sheet are written differently by some programs and lost by others: names are kept by all
        names[name] = f"list_{name}"
        book.define_name(names[name], f"=codes!$B${row + 1}:$B${row + len(rows)}")
        for code, meaning in rows:
            for column, text in enumerate((name.replace("_", " "), code, meaning)):
                sheet.write_string(row, column, text, looks["text"])
            row += 1
    sheet.autofilter(0, 0, row - 1, 2)
    # without a password: a guard against a slip, no lock
    sheet.protect(options={"autofilter": True, "sort": True})
    return names


def _table(book: Any, sheet: Any, table: str, settings: Settings, names: Mapping[str, str], looks: Mapping[str, Any]) -> None:
    example = example_row(table, settings)
    for column, (name, declared) in enumerate(filled_in(table).items()):
        look = "text" if declared.kind in AS_TEXT else "number"
        heading = heading_of(declared)
        sheet.set_column(column, column, max(12, max(map(len, heading.split())) * 1.1 + 3), looks[look])
        sheet.write_string(HEAD, column, heading, looks["needed" if declared.required else "head"])
        text = example.get(name, "")
        if text and look == "number":
            sheet.write_number(EXAMPLE_ROW, column, float(text), looks["example_number"])
        elif text:
            sheet.write_string(EXAMPLE_ROW, column, text, looks["example"])
        sheet.data_validation(FIRST, column, LAST, column, validation(declared, _cell(column), names))
        sheet.data_validation(HEAD, column, HEAD, column, {"validate": "any", **shown_when_chosen(declared)})
        if declared.expected is not None:
            low, high = declared.expected
            cell = _cell(column)
            rule = f"=AND(ISNUMBER({cell}),OR({cell}<{low:.10g},{cell}>{high:.10g}))"
            sheet.conditional_format(FIRST, column, LAST, column, {"type": "formula", "criteria": rule, "format": looks["odd"]})
        if name == key_of(table):
            book.define_name(f"new_{table}", f"={table}!{_column(column)}${FIRST + 1}:{_column(column)}${LAST + 1}")
    sheet.set_row(HEAD, 46)
    sheet.freeze_panes(1, 1)
    sheet.ignore_errors({"number_stored_as_text": f"A1:{_column(column).strip('$')}{LAST + 1}"})
    sheet.set_landscape()
    sheet.repeat_rows(HEAD)


def _column(column: int) -> str:
    from xlsxwriter.utility import xl_col_to_name

    return str(xl_col_to_name(column, col_abs=True))


def _cell(column: int) -> str:
    return f"{_column(column)}{FIRST + 1}"


def example_row(table: str, settings: Settings) -> dict[str, str]:
    """Texts of the row that shows the form: a modest value for each number, one code of each list, no place.

    Parameters
    ----------
    table : str
        A declared table.
    settings : Settings
        The first taxon of the book stands in the row.

    Returns
    -------
    dict of str to str
        Field to text; its key is `EXAMPLE`, by which the row is known and left out when the workbook is loaded.
    """
    taxa = list(settings.taxa["code"])
    texts: dict[str, str] = {}
    for name, one in filled_in(table).items():
        if one.key or (one.refers_to and one.refers_to != "taxa"):
            texts[name] = EXAMPLE
        elif one.refers_to == "taxa":
            texts[name] = str(taxa[0]) if taxa else EXAMPLE
        elif one.kind in ("real", "whole"):
            texts[name] = _modest(one)
        else:
            texts[name] = _first(one)
    return {name: text for name, text in texts.items() if text}


def _first(one: Field) -> str:
    if one.kind == "code":
        known = codes(one.vocabulary)
        return known[len(known) // 2]
    return {"yes_no": "yes", "day": EXAMPLE_DAY, "clock": EXAMPLE_CLOCK}.get(one.kind, "")


def _modest(one: Field) -> str:
    """A number well inside the expected span, to two digits; in the lower part, for most spans are wide at the top."""
    if one.expected is None:
        return ""
    low, high = one.expected
    number = math.sqrt(low * high) if low > 0 else low + (high - low) / 4
    if one.kind == "whole":
        return "1" if one.required else f"{round(number)}"
    return f"{float(f'{number:.1e}'):.10g}"
