"""The humidity that gives a deficit, and how it is printed."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.formulas import humidity_to_keep
from pipeline.formulas import moist_air as own

HERE = Path(__file__).parents[1] / "check_values"


def _checks() -> list[dict[str, str]]:
    with (HERE / "moist_air.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _refused_same_deficit(temp_c: float, rh_pct: float, new_temp_c: float) -> float:
    deficit = float(own.vapour_pressure_deficit_kpa(temp_c, rh_pct))
    assert math.isnan(humidity_to_keep.rh_for_deficit(new_temp_c, deficit))
    assert humidity_to_keep.why_not_attainable(new_temp_c, deficit).startswith("not attainable")
    return 100 * (1 - deficit / float(own.saturation_vapour_pressure_kpa(new_temp_c)))


COMPUTE: dict[str, Any] = {
    "saturation_hpa": lambda temp_c: 10 * own.saturation_vapour_pressure_kpa(temp_c),
    "saturation_pa": lambda temp_c: 1000 * own.saturation_vapour_pressure_kpa(temp_c),
    "saturation_mpa": lambda temp_c: own.saturation_vapour_pressure_kpa(temp_c) / 1000,
    "mean_saturation": lambda temps_c: own.saturation_vapour_pressure_kpa(temps_c).mean(),
    "vapour_pressure_kpa": lambda temp_c, **more: own.rh_from_wet_bulb(temp_c, **more) / 100 * own.saturation_vapour_pressure_kpa(temp_c),
    "rh_of_dew_point": lambda temp_c, dew_point_c: (
        100 * own.saturation_vapour_pressure_kpa(dew_point_c) / own.saturation_vapour_pressure_kpa(temp_c)
    ),
    "deficit_pa": lambda **given: 1000 * own.vapour_pressure_deficit_kpa(**given),
    "same_deficit": lambda temp_c, rh_pct, new_temp_c: humidity_to_keep.rh_for_deficit(
        new_temp_c, own.vapour_pressure_deficit_kpa(temp_c, rh_pct)
    ),
    "refused_same_deficit": _refused_same_deficit,
    "pressure_pa": lambda elevation_m: 1000 * own.pressure_kpa(elevation_m),
}


@pytest.mark.parametrize("row", _checks(), ids=lambda row: row["id"])
def test_published_value(row: dict[str, str]) -> None:
    compute = COMPUTE.get(row["function"]) or getattr(own, row["function"])
    assert float(compute(**json.loads(row["arguments"]))) == pytest.approx(float(row["expected"]), rel=0, abs=float(row["tolerance"]))


temps = st.floats(0.02, 45)


@given(temps, temps, st.floats(0, 1))
def test_one_deficit_needs_moister_air_where_it_is_warmer(a: float, b: float, deficit: float) -> None:
    low, high = sorted((a, b))
    cool, warm = float(humidity_to_keep.rh_for_deficit(low, deficit)), float(humidity_to_keep.rh_for_deficit(high, deficit))
    assert math.isnan(cool) or warm >= cool


def test_not_attainable_says_why() -> None:
    """Saturation at 10 °C is 1.228 kPa (FAO-56 Table 2.3)."""
    assert (
        humidity_to_keep.why_not_attainable(10, 1.4)
        == "not attainable: bone-dry air of 10 °C lacks 1.228 kPa, so it cannot lack 1.400 kPa."
    )
    assert humidity_to_keep.why_not_attainable(10, math.nan) == "not attainable: a value is missing."
    assert humidity_to_keep.why_not_attainable(10, 0.35) == ""


@pytest.mark.parametrize(
    ("rh", "text"), [(90, "90 %"), (90.1, "90–100 %"), (100, "90–100 %"), (89.6, "90 %"), (71.2, "71 %"), (0, "0 %"), (math.nan, "–")]
)
def test_a_field_humidity_is_printed_no_finer_than_it_was_read(rh: float, text: str) -> None:
    assert humidity_to_keep.printed_rh(rh) == text
