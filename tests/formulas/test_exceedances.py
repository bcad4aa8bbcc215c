"""Hours and degree-hours above and below a limit, and excursions, against plain arithmetic."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.formulas import exceedances

START = np.datetime64("2024-03-09T22:00", "ns")
LONG = 1000.0


def moments(hours: Any) -> Any:
    return START + (np.asarray(hours, dtype=float) * 3600e9).round().astype("timedelta64[ns]")


steps = st.lists(st.floats(0.1, 5), min_size=1, max_size=12)
readings = st.data()


def _draw(data: st.DataObject, lengths: list[float]) -> tuple[np.ndarray, np.ndarray]:
    hours = np.concatenate([[0], np.cumsum(np.round(lengths, 3))])
    values = data.draw(st.lists(st.integers(0, 300).map(lambda v: v / 10), min_size=len(hours), max_size=len(hours)))
    return hours, np.asarray(values)


@given(steps, readings, st.permutations(range(13)))
def test_order_of_rows_does_not_matter(lengths: list[float], data: st.DataObject, order: list[int]) -> None:
    hours, values = _draw(data, lengths)
    turn = [place for place in order if place < len(hours)]
    assert exceedances.degree_hours_above(moments(hours)[turn], values[turn], 15, 3) == exceedances.degree_hours_above(
        moments(hours), values, 15, 3
    )


def test_exactly_at_the_threshold_is_not_above_it() -> None:
    times = moments([0, 1, 2])
    assert exceedances.hours_above(times, [18, 18, 18], 18, 2) == 0
    assert exceedances.hours_below(times, [18, 18, 18], 18, 2) == 0
    assert exceedances.hours_above(times, [18, 19, 18], 18, 2) == 2
    assert exceedances.degree_hours_above(times, [18, 19, 18], 18, 2) == 1


@given(st.lists(st.floats(-5, 30), min_size=2, max_size=60), st.floats(0, 25), st.sets(st.integers(1, 58)))
def test_excursions_add_up_to_the_hours_above_and_never_cross_a_gap(values: list[float], threshold: float, lost: set[int]) -> None:
    kept = [place for place in range(len(values)) if place not in lost] or [0]
    times, read = moments([place * 0.5 for place in kept]), [values[place] for place in kept]
    found = exceedances.excursions(times, read, threshold, 0.5)
    assert found["hours"].sum() == pytest.approx(exceedances.hours_above(times, read, threshold, 0.5), abs=1e-6)
    assert (found["hours"] > 0).all() and (found["end"].iloc[:-1].to_numpy() <= found["start"].iloc[1:].to_numpy()).all()
    missing = [START + np.timedelta64(place * 1800, "s") for place in lost if 0 < place < len(values) - 1]
    for at in pd.to_datetime(missing).tz_localize("UTC"):
        assert not ((found["start"] < at) & (found["end"] > at)).any()


def test_excursion_by_hand() -> None:
    """10, 20, 20, 10 °C hour by hour: above 15 from half past the first hour to half past the third."""
    found = exceedances.excursions(moments([0, 1, 2, 3]), [10, 20, 20, 10], 15, LONG)
    assert len(found) == 1 and found["hours"].iloc[0] == pytest.approx(2)
    assert found["start"].iloc[0] == pd.Timestamp(START + np.timedelta64(1800, "s"), tz="UTC")
    with pytest.raises(ValueError, match="threshold is missing"):
        exceedances.excursions(moments([0, 1]), [1, 2], math.nan, LONG)
