"""Series against worked examples, scipy's integration and a day drawn as a sine.

`check_values/series.csv` holds the figures with their source; `check_values/ids.csv` lists every figure that was collected.
"""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from pipeline.formulas import exceedances, sampling_shortfall
from pipeline.formulas import series as own

HERE = Path(__file__).parents[1] / "check_values"
DEGREE_DAYS = "degree-days from a day's extremes: nothing uses them; loggers give degree-hours outright"
LEFT_OUT = {f"E{number:02d}": DEGREE_DAYS for number in range(1, 14)}
START = np.datetime64("2024-03-09T22:00", "ns")
LONG = 1000.0


def moments(hours: Any) -> Any:
    return START + (np.asarray(hours, dtype=float) * 3600e9).round().astype("timedelta64[ns]")


def _checks() -> list[dict[str, str]]:
    with (HERE / "series.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", _checks(), ids=lambda row: row["id"])
def test_published_value(row: dict[str, str]) -> None:
    arguments = json.loads(row["arguments"])
    if "hours" in arguments:
        arguments = {"times": moments(arguments.pop("hours")), "gap_h": LONG, **arguments}
    room = next(module for module in (own, exceedances, sampling_shortfall) if hasattr(module, row["function"]))
    got = getattr(room, row["function"])(**arguments)
    assert got == pytest.approx(float(row["expected"]), rel=0, abs=float(row["tolerance"]))


def test_every_collected_figure_is_met_or_left_out_with_a_reason() -> None:
    with (HERE / "ids.csv").open(encoding="utf-8", newline="") as file:
        collected = {row["id"] for row in csv.DictReader(file) if row["id"].startswith("E")}
    met = {row["id"] for row in _checks()}
    assert met | set(LEFT_OUT) == collected and not met & set(LEFT_OUT)
    assert len(met) == 13


steps = st.lists(st.floats(0.1, 5), min_size=1, max_size=12)
readings = st.data()


def _draw(data: st.DataObject, lengths: list[float]) -> tuple[np.ndarray, np.ndarray]:
    hours = np.concatenate([[0], np.cumsum(np.round(lengths, 3))])
    values = data.draw(st.lists(st.integers(0, 300).map(lambda v: v / 10), min_size=len(hours), max_size=len(hours)))
    return hours, np.asarray(values)


@given(steps, readings, st.integers(-10, 310).map(lambda v: v / 10 + 0.05))
def test_degree_hours_are_scipys_integral(lengths: list[float], data: st.DataObject, threshold: float) -> None:
    """scipy.integrate.quad piece by piece over max(line − threshold, 0); the mean and the hours the same way."""
    hours, values = _draw(data, lengths)
    over = hot = area = 0.0
    for a, b, y, z in zip(hours, hours[1:], values, values[1:], strict=False):
        edge = a + (threshold - y) / (z - y) * (b - a) if (y - threshold) * (z - threshold) < 0 else b
        for low, high in ((a, edge), (edge, b)):
            if high <= low:
                continue
            line = lambda h, a=a, b=b, y=y, z=z: y + (z - y) * (h - a) / (b - a)  # noqa: E731
            over += quad(lambda h, line=line: max(line(h) - threshold, 0.0), low, high)[0]
            area += quad(line, low, high)[0]
            hot += (high - low) if line((low + high) / 2) > threshold else 0.0
    times = moments(hours)
    assert exceedances.degree_hours_above(times, values, threshold, LONG) == pytest.approx(over, abs=1e-5)
    assert exceedances.hours_above(times, values, threshold, LONG) == pytest.approx(hot, abs=1e-5)
    assert own.time_weighted_mean(times, values, LONG) == pytest.approx(area / hours[-1], abs=1e-5)


@given(steps, readings, st.integers(0, 300).map(lambda v: v / 10))
def test_above_below_and_covered_keep_house(lengths: list[float], data: st.DataObject, threshold: float) -> None:
    hours, values = _draw(data, lengths)
    times = moments(hours)
    above, below = (function(times, values, threshold, 2.0) for function in (exceedances.hours_above, exceedances.hours_below))
    covered = own.covered_hours(times, values, 2.0)
    assert 0 <= above <= covered + 1e-9 and above + below <= covered + 1e-9
    assert covered + own.gaps(times, values, 2.0)["hours"].sum() == pytest.approx(hours[-1], abs=1e-6)
    if not (values == threshold).any():
        assert above + below == pytest.approx(covered, abs=1e-9)
    mean = own.time_weighted_mean(times, values, 2.0)
    assert math.isnan(mean) if covered == 0 else values.min() - 1e-9 <= mean <= values.max() + 1e-9
    assert exceedances.degree_hours_above(times, values, threshold, 2.0) <= above * max(0.0, values.max() - threshold) + 1e-9


def test_a_gap_is_reported_and_not_bridged() -> None:
    """By hand: 10 and 12 for an hour, 9 h of silence, then 20 and 20 for an hour."""
    times, values = moments([0, 1, 10, 11]), [10.0, 12.0, 20.0, 20.0]
    assert own.time_weighted_mean(times, values, 2) == 15.5
    assert own.time_weighted_mean(times, values, 9) == pytest.approx((11 + 9 * 16 + 20) / 11)
    assert own.covered_hours(times, values, 2) == 2
    assert exceedances.hours_above(times, values, 15, 2) == 1
    found = own.gaps(times, values, 2)
    assert found["hours"].tolist() == [9] and len(own.gaps(times, values, 9)) == 0
    assert found["start"].tolist() == [pd.Timestamp("2024-03-09T23:00", tz="UTC")]
    assert found["end"].tolist() == [pd.Timestamp("2024-03-10T08:00", tz="UTC")]


def test_a_missing_reading_widens_the_gap_around_it() -> None:
    times, values = moments([0, 1, 2, 3]), [10.0, np.nan, 12.0, 12.0]
    assert own.covered_hours(times, values, 1.5) == 1
    assert own.covered_hours(times, values, 2) == 3


def test_local_moments_count_in_utc() -> None:
    """The night of 10 March 2024 in New York (tz database): 01:30 and 03:30 on the clock are one hour apart."""
    local = pd.DatetimeIndex(["2024-03-10T01:30", "2024-03-10T03:30"]).tz_localize("America/New_York")
    assert own.covered_hours(local, [1, 2], 5) == 1
    assert own.covered_hours(pd.Series(local), [1, 2], 5) == 1
    assert own.covered_hours(["2024-03-10T01:30-05:00", "2024-03-10T03:30-04:00"], [1, 2], 5) == 1


def test_usual_step_is_the_median() -> None:
    assert own.usual_step_h(moments([0, 0.5, 1, 1.5, 9])) == pytest.approx(0.5)
    assert math.isnan(own.usual_step_h(moments([0])))


def test_too_few_readings_give_nothing() -> None:
    for times, values in ((moments([]), []), (moments([1]), [15.0])):
        assert math.isnan(own.time_weighted_mean(times, values, 2))
        assert own.covered_hours(times, values, 2) == 0 and len(own.gaps(times, values, 2)) == 0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: own.time_weighted_mean(moments([0, 1]), [1], 2), "one length"),
        (lambda: own.time_weighted_mean(moments([0, 0]), [1, 2], 2), "the same time"),
        (lambda: own.time_weighted_mean(moments([0, 1]), [1, np.inf], 2), "infinite"),
        (lambda: own.time_weighted_mean([np.datetime64("NaT"), START], [1, 2], 2), "no time"),
        (lambda: own.time_weighted_mean([0, 1], [1, 2], 2), "moments in UTC"),
        (lambda: own.covered_hours(moments([0, 1]), [1, 2], 0), "above 0 h"),
        (lambda: own.gaps(moments([0, 1]), [1, 2], math.nan), "above 0 h"),
        (lambda: exceedances.hours_above(moments([0, 1]), [1, 2], math.nan, 2), "threshold is missing"),
        (lambda: sampling_shortfall.worst_sampling_shortfall(-1, 1), "0 or more"),
        (lambda: sampling_shortfall.mean_sampling_shortfall(5, 0), "above 0"),
        (lambda: sampling_shortfall.mean_sampling_shortfall(5, 25), "at most 24"),
    ],
)
def test_nonsense_is_refused(call: Any, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()
