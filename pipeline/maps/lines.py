"""Streams and boundaries that a user gives, and the outline under the map, both from files. A door to geopandas."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.errors import RillbookError
from pipeline.maps.frames import map_figures
from pipeline.settings import data_file

Line = tuple[str, list[tuple[float, float]]]
STREAM, BOUNDARY = "stream", "boundary"
METRES_A_DEGREE = 111_320.0
EXACT_DIGITS, PUBLIC_DIGITS, OUTLINE_DIGITS = 5, 3, 2


@dataclass(frozen=True)
class Lines:
    """Lines to draw on a map.

    Attributes
    ----------
    drawn : list of Line
        Kind (``stream`` or ``boundary``) and corners as latitude and longitude in degrees WGS 84.
    notes : list of str
        What was left out and why, in sentences.
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
    GeoSeries
        Lines and polygons, WGS 84. Names and other attributes are not taken over: a map shows none of them.

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
                    parts.append(_in_wgs84(found.geometry, layer, path))
    except RillbookError:
        raise
    except Exception as problem:
        reason = (str(problem).splitlines() or [type(problem).__name__])[0].rstrip(".")
        raise RillbookError(f"its lines cannot be read ({reason}).", "Give a GeoPackage or GeoJSON file.", str(path)) from None
    shapes = pd.concat(parts, ignore_index=True).explode(ignore_index=True) if parts else None
    if shapes is not None:
        shapes = shapes[shapes.geom_type.isin(["LineString", "LinearRing", "Polygon"]) & ~shapes.is_empty].reset_index(drop=True)
    if shapes is None or shapes.empty:
        raise RillbookError("it holds neither lines nor areas.", "Give streams as lines and boundaries as lines or areas.", str(path))
    return shapes


def _in_wgs84(shapes: Any, layer: str, path: Path) -> Any:
    if shapes.crs is None:
        remedy = "Write the file again with its coordinate system: guessing one would draw the streams in the wrong place."
        raise RillbookError(f"its layer {layer!r} states no coordinate system.", remedy, str(path))
    return shapes[shapes.notna()].force_2d().to_crs("EPSG:4326")


def lines_for(shapes: Any, bounds: tuple[float, float, float, float], finest_step: float | None) -> Lines:
    """Cut lines to a map and thin them out.

    Parameters
    ----------
    shapes : GeoSeries
        From :func:`read_lines`.
    bounds : tuple of float
        South, west, north, east of the map, degrees.
    finest_step : float or None
        Side of the finest grid square of a public map, degrees; None for an exact map. On a public map a piece that fits into such a
        square both ways is left out: alone it would mark one spot.

    Returns
    -------
    Lines
    """
    from shapely.geometry import box

    south, west, north, east = bounds
    notes = []
    if finest_step is not None:
        whole = _larger(shapes, finest_step)
        if len(whole) < len(shapes):
            notes.append(f"{len(shapes) - len(whole)} of the lines given are no longer than a grid square and are left off a public map.")
        shapes = whole
    cut = shapes.map(lambda shape: shape.exterior if shape.geom_type == "Polygon" else shape)
    kinds = shapes.geom_type.map(lambda kind: BOUNDARY if kind == "Polygon" else STREAM)
    cut = cut.intersection(box(west, south, east, north))
    digits = EXACT_DIGITS if finest_step is None else PUBLIC_DIGITS
    most, metres = int(map_figures()["line_points_most"]), 0.0 if finest_step is None else finest_step * METRES_A_DEGREE / 100
    while True:
        thin = cut.simplify(metres / METRES_A_DEGREE) if metres else cut
        drawn = [line for kind, shape in zip(kinds, thin, strict=True) for line in _corners(kind, shape, digits)]
        if sum(len(points) for _, points in drawn) <= most:
            break
        metres = max(2 * metres, 5.0)
    if metres:
        notes.append(f"Lines are drawn to about {metres:.0f} m: smaller bends are left out.")
    return Lines(drawn, notes)


def _larger(shapes: Any, step: float) -> Any:
    """Pieces that hang together over more than a grid square, one way or the other; a network counts as one piece."""
    import geopandas

    # in plain degrees: what hangs together needs no metres
    bare = shapes.set_crs(None, allow_override=True)
    near = geopandas.GeoSeries([bare.buffer(step / 1000).union_all()]).explode(ignore_index=True)
    points = geopandas.GeoDataFrame(geometry=bare.representative_point())
    joined = points.sjoin(geopandas.GeoDataFrame(geometry=near.buffer(step / 1000)))
    sides = near.bounds
    wide = (sides["maxx"] - sides["minx"] > step) | (sides["maxy"] - sides["miny"] > step)
    kept = joined.index[joined["index_right"].map(wide)].unique().sort_values()
    return shapes.loc[kept].reset_index(drop=True)


def _corners(kind: str, shape: Any, digits: int) -> list[Line]:
    if shape is None or shape.is_empty:
        return []
    if hasattr(shape, "geoms"):
        return [line for part in shape.geoms for line in _corners(kind, part, digits)]
    if shape.geom_type not in ("LineString", "LinearRing"):
        return []
    return [(kind, [(round(float(y), digits), round(float(x), digits)) for x, y in shape.coords])]


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
    return [points for shape in borders for _, points in _corners(BOUNDARY, shape, OUTLINE_DIGITS)]
