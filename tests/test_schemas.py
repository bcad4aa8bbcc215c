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
from hypothesis import given, settings
from hypothesis import strategies as st
from sound_rows import ALL_FIELDS, DTYPES

from schemas.ddl import create_table
from schemas.fields import Field
from schemas.tables import LOADED, MODELS, fields
from schemas.vocabulary import codes, medium_of, vocabulary, vocabulary_names

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


def typed(table: str, *given_rows: dict[str, Any]) -> pd.DataFrame:
    """Rows as the typing step hands them on."""
    return pd.DataFrame(
        {name: pd.Series([row[name] for row in given_rows], dtype=DTYPES[field.kind]) for name, field in fields(table).items()}
    )


def pandera_refuses(table: str, frame: pd.DataFrame) -> list[list[str]]:
    """For each row the columns in which pandera finds a fault; a fault of a whole column is one of every row."""
    faults: list[set[str]] = [set() for _ in range(len(frame))]
    try:
        MODELS[table].validate(frame, lazy=True)
    except pandera.errors.SchemaErrors as refusal:
        found = refusal.failure_cases
        for column, row in zip(found["column"].fillna("(no column)").astype(str), found["index"], strict=True):
            for fault in faults if pd.isna(row) else [faults[int(row)]]:
                fault.add(column)
    return [sorted(fault) for fault in faults]


@pytest.fixture(scope="module")
def database() -> duckdb.DuckDBPyConnection:
    connection = duckdb.connect()
    for table in MODELS:
        connection.execute(create_table(table))
    return connection


def duckdb_refuses(database: duckdb.DuckDBPyConnection, table: str, frame: pd.DataFrame) -> list[str]:
    """For each row DuckDB's reason, empty where it takes the row."""
    database.register("incoming", frame.assign(place=range(len(frame))))
    return [duckdb_says(database, table, frame, place) for place in range(len(frame))]


def duckdb_says(database: duckdb.DuckDBPyConnection, table: str, frame: pd.DataFrame, place: int) -> str:
    try:
        database.execute(f"INSERT INTO {table} SELECT * EXCLUDE (place) FROM incoming WHERE place = {place}")
        # Read back as well: a value that arrives changed was not accepted.
        (stored,) = database.execute(f"SELECT * FROM {table}").fetchall()
    except (duckdb.ConstraintException, duckdb.ConversionException) as refusal:
        return str(refusal)
    finally:
        database.execute(f"DELETE FROM {table}")
    for name, value in zip(frame, stored, strict=True):
        given_value = frame[name].iloc[place]
        assert (value is None) == bool(pd.isna(given_value)), name
        as_given = pd.Timestamp(value) if frame[name].dtype.kind == "M" and value is not None else value
        assert value is None or as_given == given_value, name
    return ""


def taken(database: duckdb.DuckDBPyConnection, table: str, frame: pd.DataFrame) -> list[bool]:
    """Whether each row is taken, by both alike."""
    both = list(zip(pandera_refuses(table, frame), duckdb_refuses(database, table, frame), strict=True))
    for columns, reason in both:
        assert bool(columns) == bool(reason), f"pandera refuses {columns}, DuckDB says {reason!r}"
    return [not columns for columns, _ in both]


# A check of five rows costs what one of a single row does.
AT_ONCE = 5


def rows_at_once(row: st.SearchStrategy[dict[str, Any]]) -> st.SearchStrategy[list[dict[str, Any]]]:
    return st.lists(row, min_size=AT_ONCE, max_size=AT_ONCE)


@pytest.mark.parametrize("table", LOADED)
def test_pandera_and_duckdb_agree_on_any_row(database: duckdb.DuckDBPyConnection, table: str) -> None:
    @settings(max_examples=100 // AT_ONCE)
    @given(rows_at_once(rows(table)))
    def check(given_rows: list[dict[str, Any]]) -> None:
        taken(database, table, typed(table, *given_rows))

    check()


@pytest.mark.parametrize("table", LOADED)
def test_both_take_every_sound_row(database: duckdb.DuckDBPyConnection, table: str) -> None:
    @settings(max_examples=100 // AT_ONCE)
    @given(rows_at_once(st.fixed_dictionaries({name: sound(field) for name, field in fields(table).items()})))
    def check(given_rows: list[dict[str, Any]]) -> None:
        assert all(taken(database, table, typed(table, *given_rows)))

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
    assert taken(database, table, typed(table, first)) == [True]
    for name, field in fields(table).items():
        if not (values := spoilt_values(field)):
            continue
        frame = typed(table, *(first | {name: value} for value in values))
        for value, columns, reason in zip(values, pandera_refuses(table, frame), duckdb_refuses(database, table, frame), strict=True):
            assert columns == [name] and reason, (name, value)


def sample(field: Field) -> Any:
    if field.kind == "code":
        return codes(field.vocabulary)[0]
    return {"text": "x", "whole": 1, "day": datetime.date(2024, 5, 6)}[field.kind]


@pytest.mark.parametrize("table", LOADED)
def test_pandera_refuses_a_column_of_another_type(table: str) -> None:
    first = {name: sample(field) if field.required else None for name, field in fields(table).items()}
    frame = typed(table, first)
    every_other = list(fields(table))[::2]
    rest = [name for name in fields(table) if name not in every_other]
    for names in (every_other, rest):
        assert set(names) == set(pandera_refuses(table, frame.assign(**{name: [object()] for name in names}))[0])


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
