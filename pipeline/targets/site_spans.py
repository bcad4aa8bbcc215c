"""What kind of sites a taxon was found at, in words coarse enough to give none of them away."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

import pandas as pd

from pipeline.formulas.places import place_figures
from pipeline.writing.site_counts import in_class

LEAST_SITES, ELEVATION_STEP_M, CANOPY_STEP_PCT = (
    int(place_figures()[name]) for name in ("span_sites_least", "span_elevation_step_m", "span_canopy_step_pct")
)

SITES = f"""
WITH found AS (SELECT DISTINCT f.taxon, s.* EXCLUDE (latitude), p.latitude
  FROM finds f JOIN visits v USING (visit_id) JOIN sites s USING (site_id) LEFT JOIN shown_places p USING (site_id)
  WHERE NOT list_contains($hidden::VARCHAR[], site_id)),
spans AS (SELECT taxon, count(*) AS n_sites,
    count(elevation_m) AS n_elevation, count(latitude) AS n_latitude, count(canopy_pct) AS n_canopy,
    min(elevation_m) / {ELEVATION_STEP_M} AS lowest, max(elevation_m) / {ELEVATION_STEP_M} AS highest, round(avg(latitude)) AS latitude,
    min(canopy_pct) / {CANOPY_STEP_PCT} AS barest, max(canopy_pct) / {CANOPY_STEP_PCT} AS densest
  FROM found GROUP BY taxon)
SELECT taxon, n_sites, n_elevation, n_latitude, n_canopy, latitude,
  floor(lowest) * {ELEVATION_STEP_M} AS elevation_low, ceil(highest) * {ELEVATION_STEP_M} AS elevation_high,
  floor(barest) * {CANOPY_STEP_PCT} AS canopy_low, ceil(densest) * {CANOPY_STEP_PCT} AS canopy_high
FROM spans ORDER BY taxon
"""


def site_spans(connection: Any, hidden: Collection[str], latitudes: Mapping[str, float]) -> dict[str, str]:
    """Say at what elevations, latitude and canopy each taxon was found (method §2).

    Parameters
    ----------
    connection : duckdb connection
        An open book.
    hidden : collection of str
        Codes of sites that are withheld: nothing is told of them, nor that there are any.
    latitudes : mapping of str to float
        Latitude of the middle of the square in which each site is shown, degrees. With the true ones a mean that passes a half would
        tell on which side of its square a new site lies.

    Returns
    -------
    dict of str to str
        Taxon to a sentence. Elevations and canopy are widened to whole steps (data/reference/places.csv), latitude rounded to a whole
        degree, and a figure that fewer than `span_sites_least` sites give is left out, so that no site can be told from it.
    """
    places = pd.DataFrame({"site_id": pd.Series(list(latitudes), dtype="str"), "latitude": pd.Series(latitudes.values(), dtype="float64")})
    connection.register("shown_places", places)
    frame = connection.execute(SITES, {"hidden": sorted(hidden)}).df()
    connection.unregister("shown_places")
    return {str(row.taxon): _sentence(row) for row in frame.itertuples()}


def _sentence(row: Any) -> str:
    parts = []
    if row.n_elevation >= LEAST_SITES:
        parts.append(f"{row.elevation_low:.0f} to {row.elevation_high:.0f} m above the sea (widened to {ELEVATION_STEP_M} m)")
    if row.n_latitude >= LEAST_SITES and pd.notna(row.latitude):
        parts.append(f"near latitude {abs(row.latitude):.0f}° {'N' if row.latitude >= 0 else 'S'}")
    if row.n_canopy >= LEAST_SITES:
        parts.append(f"canopy {row.canopy_low:.0f} to {row.canopy_high:.0f} %")
    said = "; ".join(parts) or "elevation, latitude and canopy are not noted, or not for enough sites to be told without giving one away"
    return f"Found at {in_class(row.n_sites)}: {said}."
