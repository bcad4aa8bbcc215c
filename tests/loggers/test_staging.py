"""Staged readings against one another and the book, by hand: the first stands, the same is the same, another value is told."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pandas as pd
import pytest

from pipeline.loggers import staging

HOURS = pd.date_range("2021-07-01", periods=4, freq="h", unit="us")


@pytest.fixture
def connection() -> duckdb.DuckDBPyConnection:
    """A book whose logger L1 read 14 °C in the first hour."""
    made = duckdb.connect()
    made.execute("CREATE TABLE logger_readings (load_id INTEGER, logger_id VARCHAR, read_at TIMESTAMP, temp_c DOUBLE, rh_pct DOUBLE)")
    made.execute("INSERT INTO logger_readings VALUES (1, 'L1', '2021-07-01', 14.0, NULL)")
    made.execute("CREATE TABLE loggers (logger_id VARCHAR, site_id VARCHAR, medium VARCHAR)")
    made.execute("INSERT INTO loggers VALUES ('L1', 'S1', 'air')")
    staging.begin(made)
    return made


def readings(*temps: float | None) -> pd.DataFrame:
    n = len(temps)
    frame = pd.DataFrame({"line": range(2, n + 2), "read_at": HOURS[:n], "temp_c": temps, "rh_pct": None})
    return frame.astype({"temp_c": "float64", "rh_pct": "float64"})


def fates(connection: duckdb.DuckDBPyConnection) -> dict[tuple[int, str], int]:
    return {(row.source, row.fate): row.n for row in staging.judge(connection).itertuples()}


def test_what_the_book_has_is_the_same_and_the_rest_is_stored(connection: duckdb.DuckDBPyConnection) -> None:
    staging.add(connection, 0, "L1", readings(14.0000001, 15.0, None))
    assert fates(connection) == {(0, "same"): 1, (0, "stored"): 2}


def test_another_value_at_one_instant_is_told_with_what_stands(connection: duckdb.DuckDBPyConnection) -> None:
    staging.add(connection, 0, "L1", readings(14.5, 15.0))
    staging.add(connection, 1, "L1", readings(14.0, 15.5))
    judged = staging.judge(connection).set_index(["source", "fate"])
    assert judged.loc[(0, "differs"), ["n", "temp_c", "other_c"]].tolist() == [1, 14.5, 14.0]
    assert judged.loc[(1, "differs"), ["n", "temp_c", "other_c"]].tolist() == [1, 15.5, 15.0], "the first file stands"
    assert judged.loc[(1, "same"), "n"] == 1


def test_a_missing_reading_differs_from_a_number(connection: duckdb.DuckDBPyConnection) -> None:
    staging.add(connection, 0, "L1", readings(None))
    assert fates(connection) == {(0, "differs"): 1}


def test_what_is_compared_in_slices_is_the_same(connection: duckdb.DuckDBPyConnection, monkeypatch: pytest.MonkeyPatch) -> None:
    for source, temps in enumerate(((14.0, 15.0, None, 16.0), (14.5, None, 15.5, 16.0), (14.0, 15.0, None, 17.0))):
        days = pd.date_range("2021-06-30 23:00", periods=4, freq="25h", unit="us")
        staging.add(connection, source, "L1", readings(*temps).assign(read_at=[HOURS[0], *days[1:]]))
    whole = staging.judge(connection)
    monkeypatch.setattr(staging, "SLICE", 1)
    pd.testing.assert_frame_equal(staging.judge(connection), whole)
    assert whole["n"].sum() == 12 and set(whole["fate"]) == {"stored", "same", "differs"}


def test_what_finds_no_room_in_memory_goes_where_the_staged_readings_are(tmp_path: Path) -> None:
    with duckdb.connect(str(tmp_path / "staged.duckdb")) as made:
        staging.begin(made)
    with duckdb.connect(str(tmp_path / "book.duckdb")) as book:
        staging.take(book, tmp_path / "staged.duckdb")
        assert book.execute("SELECT current_setting('temp_directory')").fetchall() == [(str(tmp_path),)]


def test_overlaps_name_the_span_of_the_others(connection: duckdb.DuckDBPyConnection) -> None:
    staging.add(connection, 0, "L1", readings(14.0, 15.0, 16.0))
    staging.add(connection, 1, "L2", readings(14.0))
    staging.judge(connection)
    (row,) = staging.overlaps(connection).to_dict("records")
    assert (row["source"], row["n"], row["same"], row["differs"]) == (0, 1, 1, 0) and row["from_at"] == row["to_at"] == HOURS[0]


def test_days_of_the_air_are_of_the_book_and_of_what_comes(connection: duckdb.DuckDBPyConnection) -> None:
    staging.add(connection, 0, "L1", readings(14.0, 16.0, None, 18.0))
    staging.judge(connection)
    (day,) = staging.air_days(connection, "S1", 0).to_dict("records")
    assert (day["low"], day["high"], day["mean"]) == (14.0, 18.0, 16.0)
    # Two hours earlier by the clock there: the first two readings lie on the day before.
    assert len(staging.air_days(connection, "S1", -2 * 3600 * 10**6)) == 2 and staging.air_days(connection, "S2", 0).empty


def test_a_file_that_stands_apart_is_stored_as_one_that_was_compared(connection: duckdb.DuckDBPyConnection) -> None:
    later = readings(15.0, 16.0).assign(read_at=HOURS[:2] + pd.Timedelta(days=1))
    staging.add(connection, 0, "L1", later)
    staging.add(connection, 1, "L2", readings(17.0, None))
    by_hand = staging.judge(connection, [])
    pd.testing.assert_frame_equal(staging.judge(connection, [0, 1]), by_hand)
    assert connection.execute("SELECT count(*) FROM compared").fetchall() == [(0,)], "nothing was to be compared"
    assert staging.overlaps(connection).empty


def test_a_span_with_anything_else_in_it_is_compared(connection: duckdb.DuckDBPyConnection) -> None:
    staging.add(connection, 0, "L1", readings(14.0, 15.0))
    staging.add(connection, 1, "L2", readings(14.0, 15.0, 16.0))
    staging.add(connection, 2, "L2", readings(14.5, 15.5).assign(read_at=HOURS[1:3]))
    staging.judge(connection, [0, 1, 2])
    assert connection.execute("SELECT DISTINCT source FROM compared ORDER BY source").fetchall() == [(0,), (1,), (2,)]
