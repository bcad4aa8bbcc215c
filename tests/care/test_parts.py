"""Parts of a care sheet, by hand."""

from __future__ import annotations

import math

import pandas as pd

from pipeline.care.parts import detection_lines, highest_advised

THIRDS = pd.DataFrame({
    "taxon": ["T", "T", "T", "U"], "third": ["cool", "middle", "warm", "cool"], "n_visits": [8, 0, 3, 0], "n_found": [2, 0, 3, 0],
    "share": [0.25, math.nan, 1.0, math.nan], "n_left_out": [1, 1, 1, 0],
})  # fmt: skip


def test_nothing_is_advised_within_a_degree_of_the_lowest_ceiling() -> None:
    """A thermostat swings by 1 °C (judgement)."""
    assert highest_advised(pd.DataFrame({"ceiling": [18.0, 16.5, math.nan]})) == 15.5
    assert math.isnan(highest_advised(pd.DataFrame({"ceiling": [math.nan]})))


def test_how_often_visits_found_a_taxon() -> None:
    assert detection_lines("T", THIRDS) == ["cool third: 2 of 8 (25 %); warm third: 3 of 3 (100 %).", "1 visit could not be placed."]
    assert detection_lines("U", THIRDS) == ["No visit that looked for it can be placed by its temperature."]
    assert detection_lines("T", None) == detection_lines("T", THIRDS.iloc[:0]) == []
