"""Stretches of a series that are open between parts: limits, their ends, and how many are kept."""

from __future__ import annotations

import csv

import numpy as np
import pandas as pd
import pytest
from logger_series import rules, run, series, wave

from pipeline.loggers import stretches
from pipeline.settings import data_file
from schemas.vocabulary import codes


@pytest.mark.parametrize("medium", codes("logger_medium"))
def test_every_medium_has_its_spans(medium: str) -> None:
    for quantity in ("range_low", "range_high", "jump_c"):
        assert not np.isnan(stretches.limit(quantity, medium))


def test_every_limit_has_a_source_or_says_that_it_is_a_judgement() -> None:
    rows = list(csv.DictReader(data_file("reference/logger_limits.csv").read_text(encoding="utf-8").splitlines()))
    assert {row["kind"] for row in rows} == {"published guidance", "judgement"}
    for row in rows:
        assert row["medium"] in ("", *codes("logger_medium")) and row["note"]
        assert bool(row["source"]) == (row["kind"] != "judgement"), row["quantity"]
    assert len({(row["quantity"], row["medium"]) for row in rows}) == len(rows)


# -1 and 25 °C: automated minimum and maximum of water loggers, Sowder & Steel 2012, second-hand.
def test_readings_out_of_range_are_one_flag_a_stretch() -> None:
    temps = wave(10)
    temps[50:53], temps[100] = [26, 27, 26.5], -1.5
    flags = run(series(temps))[0]
    found = flags[flags["rule"] == "out_of_range"]
    assert found["n"].tolist() == [3, 1] and found["value"].tolist() == [27, -1.5] and found["line"].tolist() == [52, 102]
    assert found["from_at"].iloc[0] == pd.Timestamp("2023-05-03 07:00") and found["to_at"].iloc[0] == pd.Timestamp("2023-05-03 09:00")
    assert found["message"].iloc[0] == "3 readings of 26 to 27 °C; -1 to 25 °C are expected in water."


# A sensor at 99 % or more for over 24 h is wet and cannot judge: judgement.
def test_a_wet_sensor_is_marked_after_a_day() -> None:
    humid = np.full(100, 80.0)
    humid[20:46] = 99.5
    assert rules(series(wave(5)[:100], rh_pct=humid), "air") == ["wet_sensor"]
    humid[30] = 98
    assert rules(series(wave(5)[:100], rh_pct=humid), "air") == []


def test_a_broken_sensor_does_not_fill_the_book() -> None:
    flags = run(series(np.tile([7.0, 26.0], 1000)))[0]
    found = flags[flags["rule"] == "out_of_range"]
    assert len(found) == stretches.KEPT + 1 and found["n"].iloc[-1] == 1000 - stretches.KEPT
    assert found["message"].iloc[-1] == "and 800 more of this kind in the file."
