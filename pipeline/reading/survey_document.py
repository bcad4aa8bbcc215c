"""The survey document: a visit or a log of enclosures as the forms save it, turned into sheets of text like any other file."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pandas as pd

from pipeline.errors import RillbookError
from pipeline.reading.rows import SourceTable
from schemas.tables import MODELS, fields, keys_of

FORMAT, VERSION = "rillbook survey", "1"
LISTS = ("sites", "visits", "finds", "availability")
TANK_LISTS = ("enclosures", "loggers", "water_tests", "husbandry_events")
ALL_LISTS = (*LISTS, *TANK_LISTS)
CORRECTIONS = "corrections"
CORRECTION_WORDS = ("table", "row_key", "field", "as_written", "corrected", "why", "who")
# As in text files: what is longer was never typed.
LONGEST_TEXT = 131_072
MEND = "Open it in the form and save it again, or take the copy that the form saved before."
KEYS = frozenset(key for table in MODELS for key in keys_of(table))


def is_document(text: str, name: str) -> bool:
    """Whether a file is to be read as a survey document: its name ends in .json, or it opens with a brace, which no heading does."""
    return name.casefold().endswith(".json") or text.lstrip().startswith("{")


def is_corrections(source: SourceTable) -> bool:
    """Whether a sheet is the list of repairs that a survey document carries."""
    return source.sheet == CORRECTIONS and tuple(source.cells.columns) == CORRECTION_WORDS


def read_document(text: str, file: str, sha256: str, where: str) -> list[SourceTable]:
    """Read a survey document from its text; see :func:`tables_of`."""
    return tables_of(parse(text, where), file, sha256, where)


def tables_of(document: Any, file: str, sha256: str, where: str) -> list[SourceTable]:
    """Turn a survey document into sheets, one a list that holds rows.

    Parameters
    ----------
    document : Any
        As :func:`parse` gives it.
    file : str
        File name without its folder.
    sha256 : str
        Hash of the file's bytes.
    where : str
        Names the file in errors.

    Returns
    -------
    list of SourceTable
        Every cell as it was typed. Fields that a row leaves out are empty; a field that the table does not have stays a column and is
        reported as not used. The line of a row is its place in the list, from 1. The list of repairs comes last; see
        :func:`is_corrections`.

    Raises
    ------
    RillbookError
        It is no survey document, or holds something that is no text where a text must stand; the message names list, row and field.
    """
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise RillbookError(f'this is no survey document: it does not say "format": "{FORMAT}".', "Is it the right file?", where)
    if document.get("version") != VERSION:
        what = f"the document is of version {_shown(document.get('version'))}; this rillbook reads version {VERSION}."
        raise RillbookError(what, "Load it with the rillbook that made it, or a newer one.", where)
    for word in document:
        if word not in ("format", "version", CORRECTIONS, *ALL_LISTS):
            raise RillbookError(f"unknown word {word!r}.", f"Known here: {', '.join((*ALL_LISTS, CORRECTIONS))}.", where)
    rows = {table: _rows(document.get(table, []), table, where) for table in (*ALL_LISTS, CORRECTIONS)}
    _refuse_odd_corrections(rows[CORRECTIONS], where)
    filled = [table for table in ALL_LISTS if any(map(_filled, rows[table]))]
    tables = [_table(table, rows[table], _columns(table, rows[table], where), file, sha256) for table in filled]
    if not tables:
        raise RillbookError("the document holds no rows.", "Fill in the form and save it again.", where)
    if any(map(_filled, rows[CORRECTIONS])):
        tables.append(_table(CORRECTIONS, rows[CORRECTIONS], list(CORRECTION_WORDS), file, sha256))
    return tables


def parse(text: str, where: str) -> Any:
    """Read JSON; numbers stay the text that they are written as, and nothing is overwritten by a word that stands twice.

    Raises
    ------
    RillbookError
        The text is not JSON, is cut off, or one object names a word twice.
    """

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found = dict(pairs)
        if len(found) < len(pairs):
            names = [name for name, _ in pairs]
            twice = next(name for name in names if names.count(name) > 1)
            raise RillbookError(f"{twice!r} stands twice in what begins {_shown(dict(pairs[:1]))}.", "Keep one of them.", where)
        return found

    try:
        return json.loads(text.removeprefix("\ufeff"), object_pairs_hook=once, parse_int=str, parse_float=str, parse_constant=str)
    except json.JSONDecodeError as problem:
        cut = problem.pos >= len(text.rstrip()) or problem.msg.startswith("Unterminated string")
        what = "the file ends in the middle." if cut else f"the file is not valid JSON ({problem.msg}, column {problem.colno})."
        raise RillbookError(what, MEND, f"{where}, line {problem.lineno}") from None
    except RecursionError:
        raise RillbookError("the file is nested too deeply to be a survey document.", MEND, where) from None


def _shown(value: Any) -> str:
    try:
        text = json.dumps(value, ensure_ascii=True)
    except RecursionError:
        return "something nested"
    return text if len(text) <= 60 else f"{text[:60]}…"


def _filled(row: dict[str, str]) -> bool:
    return any(text.strip() for text in row.values())


def _rows(found: Any, table: str, where: str) -> list[dict[str, str]]:
    if not isinstance(found, list):
        raise RillbookError(f"{table} must be a list of rows.", MEND, where)
    return [_row(row, f"{where}, {table}, row {place}") for place, row in enumerate(found, 1)]


def _row(row: Any, where: str) -> dict[str, str]:
    if not isinstance(row, dict):
        raise RillbookError(f"a row must name its fields; this is {_shown(row)}.", MEND, where)
    return {name: _text(value, f"{where}, {name}") for name, value in row.items()}


def _text(value: Any, where: str) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if not isinstance(value, str):
        raise RillbookError(f"a text must stand here, not {_shown(value)}.", MEND, where)
    if "\x00" in value or any("\ud800" <= sign <= "\udfff" for sign in value):
        raise RillbookError("the text holds a sign that no keyboard writes.", "Type it again.", where)
    if len(value) > LONGEST_TEXT:
        raise RillbookError(f"the text is longer than {LONGEST_TEXT} signs.", "Keep the long part elsewhere.", where)
    return value


def _columns(table: str, rows: list[dict[str, str]], where: str) -> list[str]:
    """Declared fields that a row names or needs, in their order, then the others in the order of the rows."""
    named = dict.fromkeys(name for row in rows for name in row)
    known = [name for name, declared in fields(table).items() if name in named or declared.required]
    others = [name for name in named if name not in fields(table)]
    for name in others:
        if not name.strip() or name.strip().casefold() in KEYS:
            raise RillbookError(f"{table} has no field {name!r}.", "Move it to the list that it belongs to.", where)
    return known + others


def _table(table: str, rows: list[dict[str, str]], columns: list[str], file: str, sha256: str) -> SourceTable:
    kept = [(place, row) for place, row in enumerate(rows, 1) if _filled(row)]
    cells = [[row.get(name, "") for name in columns] for _, row in kept]
    return SourceTable(
        file=file,
        sheet=table,
        cells=pd.DataFrame(cells, columns=columns, dtype="str"),
        lines=np.array([place for place, _ in kept], dtype="int64"),
        sha256=sha256,
        misshapen={},
        blank_rows=len(rows) - len(kept),
    )


def _refuse_odd_corrections(rows: list[dict[str, str]], where: str) -> None:
    for place, row in enumerate(rows, 1):
        at = f"{where}, {CORRECTIONS}, row {place}"
        for name in row:
            if name not in CORRECTION_WORDS:
                raise RillbookError(f"unknown word {name!r}.", f"Known here: {', '.join(CORRECTION_WORDS)}.", at)
        if _filled(row) and (row.get("table") not in ALL_LISTS or row.get("field") not in fields(row["table"])):
            what = f"{row.get('table', '')}.{row.get('field', '')} is no field that a survey document holds."
            raise RillbookError(what, "See docs/data_dictionary.md.", at)


def corrections_of(source: SourceTable) -> pd.DataFrame:
    """Repairs of a survey document in the columns that the book's corrections are written from.

    Parameters
    ----------
    source : SourceTable
        As :func:`is_corrections` knows it.

    Returns
    -------
    DataFrame
        ``item`` (``form-1``, ``form-2`` …: no item was ever held), ``table``, ``row``, ``field``, ``text`` (as typed first), ``corrected``,
        ``dismiss_reason`` (why it was corrected), ``by`` (empty in documents of an earlier form).
    """
    frame = source.cells.rename(columns={"row_key": "row", "as_written": "text", "why": "dismiss_reason", "who": "by"})
    return frame.assign(item=[f"form-{place}" for place in source.lines])
