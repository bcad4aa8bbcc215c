"""The list of held items: what one answer mends, and the answers of a list that came back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from pipeline.checking.outcome import ROW_TOO_LONG
from pipeline.errors import RillbookError
from pipeline.reading.rows import SourceTable
from pipeline.reading.values import NO, YES, number_of
from pipeline.writing.spreadsheet import from_spreadsheet

ANSWERS = ("corrected", "dismiss_reason", "by")
FOR_ALL = "for_all"
ALIKE = ["table", "field", "rule", "text"]
"""Items that agree in these are mended by one answer: the same word in the same column, wrong for the same reason."""
TAKE_AS_IT_IS = "accept"


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
    cells = source.cells.reindex(columns=["item", *ANSWERS, FOR_ALL], fill_value="").apply(
        lambda column: column.str.strip().map(from_spreadsheet)
    )
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
        rows.append(_asked(row["item"], known[row["item"]], place, row))
    rows += _for_all(cells, known, source)
    names = ["item", "table", "row", "field", "text", "rule", "whole_row", "place", *ANSWERS]
    return Repairs(source, pd.DataFrame(rows, columns=names), repeated)


def _asked(name: str, item: dict[str, Any], place: int, row: dict[str, str]) -> dict[str, Any]:
    """An item with its answer, at its place in the list."""
    known = {word: item[word] for word in ("table", "row", "field", "text", "rule")}
    return {"item": name, **known, "whole_row": bool(item["whole_row"]), "place": place, **{word: row[word] for word in ANSWERS}}


def _for_all(cells: pd.DataFrame, known: dict[str, dict[str, Any]], source: SourceTable) -> list[dict[str, Any]]:
    """Open items without an answer of their own that an answer marked for all speaks of."""
    at = {item: place for place, item in enumerate(cells["item"])}
    answered = set(cells.loc[(cells["corrected"] != "") | (cells["dismiss_reason"] != ""), "item"])
    rows: list[dict[str, Any]] = []
    for place, row in enumerate(cells.to_dict("records")):
        where = f"{source.file}, line {source.lines[place]}"
        word = row[FOR_ALL].casefold()
        if word not in ("", *YES, *NO):
            raise RillbookError(f"{row[FOR_ALL]!r} under {FOR_ALL} is neither yes nor no.", "Write yes, or leave it empty.", where)
        if word not in YES or row["item"] not in answered or row["item"] not in known:
            continue
        like = [known[row["item"]][name] for name in ALIKE]
        for name, item in known.items():
            if name not in answered and [item[word] for word in ALIKE] == like:
                answered.add(name)
                rows.append(_asked(name, item, at.get(name, place), row))
    return rows


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


def grouped(open_items: pd.DataFrame) -> pd.DataFrame:
    """Open items with what mends them: how many are alike, and how many other rows hang on each and follow by themselves.

    Parameters
    ----------
    open_items : DataFrame
        As `book.held` gives them.

    Returns
    -------
    DataFrame
        `open_items` with ``alike`` (items that one answer with ``for_all`` mends, this one counted) and ``group`` (number of the group, in
        the order of the list).
    """
    if open_items.empty:
        return open_items.assign(alike=pd.Series(dtype="int64"), group=pd.Series(dtype="int64"))
    same = open_items.groupby(ALIKE, sort=False, dropna=False)
    return open_items.assign(alike=same["item"].transform("size").astype("int64"), group=same.ngroup())


def kept_answers(before: SourceTable, now: pd.DataFrame, where: str) -> pd.DataFrame:
    """A list that was written before, brought up to date: its answers stay, what is new is added, what is settled and bare goes.

    Parameters
    ----------
    before : SourceTable
        The list as it stands in the file.
    now : DataFrame
        The list as it would be written today.
    where : str
        Names the file in errors.

    Returns
    -------
    DataFrame
        Columns of `now`.

    Raises
    ------
    RillbookError
        The file is no list of held items.
    """
    if not is_repair_list(before):
        raise RillbookError("this file exists already and is no list of held items.", "Choose another name.", where)
    old = before.cells.reindex(columns=now.columns, fill_value="")
    answered = (old[[*ANSWERS, FOR_ALL]].apply(lambda column: column.str.strip()) != "").any(axis=1)
    old = old[answered | old["item"].str.strip().isin(now["item"])]
    fresh = now[~now["item"].isin(old["item"].str.strip())].astype("str")
    return pd.concat([old, fresh], ignore_index=True)
