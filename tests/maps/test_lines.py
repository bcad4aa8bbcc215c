"""Streams and boundaries on maps: read in any coordinate system, cut, thinned, and never a pointer to one spot on a public map."""

from __future__ import annotations

import json
import math

import geopandas
import pytest
from shapely.geometry import LineString, MultiLineString, Point, Polygon

from pipeline.errors import RillbookError
from pipeline.maps import lines as map_lines
from pipeline.maps.frames import map_figures

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
    start = map_lines.read_lines(path).iloc[0].coords[0]
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


def test_lines_are_cut_to_the_map_and_boundaries_told_from_streams(tmp_path):
    area = Polygon([(-82.2, 36.05), (-81.6, 36.05), (-81.6, 36.45)])
    drawn = map_lines.lines_for(map_lines.read_lines(written(tmp_path, [LONG, area])), (36.0, -82.1, 36.5, -81.8), None).drawn
    assert {kind for kind, _ in drawn} == {"stream", "boundary"}
    for _, points in drawn:
        assert all(36.0 <= y <= 36.5 and -82.1 <= x <= -81.8 for y, x in points)


def test_a_public_map_leaves_off_what_would_mark_one_spot(tmp_path):
    spring_run = LineString([(-81.94, 36.21), (-81.93, 36.22)])
    parcel = Polygon([(-81.95, 36.2), (-81.94, 36.2), (-81.94, 36.21)])
    shapes = map_lines.read_lines(written(tmp_path, [LONG, spring_run, parcel]))
    public, exact = map_lines.lines_for(shapes, AROUND, 0.1), map_lines.lines_for(shapes, AROUND, None)
    assert len(exact.drawn) == 3 and len(public.drawn) == 1
    assert "2 of the lines given" in public.notes[0] and not exact.notes


def test_a_network_in_short_pieces_counts_as_one(tmp_path):
    pieces = [LineString([(-82.2 + 0.02 * n, 36.2), (-82.2 + 0.02 * (n + 1), 36.2)]) for n in range(20)]
    shapes = map_lines.read_lines(written(tmp_path, [MultiLineString(pieces[:10]), *pieces[10:]]))
    assert len(map_lines.lines_for(shapes, AROUND, 0.1).drawn) == 20


def test_too_many_corners_are_thinned_and_the_page_says_so(tmp_path):
    most = int(map_figures()["line_points_most"])
    wavy = [LineString([(-82.4 + 0.8 * n / 9999, 36.1 + 0.01 * k + 0.0004 * math.sin(n)) for n in range(10000)]) for k in range(4)]
    found = map_lines.lines_for(map_lines.read_lines(written(tmp_path, wavy)), AROUND, None)
    assert 0 < sum(len(points) for _, points in found.drawn) <= most and "drawn to about" in found.notes[0]


def test_the_outline_is_there_where_states_are_and_empty_elsewhere():
    assert map_lines.outline(AROUND) and map_lines.outline((-40.0, 100.0, -39.0, 101.0)) == []


def test_the_outline_passes_the_corner_where_four_states_meet():
    """The monument of the Four Corners: US National Geodetic Survey, quoted from memory. The outline is generalised, so within 10 km."""
    near = map_lines.outline((36.5, -109.5, 37.5, -108.5))
    north = [abs(latitude - 36.99904) * 111.2 for line in near for latitude, longitude in line if abs(longitude + 109.04517) * 88.9 < 10]
    assert north and min(north) < 10
