"""The SQL against published figures, and against the formulas of single series, on irregular steps, gaps and a change of the clock."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.formulas import exceedances, series
from pipeline.tanks import readings
from pipeline.tanks.stretch import Stretch, local_days

CHECK_VALUES = Path(__file__).parents[1] / "check_values" / "series.csv"
ZONE = "America/New_York"


def opened(times: Any, values: Any) -> duckdb.DuckDBPyConnection:
    connection = duckdb.connect()
    frame = pd.DataFrame({"read_at": pd.to_datetime(times).astype("datetime64[us]"), "v": np.asarray(values, dtype=float)})
    connection.from_df(frame).create("given")
    connection.execute("CREATE VIEW series AS SELECT read_at, nullif(v, 'NaN'::DOUBLE) AS v FROM given")
    return connection


def prepared(times: Any, values: Any, zone: str = ZONE, gap: float | None = None, **lines: float) -> tuple[Any, float]:
    connection = opened(times, values)
    stretch = Stretch(pd.Timestamp(min(times)), pd.Timestamp(max(times)) + pd.Timedelta(seconds=1), zone)
    frame = pd.DataFrame({name: [line] * len(local_days(stretch)) for name, line in lines.items()})
    above, below = [name for name in lines if name != "cold"], [name for name in lines if name == "cold"]
    return connection, readings.prepare(connection, stretch, frame, above, below, gap)


HOURS, TEMPS = [0, 1, 2, 4, 5, 8, 12], [12.0, 13, 15, 19, 18, 16, 14]


# Source: the definition, worked by hand (rows E14 to E16 of tests/check_values/series.csv); a trapezium of clipped values gives 8.5.
def test_degree_hours_are_exact_at_the_crossing() -> None:
    times = pd.Timestamp("2025-07-01 22:00") + pd.to_timedelta(HOURS, unit="h")
    connection, _ = prepared(times, TEMPS, gap=100, line=16.0)
    found = readings.daily(connection, ["line"])
    assert found["line_dh"].sum() == pytest.approx(7.75, abs=1e-9)
    assert found["line_h"].sum() == pytest.approx(5.5, abs=1e-9)
    assert (found["mean"] * found["hours"]).sum() / found["hours"].sum() == pytest.approx(15.833333, abs=1e-5)
    spells = readings.spells(connection, "line", readings.HOT)
    assert spells["hours"].tolist() == pytest.approx([5.5]) and spells["worst"].tolist() == [19]


def test_the_check_values_are_those_that_are_shared() -> None:
    with CHECK_VALUES.open(encoding="utf-8") as file:
        rows = {row["id"]: row for row in csv.DictReader(file)}
    assert float(rows["E15"]["expected"]) == 7.75 and float(rows["E16"]["expected"]) == 5.5


STEPS = st.lists(st.sampled_from([5, 10, 10, 10, 10, 25, 90, 700]), min_size=3, max_size=60)


@settings(max_examples=60)
@given(steps=STEPS, data=st.data())
def test_the_figures_are_those_of_the_formulas(steps: list[int], data: st.DataObject) -> None:
    """On any steps, with gaps, over midnight and over the hour that daylight saving repeats."""
    times = pd.Timestamp("2024-11-02 20:00") + pd.to_timedelta(np.cumsum([0, *steps]), unit="min")
    values = data.draw(st.lists(st.integers(100, 220), min_size=len(times), max_size=len(times)))
    values = [value / 10 for value in values]
    connection, gap_h = prepared(times, values, hot=16.05, cold=12.05)
    assert gap_h == pytest.approx(2 * series.usual_step_h(times))
    found = readings.daily(connection, ["hot"], ["cold"])
    assert found["n"].sum() == len(times)
    assert found["hours"].sum() == pytest.approx(series.covered_hours(times, values, gap_h))
    assert found["hot_h"].sum() == pytest.approx(exceedances.hours_above(times, values, 16.05, gap_h), abs=1e-9)
    assert found["hot_dh"].sum() == pytest.approx(exceedances.degree_hours_above(times, values, 16.05, gap_h), abs=1e-9)
    assert found["cold_h"].sum() == pytest.approx(exceedances.hours_below(times, values, 12.05, gap_h), abs=1e-9)
    mirrored = exceedances.degree_hours_above(times, [-value for value in values], -12.05, gap_h)
    assert found["cold_dh"].sum() == pytest.approx(mirrored, abs=1e-9)
    mean = np.nansum(found["mean"] * found["hours"]) / found["hours"].sum() if found["hours"].sum() else np.nan
    assert mean == pytest.approx(series.time_weighted_mean(times, values, gap_h), nan_ok=True)
    spells, expected = readings.spells(connection, "hot", readings.HOT), exceedances.excursions(times, values, 16.05, gap_h)
    assert spells["hours"].tolist() == pytest.approx(expected["hours"].tolist(), abs=1e-6)
    assert [abs(one.total_seconds()) < 0.01 for one in spells["start"].dt.tz_localize("UTC") - expected["start"]] == [True] * len(expected)
    holes = series.gaps(times, values, gap_h)
    assert readings.gaps(connection, gap_h)["hours"].tolist() == pytest.approx(holes["hours"].tolist())


# Source: IANA time zone data: New York leaves daylight saving on 3 November 2024 at 06:00 UTC, so that this local day has 25 hours.
def test_days_are_local_and_as_long_as_the_clock_makes_them() -> None:
    times = pd.date_range("2024-11-02 04:00", "2024-11-05 05:00", freq="10min")
    connection, _ = prepared(times, np.full(len(times), 12.0), line=11.0)
    found = readings.daily(connection, ["line"])
    assert found.set_index("day")["hours"].to_dict() == pytest.approx(
        {pd.Timestamp("2024-11-02"): 24, pd.Timestamp("2024-11-03"): 25, pd.Timestamp("2024-11-04"): 24, pd.Timestamp("2024-11-05"): 0}
    )


def test_a_line_that_changes_at_midnight_is_crossed_at_midnight() -> None:
    times = pd.date_range("2025-06-30 12:00", "2025-07-02 12:00", freq="50min")
    connection = opened(times, np.full(len(times), 15.0))
    stretch = Stretch(times[0], times[-1], "UTC")
    readings.prepare(connection, stretch, pd.DataFrame({"line": [14.0, 16.0, 16.0]}), ["line"])
    found = readings.spells(connection, "line", readings.HOT)
    assert found["start"].tolist() == [times[0]] and found["end"].tolist() == [pd.Timestamp("2025-07-01")]


def test_a_day_without_a_line_has_no_hours_above_it() -> None:
    times = pd.date_range("2025-06-30 12:00", "2025-07-02 12:00", freq="1h")
    connection = opened(times, np.full(len(times), 15.0))
    readings.prepare(connection, Stretch(times[0], times[-1], "UTC"), pd.DataFrame({"line": [14.0, np.nan, 14.0]}), ["line"])
    assert readings.daily(connection, ["line"])["line_h"].isna().tolist() == [False, True, False]


def test_missing_values_widen_the_gap_around_them() -> None:
    times = pd.date_range("2025-07-01", periods=8, freq="10min")
    connection, gap_h = prepared(times, [12, 12, np.nan, np.nan, np.nan, 12.5, 12, 12], line=20.0)
    assert readings.gaps(connection, gap_h)["hours"].tolist() == pytest.approx([4 / 6])
