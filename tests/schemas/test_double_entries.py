"""Rules on finds that are alike: what a double entry is depends on what the sheet measures, and each rule names the field that it read.

The finds are invented; that a list of animals one by one is no list of doubles is the finding of a survey sheet in which
766 of 4,426 finds were named.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from schemas.rules.figures import COPIES, NEAR_DUPLICATE_IN
from schemas.rules.rules import RULES


def finds(n: int, **columns: object) -> pd.DataFrame:
    base = pd.DataFrame(np.nan, index=range(n), columns=list(NEAR_DUPLICATE_IN)).astype("object")
    base = base.assign(visit_id="V1", taxon="GPOR", life_stage="larva", microhabitat="rock_in_flow", svl_mm=30.0)
    return base.assign(**columns).astype({"svl_mm": "float64", "total_length_mm": "float64", "mass_g": "float64"})


def named(rule: str, frame: pd.DataFrame) -> int:
    (one,) = [one for one in RULES if one.id == rule]
    return int(one.mask(frame).sum())


def test_a_visit_with_many_finds_and_one_measure_names_nobody() -> None:
    rng = np.random.default_rng(1)
    assert named("near_duplicate", finds(40, svl_mm=rng.integers(20, 40, 40).astype(float))) == 0


def test_two_finds_alike_in_a_small_visit_or_in_many_measures_are_named() -> None:
    assert named("near_duplicate", finds(2)) == 2
    sizes = np.r_[np.arange(20.0, 39.0), 38.0]
    measured = finds(20, svl_mm=sizes, total_length_mm=sizes * 1.9, mass_g=sizes / 10)
    assert named("near_duplicate", measured) == 2


def test_finds_that_differ_in_minute_reading_or_mark_are_two() -> None:
    for name, values in (("found_at", ["20:01", "20:09"]), ("water_temp_c", [12.1, 12.4]), ("animal_id", ["A1", "A2"])):
        assert named("near_duplicate", finds(2, **{name: values})) == 0, name


def test_the_message_says_nothing_of_what_was_kept() -> None:
    (one,) = [one for one in RULES if one.id == "near_duplicate"]
    assert "kept" not in f"{one.message} {one.remedy}".casefold()


@pytest.mark.parametrize("field", ["water_temp_c", "substrate_temp_c", "air_temp_c"])
def test_a_copied_reading_is_told_of_the_field_that_it_stands_in(field: str) -> None:
    copied = [one for one in RULES if one.id.endswith("reading_copied")]
    frame = finds(COPIES, **{field: 12.5})
    assert [one.fields for one in copied if one.mask(frame).any()] == [(field,)]
    assert not any(one.mask(finds(COPIES)).any() for one in copied)
