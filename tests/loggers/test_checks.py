"""Checks of logger readings: each rule fires where it should and only there, whatever the chunks.

Thresholds and their sources stand in data/reference/logger_limits.csv: H.J. Andrews LTER MS036 (change within an hour, scatter of a day,
flat lines), SHEDS northeast stream temperature model (hot and cold days, exposed loggers), Sowder & Steel 2012 second-hand (-1 and 25 °C in
water), judgements marked so.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from logger_series import ZONE, rules, run, series, wave

from pipeline.loggers import checks as logger_checks
from pipeline.loggers import export_rows
from pipeline.loggers import exports as logger_files
from pipeline.loggers.map import read_logger_map
from schemas.vocabulary import codes

MAPS = Path(__file__).resolve().parents[2] / "data" / "column_maps"


@pytest.mark.parametrize("medium", codes("logger_medium"))
def test_a_sound_series_has_no_flag(medium: str) -> None:
    assert rules(series(wave(30)), medium) == []


def test_25_degrees_are_in_range_and_beyond_are_not() -> None:
    assert rules(series([24.9, 25.0, 24.9])) == [] and rules(series([24.9, 25.1, 24.9])) == ["out_of_range"]


# More than 10 °C within an hour of the last reading: H.J. Andrews LTER MS036.
def test_a_jump_is_marked_within_an_hour_and_not_over_a_longer_time() -> None:
    assert rules(series([10, 20.1, 20.2]), "air") == ["jump"] and rules(series([10, 20.0, 20.2]), "air") == []
    assert rules(series([10, 20.1, 20.2], minutes=240), "air", 14400) == []


def test_a_jump_across_a_missing_temperature_is_still_seen() -> None:
    assert rules(series([10, np.nan, 20.1], minutes=20), "air", 1200) == ["jump"]


# Ten days: H.J. Andrews LTER MS036, taken for readings that do not change at all.
def test_a_flat_line_is_marked_after_ten_days() -> None:
    temps = wave(30)
    temps[100 : 100 + 242] = 11
    flags = run(series(temps))[0]
    assert flags["rule"].tolist() == ["flat_line"] and flags["n"].tolist() == [242]
    temps = wave(30)
    temps[100 : 100 + 230] = 11
    assert rules(series(temps)) == []


def test_a_dead_sensor_is_one_flat_line() -> None:
    assert rules(series(np.zeros(24 * 40))) == ["flat_line"]


# Standard deviation of a day below 0.1 °C: H.J. Andrews LTER MS036.
def test_a_day_without_scatter_is_marked_in_air_and_not_in_water() -> None:
    temps = wave(10)
    temps[48:72] = 9 + np.arange(24) * 0.01
    assert rules(series(temps), "air") == ["flat_day"] and rules(series(temps), "water") == []


def test_a_gap_is_marked_with_its_ends() -> None:
    frame = series(wave(5)).drop(index=range(30, 36))
    flags = run(frame)[0]
    assert flags["rule"].tolist() == ["gap"] and flags["value"].tolist() == [7]
    assert (flags["from_at"][0], flags["to_at"][0]) == (pd.Timestamp("2023-05-02 10:00"), pd.Timestamp("2023-05-02 17:00"))
    assert rules(series(wave(5)).drop(index=[30])) == []


def test_times_that_come_twice_or_go_back_are_marked() -> None:
    frame = series(wave(3))
    twice = pd.concat([frame.iloc[:30], frame.iloc[29:]])
    assert rules(twice) == ["time_twice"]
    back = pd.concat([frame.iloc[:40], frame.iloc[30:]])
    assert rules(back) == ["time_back"]


# Source: tz database; the United States changed their clocks on 12 March and 5 November 2023.
@pytest.mark.parametrize("start", ["2023-03-11 05:00", "2023-11-04 05:00"])
def test_an_hour_that_goes_missing_or_comes_twice_when_clocks_change_is_told_as_such(start: str) -> None:
    frame = series(wave(3), start=start)
    change = pd.Timedelta(hours=1 if start.startswith("2023-03") else -1)
    moved = frame.assign(read_at=frame["read_at"].where(frame.index < 26, frame["read_at"] + change))
    assert rules(moved) == ["clock_changed"]
    later = moved.assign(read_at=moved["read_at"] + pd.Timedelta(days=20))
    assert "clock_changed" not in rules(later)


def test_hours_of_daylight_saving_are_marked() -> None:
    frame = series(wave(2))
    frame.loc[[5, 6], "ambiguous"] = True
    frame.loc[20, "skipped"] = True
    flags = run(frame)[0]
    assert dict(zip(flags["rule"], flags["n"], strict=True)) == {"time_ambiguous": 2, "time_skipped": 1}


def test_daily_figures_are_those_of_pandas() -> None:
    frame = series(np.random.default_rng(3).normal(12, 3, 24 * 20 + 7), start="2023-05-01 03:00")
    days = run(frame)[1].set_index("day")
    # standard time of the zone is five hours behind UTC, in summer too
    by_day = frame.groupby((frame["read_at"] - pd.Timedelta(hours=5)).dt.floor("D"))["temp_c"]
    expected = by_day.agg(["count", "mean", "std", "min", "max"])
    np.testing.assert_allclose(days[["n", "mean", "sd", "low", "high"]], expected, atol=1e-9)
    assert days.index.tolist() == expected.index.tolist()


@st.composite
def rough(draw: st.DrawFn) -> pd.DataFrame:
    n = draw(st.integers(2, 400))
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    temps = random.choice([7.5, 7.5, 7.5, 7.5, 26, -3, np.nan], n)
    frame = series(temps, rh_pct=random.choice([99.5, 99.5, 99.5, 99.5, 99.5, 60, np.nan], n), ambiguous=random.random(n) < 0.2)
    return frame.assign(read_at=frame["read_at"] + pd.to_timedelta(random.choice([0, 0, 0, 0, 1, -2, 40], n), unit="h"))


@given(rough(), st.integers(1, 60))
def test_flags_do_not_depend_on_the_chunks(frame: pd.DataFrame, chunk: int) -> None:
    whole, days = run(frame)
    cut, cut_days = run(frame, chunk=chunk)
    order = ["rule", "from_at", "line"]
    pd.testing.assert_frame_equal(cut.sort_values(order, ignore_index=True), whole.sort_values(order, ignore_index=True), check_dtype=False)
    pd.testing.assert_frame_equal(cut_days, days)


def days_of(means: Any, ranges: Any, start: str = "2023-07-01") -> pd.DataFrame:
    means, ranges = np.asarray(means, dtype=float), np.asarray(ranges, dtype=float)
    return pd.DataFrame({
        "day": pd.date_range(start, periods=len(means)).astype("datetime64[us]"), "n": 24, "mean": means, "sd": 1.0,
        "low": means - ranges / 2, "high": means + ranges / 2,
    })  # fmt: skip


def test_a_large_daily_swing_tells_a_logger_out_of_water() -> None:
    flags = logger_checks.out_of_water(days_of([14] * 10, [3, 3, 11, 12, 11, 3, 11, 11, 3, 3]), 0)
    assert len(flags) == 1 and flags["n"][0] == 72 and flags["value"][0] == 12
    assert (flags["from_at"][0], flags["to_at"][0]) == (pd.Timestamp("2023-07-03"), pd.Timestamp("2023-07-06"))


# High correlation of daily water and air is suspect: SHEDS; Sowder & Steel 2012. The figures are judgements.
def test_a_logger_that_follows_the_air_is_out_of_water() -> None:
    air = days_of([18] * 10, [8] * 10)
    dry = days_of([14, 14, 17, 18, 19, 18, 14, 14, 14, 14], [2, 2, 7, 7, 7, 7, 2, 2, 2, 2])
    flags = logger_checks.out_of_water(dry, 0, air)
    assert len(flags) == 1 and flags["n"][0] == 96 and "air logger" in flags["message"][0]
    assert logger_checks.out_of_water(dry, 0).empty
    assert logger_checks.out_of_water(dry, 0, air.assign(day=air["day"] + pd.Timedelta(days=400))).empty


def test_stretches_end_where_a_day_is_missing() -> None:
    days = days_of([14] * 6, [12] * 6).drop(index=[2]).reset_index(drop=True)
    flags = logger_checks.out_of_water(days, 0)
    assert len(flags) == 1 and flags["from_at"][0] == pd.Timestamp("2023-07-04")
    assert logger_checks.out_of_water(days.iloc[:0], 0).empty


# The export of one soil logger holds nothing but 0.0 for its first weeks: djhocking/sparcnetfsu @7b45907, found by this check.
@pytest.mark.open_data
def test_a_real_dead_sensor_is_found(open_data: Path) -> None:
    path = open_data / "sparcnet_fsu" / "temperature" / "soil" / "E30000002E81D921_191116_6_30.csv"
    layout = logger_files.inspect(path, read_logger_map(MAPS / "sparcnet_fsu_loggers.toml"), date(2026, 1, 1))
    state = logger_checks.watch("land", layout.step_s, ZONE)
    for part in export_rows.parts(layout):
        logger_checks.feed(state, part.readings)
    flags, _ = logger_checks.finish(state)
    flat = flags[flags["rule"] == "flat_line"]
    assert flat["value"].tolist() == [0.0] and flat["from_at"].iloc[0] == pd.Timestamp("2019-07-12 01:01")
