"""The first square of a site stays its square until the site lies more than a square away."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.formulas.grid_squares import grid_square
from pipeline.publishing.shown import Shown, shown_now, square_of

FIRST = shown_now(None, "0.1", 36.2143, -81.9378, "2024-05-01")


def test_the_first_square_holds_the_place():
    assert Shown("0.1", 36.2, -82.0) == FIRST
    assert square_of(FIRST) == grid_square(36.2143, -81.9378, "0.1")


@pytest.mark.parametrize(
    ("latitude", "longitude"),
    [
        pytest.param(36.1999, -81.9378, id="a correction by 180 m across a line"),
        pytest.param(36.3001, -82.0001, id="across a corner"),
        pytest.param(36.3999, -81.8001, id="almost a square away"),
    ],
)
def test_a_correction_by_less_than_a_square_changes_nothing_that_is_shown(latitude, longitude):
    assert shown_now(FIRST, "0.1", latitude, longitude, "2024-06-01") == FIRST


def test_a_move_by_more_than_a_square_makes_new_codes_and_silences_what_was_before():
    again = shown_now(FIRST, "0.1", 36.4001, -81.9378, "2024-06-01")
    assert again == Shown("0.1", 36.4, -82.0, 1, "2024-06-01") and again.salt != FIRST.salt
    # and what is silent stays silent
    third = shown_now(again, "0.1", 36.9, -81.9378, "2023-01-01")
    assert (third.codes, third.silent_to) == (2, "2024-06-01")


def test_a_coarser_class_takes_the_square_that_holds_the_first_one():
    # corrected over the line of a degree, and made coarser at once: the old square lies in 36, the place in 37
    first = shown_now(None, "0.1", 36.95, -81.95, "")
    assert shown_now(first, "1", 37.05, -81.95, "") == Shown("1", 36.0, -82.0)


def test_an_entry_of_an_earlier_version_takes_the_square_of_today():
    assert shown_now(Shown("0.1"), "0.1", 36.2143, -81.9378, "2024-05-01") == FIRST
    assert square_of(Shown("0.1")) is None and square_of(Shown("withheld", 36.0, -82.0)) is None


@given(
    st.floats(-80, 80),
    st.floats(-179, 179),
    st.lists(
        st.tuples(st.floats(-0.05, 0.05), st.floats(-0.05, 0.05), st.sampled_from(["1", "0.1", "0.01"])),
        min_size=1,
        max_size=8,
    ),
)
def test_squares_of_one_code_never_overlap_in_less_than_the_first_of_them(latitude, longitude, corrections):
    """What an observer of all releases can do: take what the squares with one code have in common."""
    before, common = None, {}
    step = "0.01"
    for north, east, wanted in corrections:
        step = max(step, wanted, key=float)
        before = shown_now(before, step, latitude + north, longitude + east, "2024-01-01")
        sides = np.array(square_of(before))
        known = common.setdefault(before.codes, (sides, sides))
        both = np.concatenate([np.maximum(known[1][:2], sides[:2]), np.minimum(known[1][2:], sides[2:])])
        assert np.allclose(both, known[0]), "the first square of a code says all"
        common[before.codes] = (known[0], both)
