"""Repairs: the list of held items comes back with corrections, and is checked again by the same path as everything else."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.check import canonical
from pipeline.errors import RillbookError
from pipeline.records import MappedSource, SourceTable
from pipeline.values import as_text
from schemas.tables import LOADED, fields, key_of

ANSWERS = ("corrected", "dismiss_reason", "by")
TAKE_AS_IT_IS = "accept"
FOLLOWS = ("parent_held", "parent_unknown")


@dataclass(frozen=True)
class Repairs:
    """What a list of held items asks for.

    Attributes
    ----------
    source : SourceTable
        The list as it was read.
    asked : DataFrame
        Items with an answer: ``item``, ``table``, ``row``, ``field``, ``text``, the answers, ``place`` (position in the list).
    """

    source: SourceTable
    asked: pd.DataFrame


def is_repair_list(source: SourceTable) -> bool:
    """Whether a sheet is a list of held items that came back."""
    return {"item", *ANSWERS} <= set(source.cells.columns)


def read_repairs(source: SourceTable, open_items: pd.DataFrame) -> Repairs:
    """Take the answers from a list of held items.

    Parameters
    ----------
    source : SourceTable
        The list.
    open_items : DataFrame
        Items that are open in the book, as `book.held` gives them.

    Returns
    -------
    Repairs

    Raises
    ------
    RillbookError
        An item is unknown or settled, has two answers, or nobody's name stands beside it; the message names the line.
    """
    cells = source.cells.apply(lambda column: column.str.strip())
    known = open_items.set_index("item")
    rows = []
    for place, row in enumerate(cells.to_dict("records")):
        if not row["corrected"] and not row["dismiss_reason"]:
            continue
        where = f"{source.file}, line {source.lines[place]}"
        if row["item"] not in known.index:
            raise RillbookError(f"{row['item'] or 'an empty item'} is not open in this book.", "Write the list anew with `rillbook held --csv`.", where)
        if row["corrected"] and row["dismiss_reason"]:
            raise RillbookError("both corrected and dismiss_reason are filled in.", "Keep one of them.", where)
        if not row["by"]:
            raise RillbookError("nobody's name stands under by.", "Write who decided this.", where)
        item = known.loc[row["item"]]
        if row["corrected"] and not item["field"] and row["corrected"] != TAKE_AS_IT_IS:
            raise RillbookError(f"the whole row is held ({item['rule']}).", f"Write {TAKE_AS_IT_IS} under corrected to take it as it is, or a dismiss_reason.", where)
        rows.append({
            "item": row["item"], "table": item["table"], "row": item["row"], "field": item["field"], "text": item["text"],
            "whole_row": bool(item["whole_row"]), "place": place, **{name: row[name] for name in ANSWERS},
        })  # fmt: skip
    names = ["item", "table", "row", "field", "text", "whole_row", "place", *ANSWERS]
    return Repairs(source, pd.DataFrame(rows, columns=names))


def following(asked: pd.DataFrame, held_rows: pd.DataFrame) -> pd.DataFrame:
    """Held rows that hang on the rows under repair and have no fault of their own; they follow by themselves.

    Parameters
    ----------
    asked : DataFrame
        As `Repairs.asked`.
    held_rows : DataFrame
        As `book.held_row_texts`, all that are open.

    Returns
    -------
    DataFrame
        `asked` with these items added, corrected ``accept`` by the person who repaired the parent.
    """
    own_fault = held_rows.loc[~held_rows["rule"].isin(FOLLOWS), ["load_id", "row_no", "table_name"]].agg(tuple, axis=1)
    result, parents = asked, asked[asked["whole_row"] & (asked["corrected"] != "")]
    while len(parents):
        near = held_rows[
            held_rows["parent_key"].isin(parents["row"]) & held_rows["rule"].isin(FOLLOWS) & ~held_rows["item"].isin(result["item"])
            & ~held_rows[["load_id", "row_no", "table_name"]].agg(tuple, axis=1).isin(own_fault)
        ]  # fmt: skip
        source = parents.drop_duplicates("row").set_index("row")
        parents = pd.DataFrame({
            "item": near["item"], "table": near["table_name"], "row": near["row_key"], "field": near["field"], "text": "",
            "whole_row": True, "place": near["parent_key"].map(source["place"]), "corrected": TAKE_AS_IT_IS, "dismiss_reason": "",
            "by": near["parent_key"].map(source["by"]),
        })  # fmt: skip
        result = pd.concat([result, parents], ignore_index=True)
    return result


def repaired_source(source: SourceTable, asked: pd.DataFrame, known: dict[str, pd.DataFrame], held_rows: pd.DataFrame) -> MappedSource:
    """The rows under repair, with their corrections in place, as a mapped sheet.

    Parameters
    ----------
    source : SourceTable
        The list of held items.
    asked : DataFrame
        Items to correct.
    known : dict of str to DataFrame
        Current rows of the book.
    held_rows : DataFrame
        Texts of held rows.

    Returns
    -------
    MappedSource
    """
    mapped = []
    corrections = asked[asked["corrected"] != ""]
    for table in LOADED:
        mine = corrections[corrections["table"] == table]
        texts, places = [], []
        held = held_rows[held_rows["item"].isin(mine["item"])].merge(mine[["item", "place", "corrected"]], on="item")
        for _, reasons in held.groupby(["load_id", "row_no"], sort=True):
            text = dict(reasons["texts"].iloc[0])
            text.update({row.field: row.corrected for row in reasons.itertuples() if row.field and row.corrected != TAKE_AS_IT_IS})
            texts.append(text)
            places.append(int(reasons["place"].iloc[0]))
        for key, values in mine[~mine["whole_row"]].groupby("row", sort=True):
            row = known[table][known[table][key_of(table)] == key]
            if row.empty:
                raise RillbookError(f"{table} {key} is not in the book any more.", "Write the list anew with `rillbook held --csv`.", source.file)
            text = {name: as_text(row[name], fields(table)[name].kind).iloc[0] for name in fields(table)}
            text.update({one.field: one.corrected for one in values.itertuples() if one.field})
            texts.append({name: value for name, value in text.items() if isinstance(value, str)})
            places.append(int(values["place"].iloc[0]))
        if texts:
            frame = pd.DataFrame(texts, columns=list(fields(table))).astype("str")
            one = canonical(table, frame)
            mapped.append(type(one)(table, one.text, np.array(places), one.styles, {}, {}))
    size = len(source.cells)
    missing = (source.cells == "").to_numpy()
    return MappedSource(source, tuple(mapped), missing, tuple(source.cells.columns), np.zeros(size, dtype=bool), ())
