"""Published grid squares and visits for maps: GeoPackage and GeoJSON. The door to geopandas for what is written."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from pipeline.publishing.publication import INVENTED, Statement, generalised
from schemas.public import public_fields

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

WGS84 = "EPSG:4326"


def write_geopackage(path: Path, tables: Mapping[str, pd.DataFrame], said: Statement) -> Path:
    """Write the squares with their finds and the visits, each as its square.

    Parameters
    ----------
    path : Path
        File to write; one that exists is replaced.
    tables : mapping of str to DataFrame
        The public tables with `squares`.
    said : Statement

    Returns
    -------
    Path

    References
    ----------
    OGC GeoPackage 1.4, as GDAL writes it.
    """
    import pyogrio

    path.unlink(missing_ok=True)
    # else the file would hold the second at which it was written
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": f"{said.published}T00:00:00.000Z"})
    try:
        for layer, frame in (("squares", square_shapes(tables["squares"])), ("visits", visit_shapes(tables["visits"]))):
            pyogrio.write_dataframe(frame, path, layer=layer, driver="GPKG", description=about(tables, said), append=path.exists())
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
    return path


def write_geojson(path: Path, tables: Mapping[str, pd.DataFrame], said: Statement) -> Path:
    """Write the squares with their finds.

    Parameters
    ----------
    path, tables, said
        As for :func:`write_geopackage`.

    Returns
    -------
    Path

    References
    ----------
    RFC 7946: WGS 84, longitude before latitude, outer rings counter-clockwise, no member `crs`.
    """
    import pyogrio

    path.unlink(missing_ok=True)
    shapes = square_shapes(tables["squares"])
    pyogrio.write_dataframe(shapes, path, driver="GeoJSON", layer="squares", RFC7946="YES", DESCRIPTION=about(tables, said))
    return path


def about(tables: Mapping[str, pd.DataFrame], said: Statement) -> str:
    """Title, licence, citation and what was done to the places, in one text."""
    steps = sorted(set(tables["visits"]["grid_step_deg"]), key=float)
    parts = [*([INVENTED] if said.invented else []), f"{said.title}. {said.licence}: {said.licence_iri}. Cite as: {said.citation}"]
    return " ".join([*parts, *(generalised(step) for step in steps), said.withheld])


def square_shapes(squares: pd.DataFrame) -> GeoDataFrame:
    """Rows of the table `squares` as polygons, counter-clockwise."""
    from shapely import box

    return _shapes(squares, box(squares["west"], squares["south"], squares["east"], squares["north"], ccw=True), "squares")


def visit_shapes(visits: pd.DataFrame) -> GeoDataFrame:
    """Rows of the table `visits` as the polygons of their squares."""
    from shapely import from_wkt

    return _shapes(visits, from_wkt(visits["footprint_wkt"].to_numpy(dtype=object)), "visits")


def _shapes(frame: pd.DataFrame, shapes: object, table: str) -> GeoDataFrame:
    import geopandas

    declared = public_fields(table)
    text = {name: frame[name].astype("object").where(frame[name].notna(), None) for name in declared if declared[name].kind in _AS_TEXT}
    return geopandas.GeoDataFrame(frame.assign(**text), geometry=shapes, crs=WGS84)


_AS_TEXT = ("text", "code", "codes")
