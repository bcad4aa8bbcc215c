"""Logger readings that count, and what they say of the highest, by hand."""

from __future__ import annotations

import duckdb
import pandas as pd
import pytest

from pipeline.loggers.usable import DOUBTFUL, RECORD_COLUMNS, record, usable_readings

HOURS = pd.date_range("2021-07-01", periods=6, freq="h")
READINGS = pd.DataFrame({"logger_id": "L1", "read_at": HOURS, "temp_c": [14.0, 15.0, 17.0, 17.0, 15.0, 14.0]})
LOGGERS = pd.DataFrame({"logger_id": ["L1", "L2"], "site_id": ["S1", ""], "medium": ["water", "air"]})
SITES = pd.DataFrame({"site_id": ["S1"], "waterbody": ["brook"]})


def kept(rule: str, field: str = "temp_c") -> tuple[list[float], int]:
    """Temperatures that count after hours 2 and 3 were marked, and how many do not."""
    connection = duckdb.connect()
    readings = pd.concat([READINGS, READINGS.assign(logger_id="L2")])
    loggers, flags = LOGGERS, pd.DataFrame([{"logger_id": "L1", "rule": rule, "field": field, "from_at": HOURS[2], "to_at": HOURS[3]}])
    for name, frame in (("logger_readings", readings), ("loggers", loggers), ("logger_flags", flags)):
        connection.register("given", frame)
        connection.execute(f"CREATE TABLE {name} AS SELECT * FROM given")
        connection.unregister("given")
    found, left_out = usable_readings(connection)
    return found["temp_c"].tolist(), left_out


@pytest.mark.parametrize("rule", DOUBTFUL)
def test_a_stretch_in_doubt_is_left_out_with_both_its_ends(rule: str) -> None:
    assert kept(rule) == ([14.0, 15.0, 15.0, 14.0], 2)


def test_a_gap_or_a_mark_of_the_humidity_takes_no_temperature_away() -> None:
    assert kept("gap") == kept("out_of_range", "rh_pct") == (READINGS["temp_c"].tolist(), 0)


def test_the_highest_and_the_longest_time_above_a_line_by_hand() -> None:
    """Above 16 from 1:30 to 3:30: two hours. The day's highest is 17; in New York the six hours lie on 30 June and 1 July."""
    (row,) = record(READINGS, LOGGERS, SITES, "UTC", 16.0, 2.0).to_dict("records")
    assert (row["site"], row["n_days"], row["max"], row["mean_daily_max"], row["line_c"]) == ("brook", 1, 17.0, 17.0, 16.0)
    assert row["longest_h"] == pytest.approx(2.0)
    (row,) = record(READINGS, LOGGERS, SITES, "America/New_York", 16.0, 2.0).to_dict("records")
    # Midnight there is 4:00 UTC: 17 until then, 15 after it.
    assert (row["n_days"], row["mean_daily_max"]) == (2, 16.0)


def test_few_readings_or_none() -> None:
    assert record(READINGS.iloc[:1], LOGGERS, SITES, "UTC", 10.0, 2.0)["longest_h"].tolist() == [0.0]
    empty = record(READINGS.iloc[:0], LOGGERS, SITES, "UTC", 10.0, 2.0)
    assert empty.empty and list(empty.columns) == list(RECORD_COLUMNS)
