"""What readings a step apart miss of a wave."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.formulas import sampling_shortfall


@pytest.mark.parametrize("interval", [0.5, 1.0, 2.0, 3.0, 6.0, 12.0])
def test_shortfalls_of_a_sine_sampled_at_every_phase(interval: float) -> None:
    """A sine of 24 h with range 9 read every interval, its clock moved in 2,000 steps: the largest and the mean of what is missed."""
    phases = (np.arange(2000) + 0.5) / 2000 * interval
    sampled = np.arange(0, 24, interval) + phases[:, None]
    missed = 4.5 - (4.5 * np.cos(2 * np.pi * sampled / 24)).max(axis=1)
    assert sampling_shortfall.worst_sampling_shortfall(9, interval) == pytest.approx(missed.max(), rel=2e-3)
    assert sampling_shortfall.mean_sampling_shortfall(9, interval) == pytest.approx(missed.mean(), rel=2e-3)


@given(st.floats(0, 20), st.floats(0.1, 24))
def test_the_mean_shortfall_is_below_the_worst_and_neither_exceeds_the_range(daily_range: float, interval: float) -> None:
    mean, worst = (
        sampling_shortfall.mean_sampling_shortfall(daily_range, interval),
        sampling_shortfall.worst_sampling_shortfall(daily_range, interval),
    )
    assert 0 <= mean <= worst <= daily_range + 1e-12
