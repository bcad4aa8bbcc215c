"""The invented study's permits and parcel, and small frames by hand."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.reports import permit as permit_report
from pipeline.settings.reports import Limit, Permit

TODAY = date(2026, 1, 10)


def sheet(study: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(study / "sheets" / f"{name}.csv", dtype="str", keep_default_na=False)


def csv_of(study: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(study / "out" / "private" / f"{name}.csv", keep_default_na=False)


TAXA = pd.DataFrame({"code": ["EWIL", "GPOR"], "scientific_name": ["Eurycea wilderae", "Gyrinophilus porphyriticus"]})
PERMIT = Permit("P/1", "", (2024, 2025), (Limit("any", "any", 5, 0), Limit("EWIL", "north", 3, None)))


def visit(name: str, day: str, permit: str | None = "P/1", site: str = "A", **more: Any) -> dict[str, Any]:
    return {
        "visit_id": name, "site_id": site, "visit_date": pd.Timestamp(day), "observers": "observer 1", "protocol": "cover_search",
        "permit": permit, "incomplete": False, **more,
    }  # fmt: skip


def find(name: str, of: str, count: int, fate: str | None, taxon: str = "EWIL", stage: str = "adult", **more: Any) -> dict[str, Any]:
    return {
        "find_id": name, "visit_id": of, "taxon": taxon, "life_stage": stage, "count": count, "disposition": fate, "animal_id": None,
        "photo": None, "latitude": float("nan"), "longitude": float("nan"), **more,
    }  # fmt: skip


NAN = float("nan")
HAND_SITES = pd.DataFrame({
    "site_id": ["A", "B"], "county": ["North", None], "state": ["S", None], "latitude": [36.1, NAN], "longitude": [-82.1, NAN],
    "datum": ["WGS84", None], "coordinate_uncertainty_m": [30.0, NAN],
})  # fmt: skip
HAND_VISITS = pd.DataFrame([
    visit("v1", "2024-05-01"), visit("v2", "2024-06-01", "p/1 "), visit("v3", "2024-07-01", None, "B"), visit("v4", "2025-05-01", "other"),
    visit("v5", "2023-05-01"), visit("v6", "2024-08-01", incomplete=True),
])  # fmt: skip
HAND_FINDS = pd.DataFrame([
    find("f1", "v1", 2, "released"), find("f2", "v1", 1, "dead"), find("f3", "v1", 4, "not_caught"),
    find("f4", "v1", 3, "released", stage="egg_mass"),
    find("f5", "v1", 1, "salvaged"), find("f6", "v3", 1, None, "GPOR", latitude=36.2, longitude=-82.2), find("f7", "v3", 1, "retained"),
    find("f8", "v4", 9, "released"), find("f9", "v1", 1, "retained", stage="egg_mass"),
])  # fmt: skip


def by_hand(permits: tuple[Permit, ...] = (PERMIT,)) -> tuple[pd.DataFrame, pd.DataFrame]:
    mine = permit_report.visits_of(PERMIT, permits, HAND_VISITS)
    return mine, permit_report.rows_of(PERMIT, mine, HAND_SITES, HAND_FINDS, TAXA, [2023, 2024, 2025], frozenset({"f1"}))


SQUARE = ((36.0, -82.0), (36.0, -81.99), (36.01, -81.99), (36.01, -82.0))
