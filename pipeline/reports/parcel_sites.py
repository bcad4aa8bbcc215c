"""Which sites lie on a parcel of land, and which lie too near its boundary to tell."""

from __future__ import annotations

from typing import Any

import numpy as np

from pipeline.formulas.places import distance_m, to_wgs84

INSIDE, NEAR, OUTSIDE = "inside", "near", "outside"


def on_parcel(latitude: Any, longitude: Any, datum: Any, uncertainty_m: Any, polygon: tuple[tuple[float, float], ...]) -> np.ndarray:
    """Tell for each place whether it surely lies inside a polygon.

    Parameters
    ----------
    latitude, longitude : array_like of float, shape (n,)
        Degrees; missing is outside.
    datum : array_like of str, shape (n,)
        Codes of the vocabulary ``datum``.
    uncertainty_m : array_like of float, shape (n,)
        Radius that surely holds the place, metres; missing is as wide as the parcel.
    polygon : tuple of (latitude, longitude)
        Corners in order, degrees, WGS 84; three or more.

    Returns
    -------
    ndarray of str, shape (n,)
        ``inside`` where the whole circle of uncertainty is, ``outside`` where none of it is, else ``near``: it may be a neighbour's.

    Raises
    ------
    ValueError
        The polygon crosses itself or has no area.

    Notes
    -----
    Degrees become metres by the lengths along the meridian and the parallel through the first corner; over a parcel of 10 km the error is
    far below the uncertainty of any coordinate.
    """
    from shapely import Point, Polygon

    lat, lon, added, _ = to_wgs84(latitude, longitude, datum)
    radius = np.asarray(uncertainty_m, dtype=float) + added
    origin = polygon[0]
    shape = Polygon([_metres(origin, *corner) for corner in polygon])
    if not shape.is_valid or not shape.area:
        raise ValueError("the polygon crosses itself or has no area")
    answer = np.full(lat.shape, OUTSIDE, dtype=object)
    for place in np.flatnonzero(np.isfinite(lat) & np.isfinite(lon)):
        point = Point(_metres(origin, lat[place], lon[place]))
        away = shape.boundary.distance(point)
        within = shape.contains(point)
        sure = away >= radius[place] if np.isfinite(radius[place]) else False
        answer[place] = (INSIDE if within else OUTSIDE) if sure else NEAR if within or np.isfinite(radius[place]) else OUTSIDE
    return answer


def _metres(origin: tuple[float, float], latitude: float, longitude: float) -> tuple[float, float]:
    """East and north of the first corner."""
    east = float(np.atleast_1d(distance_m(origin[0], origin[1], origin[0], longitude))[0])
    north = float(np.atleast_1d(distance_m(origin[0], origin[1], latitude, origin[1]))[0])
    return (east if longitude >= origin[1] else -east), (north if latitude >= origin[0] else -north)
