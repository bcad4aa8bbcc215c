"""Places as people write them: notations, UTM, and what is refused with its reason; pyproj against published worked examples.

`check_values/coordinates.csv` holds the published conformance rows of AMENDMENT_COORDINATES_FROM_VERBATIM of the TDWG Biodiversity Data
Quality tests (CC BY 4.0). Worked examples of projections: IOGP Guidance Note 7-2 (method pages of the EPSG registry; those marked "from
memory" were recalled and agree with pyproj to the last digit printed), the GIGS test 5201 as PROJ ships it, and Snyder 1987, Map
Projections: A Working Manual (from memory).
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.formulas import places
from pipeline.reading import coordinates

CHECKS = Path(__file__).parents[1] / "check_values"


@pytest.mark.parametrize(
    ("text", "point"),
    [
        ("39.02569000N 079.40033000W", (39.02569, -79.40033)),
        ("39.02569 N, 79.40033 W", (39.02569, -79.40033)),
        ("N39.02569 W79.40033", (39.02569, -79.40033)),
        ("n 39.02569°; w 79.40033°", (39.02569, -79.40033)),
        ("W79.40033 N39.02569", (39.02569, -79.40033)),
        ("33.9S 18.4E", (-33.9, 18.4)),
        ("39.02569, -79.40033", (39.02569, -79.40033)),
        ("39.02569 -79.40033", (39.02569, -79.40033)),
        ("-79.40033N 39.0W", None),  # a sign beside a letter
        ("39.02569N 79.40033", None),
        ("39.02569N 79.40033N", None),
        ("N39.02569 79.40033W", None),
        ("39 -79", None),  # no letters, no decimals: could be anything
        ("95.1, 39.0", None),
        ("39.02569", None),
        ("273525 3942461", None),
        ("39,02569 -79,40033", None),
        ("", None),
        (None, None),
    ],
)
def test_read_verbatim_coordinates(text, point):
    assert coordinates.read_verbatim_coordinates(text) == point


NOTATIONS = {
    # 39 degrees 1 minute 32.5 seconds are 39 + 1/60 + 32.5/3600 = 39.0256944..., by hand; 79 24 1.2 are 79.4003333...
    "39 01 32.5 N 79 24 01.2 W": (39.02569444, -79.40033333, 0.1 / 3600),
    "39°01'32.5\"N 79°24'1.2\"W": (39.02569444, -79.40033333, 0.1 / 3600),
    "N 39° 01′ 32.5″, W 79° 24′ 01.2″": (39.02569444, -79.40033333, 0.1 / 3600),
    "39:01:32.5N 79:24:01.2W": (39.02569444, -79.40033333, 0.1 / 3600),
    "39°01'32.5\", -79°24'1.2\"": (39.02569444, -79.40033333, 0.1 / 3600),
    "W079 24 01.2 N39 01 32.5": (39.02569444, -79.40033333, 0.1 / 3600),
    # whichever of the two was written coarser decides
    "39 01 32.5 N 79 24 01 W": (39.02569444, -79.40027778, 1 / 3600),
    "39 01.542 N 79 24.02 W": (39.0257, -79.40033333, 0.01 / 60),
    "N39 01.542 W079 24.020": (39.0257, -79.40033333, 0.001 / 60),
    "39 degrees 01.542 minutes north 79 degrees 24.020 minutes west": (39.0257, -79.40033333, 0.001 / 60),
    "39 01 N 79 24 W": (39.01666667, -79.4, 1 / 60),
    "39N 79W": (39.0, -79.0, 1.0),
    "lat 39.02569 lon -79.40033": (39.02569, -79.40033, 1e-5),
    "39.025690N 079.400330W": (39.02569, -79.40033, 1e-6),
}


@pytest.mark.parametrize("text", NOTATIONS)
def test_degrees_in_any_notation(text):
    latitude, longitude, step = NOTATIONS[text]
    place, reason = coordinates.read_place(text)
    assert place is not None, reason
    assert (place.latitude, place.longitude) == pytest.approx((latitude, longitude), abs=5e-9)
    assert place.precision_deg == pytest.approx(step) and place.precision_m is None


UTM_TEXTS = [
    "17 north 273525 3942461",
    "17N 273525 3942461",
    "UTM zone 17N 273525E 3942461N",
    "17 north, 273525 m E, 3942461 m N",
    "17 north 3942461N 273525E",
    "273525 3942461 17N",
    "Easting 273525 Northing 3942461 zone 17 north",
    "17N 0273525 3942461",
]


@pytest.mark.parametrize("text", UTM_TEXTS)
def test_utm(text):
    # 35.6 N 83.5 W is 273525.252 E 3942461.375 N of zone 17 on WGS 84, computed apart with pyproj; rounded to metres here
    place, reason = coordinates.read_place(text)
    assert place is not None, reason
    assert places.distance_m(place.latitude, place.longitude, 35.6, -83.5)[()] < 0.5
    assert (place.precision_m, place.precision_deg, place.notation) == (1, None, "UTM 17 north")


def test_utm_stands_on_the_ellipsoid_of_its_datum():
    # Snyder 1987, numerical example of UTM on Clarke 1866 (from memory): 40 30 N 73 30 W is 627106.5 E 4484124.4 N of zone 18.
    place, _ = coordinates.read_place("18 north 627106.5 4484124.4", "NAD27")
    assert (place.latitude, place.longitude) == pytest.approx((40.5, -73.5), abs=1e-6)
    assert place.precision_m == pytest.approx(0.1)
    # on the central meridian of zone 17 at the equator by definition
    assert places.from_utm(500000, 0, 17, True, "WGS84") == pytest.approx((0, -81), abs=1e-9)
    # the same text on another ellipsoid lies elsewhere: Clarke 1866 and WGS 84 differ by 40 to 200 m there
    other, _ = coordinates.read_place("18 north 627106.5 4484124.4", "WGS84")
    assert 40 < places.distance_m(place.latitude, place.longitude, other.latitude, other.longitude)[()] < 300


def test_utm_beyond_the_edge_of_its_zone_is_read_and_said():
    place, _ = coordinates.read_place("17 north 880000 4006000", "NAD83")
    assert place.notation == "UTM 17 north, outside its zone"


def test_a_datum_in_the_text():
    assert coordinates.read_place("39.02569, -79.40033 (NAD27)")[0].datum == "NAD27"
    assert coordinates.read_place("17N 638500 4320700 NAD 83")[0].datum == "NAD83"
    assert coordinates.read_place("39.02569, -79.40033 WGS-84", "unknown")[0].datum == "WGS84"
    assert coordinates.read_place("39.02569, -79.40033 NAD27", "NAD83") == (None, coordinates.TWO_DATUMS)


REFUSALS = {
    # S is the band of 32 to 40 degrees north for some and the southern half for others; this book's streams lie in that band
    "17S 273525 3942461": coordinates.SOUTH_OR_BAND,
    "17T 273525 3942461": coordinates.WRONG_BAND,
    "17 273525 3942461": coordinates.ZONE_MISSING,
    "273525 3942461": coordinates.ZONE_MISSING,
    "61 north 273525 3942461": coordinates.ZONE_MISSING,
    "17 north 3942461 273525": coordinates.EASTING_FIRST,
    # a state's own grid, in metres: open_data/mbss_maryland
    "223393 436579.3": coordinates.ZONE_MISSING,
    "17S KV 73525 42461": coordinates.GRID_REFERENCE,
    "17SKV7352542461": coordinates.GRID_REFERENCE,
    "39 -79": coordinates.WHICH_DEGREES,
    "39 01 32 79 24 01": coordinates.WHICH_DEGREES,
    "139.92, -23.712": coordinates.OFF_THE_GLOBE,
    "39.0, -279.4": coordinates.OFF_THE_GLOBE,
    "39.02569N": coordinates.LETTERS_UNCLEAR,
    "39.02569N 79.40033": coordinates.LETTERS_UNCLEAR,
    "39.02569N -79.40033W": coordinates.LETTERS_UNCLEAR,
    "0.0, 0.0": coordinates.NULL_PLACE,
    "0N 0W": coordinates.NULL_PLACE,
    "39 61 00 N 79 24 00 W": coordinates.NOT_A_PLACE,
    "39 01 60 N 79 24 00 W": coordinates.NOT_A_PLACE,
    "39.5 01 N 79 24 W": coordinates.NOT_A_PLACE,
    # places told as an offset
    "10 km NE of the bridge": coordinates.NOT_A_PLACE,
    "8 km E and 6 km N of the mill": coordinates.NOT_A_PLACE,
    "200 m below the bridge": coordinates.NOT_A_PLACE,
    "": coordinates.NOT_A_PLACE,
}  # fmt: skip


@pytest.mark.parametrize("text", REFUSALS)
def test_what_can_be_read_in_two_ways_is_refused_with_its_reason(text):
    assert coordinates.read_place(text) == (None, REFUSALS[text])


@pytest.mark.parametrize(
    ("text", "letters", "degrees", "step"),
    [
        ("39.02569000N", "NS", 39.02569, 1e-8),  # open_data/canaan_valley_2001_2006
        ("079.40033000W", "EW", -79.40033, 1e-8),
        ("W 79.4", "EW", -79.4, 0.1),
        ("35", "NS", 35, 1),
        ("35.", "NS", 35, 1),
        ("-83.4890", "EW", -83.489, 1e-4),
        ("39 01.542", "NS", 39.0257, 0.001 / 60),
        ("-79 24 01", "EW", -79.40027778, 1 / 3600),
        ("79 24 01 w", "EW", -79.40027778, 1 / 3600),
        ("79.4W", "NS", None, None),
        ("-79.4W", "EW", None, None),
        ("N39.0N", "NS", None, None),
        ("91", "NS", None, None),
        ("181", "EW", None, None),
        ("39 01 32 10", "NS", None, None),
        ("", "NS", None, None),
        ("x", "NS", None, None),
    ],
)
def test_one_angle(text, letters, degrees, step):
    angle = coordinates.read_angle(text, letters)
    if degrees is None:
        assert angle is None
    else:
        assert (angle.degrees, angle.precision_deg) == pytest.approx((degrees, step), abs=5e-9)


@given(st.integers(0, 89), st.integers(0, 59), st.integers(0, 599), st.integers(0, 179), st.integers(0, 59), st.integers(0, 599),
       st.sampled_from("NS"), st.sampled_from("EW"))  # fmt: skip
def test_degrees_minutes_and_seconds_come_back(d1, m1, s1, d2, m2, s2, north, east):
    text = f"{d1} {m1:02d} {s1 / 10:04.1f} {north} {d2} {m2:02d} {s2 / 10:04.1f} {east}"
    place, reason = coordinates.read_place(text)
    expected = [
        sign * (d + m / 60 + s / 36000) for sign, d, m, s in ((1 - 2 * (north == "S"), d1, m1, s1), (1 - 2 * (east == "W"), d2, m2, s2))
    ]
    if expected == [0, 0]:
        assert reason == coordinates.NULL_PLACE
    else:
        assert (place.latitude, place.longitude) == pytest.approx(tuple(expected), abs=1e-9)


@given(st.floats(-79, -1) | st.floats(1, 83), st.floats(-2.9, 2.9), st.integers(1, 60), st.sampled_from(["WGS84", "NAD83", "NAD27"]))
def test_utm_comes_back(latitude, off, zone, datum):
    from pyproj import Proj

    longitude = 6 * zone - 183 + off
    forward = Proj(proj="utm", zone=zone, ellps=places.ELLIPSOIDS[datum], south=latitude < 0)
    easting, northing = forward(longitude, latitude)
    place, reason = coordinates.read_place(f"{zone} {'south' if latitude < 0 else 'north'} {easting:09.2f} {northing:010.2f}", datum)
    assert place is not None, reason
    assert places.distance_m(place.latitude, place.longitude, latitude, longitude)[()] < 0.02


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused(text):
    place, reason = coordinates.read_place(text)
    assert (place is None) == bool(reason)
    assert place is None or (abs(place.latitude) <= 90 and abs(place.longitude) <= 180)


def checks():
    with (CHECKS / "coordinates.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


NOT_OURS = {
    "104": "longitude first: 139.92 can be no latitude, but the order is stated nowhere; refused",
    "105": "two cells, read one by one",
    "106": "UTM: the test changes no reference system, rillbook turns its zone into degrees",
}


@pytest.mark.parametrize("row", checks(), ids=lambda row: row["data_id"])
def test_published_rows_of_coordinates_from_verbatim(row):
    text = row["verbatim_coordinates"]
    place, _ = coordinates.read_place(text)
    if row["data_id"] == "104":
        assert place is None
    elif row["data_id"] == "105":
        assert [coordinates.read_angle(row[name], letters).degrees for name, letters in
                (("verbatim_latitude", "NS"), ("verbatim_longitude", "EW"))] == [-23.712, 139.92]  # fmt: skip
    elif row["data_id"] == "106":
        # the same place as in rows 104 and 105, to the metre that was written
        assert places.distance_m(place.latitude, place.longitude, -23.712, 139.923)[()] < 1
    elif row["status"] == "FILLED_IN":
        expected = json.loads(row["result"])
        assert (place.latitude, place.longitude) == pytest.approx(
            (float(expected["dwc:decimalLatitude"]), float(expected["dwc:decimalLongitude"])), abs=1e-9
        )
    else:
        assert place is None


def degrees(d, m, s):
    return d + m / 60 + s / 3600


PROJECTIONS = [
    # id, from, to, longitude or x, latitude or y, expected; source
    ("E1", 4277, 27700, (0.5, 50.5), (577274.99, 69740.50)),  # GN 7-2, method 9807
    ("E2", 4326, 3857, (-degrees(100, 20, 0), degrees(24, 22, 54.433)), (-11169055.58, 2800000.00)),  # GN 7-2, method 1024
    ("E3", 4267, 32040, (-96.0, 28.5), (2963503.91, 254759.80)),  # GN 7-2, Lambert with two parallels; US feet; from memory
    ("E4", 4242, 24200, (-degrees(76, 56, 37.26), degrees(17, 55, 55.80)), (255966.58, 142493.51)),  # GN 7-2, Lambert; from memory
    ("E7", 4267, 26718, (-73.5, 40.5), (627106.5, 4484124.4)),  # Snyder 1987; from memory
    ("E8", 4326, 32617, (-81.0, 0.0), (500000.0, 0.0)),  # by definition of the zone
    ("E9", 4326, 32617, (-83.5, 35.6), (273525.252, 3942461.375)),  # computed apart
]


@pytest.mark.parametrize(("name", "source", "target", "given", "expected"), PROJECTIONS, ids=[row[0] for row in PROJECTIONS])
def test_published_projections(name, source, target, given, expected):
    from pyproj import Transformer

    digits = 0.05 if name == "E7" else 0.0005 if name in ("E8", "E9") else 0.01
    assert Transformer.from_crs(source, target, always_xy=True).transform(*given) == pytest.approx(expected, abs=digits)


def test_published_geocentric_places():
    from pyproj import Transformer

    # E5: GN 7-2, method 9602; E6: GIGS test 5201 (PROJ, test/gigs/5201.gie)
    to = Transformer.from_crs(4979, 4978, always_xy=True)
    east, north = degrees(2, 7, 46.380), degrees(53, 48, 33.820)
    assert to.transform(east, north, 73.0) == pytest.approx((3771793.968, 140253.342, 5124304.349), abs=0.001)
    back = Transformer.from_crs(4978, 4979, always_xy=True)
    assert back.transform(2764210.4054, 4787752.865, 3170468.5199) == pytest.approx((60, 30, 189.569), abs=0.001)
