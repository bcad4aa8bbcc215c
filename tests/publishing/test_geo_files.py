"""Squares and visits as polygons: RFC 7946 wants outer rings counter-clockwise, longitude first."""

from __future__ import annotations

import itertools

import pandas as pd

from pipeline.publishing.geo_files import square_shapes, visit_shapes
from schemas.public import public_fields


def one(table: str, **given: object) -> pd.DataFrame:
    return pd.DataFrame([{**dict.fromkeys(public_fields(table)), **given}])


def test_a_square_is_a_closed_ring_counter_clockwise_in_degrees() -> None:
    """By hand: the square of 0.1° with its corner at 35.6° N 83.5° W has an area of 0.01 square degrees."""
    made = square_shapes(one("squares", south=35.6, west=-83.5, north=35.7, east=-83.4, taxon="T"))
    (shape,) = made.geometry
    ring = list(shape.exterior.coords)
    twice = sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in itertools.pairwise(ring))
    assert ring[0] == ring[-1] and len(ring) == 5 and round(twice / 2, 9) == 0.01
    assert shape.bounds == (-83.5, 35.6, -83.4, 35.7) and made.crs.to_epsg() == 4326


def test_a_visit_is_its_square_and_a_missing_text_is_missing() -> None:
    wkt = "POLYGON ((-83.4 35.6, -83.4 35.7, -83.5 35.7, -83.5 35.6, -83.4 35.6))"
    made = visit_shapes(one("visits", footprint_wkt=wkt, event_id="e1"))
    assert made.geometry.iloc[0].bounds == (-83.5, 35.6, -83.4, 35.7)
    text = [name for name, field in public_fields("visits").items() if field.kind == "code"]
    assert text and made[text].isna().all(axis=None)
