"""Rows of readings made complete: the columns that a test does not name get a plain value."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from schemas.frames.targets import Readings

CELL = ["taxon", "population", "life_stage", "medium"]


def finished(frame: pd.DataFrame, **columns: Any) -> pd.DataFrame:
    frame = frame.assign(
        taxon="COOL", population="", life_stage="larva", medium="water", hour=22.0, night=True, accuracy_c=0.2, from_visit=False,
        medium_assumed=False, at_nest=False, depth_cm=np.nan, n_animals=1, visit_id=frame["site"] + frame["date"].astype("str"),
    ).assign(**columns)  # fmt: skip
    text = {name: "str" for name in (*CELL, "site", "visit_id")}
    types = {"month": "Int64", "year": "Int64", "n_animals": "Int64", "night": "boolean", "date": "datetime64[us]", "hour": "float64"}
    return Readings.validate(
        frame.astype({**text, **types, "accuracy_c": "float64"})[[name for name in Readings.to_schema().columns if name in frame]]
    )
