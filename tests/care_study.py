"""An invented study and its care sheet."""

from __future__ import annotations

import math
import re
from html.parser import HTMLParser
from typing import Any

import numpy as np
import pandas as pd

from pipeline.care.sheet import page
from schemas.frames.targets import TARGET_COLUMNS, Readings, check_targets

HOSTILE = "<img src=x onerror=alert(1)> & ${title}"
NORTH, SOUTH = "north fork, 300–600 m", "south fork, 600–900 m"
SITE = "SECRET-SPRING"


def reading_rows(population: str, stage: str, medium: str, month: int, values: list[float], **changes: Any) -> list[dict[str, Any]]:
    rows = []
    for k, value in enumerate(values):
        year = 2019 + k % 3
        row = {
            "taxon": "INVA",
            "population": population,
            "life_stage": stage,
            "medium": medium,
            "month": month,
            "site": f"{SITE}-{k % 7}",
            "visit_id": f"VISIT-{month}-{k % 14}",
            "date": pd.Timestamp(year, month, 1 + k % 27),
            "year": year,
            "hour": float(k % 24),
            "night": k % 4 == 0,
            "value": value,
            "accuracy_c": 0.5 if k % 3 else None,
            "from_visit": k % 5 == 0,
            "medium_assumed": False,
            "at_nest": False,
            "depth_cm": None,
            "n_animals": 1 + k % 2,
        }
        rows.append({**row, **changes})
    return rows


def target_row(population: str, stage: str, medium: str, month: str, values: list[float], **changes: Any) -> dict[str, Any]:
    """A row of targets as the method would fill it from a sample of readings; quantiles unrounded, grade C."""
    row: dict[str, Any] = dict.fromkeys(TARGET_COLUMNS, math.nan)
    row.update(taxon="INVA", population=population, life_stage=stage, medium=medium, month=month)
    row.update(quantity="temperature", unit="°C", basis="observed", status="refused", reason="", borrowed_from="", grade="D")
    row.update(ceiling_bound_by="cap of the group; not from the records", cut_by_ceiling=False)
    n = len(values)
    row.update(n_readings=n, n_animals=n, n_visits=n, n_dates=min(n, 9), n_sites=min(n, 7), n_years=3)
    if values:
        p05, p25, p50, p75, p95 = (float(x) for x in np.quantile(values, [0.05, 0.25, 0.5, 0.75, 0.95], method="inverted_cdf"))
        row.update(min=min(values), max=max(values), p05=p05, p25=p25, p50=p50, p75=p75, p95=p95)
    if len(values) >= 10:
        row.update(status="target", grade="C", set_point=math.floor(row["p50"]), band_high=math.floor(row["p75"]))
        row.update(band_low=min(math.ceil(row["p25"]), row["band_high"]), act_line=math.floor(row["p75"] + 2))
        row.update(band_low=min(row["band_low"], row["set_point"]), day_shift=0.0)
        row.update(set_point_low=row["set_point"], set_point_high=row["set_point"])
    return {**row, **changes}


def spread(middle: float, n: int) -> list[float]:
    return [round(middle + 2.4 * math.sin(k * 2.399), 1) for k in range(n)]


def study() -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, dict[str, Any]]:
    """Larvae strong in the north and provisional in the south, adults with a winter, eggs refused."""
    targets, readings = [], []
    middles = {3: 6.4, 4: 8.2, 5: 10.7, 6: 13.3, 7: 15.2, 8: 15.6, 9: 13.8, 10: 10.1, 11: 7.3}
    north = {"ceiling": 18.0, "p95_bound": 19.4, "allowance": 1.3, "ceiling_bound_by": "second-warmest day of the records"}
    for month, middle in middles.items():
        values = spread(middle, 3 if month == 11 else 8 if month == 10 else 40)
        readings += reading_rows(NORTH, "larva", "water", month, values)
        row = target_row(NORTH, "larva", "water", str(month), values, **north)
        if month not in (10, 11):
            row.update(grade="B", p50_low=row["p50"] - 0.8, p50_high=row["p50"] + 0.9)
        if month == 8:
            row.update(band_high=17.0, cut_by_ceiling=True)
        if month == 10:
            row.update(status="borrowed", borrowed_from="9", grade="C", reason="4 dates of 6 needed; borrowed from September")
            row.update(set_point=10.0, set_point_low=10.0, set_point_high=10.0, band_low=9.0, band_high=12.0, act_line=14.0, day_shift=0.0)
        if month == 11:
            row.update(reason="fewer than 3 sites")
        row.update(act_line=min(row["act_line"], 17.5) if pd.notna(row["act_line"]) else math.nan)
        targets.append(row)
    for month in (1, 2, 12):
        targets.append(target_row(NORTH, "larva", "water", str(month), [], reason="no readings", **north))
    warm = [row["value"] for row in readings if row["month"] in (6, 7, 8, 9)]
    targets.append(target_row(NORTH, "larva", "water", "warm", warm, grade="B", p50_low=13.9, p50_high=15.2, **north))
    values = spread(12.4, 14)
    readings += reading_rows(SOUTH, "larva", "water", 6, values, year=2021, date=pd.Timestamp(2021, 6, 9), night=False)
    targets.append(target_row(SOUTH, "larva", "water", "6", values, ceiling=16.0))
    for month, middle in {1: 5.1, 2: 5.6, 7: 14.9}.items():
        values = spread(middle, 30)
        readings += reading_rows(NORTH, "adult", "land", month, values)
        row = target_row(NORTH, "adult", "land", str(month), values, ceiling=19.5, floor=4.0, grade="A", p95_bound=20.9, allowance=1.0)
        targets.append({**row, "band_low": max(4, math.floor(middle - 1))})
    values = [11.2, 11.9]  # beside the eggs, not at the nest: such a cell has readings and no row of targets
    readings += reading_rows(NORTH, "egg_mass", "water", 7, values, at_nest=False)
    types = {"month": "Int64", "year": "Int64", "n_animals": "Int64", "night": "boolean"}
    frame = pd.DataFrame(readings, columns=[name for name in Readings.to_schema().columns if name != "visit_ids"]).astype(types)
    taxa = pd.DataFrame([{"code": "INVA", "scientific_name": "Inventa fontinalis", "rank": "species", "group": "cool_stream"}])
    excluded = [("INVA", "larva", "sick or dead", 4), ("OTHER", "adult", "not of this page", 9)]
    facts = {
        "title": f"Survey of the {HOSTILE} rill",
        "invented": True,
        "author": "nobody; it is made up",
        "licence": "CC-BY-4.0",
        "seed": 11,
        "method_version": "1",
        "input_hash": "sha256:" + "0a1b2c3d" * 8,
        "time_zone": "America/New_York",
        "notes": ["Mean canopy 71 %; sites lie from 310 to 840 m."],
        "exclusions": pd.DataFrame(excluded, columns=["taxon", "life_stage", "reason", "n_finds"]),
        "allowances": {("INVA", NORTH, "larva", "water"): {"thermometer": 0.5, "daytime": 0.8}},
        "cooling_c_per_hour": 2.0,
    }
    return check_targets(pd.DataFrame(targets, columns=list(TARGET_COLUMNS))), frame, taxa, facts


def sheet(**changes: Any) -> str:
    targets, readings, taxa, facts = study()
    return page("INVA", targets, readings, taxa, {**facts, **changes})


class Text(HTMLParser):
    """Collects tags, attributes and the text a reader sees."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.parts: list[str] = []
        self.inside: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag in ("style", "svg"):
            self.inside.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if self.inside and self.inside[-1] == tag:
            self.inside.pop()

    def handle_data(self, data: str) -> None:
        if not self.inside:
            self.parts.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.parts).split())


def rows_of(html: str, heading: str) -> dict[str, str]:
    """Text of the rows of the keeper's table under a heading, by month."""
    part = html[html.index("<main>") :]
    table = part[part.index(heading) :]
    table = table[table.index('<table class="keep"') : table.index("</table>")]
    rows = [Text(row).text for row in re.findall(r"<tr.*?</tr>", table, flags=re.DOTALL)[1:]]
    return {row.split(" ", 1)[0]: row.split(" ", 1)[1] for row in rows}
