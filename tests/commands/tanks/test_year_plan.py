"""The latitude of the day length: that of squares which may be shown to everyone; no withheld place moves it."""

from __future__ import annotations

import math
from pathlib import Path
from types import SimpleNamespace

import pytest
from public_cases import book_settings, find, published, rows, site, visit

from pipeline.commands.tanks.year_plan import shown_latitude

SHOWN = [site("S1", 34.2), site("S2", 36.8)]
SECRET = site("S3", 51.4, public_precision_deg="withheld")


def latitude(monkeypatch: pytest.MonkeyPatch, sites: list[dict], taxon: str = "AA") -> float:
    visits = [visit(f"V{place}", one["site_id"]) for place, one in enumerate(sites)]
    finds = [find(f"F{place}", one["visit_id"], taxon) for place, one in enumerate(visits)]
    tables, _ = published(rows(sites, visits, finds))
    monkeypatch.setattr("pipeline.publishing.public_book.public_book", lambda *_: SimpleNamespace(tables=tables))
    return shown_latitude(Path(), book_settings(), taxon)


def test_a_withheld_site_has_no_part_in_it(monkeypatch: pytest.MonkeyPatch) -> None:
    # (34.2 + 36.8) / 2 = 35.5 to a whole degree; with the withheld site it would be 41
    assert latitude(monkeypatch, SHOWN) in (35.0, 36.0)
    assert latitude(monkeypatch, [*SHOWN, SECRET]) == latitude(monkeypatch, SHOWN)


def test_where_nothing_may_be_shown_there_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    assert math.isnan(latitude(monkeypatch, [SECRET]))
    assert math.isnan(latitude(monkeypatch, SHOWN, taxon="DD")), "a taxon that is withheld everywhere"


def test_many_visits_to_one_square_count_once(monkeypatch: pytest.MonkeyPatch) -> None:
    near = [site(f"N{place}", 30.2) for place in range(5)]
    assert latitude(monkeypatch, [*near, site("S9", 40.2)]) == 35.0
