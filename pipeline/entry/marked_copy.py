"""A copy of someone's workbook with every fault in its cell: a colour, and a comment that says what is wrong and what to do."""

from __future__ import annotations

import html
import io
import re
import warnings
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.errors import RillbookError
from pipeline.reading.headings import FAULT_SHEET

SHEET = "rillbook faults"
HELD, LOOK = "Held back", "Look again"
COLOURS = {HELD: "FFF4B6B0", LOOK: "FFFFE8B3"}
AUTHOR = "rillbook"
OPENING = f"[{AUTHOR}] "
# Parts of a workbook that the library behind this module does not always carry over.
NOT_COPIED = {
    "xl/charts/": "charts", "xl/media/": "pictures", "xl/pivotTables/": "pivot tables", "xl/slicers/": "slicers",
    "xl/threadedComments/": "conversations", "xl/ctrlProps/": "buttons", "xl/diagrams/": "diagrams", "xl/embeddings/": "embedded files",
    "xl/connections.xml": "connections to other data", "xl/queryTables/": "queries",
}  # fmt: skip


@dataclass(frozen=True)
class Mark:
    """One fault in one cell.

    Attributes
    ----------
    sheet : str
        Name of the sheet.
    row, column : int
        Of the cell, from 1.
    kind : str
        `HELD` or `LOOK`.
    message, remedy, text : str
        What is wrong, what to do, and what stood there.
    """

    sheet: str
    row: int
    column: int
    kind: str
    message: str
    remedy: str
    text: str


def refuse_place(book: Path, out: Path) -> None:
    """Refuse to write where a file is, or under a name that says something else than a workbook.

    Raises
    ------
    RillbookError
        The place is taken, is not beside an existing folder, or either file is no XLSX by its name.
    """
    if book.suffix.casefold() != ".xlsx":
        raise RillbookError("only a workbook (XLSX) can be marked.", "Save the sheet as XLSX, or read the list on the screen.", str(book))
    if out.suffix.casefold() != ".xlsx":
        raise RillbookError("the marked copy is a workbook.", "Give it a name that ends in .xlsx.", str(out))
    if out.exists():
        raise RillbookError("there is a file of that name already, and it is left alone.", "Choose another name.", str(out))
    if not out.parent.is_dir():
        raise RillbookError("there is no such folder.", "Choose another, or make it first.", str(out.parent))


def write_marked(book: Path, marks: Sequence[Mark], out: Path) -> list[str]:
    """Write the marked copy.

    Parameters
    ----------
    book : Path
        The workbook as its owner saved it; it is only read.
    marks : sequence of Mark
        The faults. Several in one cell share a comment; a comment that stood there stays before them.
    out : Path
        The copy, a new file.

    Returns
    -------
    list of str
        What the copy lacks, in words; the workbook itself has it all.

    Raises
    ------
    RillbookError
        The workbook cannot be copied, or the copy cannot be written.
    """
    import openpyxl

    refuse_place(book, out)
    try:
        content = book.read_bytes()
        with warnings.catch_warnings():
            # what the library gives up is looked for and told below
            warnings.simplefilter("ignore")
            copy = openpyxl.load_workbook(io.BytesIO(content), rich_text=True)
            results = openpyxl.load_workbook(io.BytesIO(content), data_only=True)
    except Exception as problem:
        # the library lets through whatever its parser meets
        remedy = "Open it in a spreadsheet program, save it as XLSX and try again."
        raise RillbookError(f"the workbook cannot be copied ({type(problem).__name__}: {problem}).", remedy, str(book)) from None
    _unmark(copy)
    for place in dict.fromkeys((mark.sheet, mark.row, mark.column) for mark in marks):
        _mark_cell(copy[place[0]].cell(place[1], place[2]), [one for one in marks if (one.sheet, one.row, one.column) == place])
    _list_faults(copy, marks)
    made = io.BytesIO()
    copy.save(made)
    written = _with_results(made.getvalue(), copy, results)
    try:
        with out.open("xb") as file:
            file.write(written)
    except OSError as problem:
        raise RillbookError(f"the copy cannot be written ({problem.strerror}).", "Choose another place.", str(out)) from None
    lost = _lost(content, written)
    return [f"The marked copy has no {', '.join(lost)}; your own workbook has them still."] if lost else []


def _mark_cell(cell: Any, marks: Sequence[Mark]) -> None:
    from openpyxl.comments import Comment
    from openpyxl.styles import PatternFill

    kind = HELD if any(mark.kind == HELD for mark in marks) else LOOK
    cell.fill = PatternFill("solid", start_color=COLOURS[kind], end_color=COLOURS[kind])
    words = [f"{OPENING}{mark.kind}: {mark.message} {mark.remedy}" for mark in marks]
    before = [cell.comment.text] if cell.comment else []
    cell.comment = Comment("\n\n".join([*before, *dict.fromkeys(words)]), cell.comment.author if before else AUTHOR, width=320, height=160)


def _unmark(copy: Any) -> None:
    """Take out the marks of an earlier copy, so that only what is wrong now is marked."""
    from openpyxl.comments import Comment
    from openpyxl.styles import PatternFill

    if SHEET in copy.sheetnames:
        del copy[SHEET]
    for sheet in copy.worksheets:
        for cell in [cell for row in sheet.iter_rows() for cell in row if cell.comment and OPENING in cell.comment.text]:
            own = cell.comment.text.split(OPENING)[0].rstrip()
            cell.comment = Comment(own, cell.comment.author) if own else None
            if cell.fill.start_color.rgb in COLOURS.values():
                cell.fill = PatternFill()


def _list_faults(copy: Any, marks: Sequence[Mark]) -> None:
    """A sheet that lists the marks, each with a link to its cell."""
    from openpyxl.styles import Alignment, Font
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.hyperlink import Hyperlink

    sheet = copy.create_sheet(SHEET)
    for column, (title, width) in enumerate(zip(FAULT_SHEET, (26, 60, 60, 40), strict=True), 1):
        sheet.cell(1, column, title).font = Font(bold=True)
        sheet.column_dimensions[get_column_letter(column)].width = width
    sheet.freeze_panes = "A2"
    for row, mark in enumerate(marks, 2):
        place = f"{get_column_letter(mark.column)}{mark.row}"
        for column, text in enumerate((f"{mark.sheet} {place}", f"{mark.kind}: {mark.message}", mark.remedy, mark.text), 1):
            cell = sheet.cell(row, column, _plain(text))
            # a text that begins like a formula stays a text
            cell.data_type = "s"
            cell.alignment = Alignment(wrap_text=True, vertical="top")
        quoted = mark.sheet.replace("'", "''")
        sheet.cell(row, 1).hyperlink = Hyperlink(ref=f"A{row}", location=f"'{quoted}'!{place}")
        sheet.cell(row, 1).font = Font(color="FF0B5394", underline="single")


def _plain(text: str) -> str:
    """A text without the control characters that the file format has no place for."""
    return re.sub(r"[\x00-\x08\x0b\x0c\x0e-\x1f]", "\ufffd", text)


def _with_results(content: bytes, copy: Any, results: Any) -> bytes:
    """Give formulas the results that they had: the library writes a formula without one, and it would be read as a blank cell."""
    formulas: dict[str, dict[str, Any]] = {}
    for sheet in copy.worksheets:
        cells = [] if sheet.title == SHEET else [cell for row in sheet.iter_rows() for cell in row if cell.data_type == "f"]
        formulas[sheet.title] = {cell.coordinate: results[sheet.title][cell.coordinate].value for cell in cells}
    if not any(formulas.values()):
        return content
    members = {f"xl/worksheets/sheet{number}.xml": formulas.get(sheet.title, {}) for number, sheet in enumerate(copy.worksheets, 1)}
    made = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            body = old.read(name)
            if members.get(name):
                body = _filled(body.decode("utf-8"), members[name], results.epoch).encode("utf-8")
            new.writestr(name, body)
    return made.getvalue()


def _filled(body: str, values: dict[str, Any], epoch: Any) -> str:
    def fill(match: re.Match[str]) -> str:
        kind, text = _result(values.get(match["place"]), epoch)
        attributes = re.sub(r'\s+t="[^"]*"', "", match["attributes"])
        return f'<c r="{match["place"]}"{attributes}{kind}>{match["formula"]}<v>{text}</v></c>'

    formula = r'<c r="(?P<place>[A-Z]+\d+)"(?P<attributes>[^>]*)>(?P<formula><f\b[^>]*>(?:[^<]*</f>)?)<v\s*(?:/>|></v>)</c>'
    return re.sub(formula, fill, body)


def _result(value: Any, epoch: Any) -> tuple[str, str]:
    """Attribute and text of a formula's result."""
    from openpyxl.utils.datetime import to_excel

    if isinstance(value, bool):
        return ' t="b"', str(int(value))
    if value is None:
        return ' t="str"', ""
    if isinstance(value, (int, float)):
        return "", repr(value)
    if isinstance(value, str):
        return (' t="e"' if re.fullmatch(r"#[A-Z0-9/]+[!?]?", value) else ' t="str"'), html.escape(_plain(value), quote=False)
    return "", repr(to_excel(value, epoch))


def _lost(content: bytes, written: bytes) -> list[str]:
    """What a workbook holds that the copy does not."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive, zipfile.ZipFile(io.BytesIO(written)) as copy:
        names, kept = archive.namelist(), copy.namelist()
        newer = any(b"x14:dataValidation " in archive.read(name) for name in names if name.startswith("xl/worksheets/sheet"))
    counts = {start: [sum(name.startswith(start) for name in listed) for listed in (names, kept)] for start in NOT_COPIED}
    found = [NOT_COPIED[start] for start, (had, has) in counts.items() if had > has]
    return [*dict.fromkeys(found), *(["drop-downs that point straight at another sheet"] if newer else [])]
