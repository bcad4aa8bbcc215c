"""Places: grid squares that may be shown, datums, UTM and distances. The only door to pyproj."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from schemas.reference import figures
from schemas.vocabulary import codes

if TYPE_CHECKING:
    from pipeline.settings import Area

NAD27_OPERATION = "EPSG:1173"
ELLIPSOIDS = {"WGS84": "WGS84", "NAD83": "GRS80", "NAD27": "clrk66"}


@cache
def place_figures() -> dict[str, str]:
    """Figures of georeferencing by name, as text; units and sources stand in data/reference/places.csv."""
    return figures("places")


def _metres(name: str) -> float:
    return float(place_figures()[name])


def to_wgs84(latitude: Any, longitude: Any, datum: Any) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Bring coordinates to WGS 84.

    Parameters
    ----------
    latitude, longitude : array_like of float, shape (n,)
        Degrees; missing stays missing.
    datum : array_like of str, shape (n,)
        Codes of the vocabulary ``datum``; missing counts as ``unknown``.

    Returns
    -------
    latitude, longitude : ndarray of float, shape (n,)
        Degrees, WGS 84.
    added_uncertainty_m : ndarray of float, shape (n,)
        What the step adds to the uncertainty, metres.
    note : ndarray of str, shape (n,)
        What was done, for the record.

    Raises
    ------
    ValueError
        A datum is not in the vocabulary.

    Notes
    -----
    NAD83: null shift, stated accuracy 4 m. NAD27: mean Helmert shift "NAD27 to WGS 84 (4)" (EPSG operation 1173),
    stated accuracy 10 m, within the operation's area of use, the contiguous United States; elsewhere its accuracy is
    not stated and NAD27 counts as unknown. The datum grids that would do better are not part of pyproj.
    """
    lat = np.array(latitude, dtype=float, ndmin=1)
    lon = np.array(longitude, dtype=float, ndmin=1)
    given = np.atleast_1d(np.asarray(datum, dtype=object))
    named = np.array([value if isinstance(value, str) else "unknown" for value in given], dtype=object)
    for value in set(named):
        if value not in codes("datum"):
            raise ValueError(f"datum {value!r} is not one of {', '.join(codes('datum'))}")
    added = np.zeros(lat.shape)
    note = np.full(lat.shape, "WGS 84 as given", dtype=object)
    nad83 = named == "NAD83"
    added[nad83] = _metres("nad83_accuracy_m")
    note[nad83] = f"NAD83 read as WGS 84 (null shift, accuracy {_metres('nad83_accuracy_m'):.0f} m)"
    unknown = named == "unknown"
    nad27 = np.flatnonzero(named == "NAD27")
    if nad27.size:
        lat[nad27], lon[nad27], inside = _shift_nad27(lat[nad27], lon[nad27])
        added[nad27] = _metres("nad27_accuracy_m")
        note[nad27] = f"NAD27 to WGS 84 (4), mean Helmert shift, accuracy {_metres('nad27_accuracy_m'):.0f} m"
        unknown[nad27[~inside]] = True
    added[unknown] = _metres("datum_unknown_m")
    note[unknown] = f"datum not known; read as WGS 84, {_metres('datum_unknown_m'):.0f} m added"
    return lat, lon, added, note


def _shift_nad27(latitude: np.ndarray, longitude: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    from pyproj import Transformer

    shift = Transformer.from_pipeline(NAD27_OPERATION)
    use = shift.area_of_use
    assert use is not None, "the datum operation states no area of use"
    inside = (latitude >= use.south) & (latitude <= use.north) & (longitude >= use.west) & (longitude <= use.east)
    north, east = latitude.copy(), longitude.copy()
    north[inside], east[inside] = shift.transform(latitude[inside], longitude[inside])
    return north, east, inside


def from_utm(easting: float, northing: float, zone: int, north: bool, datum: str) -> tuple[float, float] | None:
    """Turn a UTM place into degrees of its own datum.

    Parameters
    ----------
    easting, northing : float
        Metres.
    zone : int
        1 to 60.
    north : bool
        Whether it lies north of the equator.
    datum : str
        Code of the vocabulary ``datum``; it chooses the ellipsoid. ``unknown`` counts as WGS 84: the widest move between two datums
        is added to the uncertainty anyway.

    Returns
    -------
    tuple of float or None
        Latitude, longitude in degrees; None where the projection has no such point.

    References
    ----------
    Transverse Mercator, EPSG method 9807, through pyproj; exact far beyond the 6° of a zone.
    """
    from pyproj import Proj

    projection = Proj(proj="utm", zone=zone, ellps=ELLIPSOIDS.get(datum, "WGS84"), south=not north)
    longitude, latitude = projection(easting, northing, inverse=True)
    return (latitude, longitude) if math.isfinite(latitude) and math.isfinite(longitude) else None


@cache
def _earth_models() -> frozenset[str]:
    """Codes of EPSG that name a datum, an ellipsoid or a two-dimensional geographic system in degrees."""
    from pyproj.database import get_codes
    from pyproj.enums import PJType

    kinds = (PJType.GEODETIC_REFERENCE_FRAME, PJType.DYNAMIC_GEODETIC_REFERENCE_FRAME, PJType.DATUM_ENSEMBLE, PJType.ELLIPSOID)
    known = {code for kind in kinds for code in get_codes("EPSG", kind, allow_deprecated=True)}
    return frozenset(known | set(get_codes("EPSG", PJType.GEOGRAPHIC_2D_CRS, allow_deprecated=True)))


def names_earth_model(text: str) -> bool:
    """Whether a text is ``EPSG:`` with the code of a datum, an ellipsoid or a two-dimensional geographic system; exactly so."""
    return text.startswith("EPSG:") and text[5:] in _earth_models()


def ellipsoid() -> tuple[float, float]:
    """Semi-major axis in metres and squared eccentricity of WGS 84."""
    from pyproj import Geod

    known = Geod(ellps="WGS84")
    return known.a, known.es


def distance_m(lat1: Any, lon1: Any, lat2: Any, lon2: Any) -> np.ndarray:
    """Geodesic distance on the WGS 84 ellipsoid.

    Parameters
    ----------
    lat1, lon1, lat2, lon2 : array_like of float
        Degrees; shapes that broadcast together.

    Returns
    -------
    ndarray of float
        Metres; missing where a coordinate is missing.

    References
    ----------
    Karney 2013, J. Geodesy 87: 43-55, through pyproj.
    """
    from pyproj import Geod

    north1, east1, north2, east2 = np.broadcast_arrays(*(np.asarray(value, dtype=float) for value in (lat1, lon1, lat2, lon2)))
    metres = Geod(ellps="WGS84").inv(east1.ravel(), north1.ravel(), east2.ravel(), north2.ravel())[2]
    return np.asarray(metres, dtype=float).reshape(north1.shape)


def inside_area(latitude: Any, longitude: Any, areas: Sequence[Area]) -> np.ndarray:
    """Say which points lie inside a study area.

    Parameters
    ----------
    latitude, longitude : array_like of float, shape (n,)
        Degrees, WGS 84.
    areas : sequence of Area
        Circles (latitude, longitude, km; geodesic) and boxes (south, west, north, east; one whose west is above its
        east crosses the 180° meridian).

    Returns
    -------
    ndarray of bool, shape (n,)
        True inside any of them, edges included; a missing coordinate is inside none.

    Raises
    ------
    ValueError
        An area is neither circle nor box.
    """
    lat, lon = np.atleast_1d(np.asarray(latitude, dtype=float)), np.atleast_1d(np.asarray(longitude, dtype=float))
    inside = np.zeros(lat.shape, dtype=bool)
    for area in areas:
        if area.kind == "circle":
            centre_lat, centre_lon, km = area.numbers
            inside |= distance_m(lat, lon, centre_lat, centre_lon) <= km * 1000
        elif area.kind == "box":
            south, west, north, east = area.numbers
            across = (lon >= west) & (lon <= east) if west <= east else (lon >= west) | (lon <= east)
            inside |= (lat >= south) & (lat <= north) & across
        else:
            raise ValueError(f"area {area.code!r} is neither circle nor box")
    return inside
