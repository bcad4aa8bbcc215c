"""The reduction by hand, on a few readings, and that each engine's SQL can be said."""

from __future__ import annotations

from typing import Any

import duckdb
import pandas as pd
import pytest

from pipeline.summaries import expressions as made
from pipeline.summaries.columns import raw_columns
from schemas.frames.summaries import SUMMARIES

EPOCH, US = pd.Timestamp(0), pd.Timedelta(microseconds=1)
READINGS, SERIES = made.table("readings", made.READINGS), made.table("series", made.SERIES)
STRETCHES, SUNS = made.table("stretches", made.STRETCHES), made.table("suns", made.SUNS)
# New York changed to winter time on 3 November 2024 at 6:00 UTC
OFFSETS = [(-(10**15), -4 * made.HOUR_US), (1_730_613_600_000_000, -5 * made.HOUR_US)]


def us(at: str) -> int:
    return int((pd.Timestamp(at) - EPOCH) // US)


def asked(expression: Any, readings: pd.DataFrame, **tables: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows that DuckDB answers, by logger and time."""
    with duckdb.connect() as connection:
        connection.register("readings", readings)
        for name, frame in tables.items():
            connection.register(name, frame)
        if "series" not in tables:
            connection.execute(f"CREATE TEMP TABLE series AS {made.sql_of(made.series(READINGS), 'duckdb')}")
        rows = connection.execute(f"SELECT * FROM ({made.sql_of(expression, 'duckdb')}) ORDER BY ALL").df().to_dict("records")
    return [{str(name): value for name, value in row.items()} for row in rows]


def series(start: str, minutes: float, temps: list[float | None], logger_id: str = "L") -> pd.DataFrame:
    at = [us(start) + round(place * minutes * 60e6) for place in range(len(temps))]
    return pd.DataFrame({"logger_id": logger_id, "at_us": at, "temp_c": pd.Series(temps, dtype="float64")})


def test_every_row_has_one_fate_and_possible_ones_outside_of_doubt_count() -> None:
    readings = pd.concat([
        series("2024-07-01", 60, [10.0, -40.0, -40.1, 85.1, float("nan"), 12.0, 13.0, 14.0]), series("2024-07-01", 60, [1.0], ""),
    ])  # fmt: skip
    lost = pd.DataFrame({"logger_id": ["L", None], "at_us": [None, 5], "temp_c": [1.0, 1.0]}).astype({"at_us": "Int64"})
    every = pd.concat([readings.astype({"at_us": "Int64"}), lost])
    tally = {row["fate"]: row["n"] for row in asked(made.tally(READINGS, -40.0, 85.0), every)}
    assert tally == {"no_logger": 2, "no_moment": 1, "no_value": 1, "not_possible": 2, "possible": 5}
    # a stretch takes both its ends with it, and those of another logger nothing
    doubt = pd.DataFrame({"logger_id": ["L", "K"], "from_us": us("2024-07-01 05:00"), "to_us": us("2024-07-01 06:00")})
    kept = asked(made.counted(READINGS, STRETCHES, -40.0, 85.0), every, stretches=doubt)
    assert [row["temp_c"] for row in kept] == [10.0, -40.0, 14.0]
    assert len(asked(made.counted(READINGS, None, -40.0, 85.0), every)) == 5


def test_steps_by_hand() -> None:
    readings = pd.concat([series("2024-07-01", 30, [1, 2, 3, 4]), series("2024-07-01 02:00", 60, [5]), series("2024-07-01", 1, [1], "K")])
    one, two = asked(made.series(READINGS), readings)
    assert (one["logger_id"], one["n"]) == ("K", 1) and pd.isna(one["step_us"]) and pd.isna(one["least_step_us"])
    # 30, 30, 30 and 30 minutes; with one lost the median of 30, 30 and 60 is 30
    assert (two["n"], two["step_us"], two["least_step_us"]) == (5, 1.8e9, 1_800_000_000)
    assert asked(made.series(READINGS), pd.concat([readings, series("2024-07-01", 1, [9])]))[1]["least_step_us"] == 0


def test_a_day_on_which_the_clocks_change_has_25_hours() -> None:
    """3 November 2024 in New York lasts from 4:00 UTC to 5:00 UTC of the next day; its hour from 1 to 2 comes twice."""
    days = asked(made.daily(READINGS, SERIES, OFFSETS), series("2024-11-03 03:00", 60, [float(hour) for hour in range(27)]))
    assert [(row["day_us"], row["n"], row["low_c"], row["high_c"]) for row in days] == [
        (us("2024-11-02"), 1, 0.0, 0.0), (us("2024-11-03"), 25, 1.0, 25.0), (us("2024-11-04"), 1, 26.0, 26.0),
    ]  # fmt: skip
    assert days[1]["mean_c"] == 13.0 and days[1]["step_s"] == 3600.0
    hours = asked(made.hourly(READINGS), series("2024-11-03 05:45", 15, [1.0, 2.0, 4.0]))
    assert [(row["hour_us"], row["n"], row["mean_c"]) for row in hours] == [
        (us("2024-11-03 05:00"), 1, 1.0), (us("2024-11-03 06:00"), 2, 3.0),
    ]  # fmt: skip


def test_a_clock_that_changes_at_midnight_shows_the_new_time_at_once() -> None:
    """At 4:00 UTC the clock goes from midnight back to 23:00: that reading belongs to the day before."""
    offsets = [(-(10**15), -4 * made.HOUR_US), (us("2024-07-02 04:00"), -5 * made.HOUR_US)]
    days = asked(made.daily(READINGS, SERIES, offsets), series("2024-07-02 03:00", 60, [1.0, 2.0, 3.0]))
    assert [(row["day_us"], row["n"]) for row in days] == [(us("2024-07-01"), 2), (us("2024-07-02"), 1)]


def test_days_before_1970_too() -> None:
    (row,) = asked(made.daily(READINGS, SERIES, [(0, -4 * made.HOUR_US)]), series("1969-06-01 05:00", 60, [1.0, 2.0]))
    assert row["day_us"] == us("1969-06-01")


def test_excursions_by_hand() -> None:
    """Above 16 °C: from 1:30 to 3:30; exactly at the line is not above it; a gap of more than two steps ends one."""
    (row,) = asked(made.excursions(READINGS, SERIES, 16.0, 2), series("2024-07-01", 60, [14, 15, 17, 17, 15, 16, 16, 15]))
    assert (row["start_us"], row["end_us"], row["hours"], row["highest_c"]) == (us("2024-07-01 01:30"), us("2024-07-01 03:30"), 2.0, 17.0)
    assert row["line_c"] == 16.0
    parts = pd.concat([series("2024-07-01", 60, [15, 17, 17]), series("2024-07-01 05:00", 60, [18, 18, 15])])
    both = asked(made.excursions(READINGS, SERIES, 16.0, 2), parts)
    assert [(row["start_us"], row["end_us"]) for row in both] == [
        (us("2024-07-01 00:30"), us("2024-07-01 02:00")), (us("2024-07-01 05:00"), us("2024-07-01 06:40")),
    ]  # fmt: skip
    # two steps without a reading are bridged
    near = pd.concat([series("2024-07-01", 60, [15, 17, 17]), series("2024-07-01 04:00", 60, [18, 18, 15])])
    assert len(asked(made.excursions(READINGS, SERIES, 16.0, 2), near)) == 1
    assert asked(made.excursions(READINGS, SERIES, 16.0, 2), series("2024-07-01", 60, [16, 16])) == []


def test_nights_by_hand() -> None:
    """Up from 6:00 to 20:00: 18 °C against 14 °C; the hours before noon belong to the night of the day before."""
    at = series("2024-07-01 04:00", 60, [18.0 if 6 <= hour % 24 < 20 else 12.0 if 24 <= hour < 30 else 14.0 for hour in range(54)])
    suns = pd.DataFrame({
        "logger_id": "L", "day_us": [us(f"2024-07-0{day}") for day in (1, 2, 3)], "rise_us": 6 * made.HOUR_US, "set_us": 20 * made.HOUR_US,
    })  # fmt: skip
    one, two = asked(made.nights(READINGS, SERIES, SUNS, OFFSETS), at, suns=suns)
    # four hours of 14 °C in the evening, six of 12 °C in the morning after
    assert (one["day_us"], one["n"], one["day_c"]) == (us("2024-07-01"), 24, 18.0)
    assert (one["night_c"], one["night_drop"]) == pytest.approx((12.8, 5.2), abs=1e-12)
    assert (two["day_us"], two["n"], two["night_drop"]) == (us("2024-07-02"), 24, 4.0)
    # far north the sun sets after midnight, before it rises: of the first hours only 0:00 is day
    late = suns.assign(rise_us=2 * made.HOUR_US, set_us=1 * made.HOUR_US)
    (first, *_) = asked(made.nights(READINGS, SERIES, SUNS, OFFSETS), at, suns=late)
    assert (first["day_us"], first["n"]) == (us("2024-07-01"), 24)
    assert asked(made.nights(READINGS, SERIES, SUNS, OFFSETS), at, suns=suns.assign(logger_id="K")) == []


@pytest.mark.parametrize("name", SUMMARIES)
def test_columns_are_as_declared_and_every_engine_is_told(name: str) -> None:
    tables = {
        "hourly": made.hourly(READINGS), "daily": made.daily(READINGS, SERIES, OFFSETS),
        "excursions": made.excursions(READINGS, SERIES, 18.0, 2), "nights": made.nights(READINGS, SERIES, SUNS, OFFSETS),
    }  # fmt: skip
    assert {column: str(kind).removeprefix("!") for column, kind in tables[name].schema().items()} == raw_columns(name)
    said = {dialect: made.sql_of(tables[name], dialect) for dialect in ("duckdb", "pyspark", "postgres")}
    assert all(sql.startswith("SELECT") for sql in said.values())
