"""Rows of a book written by hand, and what is published of them."""

from __future__ import annotations

from functools import cache

import pandas as pd

from pipeline.publishing.protect import BookRows, public_rows
from pipeline.settings import parse_settings
from schemas.tables import fields

KEY = b"0123456789abcdef0123456789abcdef"
CLASSES = {"AA": "0.01", "BB": "0.1", "CC": "1", "DD": "withheld"}


def book_text(step: str = "0.01", **classes: str) -> str:
    """Text of a rillbook.toml."""
    taxa = "".join(
        f'[[taxon]]\ncode = "{code}"\nscientific_name = "Genus {code.lower()}"\ngroup = "cool_stream"\nsensitivity = "{own}"\n'
        for code, own in (classes or CLASSES).items()
    )
    return f'[book]\ntitle = "t"\nauthor = "a"\nlicence = "CC0-1.0"\ntime_zone = "UTC"\npublic_precision_deg = "{step}"\n{taxa}'


@cache
def book_settings(step: str = "0.01", **classes: str):
    return parse_settings(book_text(step, **classes), "test")


def frame(table: str, rows: list[dict]) -> pd.DataFrame:
    """Rows as the book's view has them."""
    kinds = {"real": "float64", "whole": "Int64", "yes_no": "boolean", "day": "datetime64[us]", "instant": "datetime64[us]"}
    declared = fields(table)
    return pd.DataFrame(rows, columns=list(declared)).astype({name: kinds.get(one.kind, "str") for name, one in declared.items()})


def site(name: str, latitude=35.61234, longitude=-83.48901, **more) -> dict:
    usual = {"habitat": "stream", "datum": "WGS84", "coordinate_uncertainty_m": 12.0, "site_name": f"Old mill {name}"}
    return {"site_id": name, "latitude": latitude, "longitude": longitude, **usual, **more}


def visit(name: str, at: str, **more) -> dict:
    usual = {
        "visit_date": "2024-06-17",
        "start_time": "21:43",
        "protocol": "night_search",
        "target_taxa": "AA|BB|CC|DD",
        "all_counted": True,
    }
    return {"visit_id": name, "site_id": at, **usual, **more}


def find(name: str, at: str, taxon: str = "AA", stage: str = "adult", **more) -> dict:
    return {
        "find_id": name,
        "visit_id": at,
        "taxon": taxon,
        "life_stage": stage,
        "count": 1,
        "microhabitat": "rock_in_flow",
        "id_certainty": "certain",
        **more,
    }


def rows(sites: list[dict], visits: list[dict], finds: list[dict] = (), points: list[dict] = (), held=(), unsettled=()) -> BookRows:
    all_visits = frame("visits", visits)
    all_visits["incomplete"] = all_visits["visit_id"].isin(held)
    return BookRows(
        frame("sites", sites), all_visits, frame("finds", list(finds)), frame("availability", list(points)), frozenset(unsettled)
    )


def published(given_rows: BookRows, chosen=None, before=None):
    return public_rows(given_rows, chosen or book_settings(), KEY, before or {})
