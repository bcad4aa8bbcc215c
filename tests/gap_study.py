"""A small invented study of which the gap list and the revisit plan are made."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from pipeline.commands.reports.gaps import _shared
from pipeline.reports import gaps
from pipeline.settings import Settings, parse_settings
from pipeline.statistics.detection import searches
from pipeline.targets import derive
from schemas.frames.targets import Readings

SETTINGS = parse_settings(
    """
[book]
time_zone = "America/New_York"
[[taxon]]
code = "EWIL"
scientific_name = "Eurycea wilderae"
group = "cool_stream"
[[taxon]]
code = "GPOR"
scientific_name = "Gyrinophilus porphyriticus"
group = "cool_stream"
""",
    "test",
)
SITES = pd.DataFrame({
    "site_id": ["A", "B", "C", "D", "E"], "site_name": ["", "", "", None, "<b>E</b>"], "waterbody": ["a", "b", None, "d", "d"],
    "population": ["north"] * 5,
})  # fmt: skip


def reading(site: str, day: str, stage: str = "larva", medium: str = "water", value: float = 12.0, **more: Any) -> dict[str, Any]:
    when = pd.Timestamp(day)
    return {
        "taxon": "EWIL", "population": "north", "life_stage": stage, "medium": medium, "month": when.month, "site": site,
        "visit_id": f"{site} {day}", "date": when, "year": when.year, "hour": 10.0, "night": False, "value": value, "accuracy_c": 0.2,
        "from_visit": False, "medium_assumed": False, "at_nest": stage == "egg_mass", "depth_cm": math.nan, "n_animals": 1, **more,
    }  # fmt: skip


def typed(rows: list[dict[str, Any]]) -> pd.DataFrame:
    frame = pd.DataFrame(rows)
    return Readings.validate(
        frame.astype({"month": "Int64", "year": "Int64", "n_animals": "Int64", "night": "boolean", "date": "datetime64[us]"})
    )


DAYS = ["2024-05-02", "2024-05-20", "2024-06-05", "2024-06-25", "2024-07-10"]
READ = typed([
    *(reading(site, day, value=10 + place) for place, site in enumerate("abC") for day in DAYS),
    *(reading(site, DAYS[0], "adult", "surface", night=True) for site in "ab"),
    *(reading("a", day, "egg_mass", "edge") for day in DAYS),
    *(reading("a", DAYS[2], "adult", "land") for _ in range(1)),
])  # fmt: skip


def visits_of(last: str = "2024-07-10") -> tuple[pd.DataFrame, pd.DataFrame]:
    days = [*DAYS[:-1], last]
    visits = pd.DataFrame([
        {"visit_id": f"{site} {day}", "site_id": site, "visit_date": pd.Timestamp(day), "start_time": "10:00",
         "target_taxa": "EWIL|GPOR", "incomplete": False}
        for site in "ABC" for day in days
    ])  # fmt: skip
    return visits, pd.DataFrame({"visit_id": visits["visit_id"], "taxon": "EWIL", "life_stage": "larva"})


def study(settings: Settings = SETTINGS) -> dict[str, Any]:
    targets = derive.targets(READ, settings.taxa, settings, replicates=200)
    shared = _shared(READ, derive.distinct_values)
    visits, finds = visits_of()
    looked = searches(visits, finds)
    listed = gaps.gap_list(targets, shared, gaps.searched(READ, looked, SITES, settings))
    return {"targets": targets, "shared": shared, "gaps": listed, "looked": looked, "visits": visits, "finds": finds}


def row_of(frame: pd.DataFrame, stage: str, medium: str, month: str) -> dict[str, Any]:
    (row,) = frame[frame["life_stage"].eq(stage) & frame["medium"].eq(medium) & frame["month"].eq(month)].to_dict("records")
    return dict(row)
