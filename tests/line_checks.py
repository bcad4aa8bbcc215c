"""What must hold of the lines of any targets: statements of the method (§5, §6), asserted on invented and on real sheets."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pandas as pd

from pipeline.targets.season import schedule

GROUP = ["taxon", "population", "life_stage", "medium"]


def assert_ordered(rows: pd.DataFrame) -> None:
    held = rows[rows["status"] != "refused"]
    for low, high in pairwise(("band_low", "set_point_low", "set_point", "set_point_high", "band_high", "act_line")):
        assert (held[low] <= held[high]).all(), (low, high)
    capped = held[held["ceiling"].notna()]
    assert (capped["band_high"] <= capped["ceiling"] - 1).all() and (capped["act_line"] <= capped["ceiling"] - 0.5).all()
    # The act line stands a degree over the band wherever the ceiling allows.
    room = held["act_line"] < held["ceiling"].fillna(math.inf) - 0.5
    assert (held["act_line"] - held["band_high"] >= 1)[room].all()
    assert not (held["band_low"] < held["floor"]).any() and not (held["set_point_low"] < held["floor"] + 1).any()
    assert (rows.loc[rows["grade"] != "D", "status"] == "target").all(), "a graded row has its lines"
    lines = ["set_point", "set_point_low", "set_point_high", "band_low", "band_high", "act_line"]
    assert rows.loc[rows["status"] == "refused", lines].isna().all(axis=None) and held[lines].notna().all(axis=None)
    assert (rows.loc[rows["status"] == "refused", "reason"] != "").all()


def assert_steady(days: pd.DataFrame, rows: pd.DataFrame) -> None:
    """No day outside its month's band, under the floor + 1 or over the ceiling - 1; no step over 1 °C a week, across months too."""
    month = rows.set_index("month").loc[days["month"].astype("str")].reset_index()
    point = days["set_point"].reset_index(drop=True)
    printed = {int(name) for name in rows.loc[rows["status"] != "refused", "month"] if name.isdigit()}
    assert days.empty or set(days["month"]) == printed, "every month with a target has a set point for each of its days"
    assert ((month["band_low"] <= point) & (point <= month["band_high"])).all()
    assert not (point < month["floor"] + 1).any() and not (point > month["ceiling"] - 1).any()
    year = np.full(365, math.nan)
    year[days["day_of_year"].to_numpy() - 1] = point
    for apart in range(1, 8):
        step = np.abs(year - np.roll(year, apart))
        assert not (step > 1 + 1e-9).any(), f"{np.nanmax(step)} °C in {apart} days"


def assert_book(targets: pd.DataFrame, readings: pd.DataFrame, settings: object) -> pd.DataFrame:
    """All of it for each taxon, population, stage and medium of a book; return the schedule."""
    days = schedule(readings, targets, settings)  # type: ignore[arg-type]
    for key, rows in targets.groupby(GROUP):
        assert_ordered(rows)
        assert_steady(days[(days[GROUP] == list(key)).all(axis=1)], rows)
    return days
