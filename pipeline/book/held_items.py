"""What is held back or waits for a decision, and what a person decided."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pandas as pd

from pipeline.book.connection import append_rows
from schemas.enums import Effect

if TYPE_CHECKING:
    from pipeline.book.connection import DuckDBPyConnection


REASON = ("table", "row_key", "parent_key", "field", "rule", "text")


def settled_reasons(connection: DuckDBPyConnection) -> pd.DataFrame:
    """Reasons that a person has answered and that still count: ``table``, ``row_key``, ``parent_key``, ``field``, ``rule``, ``text``."""
    return connection.execute(f"""SELECT table_name AS "table", {", ".join(REASON[1:])} FROM reason WHERE is_settled""").df()


def open_items(connection: DuckDBPyConnection) -> pd.DataFrame:
    """Open held rows and values, and unsettled flags that keep a row out of targets, each with its item name."""
    return connection.execute(f"""
        SELECT item, load_id, file, sheet, line, "table", "row", field, "column", text, rule, message, remedy, whole_row FROM (
          SELECT item, load_id, file, sheet, line, table_name AS "table", row_key AS "row", field,
            column_name AS "column", text, rule, message,
            remedy, whole_row, held_id AS number FROM held
          UNION ALL
          SELECT item, load_id, file, sheet, line, table_name, row_key, field, '', value, rule, message, remedy, false, flag_id FROM flags
            WHERE effect = '{Effect.FLAG_EXCLUDE}' AND settled_by IS NULL)
        ORDER BY load_id, file, sheet, line, number""").df()


def standing_answers(connection: DuckDBPyConnection) -> pd.DataFrame:
    """Answers that stand: ``item``, ``corrected``, ``dismiss_reason``."""
    return connection.execute("SELECT item, corrected, dismiss_reason FROM settled").df()


def held_row_texts(connection: DuckDBPyConnection) -> pd.DataFrame:
    """Held rows that are open, one row a reason for the row or for a value of it.

    Returns
    -------
    DataFrame
        ``item``, ``table_name``, ``load_id``, ``row_no``, ``rule``, ``field``, ``row_key``, ``parent_key``, ``whole_row``,
        ``texts`` (field to text).
    """
    frame = connection.execute("""
        SELECT 'held-' || h.held_id AS item, h.table_name, h.load_id, h.row_no, h.rule, h.field, h.row_key, h.parent_key, h.whole_row,
          r.row_text
        FROM reason h JOIN held_rows r USING (load_id, row_no, table_name)
        WHERE (load_id, row_no, table_name) IN (SELECT (load_id, row_no, table_name) FROM held WHERE whole_row)
          AND NOT (h.whole_row AND h.is_settled)
        ORDER BY h.held_id""").df()
    return frame.assign(texts=[json.loads(text) for text in frame["row_text"]])


def settle_items(connection: DuckDBPyConnection, load_id: int, settled: pd.DataFrame) -> None:
    """Write corrections: item, table, row, field, old text, corrected, reason, by."""
    names = {"table": "table_name", "row": "row_key", "text": "old_text", "by": "who"}
    append_rows(connection, "corrections", settled.rename(columns=names), load_id)
