"""Rows of an export: every row has a fate, and a faulty value costs no other."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from logger_exports import (
    DECIMAL_COMMA,
    TWO_LINES_24H,
)  # fmt: skip
from logger_texts import OFFSET_ONLY, STATED, TODAY, read, stated, times, write

from pipeline.loggers import exports as logger_files


def test_light_values_are_counted_and_are_no_readings(tmp_path: Path) -> None:
    frame, _, _, values = read(logger_files.inspect(write(tmp_path, TWO_LINES_24H), None, TODAY))
    assert values == {"temp_c": 3, "light": 3, "temp_c missing": 1} and list(frame["rh_pct"].isna()) == [True] * 3


def test_humidity_is_read_beside_the_temperature(tmp_path: Path) -> None:
    frame, _, _, values = read(logger_files.inspect(write(tmp_path, DECIMAL_COMMA), OFFSET_ONLY, TODAY))
    assert frame["rh_pct"].tolist()[:2] == [80.25, 81] and np.isnan(frame["rh_pct"][2])
    assert values["rh_pct missing"] == 2


def test_rows_have_a_fate_and_a_faulty_value_costs_no_other(tmp_path: Path) -> None:
    text = (
        "Date Time,Temp °C,RH %,Note\n2020-05-06 10:00,12,80,\n2020-05-06 11:00,-200,81,\n2020-05-06 12:00,warm,,\n2020-05-06 13:00,,,\n\n"
        "2020-05-06 14:00,,,Stopped\nlater,13,,\n2020-05-06 15:00,12.5,140,\n2020-05-06 16:00,nan,inf,\n"
    )
    frame, rows, held, values = read(logger_files.inspect(write(tmp_path, text), STATED, TODAY))
    assert rows == {"heading": 1, "reading": 3, "held": 3, "blank": 2, "event": 1}
    assert frame["line"].tolist() == [2, 3, 9] and frame["rh_pct"].tolist()[:2] == [80, 81]
    assert held == {
        ("temp_c", "-200", "not_possible"): 1, ("temp_c", "warm", "unreadable"): 1, ("read_at", "later", "unreadable"): 1,
        ("rh_pct", "140", "not_possible"): 1, ("rh_pct", "inf", "unreadable"): 1,
    }  # fmt: skip
    assert values["temp_c"] == 2 and values["temp_c held"] == 3 and values["rh_pct held"] == 2


def test_a_missing_token_of_the_map_is_no_temperature(tmp_path: Path) -> None:
    text = "Date Time,Temp °C\n2020-05-06 10:00,12\n2020-05-06 11:00,-200\n2020-05-06 12:00,--\n"
    words = stated('utc_offset = "+00:00"\nmissing = ["-200", "--"]')
    frame, rows, held, values = read(logger_files.inspect(write(tmp_path, text), words, TODAY))
    assert frame["temp_c"].tolist() == [12] and rows["blank"] == 2 and not held and values["temp_c missing"] == 2


def test_a_dot_and_a_comma_in_one_file_leave_commas_unreadable(tmp_path: Path) -> None:
    text = "Date Time;Temp °C\n2020-05-06 10:00;12.5\n2020-05-06 11:00;12,5\n"
    _, _, held, _ = read(logger_files.inspect(write(tmp_path, text), STATED, TODAY))
    assert held == {("temp_c", "12,5", "unreadable"): 1}


# Source: the United States changed their clocks on 11 March and 4 November 2018 (tz database).
def test_an_hour_that_comes_twice_is_standard_time_and_one_that_never_was_moves_on(tmp_path: Path) -> None:
    text = "Date Time,Temp °C\n2018-03-11 01:30,1\n2018-03-11 02:30,1\n2018-11-04 00:30,2\n2018-11-04 01:30,2\n2018-11-04 02:30,2\n"
    frame = read(logger_files.inspect(write(tmp_path, text), stated('time_zone = "America/New_York"'), TODAY))[0]
    assert times(frame) == [
        "2018-03-11 06:30:00", "2018-03-11 07:00:00", "2018-11-04 04:30:00", "2018-11-04 06:30:00", "2018-11-04 07:30:00",
    ]  # fmt: skip
    assert frame["ambiguous"].tolist() == [False, False, False, True, False]
    assert frame["skipped"].tolist() == [False, True, False, False, False]
