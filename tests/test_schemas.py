"""The declarations are whole, and pandera and DuckDB accept and refuse the same rows."""

from __future__ import annotations

import csv
import datetime
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd
import pandera.errors
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pandera.engines.pandas_engine import Engine

from schemas.column_faults import COLUMN_FAULTS
from schemas.ddl import create_table
from schemas.enums import EFFECTS
from schemas.fields import Field
from schemas.rules import RULES
from schemas.tables import LOADED, MODELS, fields, key_of, keys_of, purpose
from schemas.vocabulary import codes, medium_of, vocabulary, vocabulary_names

DTYPES = {
    "text": "str",
    "code": "str",
    "codes": "str",
    "clock": "str",
    "real": "float64",
    "whole": "Int64",
    "yes_no": "boolean",
    "day": "datetime64[us]",
    "instant": "datetime64[us]",
}
SQL_TYPES = {"real": "DOUBLE", "whole": "BIGINT", "yes_no": "BOOLEAN", "day": "DATE", "instant": "TIMESTAMP"}
ALL_FIELDS = [field for table in MODELS for field in fields(table).values()]
# Half of the surrogates cannot be written as UTF-8, so no file can bring them.
ANY_TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=6)
CLOCKS = st.times().map(lambda time: time.strftime("%H:%M"))


def sound(field: Field) -> st.SearchStrategy[Any]:
    """Values that the field must accept."""
    if field.kind == "code":
        return st.sampled_from(codes(field.vocabulary))
    if field.kind == "real":
        assert field.possible
        return st.floats(*field.possible)
    if field.kind == "whole":
        assert field.possible
        return st.integers(int(field.possible[0]), int(field.possible[1]))
    return {
        "text": st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=6),
        "codes": ANY_TEXT,
        "clock": CLOCKS,
        "yes_no": st.booleans(),
        "day": st.dates(datetime.date(1900, 1, 1), datetime.date(2100, 1, 1)),
        "instant": st.datetimes(datetime.datetime(1900, 1, 1), datetime.datetime(2100, 1, 1)),
    }[field.kind]


def near(field: Field) -> st.SearchStrategy[Any]:
    """Values of the right type, many of them at the edge of what is possible."""
    if field.kind == "code":
        return st.one_of(st.sampled_from(codes(field.vocabulary)).map(lambda code: code + " "), ANY_TEXT)
    if field.kind == "clock":
        return st.one_of(ANY_TEXT, CLOCKS.map(lambda clock: clock + "\n"), st.sampled_from(["24:00", "9:05", "09:60", "09:05:00", "٠٩:٠٥"]))
    if field.kind == "real":
        assert field.possible
        low, high = field.possible
        edges = [low, high, np.nextafter(low, -np.inf), np.nextafter(high, np.inf), np.inf, -np.inf]
        return st.one_of(st.sampled_from([float(edge) for edge in edges]), st.floats(allow_nan=False))
    if field.kind == "whole":
        assert field.possible
        low, high = (int(bound) for bound in field.possible)
        return st.one_of(st.sampled_from([low, high, low - 1, high + 1]), st.integers(-(2**63) + 1, 2**63 - 1))
    return {"text": ANY_TEXT, "codes": ANY_TEXT}.get(field.kind, sound(field))


@st.composite
def rows(draw: st.DrawFn, table: str) -> dict[str, Any]:
    """Rows that are sound but for at most two fields, so that each constraint meets rows that only it refuses."""
    names = list(fields(table))
    spoilt = draw(st.lists(st.sampled_from(names), max_size=2, unique=True))
    filled = draw(st.sets(st.sampled_from(names), max_size=6))
    row: dict[str, Any] = dict.fromkeys(names)
    for field in fields(table).values():
        if field.name in spoilt:
            row[field.name] = draw(st.none() | near(field))
        elif field.required or field.name in filled:
            row[field.name] = draw(sound(field))
    return row


def typed(table: str, row: dict[str, Any]) -> pd.DataFrame:
    """One row as the typing step hands it on."""
    return pd.DataFrame({name: pd.Series([row[name]], dtype=DTYPES[field.kind]) for name, field in fields(table).items()})


def pandera_refuses(table: str, frame: pd.DataFrame) -> list[str]:
    """Columns in which pandera finds a fault."""
    try:
        MODELS[table].validate(frame, lazy=True)
    except pandera.errors.SchemaErrors as refusal:
        return sorted(set(refusal.failure_cases["column"].fillna("(no column)").astype(str)))
    return []


@pytest.fixture(scope="module")
def database() -> duckdb.DuckDBPyConnection:
    connection = duckdb.connect()
    for table in MODELS:
        connection.execute(create_table(table))
    return connection


def duckdb_refuses(database: duckdb.DuckDBPyConnection, table: str, frame: pd.DataFrame) -> str:
    """DuckDB's reason, empty where it takes the row."""
    database.register("incoming", frame)
    try:
        database.execute(f"INSERT INTO {table} SELECT * FROM incoming")
        # Read back as well: a value that arrives changed was not accepted.
        (stored,) = database.execute(f"SELECT * FROM {table}").fetchall()
    except (duckdb.ConstraintException, duckdb.ConversionException) as refusal:
        return str(refusal)
    finally:
        database.execute(f"DELETE FROM {table}")
    for name, value in zip(frame, stored, strict=True):
        given_value = frame[name].iloc[0]
        assert (value is None) == bool(pd.isna(given_value)), name
        as_given = pd.Timestamp(value) if frame[name].dtype.kind == "M" and value is not None else value
        assert value is None or as_given == given_value, name
    return ""


def agree(database: duckdb.DuckDBPyConnection, table: str, frame: pd.DataFrame) -> bool:
    columns, reason = pandera_refuses(table, frame), duckdb_refuses(database, table, frame)
    assert bool(columns) == bool(reason), f"pandera refuses {columns}, DuckDB says {reason!r}"
    return not columns


@pytest.mark.parametrize("table", LOADED)
def test_pandera_and_duckdb_agree_on_any_row(database: duckdb.DuckDBPyConnection, table: str) -> None:
    @given(rows(table))
    def check(row: dict[str, Any]) -> None:
        agree(database, table, typed(table, row))

    check()


@pytest.mark.parametrize("table", LOADED)
def test_both_take_every_sound_row(database: duckdb.DuckDBPyConnection, table: str) -> None:
    @given(st.fixed_dictionaries({name: sound(field) for name, field in fields(table).items()}))
    def check(row: dict[str, Any]) -> None:
        assert agree(database, table, typed(table, row))

    check()


def spoilt_values(field: Field) -> list[Any]:
    """Values of the right type that the declaration forbids, worked out from the field's words alone."""
    values: list[Any] = [None] if field.required else []
    if field.possible:
        step = 1 if field.kind == "whole" else 0.001
        values += [field.possible[0] - step, field.possible[1] + step]
    if field.kind == "real":
        values += [np.inf, -np.inf]
    if field.kind == "code":
        values += ["", "no_such_code"]
    if field.kind == "clock":
        values += ["", "24:00", "9:05", "09:60", "09:05\n", " 09:05"]
    if field.kind == "text" and field.required:
        values.append("")
    return values


@pytest.mark.parametrize("table", LOADED)
def test_both_refuse_what_the_declaration_forbids(database: duckdb.DuckDBPyConnection, table: str) -> None:
    first = {name: sample(field) if field.required else None for name, field in fields(table).items()}
    assert agree(database, table, typed(table, first))
    for name, field in fields(table).items():
        for value in spoilt_values(field):
            frame = typed(table, first | {name: value})
            assert pandera_refuses(table, frame) == [name], (name, value)
            assert duckdb_refuses(database, table, frame), (name, value)


def sample(field: Field) -> Any:
    if field.kind == "code":
        return codes(field.vocabulary)[0]
    return {"text": "x", "whole": 1, "day": datetime.date(2024, 5, 6)}[field.kind]


@pytest.mark.parametrize("table", MODELS)
def test_types_of_the_columns_agree(database: duckdb.DuckDBPyConnection, table: str) -> None:
    described = {name: kind for name, kind, *_ in database.execute(f"DESCRIBE {table}").fetchall()}
    columns = MODELS[table].to_schema().columns
    assert list(described) == list(columns) == list(fields(table))
    for name, field in fields(table).items():
        assert described[name] == SQL_TYPES.get(field.kind, "VARCHAR"), name
        assert columns[name].dtype.check(Engine.dtype(DTYPES[field.kind])), name


@pytest.mark.parametrize("table", LOADED)
def test_pandera_refuses_a_column_of_another_type(table: str) -> None:
    first = {name: sample(field) if field.required else None for name, field in fields(table).items()}
    for name in fields(table):
        frame = typed(table, first)
        frame[name] = pd.Series([object()], dtype="object")
        assert name in pandera_refuses(table, frame)


def test_the_ddl_puts_further_columns_first_and_takes_another_name() -> None:
    connection = duckdb.connect()
    connection.execute(create_table("sites", "sites_all", "load_id BIGINT NOT NULL"))
    described = [name for name, *_ in connection.execute("DESCRIBE sites_all").fetchall()]
    assert described == ["load_id", *fields("sites")]


def test_every_table_has_one_required_key_and_a_purpose() -> None:
    for table in MODELS:
        keys = [field for field in fields(table).values() if field.key]
        assert [field.name for field in keys] == list(keys_of(table)) and keys[0].name == key_of(table)
        # what a logger writes is named by the logger and the instant
        assert len(keys) == (2 if table == "logger_readings" else 1)
        assert all(field.required for field in keys) and purpose(table).endswith(".")


@pytest.mark.parametrize("field", ALL_FIELDS, ids=lambda field: f"{field.table}.{field.name}")
def test_a_field_is_declared_whole(field: Field) -> None:
    assert field.kind in DTYPES
    assert field.title and field.meaning
    if field.kind == "code":
        assert field.vocabulary in vocabulary_names()
    if field.kind in ("real", "whole"):
        assert field.possible and field.possible[0] < field.possible[1]
    if field.expected:
        assert field.possible
        assert field.possible[0] <= field.expected[0] < field.expected[1] <= field.possible[1]
    if field.refers_to:
        assert field.refers_to in MODELS
    assert not (field.required and field.derived)


# The unit stands in the name as well (house rule 4); UNIT_ENDINGS says how each unit is spelt in a name.
UNIT_ENDINGS = {
    "°C": "_c", "%": "_pct", "mm": "_mm", "cm": "_cm", "m": "_m", "m2": "_m2", "g": "_g",
    "mg/L": "_mg_l", "mg/L NH3-N": "_mg_l_n", "mg/L NO2-N": "_mg_l_n", "mg/L NO3-N": "_mg_l_n",
    "mg/L CaCO3": "_mg_l_caco3", "µS/cm": "_us_cm", "min": "_minutes",
}  # fmt: skip
WITH_UNIT = [field for field in ALL_FIELDS if field.unit in UNIT_ENDINGS]
WET_READINGS = [field for field in ALL_FIELDS if field.name in ("water_temp_c", "substrate_temp_c")]
PRIVATE = {
    "site_id", "site_name", "waterbody", "latitude", "longitude", "verbatim_coordinates", "observers", "remarks", "permit", "photo",
}  # fmt: skip


@pytest.mark.parametrize("field", WITH_UNIT, ids=lambda field: f"{field.table}.{field.name}")
def test_the_unit_stands_in_the_name(field: Field) -> None:
    assert field.name.endswith(UNIT_ENDINGS[field.unit])


# Source: ISO 6709 order and sign as used by Darwin Core decimalLatitude and decimalLongitude (spans of -90 to 90 and -180 to 180).
@pytest.mark.parametrize("table", ["sites", "finds"])
def test_coordinates_span_the_earth(table: str) -> None:
    assert fields(table)["latitude"].possible == (-90, 90)
    assert fields(table)["longitude"].possible == (-180, 180)


# Source: Darwin Core coordinateUncertaintyInMeters: zero is not valid.
def test_an_uncertainty_of_zero_is_not_possible() -> None:
    possible = fields("sites")["coordinate_uncertainty_m"].possible
    assert possible and possible[0] > 0


# The rule of the design that a water or substrate reading below -0.5 or above 30 °C is held; common practice, no source.
@pytest.mark.parametrize("field", WET_READINGS, ids=lambda field: field.table)
def test_water_and_substrate_span_of_the_design(field: Field) -> None:
    assert field.possible == (-0.5, 30)


def test_places_names_and_free_text_are_protected() -> None:
    for field in ALL_FIELDS:
        assert field.protected or field.name not in PRIVATE, (field.table, field.name)


@pytest.mark.parametrize("name", vocabulary_names())
def test_every_code_has_a_definition_and_a_source(root: Path, name: str) -> None:
    with (root / f"schemas/vocabularies/{name}.csv").open(encoding="utf-8", newline="") as file:
        listed = list(csv.DictReader(file, strict=True))
    assert listed
    assert len({entry["code"] for entry in listed}) == len(listed) == len(codes(name))
    assert len({entry["code"].casefold() for entry in listed}) == len(listed), "codes that differ only by case would be folded together"
    for entry in listed:
        assert None not in entry and None not in entry.values(), f"{entry} has more or fewer cells than the header"
        assert entry["code"] and entry["code"] == entry["code"].strip()
        assert entry["definition"].strip() and entry["source"].strip(), entry["code"]


def test_every_vocabulary_is_used() -> None:
    assert {field.vocabulary for field in ALL_FIELDS if field.vocabulary} == set(vocabulary_names())


def test_every_microhabitat_but_unknown_has_a_medium() -> None:
    for code, entry in vocabulary("microhabitat").items():
        assert (medium_of(code) in ("water", "edge", "land", "surface")) is (code != "unknown")
        assert entry["in_channel"] in ("yes", "no")
        assert entry["in_channel"] == "no" or medium_of(code) == "water"


def test_rules_are_declared_whole() -> None:
    ids = [rule.id for rule in RULES] + [fault.id for fault in COLUMN_FAULTS]
    assert len(set(ids)) == len(ids)
    for rule in RULES:
        assert rule.table in LOADED and rule.effect in EFFECTS
        assert rule.fields and set(rule.fields) <= set(fields(rule.table)), rule.id
        assert rule.message.endswith(".") and rule.remedy.endswith(".") and rule.source, rule.id
    assert {rule.effect for rule in RULES} == set(EFFECTS)
