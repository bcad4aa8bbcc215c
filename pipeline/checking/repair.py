"""Repairs: the list of held items comes back with corrections, and is checked again by the same path as everything else."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pipeline.checking.outcome import ROW_TOO_LONG
from pipeline.errors import RillbookError
from pipeline.reading.rows import Mapped, MappedSource, SourceTable
from pipeline.reading.values import CANONICAL, as_text, number_of
from schemas.tables import LOADED, fields, key_of

ANSWERS = ("corrected", "dismiss_reason", "by")
TAKE_AS_IT_IS = "accept"
FOLLOWS = ("parent_held", "parent_unknown")
HELD_ROW = ["load_id", "row_no", "table_name"]
FORMULA = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True)
class Repairs:
    """What a list of held items asks for.

    Attributes
    ----------
    source : SourceTable
        The list as it was read.
    asked : DataFrame
        Items with an answer: ``item``, ``table``, ``row``, ``field``, ``text``, the answers, ``place`` (position in the list).
    repeated : int
        Answers that the book holds already.
    """

    source: SourceTable
    asked: pd.DataFrame
    repeated: int


def is_repair_list(source: SourceTable) -> bool:
    """Whether a sheet is a list of held items that came back."""
    return {"item", *ANSWERS} <= set(source.cells.columns)


def for_spreadsheet(frame: pd.DataFrame) -> pd.DataFrame:
    """Put an apostrophe before texts that a spreadsheet would run as a formula; numbers such as -0.8 stay as they are.

    Parameters
    ----------
    frame : DataFrame
        Any columns; only text is touched.

    Returns
    -------
    DataFrame
    """

    def safe(cell: object) -> object:
        return f"'{cell}" if isinstance(cell, str) and cell.startswith(FORMULA) and not _is_number(cell) else cell

    texts = [name for name in frame.columns if not pd.api.types.is_numeric_dtype(frame[name])]
    return frame.assign(**{name: frame[name].map(safe) for name in texts})


def from_spreadsheet(text: str) -> str:
    """Take the apostrophe of :func:`for_spreadsheet` away again."""
    return text[1:] if text.startswith("'") and text[1:].startswith(FORMULA) else text


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def read_repairs(source: SourceTable, open_items: pd.DataFrame, answered: pd.DataFrame) -> Repairs:
    """Take the answers from a list of held items.

    Parameters
    ----------
    source : SourceTable
        The list.
    open_items : DataFrame
        Items that are open in the book, as `book.held` gives them.
    answered : DataFrame
        Answers that the book holds, as `book.answers` gives them; the same answer again is passed over.

    Returns
    -------
    Repairs

    Raises
    ------
    RillbookError
        An item is unknown or settled otherwise, stands twice, has two answers, or nobody's name stands beside it; the message
        names the line.
    """
    cells = source.cells[["item", *ANSWERS]].apply(lambda column: column.str.strip().map(from_spreadsheet))
    done = set(answered[["item", "corrected", "dismiss_reason"]].itertuples(index=False, name=None))
    known = open_items.set_index("item").to_dict("index")
    rows: list[dict[str, Any]] = []
    seen: set[str] = set()
    repeated = 0
    for place, row in enumerate(cells.to_dict("records")):
        if not row["corrected"] and not row["dismiss_reason"]:
            continue
        where = f"{source.file}, line {source.lines[place]}"
        if (row["item"], row["corrected"], row["dismiss_reason"]) in done and row["item"] not in known:
            repeated += 1
            continue
        _refuse_answer(row, known, seen, where)
        seen.add(row["item"])
        item = known[row["item"]]
        rows.append({
            "item": row["item"], "table": item["table"], "row": item["row"], "field": item["field"], "text": item["text"],
            "whole_row": bool(item["whole_row"]), "place": place, **{name: row[name] for name in ANSWERS},
        })  # fmt: skip
    names = ["item", "table", "row", "field", "text", "whole_row", "place", *ANSWERS]
    return Repairs(source, pd.DataFrame(rows, columns=names), repeated)


def _refuse_answer(row: dict[str, str], known: dict[str, dict[str, Any]], seen: set[str], where: str) -> None:
    if row["item"] not in known:
        raise RillbookError(
            f"{row['item'] or 'an empty item'} is not open in this book.", "Write the list anew with `rillbook held --csv`.", where
        )
    if row["item"] in seen:
        raise RillbookError(f"{row['item']} has two answers.", "Keep one line of it.", where)
    if row["corrected"] and row["dismiss_reason"]:
        raise RillbookError("both corrected and dismiss_reason are filled in.", "Keep one of them.", where)
    if not row["by"]:
        raise RillbookError("nobody's name stands under by.", "Write who decided this.", where)
    item = known[row["item"]]
    if row["corrected"] and item["rule"] == ROW_TOO_LONG:
        raise RillbookError(
            "this row could not be cut into cells.", "Correct it in the sheet and load that; then dismiss this item.", where
        )
    if row["corrected"] and item["table"] == "finds" and item["field"] == "count" and number_of(row["corrected"]) == 0:
        raise RillbookError(
            "a count of 0 is no find.",
            "Leave corrected empty and write a dismiss_reason; nothing is said of absence then. If the visit looked for it, counted all "
            "and found none, mend the sheet and load it with --corrects.",
            where,
        )
    if row["corrected"] and not item["field"] and row["corrected"] != TAKE_AS_IT_IS:
        raise RillbookError(
            f"the whole row is held ({item['rule']}).",
            f"Write {TAKE_AS_IT_IS} under corrected to take it as it is, or a dismiss_reason.",
            where,
        )


def following(asked: pd.DataFrame, held_rows: pd.DataFrame) -> pd.DataFrame:
    """Held rows that hang on the rows under repair and have no other fault that is left open; they follow by themselves.

    Parameters
    ----------
    asked : DataFrame
        As `Repairs.asked`.
    held_rows : DataFrame
        As `book.held_row_texts`.

    Returns
    -------
    DataFrame
        `asked` with these items added, corrected ``accept`` by the person who repaired the parent.
    """
    corrected = asked.loc[asked["corrected"] != "", "item"]
    faulty = held_rows[held_rows["whole_row"] & ~held_rows["rule"].isin(FOLLOWS) & ~held_rows["item"].isin(corrected)]
    free = held_rows[~_row_of(held_rows).isin(_row_of(faulty)) & held_rows["rule"].isin(FOLLOWS)]
    free = free[free["whole_row"]]
    result, parents = asked, asked[asked["whole_row"] & (asked["corrected"] != "")]
    while len(parents):
        near = free[free["parent_key"].isin(parents["row"]) & ~free["item"].isin(result["item"])]
        source = parents.drop_duplicates("row").set_index("row")
        parents = _as_asked(near, near["parent_key"].map(source["place"]), near["parent_key"].map(source["by"]))
        result = pd.concat([result, parents], ignore_index=True)
    return result


def other_reasons(applied: pd.DataFrame, held_rows: pd.DataFrame) -> pd.DataFrame:
    """The other reasons for which rows were held that are in the book now: `applied` with them added."""
    mine = held_rows[held_rows["item"].isin(applied.loc[applied["corrected"] != "", "item"])]
    others = held_rows[held_rows["whole_row"] & _row_of(held_rows).isin(_row_of(mine)) & ~held_rows["item"].isin(applied["item"])]
    first = mine.merge(applied[["item", "place", "by"]], on="item").drop_duplicates(HELD_ROW).set_index(HELD_ROW)[["place", "by"]]
    at = first.loc[pd.MultiIndex.from_frame(others[HELD_ROW])] if len(others) else first.iloc[:0]
    return pd.concat([applied, _as_asked(others, at["place"].to_numpy(), at["by"].to_numpy())], ignore_index=True)


def _row_of(held_rows: pd.DataFrame) -> pd.Series:
    return pd.Series(list(held_rows[HELD_ROW].itertuples(index=False, name=None)), index=held_rows.index, dtype="object")


def _as_asked(reasons: pd.DataFrame, place: Any, by: Any) -> pd.DataFrame:
    return pd.DataFrame({
        "item": reasons["item"], "table": reasons["table_name"], "row": reasons["row_key"], "field": reasons["field"], "text": "",
        "whole_row": True, "place": place, "corrected": TAKE_AS_IT_IS, "dismiss_reason": "", "by": by,
    })  # fmt: skip


def rows_under_repair(source: SourceTable, asked: pd.DataFrame, known: dict[str, pd.DataFrame], held_rows: pd.DataFrame) -> pd.DataFrame:
    """The rows that the answers are about, with the corrections in place.

    Parameters
    ----------
    source : SourceTable
        The list of held items.
    asked : DataFrame
        Items with their answers.
    known : dict of str to DataFrame
        Current rows of the book.
    held_rows : DataFrame
        Texts of held rows.

    Returns
    -------
    DataFrame
        ``table``, ``key`` (as it will be), ``place`` (in the list), ``items`` (tuple), ``texts`` (dict of field to text).

    Raises
    ------
    RillbookError
        A row is not in the book any more.
    """
    corrections = asked[asked["corrected"] != ""]
    rows = []
    for table in LOADED:
        mine = corrections[corrections["table"] == table]
        held = held_rows[held_rows["item"].isin(mine["item"])].merge(mine[["item", "place", "corrected"]], on="item")
        rows += [(table, texts, reasons) for texts, reasons in _held_texts(held, held_rows)]
        values = mine[~mine["item"].isin(held_rows["item"])]
        book = _texts_of(table, known[table][known[table][key_of(table)].isin(values["row"])])
        for key, reasons in values.groupby("row", sort=True):
            if key not in book:
                raise RillbookError(
                    f"{table} {key} is not in the book any more.", "Write the list anew with `rillbook held --csv`.", source.file
                )
            rows.append((table, book[key], reasons))
    made = []
    for table, texts, reasons in rows:
        texts.update({one.field: one.corrected for one in reasons.itertuples() if one.field and one.corrected != TAKE_AS_IT_IS})
        made.append((table, texts.get(key_of(table), "").strip(), int(reasons["place"].iloc[0]), tuple(reasons["item"]), texts))
    return pd.DataFrame(made, columns=["table", "key", "place", "items", "texts"])


def _held_texts(asked: pd.DataFrame, held_rows: pd.DataFrame) -> Iterator[tuple[dict[str, str], pd.DataFrame]]:
    """Texts of held rows without the values that are held aside, and the answers about each."""
    aside: dict[Any, set[str]] = {}
    for row, name in zip(_row_of(held_rows), held_rows["field"].where(~held_rows["whole_row"], ""), strict=True):
        aside.setdefault(row, set()).add(name)
    for row, reasons in asked.groupby(HELD_ROW, sort=True):
        yield {name: text for name, text in reasons["texts"].iloc[0].items() if name not in aside[row]}, reasons


def _texts_of(table: str, frame: pd.DataFrame) -> dict[str, dict[str, str]]:
    """Rows of the book as texts, by key."""
    texts = pd.DataFrame({name: as_text(frame[name], declared.kind) for name, declared in fields(table).items()})
    rows = texts.set_index(key_of(table), drop=False).to_dict("index")
    return {str(key): {name: text for name, text in row.items() if isinstance(text, str)} for key, row in rows.items()}


def repaired_source(source: SourceTable, rows: pd.DataFrame) -> MappedSource:
    """The rows under repair as a mapped sheet, to be checked like any other.

    Parameters
    ----------
    source : SourceTable
        The list of held items.
    rows : DataFrame
        As :func:`rows_under_repair`.

    Returns
    -------
    MappedSource
    """
    mapped = []
    for table in LOADED:
        mine = rows[rows["table"] == table]
        if len(mine):
            names = [name for name, declared in fields(table).items() if not declared.derived or name == "medium_assumed"]
            texts = pd.DataFrame(mine["texts"].tolist(), columns=names).astype("str")
            mapped.append(Mapped(table, texts, mine["place"].to_numpy(dtype="int64"), dict.fromkeys(names, CANONICAL), {}, {}))
    missing = (source.cells == "").to_numpy()
    return MappedSource(source, tuple(mapped), missing, tuple(source.cells.columns), np.zeros(len(source.cells), dtype=bool), ())
