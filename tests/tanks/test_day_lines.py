"""Which lines hold on a day: the own population's, else the lowest; without evidence a ceiling and no band."""

from __future__ import annotations

import math

import pandas as pd
import pytest
from tanks.tank_book import ENCLOSURE, TAXON, targets

from pipeline.settings.limits import judgement
from pipeline.tanks.day_lines import lines_of_days
from pipeline.tanks.stretch import Stretch, local_days

DAYS = local_days(Stretch(pd.Timestamp("2025-06-30"), pd.Timestamp("2025-07-02"), "UTC"))
BOTH = ({}, {"population": "south", "band_high": 13.0, "act_line": 15.0, "ceiling": 17.0})


def lines(rows: pd.DataFrame, **changes: object) -> tuple[pd.DataFrame, str]:
    stage = pd.Series(["larva"] * len(DAYS), index=DAYS.index)
    frame, words = lines_of_days(DAYS, stage, rows, {**ENCLOSURE, **changes}, "water", TAXON)
    return frame, " ".join(words)


def test_the_own_population_counts_and_an_unknown_one_gets_the_lowest_line() -> None:
    own, said = lines(targets(*BOTH))
    assert own["act_line"].eq(16.0).all() and "population north" in said
    for unknown in ("", None, float("nan"), "east"):
        lowest, said = lines(targets(*BOTH), population=unknown)
        assert lowest["act_line"].eq(15.0).all() and lowest["ceiling"].eq(17.0).all() and "north and south" in said


def test_a_month_without_evidence_has_a_ceiling_and_no_band() -> None:
    frame, said = lines(targets(months=["7"]))
    assert frame["evidence"].tolist() == ["none", "target", "target"][: len(frame)]
    assert math.isnan(frame["band_high"].iloc[0]) and frame["ceiling"].eq(18.0).all()
    assert "No evidence for larva in water in June" in said.replace("Jun:", "June:")


def test_no_targets_at_all_leaves_the_limit_of_the_group() -> None:
    frame, said = lines(targets({"taxon": "EWIL"}))
    # Source: method, judgement: 20 °C is the cap of cool-stream groups
    assert frame["ceiling"].max() <= 20 and frame["band_high"].isna().all() and "No targets for DMON larva, water" in said


@pytest.mark.parametrize(("ceiling", "group"), [(16.2, "cool_stream")])
def test_a_lower_ceiling_pulls_the_lines_under_it(ceiling: float, group: str) -> None:
    frame, _ = lines(targets({}, {"population": "south", "ceiling": ceiling}), population="")
    assert frame["ceiling"].eq(ceiling).all()
    assert frame["act_line"].max() <= ceiling - judgement("act_under_ceiling")
    assert frame["band_high"].max() <= ceiling - judgement("thermostat_margin")


def test_where_the_water_hardly_changes_the_cold_is_a_line_too() -> None:
    """Method §5: eggs, and animals of places with a constant temperature, have a lower act line under the band; others have the floor."""
    stage = pd.Series(["larva"] * len(DAYS), index=DAYS.index)
    for group, cold in (("warm_spring", 11.0 - judgement("lower_act_line_step")), ("cool_stream", 5.0)):
        frame, words = lines_of_days(DAYS, stage, targets(), ENCLOSURE, "water", {**TAXON, "group": group})
        assert frame["cold_line"].eq(cold).all()
        assert ("Too cold is as unsafe as too warm here." in words) == (group == "warm_spring")
