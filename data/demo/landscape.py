"""The invented landscape of the invented study: streams, a pond, a ridge and a county line, as GeoJSON."""

from __future__ import annotations

import json
from typing import Any

import numpy as np

SEED = 36
HALVINGS = 4
Point = tuple[float, float]
# Latitude and longitude of the bends, from the head of a stream to where it joins another or leaves the picture. None of it is anywhere.
LINES: tuple[tuple[str, str, float, tuple[Point, ...]], ...] = (
    ("stream", "invented North Rill", 0.16, (
        (36.268, -81.998), (36.2912, -81.9743), (36.3127, -81.9315), (36.3384, -81.8876), (36.346, -81.866), (36.3521, -81.8402),
        (36.366, -81.803), (36.374, -81.782), (36.405, -81.712), (36.438, -81.655), (36.468, -81.592), (36.512, -81.535), (36.561, -81.432),
        (36.662, -81.318), (36.905, -81.115), (37.062, -80.948),
    )),
    ("stream", "invented tributary", 0.16, ((36.232, -81.944), (36.2634, -81.9462), (36.291, -81.944), (36.3127, -81.9315))),
    ("stream", "invented tributary", 0.16, (
        (36.243, -81.914), (36.2769, -81.8918), (36.3069, -81.8614), (36.331, -81.866), (36.346, -81.866),
    )),
    ("stream", "invented tributary", 0.16, (
        (36.486, -81.912), (36.452, -81.887), (36.4218, -81.8558), (36.392, -81.826), (36.366, -81.803),
    )),
    ("stream", "invented tributary", 0.16, (
        (36.2385, -81.806), (36.2577, -81.7981), (36.2835, -81.7719), (36.3245, -81.7934), (36.352, -81.786), (36.374, -81.782),
    )),
    ("stream", "invented tributary", 0.16, ((36.286, -81.637), (36.322, -81.648), (36.3641, -81.6712), (36.405, -81.712))),
    ("stream", "invented East Rill", 0.16, (
        (36.2205, -81.776), (36.2263, -81.7354), (36.2455, -81.697), (36.2388, -81.6557), (36.262, -81.592), (36.318, -81.552),
        (36.372, -81.528), (36.418, -81.478), (36.489, -81.446), (36.561, -81.432),
    )),
    ("stream", "invented South Rill", 0.16, (
        (36.188, -81.968), (36.1482, -81.9263), (36.133, -81.879), (36.112, -81.829), (36.0871, -81.7863), (36.047, -81.758),
        (36.017, -81.731), (35.978, -81.702), (35.881, -81.652),
    )),
    ("stream", "invented tributary", 0.16, ((36.198, -81.872), (36.1726, -81.8534), (36.139, -81.846), (36.112, -81.829))),
    ("stream", "invented tributary", 0.16, (
        (36.183, -81.727), (36.158, -81.741), (36.1315, -81.7617), (36.108, -81.778), (36.0871, -81.7863),
    )),
    ("ridge", "invented Lark Ridge", 0.1, (
        (36.197, -82.14),
        (36.206, -82.03), (36.216, -81.955), (36.222, -81.892), (36.209, -81.829), (36.204, -81.765), (36.196, -81.688), (36.203, -81.602),
        (36.187, -81.508), (36.193, -81.46), (36.215, -81.27), (36.248, -81.08), (36.241, -80.87),
    )),
    ("border", "invented county line", 0.0, (
        (37.05, -81.74), (36.53, -81.683), (36.31, -81.602), (36.203, -81.602), (36.1, -81.64), (35.87, -81.64),
    )),
)  # fmt: skip
LAKE = ("lake", "invented pond", 0.08, (
    (36.0475, -81.7605), (36.0415, -81.7455), (36.0335, -81.7395), (36.0325, -81.7475), (36.0385, -81.7595), (36.0445, -81.7655),
    (36.0475, -81.7605),
))  # fmt: skip


def _bent(rng: np.random.RandomState, corners: tuple[Point, ...], rough: float) -> list[Point]:
    """Bend a line by moving the middles of its pieces sideways, again and again; its corners stay."""
    points = np.array(corners)
    for _ in range(HALVINGS if rough else 0):
        piece = np.diff(points, axis=0)
        sideways = np.column_stack([-piece[:, 1], piece[:, 0]]) * np.clip(rng.normal(0, rough, len(piece)), -2 * rough, 2 * rough)[:, None]
        middles = points[:-1] + piece / 2 + sideways
        points = np.insert(points, np.arange(1, len(points)), middles, axis=0)
    return [(round(float(y), 4), round(float(x), 4)) for y, x in points]


def geojson() -> str:
    """The landscape as GeoJSON (RFC 7946), longitude first; each shape says its kind and that it is invented."""
    rng = np.random.RandomState(SEED)
    features: list[dict[str, Any]] = []
    for kind, name, rough, corners in (*LINES, LAKE):
        places = [[x, y] for y, x in _bent(rng, corners, rough)]
        shape = {"type": "Polygon", "coordinates": [places]} if kind == "lake" else {"type": "LineString", "coordinates": places}
        features.append({"type": "Feature", "properties": {"kind": kind, "name": name}, "geometry": shape})
    lines = ",\n".join(json.dumps(feature) for feature in features)
    said = "Invented landscape of the invented study. There are no such streams."
    return f'{{"type": "FeatureCollection", "description": {json.dumps(said)}, "features": [\n{lines}\n]}}\n'
