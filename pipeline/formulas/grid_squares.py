"""Grid squares: how coarse a place is shown, and how unsure it then is."""

from __future__ import annotations

import math
from decimal import ROUND_FLOOR, Decimal
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from pipeline.formulas.places import distance_m
from schemas.vocabulary import codes

if TYPE_CHECKING:
    pass

Square = tuple[float, float, float, float]
WITHHELD = "withheld"


def grid_step(*classes: str | None) -> str:
    """Choose the coarsest of the public precision classes given.

    Parameters
    ----------
    *classes : str or missing
        Codes of the vocabulary ``public_precision``: the book's, the taxon's, the site's. Missing ones are ignored.

    Returns
    -------
    str
        The coarsest code; ``withheld`` where none is given, so that an oversight never publishes a place.

    Raises
    ------
    ValueError
        A code is not in the vocabulary.

    References
    ----------
    Chapman 2020, Current Best Practices for Generalizing Sensitive Species Occurrence Data, tables 6 and 7.
    """
    from_coarse = codes("public_precision")
    given = [str(value) for value in classes if isinstance(value, str) or not pd.isna(value)]
    for value in given:
        if value not in from_coarse:
            raise ValueError(f"public precision {value!r} is not one of {', '.join(from_coarse)}")
    return min(given, key=from_coarse.index, default=WITHHELD)


def grid_square(latitude: float, longitude: float, step: str) -> Square:
    """Find the geographic grid square that holds a point.

    Parameters
    ----------
    latitude, longitude : float
        Decimal degrees, WGS 84, north and east positive.
    step : str
        Side of the square in degrees, as text such as ``"0.1"``.

    Returns
    -------
    tuple of float
        South, west, north, east in degrees. A square holds its south and west side; the pole and the 180° meridian
        belong to the last square.

    Raises
    ------
    ValueError
        The point is missing or off the globe, or the step is no number above 0.

    Notes
    -----
    Decimal arithmetic, because 0.3/0.1 is 2.9999999999999996 in binary; floor, because truncating would move the
    western half of the globe one square east.

    References
    ----------
    Chapman 2020 (see :func:`grid_step`): generalise to a geographic grid, never at random.
    """
    if step == WITHHELD or not Decimal(step) > 0:
        raise ValueError(f"step {step!r} makes no grid square")
    side = Decimal(step)
    south, north = _cell(latitude, side, 90)
    west, east = _cell(longitude, side, 180)
    return south, west, north, east


def _cell(degrees: float, side: Decimal, limit: int) -> tuple[float, float]:
    if not -limit <= degrees <= limit:
        raise ValueError(f"{degrees} is not between -{limit} and {limit} degrees")
    index = (Decimal(str(float(degrees))) / side).to_integral_value(rounding=ROUND_FLOOR)
    index = min(index, Decimal(limit) / side - 1)
    return float(index * side), float((index + 1) * side)


def square_centre(square: Square) -> tuple[float, float]:
    """Centre of a grid square: latitude, longitude in degrees."""
    south, west, north, east = (Decimal(str(side)) for side in square)
    return float((south + north) / 2), float((west + east) / 2)


def square_radius_m(square: Square) -> float:
    """Geodesic distance from the centre of a grid square to its farthest corner.

    Parameters
    ----------
    square : tuple of float
        South, west, north, east in degrees.

    Returns
    -------
    float
        Metres on the WGS 84 ellipsoid.

    References
    ----------
    Chapman & Wieczorek 2020, Georeferencing Best Practices, "Grids".
    """
    south, west, north, east = square
    latitude, longitude = square_centre(square)
    corners = np.array([(south, west), (south, east), (north, west), (north, east)])
    return float(distance_m(latitude, longitude, corners[:, 0], corners[:, 1]).max())


def public_uncertainty_m(square: Square, uncertainty_class_m: float) -> int:
    """Uncertainty to publish with the centre of a grid square.

    Parameters
    ----------
    square : tuple of float
        South, west, north, east in degrees.
    uncertainty_class_m : float
        A class of the original uncertainty, metres; the exact figure would tell sites of one square apart.

    Returns
    -------
    int
        Metres, rounded up.

    Raises
    ------
    ValueError
        The class is missing or below 0.
    """
    if not uncertainty_class_m >= 0:
        raise ValueError(f"uncertainty {uncertainty_class_m} is not 0 or more metres")
    return math.ceil(square_radius_m(square) + uncertainty_class_m)
