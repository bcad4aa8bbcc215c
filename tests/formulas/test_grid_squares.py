"""Grid squares and how unsure a place in one is."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.formulas import grid_squares


def test_grid_step_is_the_coarsest_given():
    assert grid_squares.grid_step("0.1", "0.01", "1") == "1"
    assert grid_squares.grid_step("0.001", None, float("nan")) == "0.001"
    assert grid_squares.grid_step("0.1", "withheld", "1") == "withheld"
    assert grid_squares.grid_step(None, None, None) == "withheld"
    with pytest.raises(ValueError, match=r"public precision '0\.5' is not one of withheld, 1, 0\.1"):
        grid_squares.grid_step("0.5")


@pytest.mark.parametrize(
    ("latitude", "longitude", "step", "square"),
    [
        (35.61234, -83.48901, "0.1", (35.6, -83.5, 35.7, -83.4)),
        (35.61234, -83.48901, "0.001", (35.612, -83.49, 35.613, -83.489)),
        (35.61234, -83.48901, "1", (35.0, -84.0, 36.0, -83.0)),
        (0.3, -0.3, "0.1", (0.3, -0.3, 0.4, -0.2)),  # 0.3/0.1 is 2.9999999999999996 in binary
        (0.7, 8.2, "0.1", (0.7, 8.2, 0.8, 8.3)),
        (-0.01, -0.01, "1", (-1.0, -1.0, 0.0, 0.0)),  # floor, not truncate
        (90.0, 180.0, "0.1", (89.9, 179.9, 90.0, 180.0)),
        (-90.0, -180.0, "1", (-90.0, -180.0, -89.0, -179.0)),
    ],
)
def test_grid_square_holds_its_point(latitude, longitude, step, square):
    assert grid_squares.grid_square(latitude, longitude, step) == square


@pytest.mark.parametrize(
    ("latitude", "longitude", "step"), [(float("nan"), 0, "1"), (0, 181, "1"), (91, 0, "1"), (0, 0, "withheld"), (0, 0, "0")]
)
def test_grid_square_refuses_what_has_none(latitude, longitude, step):
    with pytest.raises(ValueError, match=r"no grid square|not between"):
        grid_squares.grid_square(latitude, longitude, step)


@given(st.floats(-90, 90), st.floats(-180, 180), st.sampled_from(["1", "0.1", "0.01", "0.001"]))
def test_any_point_lies_in_a_square_of_the_grid(latitude, longitude, step):
    south, west, north, east = grid_squares.grid_square(latitude, longitude, step)
    assert south <= latitude <= north and west <= longitude <= east
    for side in (south, west, north, east):
        assert round(side / float(step)) * float(step) == pytest.approx(side, abs=1e-9)
        assert side == round(side, 3)
    assert -90 <= south < north <= 90 and -180 <= west < east <= 180


@pytest.mark.parametrize(("step", "metres"), [("0.01", 729), ("0.1", 7174), ("0.001", 84), ("1", 71761)])
def test_public_uncertainty_reaches_the_farthest_corner(step, metres):
    # Centre to farthest corner as Georeferencing Best Practices ("Grids") asks, plus 12 m; figures computed apart on WGS 84.
    assert grid_squares.public_uncertainty_m(grid_squares.grid_square(35.61234, -83.48901, step), 12) == metres


def test_public_uncertainty_refuses_a_missing_class():
    with pytest.raises(ValueError, match="0 or more"):
        grid_squares.public_uncertainty_m((35.6, -83.5, 35.7, -83.4), float("nan"))


def test_square_centre():
    assert grid_squares.square_centre((35.61, -83.49, 35.62, -83.48)) == (35.615, -83.485)
