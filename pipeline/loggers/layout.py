"""Where things stand in a logger's export: what parts its cells, where its headings are, what each column holds."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from pipeline.errors import RillbookError
from pipeline.loggers.map import Words
from pipeline.loggers.text import DELIMITERS, MOMENT, lines_of, number_of, rows_of
from pipeline.reading.values import NOT_AVAILABLE

HEAD_ROWS = 80
MISSING = ("", *NOT_AVAILABLE, "nan", "null", "none")
INDEX = ("#", "", "no", "no.", "nr", "index", "row", "record", "id")
UNIT = re.compile(r"°\s*([CF])|\bdeg\.?\s*([CF])\b|\b(c)elsius|\b(f)ahrenheit|(?:[\s_,(]|^)([CF])(?=\W|$)", re.I)


@dataclass(frozen=True)
class Shape:
    """Where things stand in a file, before its rows are looked at.

    Attributes
    ----------
    delimiter : str
        What parts the cells.
    first : int
        Rows before the first one that may hold a reading.
    columns : dict of str to int
        Position of each role; ``events`` are the positions that `others` lists.
    others : tuple of int
        Positions of columns that hold neither time nor reading nor row number.
    unit : str
        degC, degF, or empty where a column of its own says it.
    preamble : tuple of str
        Rows above the headings, each as one text.
    headings : tuple of str
        Headings; empty for a file without.
    """

    delimiter: str
    first: int
    columns: dict[str, int]
    others: tuple[int, ...]
    unit: str
    preamble: tuple[str, ...]
    headings: tuple[str, ...]


def find_shape(path: Path, encoding: str, words: Words) -> Shape:
    """Delimiter, headings and columns of a file, from its first rows.

    Raises
    ------
    RillbookError
        No column of times or of readings is found, or several could be meant.
    """
    head = list(islice(lines_of(path, encoding), HEAD_ROWS))
    problem: RillbookError | None = None
    for delimiter in DELIMITERS:
        try:
            rows = [[cell.strip() for cell in row] for row in csv.reader(head, delimiter=delimiter, strict=True)]
        except csv.Error:
            continue
        try:
            shape = _shape(rows, delimiter, words, str(path))
        except RillbookError as fault:
            problem = problem or fault
            continue
        if shape is not None:
            return shape
    raise problem or RillbookError(
        "no column of times with a column of temperatures is found.",
        "Is this a logger's export? If so, state heading_line and columns in the [logger] section of a map.", str(path),
    )  # fmt: skip


def _shape(rows: list[list[str]], delimiter: str, words: Words, where: str) -> Shape | None:
    line = words.heading_line
    if line is None:
        line = next((number for number, row in enumerate(rows, 1) if _is_heading(row)), 0)
    if line:
        if line > len(rows):
            return None
        headings = rows[line - 1]
        roles = [_role(heading, headings) for heading in headings]
        first = line
    else:
        first = next((number for number, row in enumerate(rows) if any(MOMENT.fullmatch(cell) for cell in row)), -1)
        if first < 0:
            return None
        headings, roles = [], _bare_roles(rows[first:], words)
    columns = _columns(headings, roles, words, where)
    if not ("moment" in columns or {"date", "clock"} <= columns.keys()) or not {"temp_c", "rh_pct"} & columns.keys():
        return None
    unit = _unit_in(headings[columns["temp_c"]]) if headings and "temp_c" in columns else ""
    if headings and not unit and "unit" not in columns and first < len(rows) and (below := _units_row(rows[first], columns)):
        unit, first = below, first + 1
    taken = {*columns.values(), *(place for place, role in enumerate(roles) if role)}
    width = max(len(row) for row in rows[first:] or [headings])
    preamble = tuple(" ".join(cell for cell in row if cell) for row in rows[: max(first - bool(headings), 0)])
    others = tuple(place for place in range(width) if place not in taken)
    return Shape(delimiter, first, columns, others, unit, preamble, tuple(headings))


def _is_heading(row: list[str]) -> bool:
    roles = [_role(cell, row) for cell in row]
    timed = "moment" in roles or ("date" in roles and "clock" in roles)
    return timed and ("temp_c" in roles or "rh_pct" in roles) and not any(MOMENT.fullmatch(cell) for cell in row)


def _role(heading: str, headings: list[str]) -> str:
    """What a column holds by its heading; empty for anything that is neither time nor reading nor row number."""
    text = heading.casefold().split("(")[0].strip() or heading.casefold()
    if re.search(r"date.{0,3}time|timestamp", text):
        return "moment"
    if re.match(r"date\b", text):
        return "date"
    if re.match(r"time\b", text) and "zone" not in text:
        return "clock" if any(re.match(r"date\s*$", other.casefold()) for other in headings) else "moment"
    if re.search(r"\blux\b|\blight\b|intensity", text):
        return "light"
    if re.match(r"temp|°\s*[cf]\b", text) and not re.search(r"limit|alarm", text):
        return "temp_c"
    if re.search(r"\brh\b|humidity", text) and "abs" not in text:
        return "rh_pct"
    if text in ("unit", "units"):
        return "unit"
    if text in ("value", "reading") and any(other.casefold() in ("unit", "units") for other in headings):
        return "temp_c"
    return "index" if headings and heading is headings[0] and text in INDEX else ""


def _bare_roles(rows: list[list[str]], words: Words) -> list[str]:
    """Roles in a file without headings: the times, a column of nothing but C or F, and the only column of numbers, if there is one."""
    rows = [row for row in rows if any(row)]
    width = max(len(row) for row in rows)
    columns = [[row[place] for row in rows if place < len(row) and row[place]] for place in range(width)]
    roles = [""] * width
    for place, cells in enumerate(columns):
        if cells and sum(MOMENT.fullmatch(cell) is not None for cell in cells) * 2 > len(cells):
            roles[place] = "moment"
        elif cells and all(cell.strip("°").upper() in ("C", "F") for cell in cells):
            roles[place] = "unit"
        elif place == 0 and cells and all(cell.isdigit() for cell in cells):
            roles[place] = "index"
    numbers = [place for place, cells in enumerate(columns) if not roles[place] and cells and number_of(cells[0], True) is not None]
    if len(numbers) == 1 and not words.columns:
        roles[numbers[0]] = "temp_c"
    return roles


def _columns(headings: list[str], roles: list[str], words: Words, where: str) -> dict[str, int]:
    columns: dict[str, int] = {}
    for role, stated in words.columns.items():
        if isinstance(stated, int):
            columns[role] = stated - 1
        elif stated in headings:
            columns[role] = headings.index(stated)
        else:
            raise RillbookError(f"there is no heading {stated!r} for {role}.", f"Headings: {', '.join(headings) or 'none'}.", where)
    for role in ("moment", "date", "clock", "temp_c", "rh_pct", "light", "unit"):
        places = [place for place, found in enumerate(roles) if found == role]
        if role in columns or not places:
            continue
        if len(places) > 1 and role != "light":
            named = ", ".join((headings[place] if headings else "") or str(place + 1) for place in places)
            raise RillbookError(
                f"several columns could be the {role}: {named}.",
                f"State columns.{role} in the [logger] section of a map.", where,
            )  # fmt: skip
        columns[role] = places[0]
    if "moment" in columns:
        columns.pop("date", None)
        columns.pop("clock", None)
    return columns


def _unit_in(text: str) -> str:
    match = UNIT.search(text)
    return "" if match is None else "deg" + next(group for group in match.groups() if group).upper()


def _units_row(row: list[str], columns: dict[str, int]) -> str:
    """Unit in a second row of headings, or empty where the row is none."""
    place = columns.get("temp_c", len(row))
    if MOMENT.search(moment_of(row, columns)) or place >= len(row) or number_of(row[place], True) is not None:
        return ""
    return _unit_in(row[place])


def sample(path: Path, encoding: str, shape: Shape) -> list[list[str]]:
    """First rows that may hold a reading."""
    return [row for _, row in islice(rows_of(path, encoding, shape.delimiter), shape.first, shape.first + 20)]


def cell_of(row: list[str], place: int | None) -> str:
    """Text of a cell; empty where the row or the column has none."""
    return row[place] if place is not None and place < len(row) else ""


def moment_of(row: list[str], columns: dict[str, int]) -> str:
    """Text of a row's date and clock time."""
    if "moment" in columns:
        return cell_of(row, columns["moment"])
    return f"{cell_of(row, columns.get('date'))} {cell_of(row, columns.get('clock'))}".strip()
