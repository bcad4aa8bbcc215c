"""Streams, lakes, ridges and borders that a user gives, and the outline under the map, both from files. A door to geopandas."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.errors import RillbookError
from pipeline.maps.frames import map_figures
from pipeline.settings import data_file

Line = tuple[str, list[tuple[float, float]]]
STREAM, LAKE, RIDGE, BORDER = KINDS = ("stream", "lake", "ridge", "border")
METRES_A_DEGREE = 111_320.0
# corners are written to so many degrees
EXACT, OUTLINE = 1e-5, 0.01
# what lies closer together, in degrees, is one place
TOUCH = 1e-9


@dataclass(frozen=True)
class Lines:
    """Lines to draw on a map.

    Attributes
    ----------
    drawn : list of Line
        Kind (one of ``KINDS``) and corners as latitude and longitude in degrees WGS 84.
    notes : list of str
        Whose they are, and what was left out and why, in sentences.
    """

    drawn: list[Line]
    notes: list[str]


def read_lines(path: Path) -> Any:
    """Read the lines and areas of a file.

    Parameters
    ----------
    path : Path
        GeoPackage or GeoJSON with any number of layers, each with its coordinate system; what else the library reads will do.

    Returns
    -------
    GeoDataFrame
        `kind` (one of ``KINDS``) and `geometry`, lines and polygons, WGS 84. The kind is that of the file's column `kind` where it has
        one; else a line is a stream and an area a border. Names and all else are not taken over: a map shows none of them.

    Raises
    ------
    RillbookError
        The file is missing, cannot be read, states no coordinate system, or holds neither lines nor areas.
    """
    import geopandas
    import pandas as pd

    if not path.is_file():
        raise RillbookError("there is no such file.", "Check the name.", str(path))
    parts = []
    try:
        with warnings.catch_warnings():
            # layers without shapes and fields of odd kinds are told about one by one
            warnings.simplefilter("ignore")
            for layer in geopandas.list_layers(path)["name"]:
                found = geopandas.read_file(path, layer=layer, engine="pyogrio")
                if isinstance(found, geopandas.GeoDataFrame) and found.geometry.notna().any():
                    parts.append(_in_wgs84(found, layer, path))
    except RillbookError:
        raise
    except Exception as problem:
        reason = (str(problem).splitlines() or [type(problem).__name__])[0].rstrip(".")
        raise RillbookError(f"its lines cannot be read ({reason}).", "Give a GeoPackage or GeoJSON file.", str(path)) from None
    shapes = pd.concat(parts, ignore_index=True).explode(ignore_index=True) if parts else None
    if shapes is not None:
        shapes = shapes[shapes.geom_type.isin(["LineString", "LinearRing", "Polygon"]) & ~shapes.is_empty].reset_index(drop=True)
    if shapes is None or shapes.empty:
        raise RillbookError("it holds neither lines nor areas.", "Give streams as lines and borders as lines or areas.", str(path))
    areas = shapes.geom_type == "Polygon"
    return shapes.assign(kind=shapes["kind"].where(shapes["kind"].isin(KINDS), areas.map({True: BORDER, False: STREAM})))


def _in_wgs84(found: Any, layer: str, path: Path) -> Any:
    import geopandas

    if found.crs is None:
        remedy = "Write the file again with its coordinate system: guessing one would draw the streams in the wrong place."
        raise RillbookError(f"its layer {layer!r} states no coordinate system.", remedy, str(path))
    shaped = found[found.geometry.notna()]
    column = next((name for name in shaped.columns if str(name).casefold() == "kind"), None)
    kinds = shaped[column].astype("str").str.strip().str.lower() if column is not None else [""] * len(shaped)
    return geopandas.GeoDataFrame({"kind": kinds}, geometry=shaped.geometry.force_2d(), crs=found.crs).to_crs("EPSG:4326")


def exact_lines(shapes: Any, bounds: tuple[float, float, float, float]) -> Lines:
    """Cut lines to the exact map, and thin them out where they have too many corners.

    Parameters
    ----------
    shapes : GeoDataFrame
        From :func:`read_lines`.
    bounds : tuple of float
        South, west, north, east of the map, degrees.
    """
    return _drawn(list(zip(shapes["kind"], _edges(shapes), strict=True)), bounds, 0.0, EXACT, [])


def public_lines(shapes: Any, bounds: tuple[float, float, float, float], step: float, lines_from: str) -> Lines:
    """Choose what a public map draws of lines: nothing that ends inside a grid square, or fits into one.

    Parameters
    ----------
    shapes : GeoDataFrame
        From :func:`read_lines`.
    bounds : tuple of float
        South, west, north, east of the map, degrees.
    step : float
        Side of the finest grid square of the map, degrees.
    lines_from : str
        Who published the lines. Empty: nothing is drawn.

    Returns
    -------
    Lines
        Drawn to a part of a square's side, see ``line_parts_a_square`` in data/reference/map.csv.

    Notes
    -----
    What is drawn follows from the file, the frame of the map and the side of its squares alone, never from the sites: leaving out a
    stream because a withheld spring lies at it would point at that spring. Areas and loops that fit into a square go, and so do lines
    that hang together over no more than one. An end of a line is where somebody would look for a spring; so the line is cut off where it
    enters the square in which it ends. Wherever in that square it ends, the picture is the same.
    """
    if not lines_from:
        said = "Lines were given and are left off: the book does not say who published them (`lines_from`)."
        return Lines([], [said])
    kept = _without_small(shapes, bounds, step)
    parts = [(kind, _without_ends(mine.geometry, step)) for kind, mine in kept.groupby("kind", sort=True)]
    per_square = int(map_figures()["line_parts_a_square"])
    notes = [f"Streams and borders: {lines_from}. They say nothing of finds: ends, and what fits into a square, are left off."]
    return _drawn(parts, bounds, step / per_square, step / per_square / 2, notes)


def _edges(shapes: Any) -> Any:
    return shapes.geometry.map(lambda shape: shape.exterior if shape.geom_type == "Polygon" else shape)


def _drawn(
    parts: list[tuple[str, Any]], bounds: tuple[float, float, float, float], tolerance: float, grid: float, notes: list[str]
) -> Lines:
    """Lines of kinds cut to the frame and made simpler until their corners are few enough."""
    from shapely.geometry import box

    south, west, north, east = bounds
    cut = [(kind, shape.intersection(box(west, south, east, north))) for kind, shape in parts]
    most, degrees = int(map_figures()["line_points_most"]), tolerance
    while True:
        drawn = [line for kind, shape in cut for line in _corners(kind, shape.simplify(degrees) if degrees else shape, grid)]
        if sum(len(points) for _, points in drawn) <= most:
            break
        degrees = max(2 * degrees, 5.0 / METRES_A_DEGREE)
    if degrees:
        notes = [*notes, f"Lines are drawn to about {degrees * METRES_A_DEGREE:.0f} m: smaller bends are left out."]
    return Lines(drawn, notes)


def _without_small(shapes: Any, bounds: tuple[float, float, float, float], step: float) -> Any:
    """Shapes near the map without areas and loops that fit into a square, and without pieces that hang together over no more than one."""
    import geopandas

    south, west, north, east = bounds
    # in plain degrees: what hangs together needs no metres
    bare = shapes.set_crs(None, allow_override=True)
    closed = (bare.geom_type == "Polygon") | bare.geometry.is_closed
    bare = bare[~closed | _wide(bare.geometry, step)]
    bare = bare.assign(geometry=_edges(bare)).cx[west - 2 * step : east + 2 * step, south - 2 * step : north + 2 * step]
    if bare.empty:
        return bare
    near = geopandas.GeoSeries([bare.geometry.buffer(step / 1000).union_all()]).explode(ignore_index=True)
    points = geopandas.GeoDataFrame(geometry=bare.geometry.map(lambda shape: shape.interpolate(0.5, normalized=True)))
    joined = points.sjoin(geopandas.GeoDataFrame(geometry=near[_wide(near, step)]))
    return bare.loc[joined.index.unique().sort_values()]


def _wide(shapes: Any, step: float) -> Any:
    sides = shapes.bounds
    return (sides["maxx"] - sides["minx"] > step) | (sides["maxy"] - sides["miny"] > step)


def _without_ends(shapes: Any, step: float) -> Any:
    """One shape of all lines, each cut off where it enters the square in which it ends; a loose loop that fits into a square goes too.

    An end that touches another line is none, until that line is gone.
    """
    import shapely

    lines = [line for line in _merged(shapes) if not line.is_closed or _wide_line(line, step)]
    settled: set[tuple[float, float]] = set()
    while loose := _loose_ends(lines, settled):
        settled.update(point for _, point in loose)
        for number in {number for number, _ in loose}:
            squares = [square for at, (x, y) in loose if at == number for square in _squares_at(x, y, step)]
            left = _merged([lines[number].difference(shapely.union_all(squares))])
            settled.update(point for part in left for point in (part.coords[0], part.coords[-1]) if point not in _ends_of(lines[number]))
            lines[number] = shapely.MultiLineString(left)
        lines = [part for line in lines for part in _merged([line])]
    return shapely.MultiLineString(_merged(lines))


def _merged(shapes: Any) -> list[Any]:
    """Lines joined where two and no more of them meet end to end."""
    import shapely

    parts = [part for part in shapely.get_parts(list(shapes)) if not part.is_empty]
    return [line for line in shapely.get_parts(shapely.line_merge(shapely.MultiLineString(parts))) if not line.is_empty]


def _ends_of(line: Any) -> set[tuple[float, float]]:
    return {line.coords[0], line.coords[-1]}


def _loose_ends(lines: list[Any], settled: set[tuple[float, float]]) -> list[tuple[int, tuple[float, float]]]:
    """Number of the line and place of each end that touches no other line and is not settled."""
    import shapely

    ends = [(number, point) for number, line in enumerate(lines) if not line.is_closed for point in _ends_of(line) - settled]
    if not ends:
        return []
    near = shapely.STRtree(lines).query(shapely.points([point for _, point in ends]), predicate="dwithin", distance=TOUCH)
    held = {int(end) for end, number in near.T if ends[end][0] != number}
    return [end for number, end in enumerate(ends) if number not in held]


def _wide_line(line: Any, step: float) -> bool:
    west, south, east, north = line.bounds
    return bool(east - west > step or north - south > step)


def _squares_at(x: float, y: float, step: float) -> list[Any]:
    """The grid square of a point; on a border those of both its sides."""
    import math

    import shapely

    corners = {(math.floor((x + a) / step), math.floor((y + b) / step)) for a in (-TOUCH, TOUCH) for b in (-TOUCH, TOUCH)}
    return [shapely.box(west * step, south * step, (west + 1) * step, (south + 1) * step) for west, south in sorted(corners)]


def _corners(kind: str, shape: Any, grid: float) -> list[Line]:
    """Corners of a line or of several, each moved to the nearest of a grid (degrees), the same place never twice on end."""
    if shape is None or shape.is_empty:
        return []
    if hasattr(shape, "geoms"):
        return [line for part in shape.geoms for line in _corners(kind, part, grid)]
    if shape.geom_type not in ("LineString", "LinearRing"):
        return []
    moved = [(round(round(float(y) / grid) * grid, 6), round(round(float(x) / grid) * grid, 6)) for x, y in shape.coords]
    points = [point for point, before in zip(moved, [None, *moved], strict=False) if point != before]
    return [(kind, points)] if len(points) > 1 else []


def outline(bounds: tuple[float, float, float, float]) -> list[list[tuple[float, float]]]:
    """Borders of the states around a map, generalised; nothing where the map lies elsewhere.

    Parameters
    ----------
    bounds : tuple of float
        South, west, north, east of the map, degrees.

    Returns
    -------
    list of list of tuple
        Corners of each border as latitude and longitude, degrees; generalised to some kilometres, no survey.

    Notes
    -----
    The 49 states of the mainland and Alaska in ``data/reference/state_borders.geojson``, public domain.
    """
    import geopandas
    from shapely.geometry import box

    south, west, north, east = bounds
    margin = max(3.0, north - south, east - west)
    states = geopandas.read_file(str(data_file("reference/state_borders.geojson"))).geometry
    borders = states.boundary.intersection(box(west - margin, south - margin, east + margin, north + margin))
    return [points for shape in borders for _, points in _corners(BORDER, shape, OUTLINE)]
