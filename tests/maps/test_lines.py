"""Streams, lakes, ridges and borders on maps: read in any coordinate system, cut, thinned; on a public map no pointer to one spot."""

from __future__ import annotations

import dataclasses
import json
import math

import geopandas
import numpy as np
import pytest
from examples import examples
from map_books import SETTINGS, crowd, parts_of
from shapely.geometry import LineString, MultiLineString, Point, Polygon, box

from pipeline.errors import RillbookError
from pipeline.maps import lines as map_lines
from pipeline.maps.frames import map_figures
from pipeline.settings.landscape import Landscape

LONG = LineString([(-82.3, 36.1), (-82.0, 36.25), (-81.7, 36.3)])
AROUND = (36.0, -82.5, 36.5, -81.5)


def written(tmp_path, shapes, name="lines.geojson", crs="EPSG:4326", **more):
    path = tmp_path / name
    geopandas.GeoDataFrame({"name": ["<b>x</b>"] * len(shapes)}, geometry=list(shapes), crs=crs).to_file(path, engine="pyogrio", **more)
    return path


def test_a_geopackage_in_metres_is_brought_to_degrees(tmp_path):
    # The worked example of the UTM projection in Snyder 1987, Map Projections: 40.5 N 73.5 W is E 627106.5 N 4484124.4 in zone 18,
    # on the ellipsoid of Clarke 1866. On NAD27 (EPSG 26718) the shift to WGS 84 moves it by less than 50 m; so much is allowed here.
    path = written(tmp_path, [LineString([(627106.5, 4484124.4), (627106.5, 4494124.4)])], "lines.gpkg", "EPSG:26718")
    start = map_lines.read_lines(path).geometry.iloc[0].coords[0]
    assert math.hypot((start[1] - 40.5) * 111_000, (start[0] + 73.5) * 85_000) < 50


def test_every_layer_of_a_geopackage_is_read_and_points_are_left_alone(tmp_path):
    path = written(tmp_path, [LONG], "lines.gpkg", layer="streams")
    written(tmp_path, [Polygon([(-82, 36), (-81, 36), (-81, 37)])], "lines.gpkg", layer="county")
    written(tmp_path, [Point(-81.93783, 36.21437)], "lines.gpkg", layer="springs")
    assert sorted(map_lines.read_lines(path).geom_type) == ["LineString", "Polygon"]


def test_files_that_cannot_serve_say_why(tmp_path):
    with pytest.raises(RillbookError, match="no such file"):
        map_lines.read_lines(tmp_path / "none.gpkg")
    (tmp_path / "words.gpkg").write_text("no database", encoding="utf-8")
    with pytest.raises(RillbookError, match="cannot be read"):
        map_lines.read_lines(tmp_path / "words.gpkg")
    with pytest.raises(RillbookError, match="states no coordinate system"):
        map_lines.read_lines(written(tmp_path, [LONG], "bare.gpkg", None))
    with pytest.raises(RillbookError, match="neither lines nor areas"):
        map_lines.read_lines(written(tmp_path, [Point(-81.9, 36.2)], "points.geojson"))
    (tmp_path / "empty.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": []}), encoding="utf-8")
    with pytest.raises(RillbookError, match="neither lines nor areas"):
        map_lines.read_lines(tmp_path / "empty.geojson")


def test_lines_are_cut_to_the_map_and_kinds_are_told_apart(tmp_path):
    area = Polygon([(-82.2, 36.05), (-81.6, 36.05), (-81.6, 36.45)])
    drawn = map_lines.exact_lines(map_lines.read_lines(written(tmp_path, [LONG, area])), (36.0, -82.1, 36.5, -81.8)).drawn
    assert {kind for kind, _ in drawn} == {"stream", "border"}
    for _, points in drawn:
        assert all(36.0 <= y <= 36.5 and -82.1 <= x <= -81.8 for y, x in points)


def test_a_column_of_kinds_is_heeded_and_other_words_are_not(tmp_path):
    path = tmp_path / "kinds.gpkg"
    kinds = ["Ridge ", "lake", "motorway", None]
    shapes = [LONG, Polygon([(-82, 36), (-81, 36), (-81, 37)]), LONG, Polygon([(-82, 36), (-81, 36), (-81, 37)])]
    geopandas.GeoDataFrame({"Kind": kinds}, geometry=shapes, crs="EPSG:4326").to_file(path, engine="pyogrio")
    assert list(map_lines.read_lines(path)["kind"]) == ["ridge", "lake", "stream", "border"]


def test_too_many_corners_are_thinned_and_the_page_says_so(tmp_path):
    most = int(map_figures()["line_points_most"])
    wavy = [LineString([(-82.4 + 0.8 * n / 9999, 36.1 + 0.01 * k + 0.0004 * math.sin(n)) for n in range(10000)]) for k in range(4)]
    found = map_lines.exact_lines(map_lines.read_lines(written(tmp_path, wavy)), AROUND)
    assert 0 < sum(len(points) for _, points in found.drawn) <= most and "drawn to about" in found.notes[0]


# --- what a public map draws


def public(tmp_path, shapes, step=0.1, whose="a survey office", **more):
    return map_lines.public_lines(map_lines.read_lines(written(tmp_path, shapes, **more)), AROUND, step, whose)


def test_lines_of_nobody_are_on_no_public_map(tmp_path):
    found = public(tmp_path, [LONG], whose="")
    assert found.drawn == [] and "does not say who published them" in found.notes[0]
    assert len(public(tmp_path, [LONG]).drawn) == 1 and "a survey office" in public(tmp_path, [LONG]).notes[0]


def test_a_public_map_leaves_off_what_would_mark_one_spot(tmp_path):
    spring_run = LineString([(-81.94, 36.21), (-81.93, 36.22)])
    parcel = Polygon([(-81.95, 36.2), (-81.94, 36.2), (-81.94, 36.21)])
    pond_on_the_stream = Polygon([(-82.0, 36.25), (-81.99, 36.25), (-82.0, 36.26)])
    loop_on_the_stream = LineString([(-82.0, 36.25), (-82.01, 36.26), (-82.02, 36.25), (-82.0, 36.25)])
    shapes = [LONG, spring_run, parcel, pond_on_the_stream, loop_on_the_stream]
    assert public(tmp_path, shapes).drawn == public(tmp_path, [LONG]).drawn
    assert len(map_lines.exact_lines(map_lines.read_lines(tmp_path / "lines.geojson"), AROUND).drawn) == 1
    assert len(map_lines.exact_lines(map_lines.read_lines(written(tmp_path, shapes)), AROUND).drawn) == 5


def test_a_network_in_short_pieces_counts_as_one(tmp_path):
    pieces = [LineString([(-82.7 + 0.02 * n, 36.2), (-82.7 + 0.02 * (n + 1), 36.2)]) for n in range(70)]
    drawn = public(tmp_path, [MultiLineString(pieces[:30]), *pieces[30:]]).drawn
    assert [(points[0], points[-1]) for _, points in drawn] == [((36.2, -82.5), (36.2, -81.5))]


def test_an_attacker_learns_no_end_of_a_line_finer_than_its_square(tmp_path):
    """A run to a spring leaves a river, and a track ends at another: wherever in its square the end lies, all that is drawn is the same.

    Whoever holds the page, and knows this program, can rule out no point of the square.
    """
    draw, seen = np.random.default_rng(5), set()
    river = LineString([(-83.0, 36.05), (-82.22, 36.17), (-81.0, 36.32)])
    squares = [(-82.2, 36.2), (-81.9, 36.4)]
    for _ in range(examples(40, 8)):
        ends = [Point(west + 0.1 * (0.01 + 0.98 * draw.random()), south + 0.1 * (0.01 + 0.98 * draw.random())) for west, south in squares]
        run = LineString([river.coords[1], (-82.2, 36.25), *bends(draw, squares[0]), ends[0].coords[0]])
        track = LineString([(-83.0, 36.6), (-81.9, 36.45), *bends(draw, squares[1]), ends[1].coords[0]])
        drawn = public(tmp_path, [river, run, track]).drawn
        seen.add(json.dumps(drawn))
        for west, south in squares:
            inside = (west + 1e-9, south + 1e-9, west + 0.1 - 1e-9, south + 0.1 - 1e-9)
            assert not any(LineString([(x, y) for y, x in points]).intersects(box(*inside)) for _, points in drawn)
    assert len(seen) == 1 and len(json.loads(seen.pop())) >= 3
    exact = map_lines.exact_lines(map_lines.read_lines(tmp_path / "lines.geojson"), AROUND).drawn
    assert any(abs(y - ends[0].y) < 1e-4 and abs(x - ends[0].x) < 1e-4 for _, points in exact for y, x in points)


def bends(draw, square):
    """Bends of a line inside a square, any number of them."""
    return [(square[0] + 0.1 * draw.random(), square[1] + 0.1 * draw.random()) for _ in range(draw.integers(0, 4))]


def test_public_lines_pass_no_corner_of_the_file_itself(tmp_path):
    """A corner that somebody set at a spring, half-way along a line, is moved to a grid of its own and names the spring no more."""
    spring = (-81.93783, 36.21437)
    drawn = public(tmp_path, [LineString([(-83.0, 36.0), spring, (-81.0, 36.6)])]).drawn
    grid = 0.1 / int(map_figures()["line_parts_a_square"]) / 2
    corners = [value for _, points in drawn for point in points for value in point]
    assert corners and all(abs(value / grid - round(value / grid)) < 1e-6 for value in corners)


def test_public_lines_are_the_same_wherever_the_sites_lie_in_their_squares(tmp_path):
    """The book decides the frame and the finest square, and nothing else: no site draws a line near it or keeps one off."""
    shapes = map_lines.read_lines(written(tmp_path, [LONG, LineString([(-82.4, 36.4), (-81.9, 36.3), (-81.6, 36.0)])]))
    settings = dataclasses.replace(SETTINGS, landscape=Landscape(lines_from="a survey office"))
    frames, draw, drawn = crowd(), np.random.default_rng(2), []
    for _ in range(3):
        moved = frames[0].copy()
        for name in ("latitude", "longitude"):
            moved[name] = np.floor(frames[0][name] / 0.1 + 1e-9) * 0.1 + 0.1 * (0.01 + 0.98 * draw.random(len(moved)))
        drawn.append(parts_of((moved, *frames[1:]), settings, shapes=shapes).lines)
    assert drawn[0].drawn and drawn[0] == drawn[1] == drawn[2]
    assert parts_of(frames, SETTINGS, shapes=shapes).lines.drawn == [], "a book that does not say whose lines they are draws none"


def test_the_outline_is_there_where_states_are_and_empty_elsewhere():
    assert map_lines.outline(AROUND) and map_lines.outline((-40.0, 100.0, -39.0, 101.0)) == []


def test_the_outline_passes_the_corner_where_four_states_meet():
    """The monument of the Four Corners: US National Geodetic Survey, quoted from memory. The outline is generalised, so within 10 km."""
    near = map_lines.outline((36.5, -109.5, 37.5, -108.5))
    north = [abs(latitude - 36.99904) * 111.2 for line in near for latitude, longitude in line if abs(longitude + 109.04517) * 88.9 < 10]
    assert north and min(north) < 10
