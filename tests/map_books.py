"""Invented books in memory, and the maps of them."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.formulas.places import place_figures
from pipeline.maps import parts as map_parts
from pipeline.maps.frames import map_figures
from pipeline.publishing import protect
from pipeline.settings import parse_settings
from schemas.tables import fields

SETTINGS = parse_settings(
    """
    [book]
    title = "Rill survey"
    invented = true
    time_zone = "America/New_York"
    licence = "CC BY 4.0"
    author = "Field group"
    [[taxon]]
    code = "DA"
    scientific_name = "Desmognathus alpha"
    group = "cool_stream"
    [[taxon]]
    code = "EB"
    scientific_name = "Eurycea beta"
    group = "cool_stream"
    sensitivity = "1"
    [[taxon]]
    code = "GG"
    scientific_name = "Gyrinophilus gamma"
    group = "cool_stream"
    sensitivity = "withheld"
    """,
    "test",
)
TRICK = "${document.title='x'}`\\u0041<img src=x onerror=\"document.title='y'\"> {{7*7}}"


def frame(table, rows):
    """Rows as the book's view has them: every declared field, missing where not given."""
    kinds = {"real": "float64", "whole": "Int64", "yes_no": "boolean", "day": "datetime64[us]"}
    declared = fields(table)
    whole = pd.DataFrame(rows, columns=[*declared])
    return whole.astype({name: kinds.get(field.kind, "str") for name, field in declared.items()})


def site(name, latitude=None, longitude=None, **more):
    usual = {"site_name": f"Name {name}", "habitat": "stream", "datum": "WGS84"}
    return {"site_id": f"SITE-{name}", "latitude": latitude, "longitude": longitude, **usual, **more}


def visit(name, site_name, date="2021-06-17", **more):
    usual = {"start_time": "21:43", "protocol": "night_search", "target_taxa": "DA", "all_counted": True}
    return {"visit_id": f"V-{name}", "site_id": f"SITE-{site_name}", "visit_date": date, **usual, **more}


def find(name, visit_name, taxon="DA", stage="adult", **more):
    usual = {"count": 1, "microhabitat": "rock_in_flow", "found_at": "22:37"}
    return {"find_id": f"F-{name}", "visit_id": f"V-{visit_name}", "taxon": taxon, "life_stage": stage, **usual, **more}


def book(sites, visits, finds, incomplete=(), points=()):
    all_visits = frame("visits", visits)
    all_visits["incomplete"] = all_visits["visit_id"].isin([f"V-{name}" for name in incomplete])
    return frame("sites", sites), all_visits, frame("finds", finds), frame("availability", points)


KEY = b"a secret of this test"
LEAST_FINDS, LEAST_VISITS = int(place_figures()["few_finds"]), int(map_figures()["public_visits_least"])


def parts_of(frames, settings=SETTINGS, published=None, doubts=(), key=KEY, shapes=None, tiles=""):
    tables, _ = protect.public_rows(protect.BookRows(*frames), settings, key, published or {})
    return map_parts.public_parts(tables, doubts, settings, shapes, tiles)


def known_of(frames):
    return dict(zip(("sites", "visits", "finds", "availability"), frames, strict=True))


def exact_parts_of(frames, settings=SETTINGS, shapes=None, tiles=""):
    return map_parts.exact_parts(known_of(frames), settings, shapes, tiles)


def cells_of(frames, settings=SETTINGS, **more):
    return parts_of(frames, settings, **more).cells


def finds_of(cells):
    return cells[~cells["layer"].isin(["nothing_found", "visits", "available"])]


def enough(site_name="A", month="2021-06", taxon="DA", stage="adult", visits=3, finds=6, start=0, **more):
    """So many visits in a month, and so many finds spread over them."""
    all_visits = [visit(f"{site_name}{month}{start + n}", site_name, f"{month}-{n + 1:02d}") for n in range(visits)]
    own = f"{site_name}{month}{taxon}{stage}"
    all_finds = [find(f"{own}{start + n}", f"{site_name}{month}{start + n % visits}", taxon, stage, **more) for n in range(finds)]
    return all_visits, all_finds


def study(*several, sites=None):
    """A book of the visits and finds that :func:`enough` gives."""
    visits = {one["visit_id"]: one for all_visits, _ in several for one in all_visits}
    finds = {one["find_id"]: one for _, all_finds in several for one in all_finds}
    return book(sites or [site("A", 36.21437, -81.93783)], list(visits.values()), list(finds.values()))


def crowd(seed=7, trick=True):
    """Fourteen invented sites and their finds in an invented study; a taxon of a coarser class at every third site."""
    draw = np.random.default_rng(seed)
    habitats = ["stream"] * 7 + ["headwater"] * 3 + ["seep", "spring", "forest", "forest"]
    sites = [
        site(
            f"{n:02d}",
            float(36.12 + 0.24 * draw.random()),
            float(-82.07 + 0.33 * draw.random()),
            habitat=kind,
            coordinate_uncertainty_m=30.0,
            remarks="Gate code in the shed",
        )
        for n, kind in enumerate(habitats)
    ]
    if trick:
        sites[3].update(site_name=TRICK, remarks=TRICK)
    visits, finds, points = [], [], []
    for n in range(140):
        where, month = int(draw.integers(14)), int(draw.integers(3, 12))
        visits.append(
            visit(
                f"{n:03d}",
                f"{where:02d}",
                f"{2021 + n % 2}-{month:02d}-{int(draw.integers(10, 28))}",
                start_time=f"{draw.integers(19, 23)}:{draw.integers(31, 59)}",
                target_taxa="DA|EB" if n % 5 else "DA",
                search_minutes=40.0,
            )
        )
        points.append({"point_id": f"P-{n:03d}", "visit_id": f"V-{n:03d}", "microhabitat": "rock_in_flow", "water_temp_c": 8.0 + month})
        for k in range(int(draw.integers(0, 6)) * (n % 4 > 0)):
            stage = str(
                draw.choice(["larva", "adult", "juvenile", "metamorph", "egg_mass", "hatchling"], p=[0.35, 0.3, 0.15, 0.08, 0.07, 0.05])
            )
            wet = stage in ("larva", "hatchling")
            finds.append(
                find(
                    f"{n:03d}-{k}",
                    f"{n:03d}",
                    str(draw.choice(["DA", "DA", "EB" if where % 3 == 0 else "DA", "GG"])),
                    stage,
                    count=int(draw.integers(1, 5)),
                    microhabitat=str(draw.choice(["rock_in_flow", "leaf_pack"] if wet else ["rock_at_edge", "rock_on_bank", "on_surface"])),
                    water_temp_c=round(float(8 + month + draw.normal()), 1),
                    substrate_temp_c=round(float(8 + month + draw.normal()), 1),
                    air_temp_c=round(float(9 + month + draw.normal()), 1),
                    found_at=f"{draw.integers(20, 23)}:{draw.integers(31, 59)}",
                    latitude=sites[where]["latitude"] + 0.0003,
                    longitude=sites[where]["longitude"] - 0.0004,
                    remarks=TRICK if trick and k == 0 else None,
                )
            )
    return book(sites, visits, finds, points=points)
