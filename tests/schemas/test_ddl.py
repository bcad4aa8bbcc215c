"""Tables of the database hold what the declaration says: types, spans and codes as pandera has them."""

from __future__ import annotations

import duckdb
import pytest
from pandera.engines.pandas_engine import Engine
from sound_rows import DTYPES

from schemas.ddl import create_table
from schemas.tables import MODELS, fields

SQL_TYPES = {"real": "DOUBLE", "whole": "BIGINT", "yes_no": "BOOLEAN", "day": "DATE", "instant": "TIMESTAMP"}


@pytest.fixture(scope="module")
def database() -> duckdb.DuckDBPyConnection:
    connection = duckdb.connect()
    for table in MODELS:
        connection.execute(create_table(table))
    return connection


@pytest.mark.parametrize("table", MODELS)
def test_types_of_the_columns_agree(database: duckdb.DuckDBPyConnection, table: str) -> None:
    described = {name: kind for name, kind, *_ in database.execute(f"DESCRIBE {table}").fetchall()}
    columns = MODELS[table].to_schema().columns
    assert list(described) == list(columns) == list(fields(table))
    for name, field in fields(table).items():
        assert described[name] == SQL_TYPES.get(field.kind, "VARCHAR"), name
        assert columns[name].dtype.check(Engine.dtype(DTYPES[field.kind])), name


def test_the_ddl_puts_further_columns_first_and_takes_another_name() -> None:
    connection = duckdb.connect()
    connection.execute(create_table("sites", "sites_all", "load_id BIGINT NOT NULL"))
    described = [name for name, *_ in connection.execute("DESCRIBE sites_all").fetchall()]
    assert described == ["load_id", *fields("sites")]
