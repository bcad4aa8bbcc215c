"""What a page tells to do first: slow, and no diagnosis."""

from __future__ import annotations

import pytest

from pipeline.settings.limits import judgement
from pipeline.tanks.advice import VET, VET_SOURCE, what_to_do
from pipeline.tanks.verdict import COLD, INSIDE, UNKNOWN, WARM


@pytest.mark.parametrize("state", [WARM, COLD])
def test_a_change_of_temperature_is_never_faster_than_the_rate(state: str) -> None:
    steps = " ".join(what_to_do(state, False))
    assert f"{judgement('cooling_rate'):g} °C an hour at most" in steps and "veterinarian" in steps


def test_at_the_ceiling_it_says_now() -> None:
    assert what_to_do(WARM, True)[0].startswith("Now") and not what_to_do(WARM, False)[0].startswith("Now")
    assert "no ice on the animal" in " ".join(what_to_do(WARM, True))


def test_unknown_is_no_all_clear() -> None:
    assert what_to_do(UNKNOWN, False) != what_to_do(INSIDE, False)
    assert "thermometer" in " ".join(what_to_do(UNKNOWN, False)).lower()


def test_signs_are_listed_and_no_diagnosis_is_made() -> None:
    assert len(VET) >= 4 and "no diagnosis" in VET_SOURCE
