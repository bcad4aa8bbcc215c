"""The ledger of published values in a database: kept once, read back with its site-days."""

from __future__ import annotations

from datetime import datetime

import duckdb
import pandas as pd
import pytest

from pipeline.book.ledger import accept_warmer, add_to_ledger, read_ledger
from pipeline.book.tables import TABLES
from schemas.frames.frame import framed
from schemas.frames.ledger import Kept

CELL = {"taxon": "T", "population": "", "life_stage": "larva", "medium": "water", "month": "7", "quantity": "ceiling"}
AT = datetime(2026, 1, 1)


@pytest.fixture
def connection() -> duckdb.DuckDBPyConnection:
    made = duckdb.connect()
    made.execute(TABLES)
    return made


def entries(value: float, *days: str) -> pd.DataFrame:
    return pd.DataFrame([{**CELL, "value": value, "visits": frozenset(days), "method": "2"}])


def test_an_entry_is_kept_once_and_read_back_as_it_was(connection: duckdb.DuckDBPyConnection) -> None:
    for _ in range(2):
        add_to_ledger(connection, entries(18.0, "b 2021-07-02", "a 2021-07-01"), AT)
    before, accepted = read_ledger(connection)
    assert before.to_dict("records") == [{**CELL, "value": 18.0, "visits": frozenset({"a 2021-07-01", "b 2021-07-02"}), "method": "2"}]
    assert accepted.empty
    # The same value from other days is another entry: each holds for its own days.
    add_to_ledger(connection, entries(18.0, "a 2021-07-01"), AT)
    assert len(read_ledger(connection)[0]) == 2


def test_nothing_adds_nothing(connection: duckdb.DuckDBPyConnection) -> None:
    add_to_ledger(connection, entries(18.0).iloc[:0], AT)
    accept_warmer(connection, framed(Kept, []), "AB", "why", AT)
    before, accepted = read_ledger(connection)
    assert before.empty and accepted.empty


def test_what_a_person_takes_is_the_derived_value_with_the_name(connection: duckdb.DuckDBPyConnection) -> None:
    accept_warmer(connection, pd.DataFrame([{**CELL, "derived": 19.0, "kept": 18.0}]), "AB", "a better thermometer", AT)
    assert read_ledger(connection)[1].to_dict("records") == [{**CELL, "value": 19.0}]
    assert connection.execute("SELECT who, reason FROM accepted_warmer").fetchall() == [("AB", "a better thermometer")]
