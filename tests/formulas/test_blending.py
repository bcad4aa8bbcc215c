"""How much tap and reverse-osmosis water to mix, and when no figure is given."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.formulas import blending, moist_air
from pipeline.formulas import water as own

HERE = Path(__file__).parents[1] / "check_values"
MMHG_PER_ATM = 760


def _checks() -> list[dict[str, str]]:
    with (HERE / "water.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _pka(temp_c: float) -> float:
    fraction = float(own.unionised_ammonia_fraction(9.0, temp_c))
    return 9.0 + math.log10(1 / fraction - 1)


def _refused_blend(target: float, tap: float, ro: float) -> float:
    with pytest.raises(ValueError, match="no blend reaches 80: these two waters give 5 to 50"):
        blending.blend_fraction(target, tap, ro)
    return (target - ro) / (tap - ro)


COMPUTE: dict[str, Any] = {
    "oxygen_at_mmhg": lambda temp_c, mmhg: own.oxygen_saturation_mg_l(temp_c, mmhg / MMHG_PER_ATM * 101.325),
    "oxygen_at_elevation": lambda temp_c, elevation_m: own.oxygen_saturation_mg_l(temp_c, moist_air.pressure_kpa(elevation_m)),
    "percent_at_elevation": lambda elevation_m, **given: own.oxygen_saturation_pct(
        **given, pressure_kpa=moist_air.pressure_kpa(elevation_m)
    ),
    "pka": _pka,
    "unionised_percent": lambda **given: 100 * own.unionised_ammonia_fraction(**given),
    "litres_of_tap_in_ten": lambda **given: 10 * blending.blend_fraction(**given),
    "refused_blend": _refused_blend,
}


@pytest.mark.parametrize("row", _checks(), ids=lambda row: row["id"])
def test_published_value(row: dict[str, str]) -> None:
    compute = COMPUTE.get(row["function"]) or getattr(blending if hasattr(blending, row["function"]) else own, row["function"])
    assert float(compute(**json.loads(row["arguments"]))) == pytest.approx(float(row["expected"]), rel=0, abs=float(row["tolerance"]))


waters = st.floats(0, 2000)


@given(waters, waters, waters)
def test_a_blend_reaches_its_target_or_is_refused(target: float, tap: float, ro: float) -> None:
    if tap != ro and min(tap, ro) <= target <= max(tap, ro):
        fraction = blending.blend_fraction(target, tap, ro)
        assert 0 <= fraction <= 1
        assert fraction * tap + (1 - fraction) * ro == pytest.approx(target, abs=1e-6)
    else:
        with pytest.raises(ValueError, match="no blend"):
            blending.blend_fraction(target, tap, ro)


@given(
    waters, waters, waters, st.one_of(st.none(), st.just(math.nan), st.floats(0, 5)), st.sampled_from(["conductivity", "hardness", "pH"])
)
def test_advice_has_a_figure_or_a_reason_and_always_says_what_it_leaves_out(
    target: float, tap: float, ro: float, chlorine: float | None, quantity: str
) -> None:
    advice = blending.blend_advice(target, tap, ro, chlorine, quantity)
    assert (advice.tap_fraction is None) == bool(advice.reason)
    assert advice.words[-1] == blending.SILENT and all(word in blending.SILENT for word in ("chloramine", "copper", "alkalinity"))
    if chlorine != 0 or quantity == "pH":
        assert advice.tap_fraction is None


def test_advice_for_a_good_blend() -> None:
    """B56: a sixth of tap water."""
    advice = blending.blend_advice(60, 320, 8, 0, "hardness")
    assert advice.tap_fraction == pytest.approx(1 / 6)
    assert advice.words[0] == "Of every 10 L take 1.67 L of tap water and 8.33 L of RO water, to hardness 60."


def test_advice_for_no_tap_water_at_all_warns() -> None:
    assert "next to no minerals" in " ".join(blending.blend_advice(8, 320, 8, 0).words)


@pytest.mark.parametrize(
    ("arguments", "reason"),
    [
        ((60, 320, 8, None), "Treat and test first. There is no chlorine result"),
        ((60, 320, 8, math.nan), "Treat and test first. There is no chlorine result"),
        ((60, 320, 8, 0.01), "Treat and test first. 0.01 mg/L of chlorine"),
        ((60, 320, 8, -1), "test again"),
        ((80, 50, 5, 0), "No blend reaches 80: these two waters give 5 to 50."),
        ((60, 60, 60, 0), "Tap and RO water both have 60: no blend"),
        ((60, -320, 8, 0), "The tap value must be"),
        ((math.nan, 320, 8, 0), "The target value must be"),
        ((6.8, 7.4, 6, 0, "pH"), "pH does not mix in proportion"),
        ((6.8, 7.4, 6, 0, "PH"), "pH does not mix in proportion"),
    ],
)
def test_advice_is_refused(arguments: tuple[Any, ...], reason: str) -> None:
    advice = blending.blend_advice(*arguments)
    assert advice.tap_fraction is None
    assert reason in advice.reason and advice.words[0] == advice.reason
