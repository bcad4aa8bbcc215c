"""Places against the published tables of georeferencing and against pyproj."""

from __future__ import annotations

import math

import numpy as np
import pytest

from pipeline.formulas import places
from pipeline.settings import Area


@pytest.mark.parametrize(
    ("latitude", "longitude", "metres"),
    [(35.6, -83.5, 15.12), (37.0, -80.0, 21.36), (38.5, -78.5, 24.51), (43.0, -75.0, 33.73)],
)
def test_nad27_moves_as_the_mean_helmert_shift_does(latitude, longitude, metres):
    # EPSG operation 1173 "NAD27 to WGS 84 (4)": geocentric shift -8, 160, 176 m; distances computed apart.
    lat, lon, added, note = places.to_wgs84([latitude], [longitude], ["NAD27"])
    assert places.distance_m(latitude, longitude, lat, lon)[0] == pytest.approx(metres, abs=0.005)
    assert added[0] == 10 and "Helmert" in note[0] and "accuracy 10 m" in note[0]


def test_nad27_shift_is_the_published_three_numbers():
    # The three numbers of EPSG operation 1173 applied by hand through geocentric coordinates (Clarke 1866 -> WGS 84).
    from pyproj import Transformer

    x, y, z = Transformer.from_pipeline(
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step +proj=cart +ellps=clrk66"
    ).transform(-80.0, 37.0, 0.0)
    back = Transformer.from_pipeline("+proj=pipeline +step +inv +proj=cart +ellps=WGS84 +step +proj=unitconvert +xy_in=rad +xy_out=deg")
    east, north, _ = back.transform(x - 8, y + 160, z + 176)
    lat, lon, _, _ = places.to_wgs84([37.0], [-80.0], ["NAD27"])
    assert (lat[0], lon[0]) == pytest.approx((north, east), abs=1e-9)


def test_nad83_wgs84_and_unknown_stay_where_they_are():
    lat, lon, added, note = places.to_wgs84([36.2, 36.2, 36.2, 36.2, np.nan], [-81.9] * 5, ["WGS84", "NAD83", "unknown", None, "NAD83"])
    assert list(lat[:4]) == [36.2] * 4 and np.isnan(lat[4]) and list(lon) == [-81.9] * 5
    assert list(added) == [0, 4, 5359, 5359, 4]
    assert "null shift" in note[1] and "not known" in note[2]


def test_nad27_outside_the_operations_area_counts_as_unknown():
    lat, _, added, note = places.to_wgs84([60.0], [-100.0], ["NAD27"])
    assert lat[0] == 60.0 and added[0] == 5359 and "not known" in note[0]


def test_a_datum_must_be_known_by_name():
    with pytest.raises(ValueError, match="datum '4326' is not one of WGS84"):
        places.to_wgs84([36.2], [-81.9], ["4326"])


def test_distance_meets_published_geodesics():
    # The geodesic of GeographicLib's own manual on WGS 84, 40.6 -73.8 to 51.6 -0.5: 5551759.400 m (figure from memory).
    assert places.distance_m(40.6, -73.8, 51.6, -0.5) == pytest.approx(5551759.400, abs=0.001)
    # Flinders Peak to Buninyong, Geodetic Datum of Australia Technical Manual, GRS 80 (figure from memory): 54972.271 m.
    # WGS 84 differs from GRS 80 by a tenth of a millimetre in the semi-minor axis.
    flinders = (-(37 + 57 / 60 + 3.72030 / 3600), 144 + 25 / 60 + 29.52440 / 3600)
    buninyong = (-(37 + 39 / 60 + 10.15610 / 3600), 143 + 55 / 60 + 35.38390 / 3600)
    assert places.distance_m(*flinders, *buninyong) == pytest.approx(54972.271, abs=0.001)


def test_pyproj_knows_the_clarke_ellipsoid_of_nad27():
    # Snyder 1987, Map Projections: A Working Manual, numerical example of UTM 18 on Clarke 1866 (figure from memory).
    from pyproj import Transformer

    east, north = Transformer.from_crs(4267, 26718, always_xy=True).transform(-73.5, 40.5)
    assert (east, north) == pytest.approx((627106.5, 4484124.4), abs=0.05)


def test_distance_takes_arrays_and_keeps_gaps():
    metres = places.distance_m([0.0, np.nan], [0.0, 0.0], 0.0, 1.0)
    assert metres[0] == pytest.approx(math.pi / 180 * 6378137, abs=1e-3) and np.isnan(metres[1])  # an arc of the equator


def test_inside_area():
    circle, box = Area("R1", "circle", (36.2, -81.9, 10.0)), Area("R2", "box", (37.0, -81.0, 38.0, -80.0))
    across = Area("R3", "box", (-10.0, 179.0, 10.0, -179.0))
    # 10 km north of 36.2 is 0.0901° (a degree of latitude is 110.96 km there); 0.0895° is inside, 0.0905° outside.
    lat = [36.2895, 36.2905, 37.5, 37.5, 0.0, np.nan]
    lon = [-81.9, -81.9, -80.5, -79.9, -179.5, -81.9]
    assert list(places.inside_area(lat, lon, (circle, box, across))) == [True, False, True, False, True, False]
    assert not places.inside_area(lat, lon, ()).any()
    with pytest.raises(ValueError, match="neither circle nor box"):
        places.inside_area(lat, lon, (Area("R4", "star", ()),))
