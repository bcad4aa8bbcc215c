"""An invented field whose targets can be worked out by hand, and the targets of it."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pandas as pd

from pipeline.settings import parse_settings
from pipeline.targets.derive import targets
from schemas.frames.targets import Readings

TOML = """
[book]
time_zone = "America/New_York"
[[taxon]]
code = "COOL"
scientific_name = "Desmognathus fuscus"
group = "cool_stream"
[[taxon]]
code = "SPRING"
scientific_name = "Eurycea neotenes"
group = "warm_spring"
[[taxon]]
code = "OTHER"
scientific_name = "Desmognathus fuscus"
group = "other"
"""
BOOK = parse_settings(TOML, "test")
WARM, COLD = (6, 7, 8, 9), (12, 1, 2, 3)
# At 22:00 the daily swing crosses zero: cos(2π·6/24) = 0, and it is night in all months here.
NEUTRAL_HOUR = 22.0


def field(months: Any, values: list[float], *, sites: int = 12, dates: int = 6, years: int = 3, **columns: Any) -> pd.DataFrame:
    """Every site read on every date of every month, each time the same values; dates go round the years."""
    rows = [
        {
            "month": month,
            "site": f"s{site:02}",
            "year": 2018 + day % years,
            "date": pd.Timestamp(2018 + day % years, month, day + 1),
            "value": value,
        }
        for month, day, site, value in itertools.product(months, range(dates), range(sites), values)
    ]
    frame = pd.DataFrame(rows).assign(
        taxon="COOL", population="", life_stage="larva", medium="water", hour=NEUTRAL_HOUR, night=True, accuracy_c=0.5, from_visit=False,
        medium_assumed=False, at_nest=False, depth_cm=np.nan, n_animals=1,
    )  # fmt: skip
    frame["visit_id"] = frame["site"] + frame["date"].astype("str")
    frame = frame.assign(**columns)
    text = {name: "str" for name in ("taxon", "population", "life_stage", "medium", "site", "visit_id")}
    types = {"month": "Int64", "year": "Int64", "n_animals": "Int64", "night": "boolean", "date": "datetime64[us]", "hour": "float64"}
    return Readings.validate(
        frame.astype({**text, **types, "accuracy_c": "float64"})[[name for name in Readings.to_schema().columns if name in frame]]
    )


def derived(*frames: pd.DataFrame, **words: Any) -> pd.DataFrame:
    """Targets of one group, by month."""
    return targets(pd.concat(frames, ignore_index=True), BOOK.taxa, BOOK, **{"replicates": 200, **words}).set_index("month")


def printed(row: pd.Series) -> tuple[float, ...]:
    return tuple(row[name] for name in ("band_low", "set_point", "band_high", "act_line", "ceiling"))
