"""Logger readings that count: those at sites, and those beside which no check set a mark."""

from __future__ import annotations

import duckdb
import pandas as pd
import pytest

from pipeline.loggers.usable import DOUBTFUL, at_sites, doubtful_stretches, values_around

HOURS = pd.date_range("2021-07-01", periods=6, freq="h", unit="us")
READINGS = pd.DataFrame({"logger_id": "L1", "read_at": HOURS, "temp_c": [14.0, 15.0, 17.0, 17.0, None, 14.0]})
LOGGERS = pd.DataFrame({"logger_id": ["L1", "L2"], "site_id": ["S1", ""], "medium": ["water", "air"]})
HALF = pd.Timedelta(minutes=30)


def book(rule: str = "gap", field: str = "temp_c") -> duckdb.DuckDBPyConnection:
    """A logger at a site and one in a tank, with hours 2 and 3 of the first marked."""
    connection = duckdb.connect()
    flags = pd.DataFrame([{"logger_id": "L1", "rule": rule, "field": field, "from_at": HOURS[2], "to_at": HOURS[3]}])
    readings = pd.concat([READINGS, READINGS.assign(logger_id="L2", temp_c=30.0)])
    for name, frame in (("logger_readings", readings), ("loggers", LOGGERS), ("logger_flags", flags)):
        connection.register("given", frame)
        connection.execute(f"CREATE TABLE {name} AS SELECT * FROM given")
        connection.unregister("given")
    return connection


def sides(connection: duckdb.DuckDBPyConnection, *moments: pd.Timestamp) -> list[list[float]]:
    """Temperatures before and after; -1 where there is none."""
    asked = pd.DataFrame({"logger_id": "L1", "read_at": list(moments)}, index=range(7, 7 + len(moments)))
    found = values_around(connection, asked)
    assert found.index.tolist() == asked.index.tolist()
    return found[["before_c", "after_c"]].fillna(-1.0).to_numpy().tolist()


@pytest.mark.parametrize("rule", DOUBTFUL)
def test_a_stretch_in_doubt_is_left_out_with_both_its_ends(rule: str) -> None:
    connection = book(rule)
    assert sides(connection, HOURS[2], HOURS[3]) == [[15.0, 14.0]] * 2
    assert doubtful_stretches(connection)[["logger_id", "from_at", "to_at"]].to_numpy().tolist() == [["L1", HOURS[2], HOURS[3]]]


@pytest.mark.parametrize("mark", [("gap", "temp_c"), ("out_of_range", "rh_pct")])
def test_a_gap_or_a_mark_of_the_humidity_takes_no_temperature_away(mark: tuple[str, str]) -> None:
    connection = book(*mark)
    assert sides(connection, HOURS[2], HOURS[1] + HALF) == [[17.0, 17.0], [15.0, 17.0]]
    assert doubtful_stretches(connection).empty


def test_neighbours_at_the_ends_and_beside_an_empty_cell() -> None:
    connection = book()
    moments = (HOURS[0] - HALF, HOURS[0], HOURS[4], HOURS[5] + HALF)
    assert sides(connection, *moments) == [[-1.0, 14.0], [14.0, 14.0], [17.0, 14.0], [14.0, -1.0]]
    assert values_around(
        connection, pd.DataFrame({"logger_id": pd.Series(dtype="str"), "read_at": pd.Series(dtype="datetime64[us]")})
    ).empty


def test_readings_at_sites_are_those_of_no_tank_and_of_no_logger_left_out() -> None:
    connection = book()
    counts = "SELECT logger_id, count(*)::INT FROM {} GROUP BY ALL"
    assert connection.execute(counts.format(at_sites(connection))).fetchall() == [("L1", 6)]
    assert connection.execute(counts.format(at_sites(connection, ["L1"]))).fetchall() == []
