"""Percentiles at their use, and what a logger may do; thresholds are the judgements of data/reference/limits.csv."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pipeline.targets.lines import bound_of, day_shift, floor_of, two_sided

# 1 to 100: each whole per cent is a value of its own (inverse of the empirical distribution, Hyndman & Fan 1996, type 1).
DRAWS = np.column_stack([np.arange(1.0, 101.0)] * 3)


def test_the_bound_is_the_calibrated_percentile_of_the_last_column() -> None:
    draws = DRAWS * [1.0, 10.0, 100.0]
    assert bound_of(draws, {"thermometer": 0.5, "one year": 1.0}) == (1500.0, 1.5)
    assert all(math.isnan(value) for value in bound_of(None, {}))


def test_the_floor_is_the_mirrored_percentile_of_the_first_column() -> None:
    assert floor_of(DRAWS / 10, "A", {}, False) == 8.5


@pytest.mark.parametrize("both_sides", [False, True])
def test_a_logger_lowers_a_day_shift_and_never_raises_it(both_sides: bool) -> None:
    """A logger that swings more than is assumed would otherwise warm a set point by being lost."""
    most = day_shift(1.0, None, False)
    assert most == 1.5
    assert day_shift(1.0, 5.0, both_sides) == most and day_shift(1.0, 0.4, both_sides) == 0.4
    assert day_shift(1.0, None, True) == 0.0


# Common practice, no source: eggs, and what lives at one temperature, suffer from cold as from heat.
@pytest.mark.parametrize(
    ("stage", "group", "both"),
    [("larva", "cool_stream", False), ("egg_mass", "cool_stream", True), ("adult", "cave", True), ("adult", "warm_spring", True)],
)
def test_both_sides_are_unsafe_for_eggs_caves_and_warm_springs(stage: str, group: str, both: bool) -> None:
    assert two_sided(stage, group) is both
