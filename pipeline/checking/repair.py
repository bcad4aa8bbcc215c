"""Repairs: held rows and values with their corrections in place, checked again by the same path as everything else."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd

from pipeline.checking.held_list import TAKE_AS_IT_IS
from pipeline.errors import RillbookError
from pipeline.reading.rows import Mapped, MappedSource, SourceTable
from pipeline.reading.values import CANONICAL, as_text
from schemas.tables import LOADED, fields, key_of

SWAPPED = "coordinates_swapped"
PAIR = {"latitude": "longitude", "longitude": "latitude"}
FOLLOWS = ("parent_held", "parent_unknown")
HELD_ROW = ["load_id", "row_no", "table_name"]


def with_pairs(asked: pd.DataFrame, open_items: pd.DataFrame) -> pd.DataFrame:
    """The other half of a held place comes back as it was written when one half is corrected: half a place is none.

    Parameters
    ----------
    asked : DataFrame
        As `Repairs.asked`.
    open_items : DataFrame
        As `book.held` gives them.

    Returns
    -------
    DataFrame
        `asked` with these items added.

    Raises
    ------
    RillbookError
        The halves may have changed places: what was written in the other field is not its value.
    """
    halves = asked[(asked["corrected"] != "") & asked["field"].isin(PAIR) & ~asked["whole_row"]]
    rows = []
    for one in halves.to_dict("records"):
        other = open_items[
            (open_items["table"] == one["table"]) & (open_items["row"] == one["row"]) & (open_items["field"] == PAIR[one["field"]])
            & ~open_items["whole_row"].astype(bool) & ~open_items["item"].isin(asked["item"])
        ]  # fmt: skip
        if len(other) and one["rule"] == SWAPPED:
            what = f"{one['table']} {one['row']}: latitude and longitude may have changed places, and only one of them is corrected."
            raise RillbookError(what, "Correct both.", one["item"])
        rows += [{**one, "item": item.item, "field": item.field, "text": item.text, "corrected": item.text} for item in other.itertuples()]
    return pd.concat([asked, pd.DataFrame(rows, columns=asked.columns)], ignore_index=True) if rows else asked


def left_without(applied: pd.DataFrame, open_items: pd.DataFrame) -> list[str]:
    """What a correction leaves without a value, in words: fields that were held with the corrected one and still are.

    Parameters
    ----------
    applied : DataFrame
        Answers that were taken.
    open_items : DataFrame
        Items that were open before.

    Returns
    -------
    list of str
    """
    done = set(applied["item"])
    mended = set(applied.loc[applied["corrected"] != "", ["table", "row"]].itertuples(index=False, name=None))
    rest = open_items[~open_items["whole_row"].astype(bool) & ~open_items["item"].isin(done) & open_items["item"].str.startswith("held-")]
    return [
        f"{one.table} {one.row}: {one.field} stays without a value ({one.text!r} is held, {one.item})."
        for one in rest.itertuples()
        if (one.table, one.row) in mended
    ]


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
        "rule": reasons["rule"], "whole_row": True, "place": place, "corrected": TAKE_AS_IT_IS, "dismiss_reason": "", "by": by,
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
