"""Moist air against published tables, worked examples and the printed equation.

`check_values/moist_air.csv` holds the figures with their source; where a figure was computed with another published formula than ours its
tolerance is wider and `why_wider` says why. `check_values/ids.csv` lists every figure that was collected.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.formulas import humidity_to_keep
from pipeline.formulas import moist_air as own
from pipeline.settings import data_file
from schemas.vocabulary import codes

HERE = Path(__file__).parents[1] / "check_values"
LEFT_OUT = {
    "A07": "enhancement factor: below the error of any psychrometer, not computed",
    "A16": "boiling point: not computed",
    "A29": "vapour pressure from the day's extremes of RH: not computed, readings are taken one by one",
    "A30": "as A29",
    "A31": "slope of the curve: not computed",
    "A32": "another pressure law (293 K, exponent 5.26), 0.3 % higher at 1800 m",
    "A33": "psychrometric constant: not computed as such; the coefficients are met by A25 to A28",
    "A41": "thermodynamic wet bulb: not what a psychrometer in the field shows",
    "A42": "as A41",
    "A43": "a coefficient (0.000621) of no instrument in the vocabulary",
    "A44": "humidity ratio of the thermodynamic wet bulb: not computed",
    "A45": "as A44",
    "A46": "as A41",
    "A54": "wet bulb from RH: not computed",
    "A55": "as A54",
    "A61": "absolute humidity: not computed",
    "A62": "as A61",
    "A63": "as A61",
    "A64": "as A61",
    "A72": "equal vapour pressure: says what the same air would read when warmed, no target",
    "A74": "as A72",
}


def _checks() -> list[dict[str, str]]:
    with (HERE / "moist_air.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_collected_figure_is_met_or_left_out_with_a_reason() -> None:
    with (HERE / "ids.csv").open(encoding="utf-8", newline="") as file:
        collected = {row["id"] for row in csv.DictReader(file) if row["id"].startswith("A")}
    met = {row["id"] for row in _checks()}
    assert met | set(LEFT_OUT) == collected and not met & set(LEFT_OUT)
    assert len(met) == 55


temps = st.floats(0.02, 45)
humidities = st.floats(0, 100)


@given(temps)
def test_saturation_is_the_printed_equation(t: float) -> None:
    """ASHRAE Handbook Fundamentals 2017, ch. 1, eq. 6, written out."""
    k = t + 273.15
    ln = -5800.2206 / k + 1.3914993 - 0.048640239 * k + 4.1764768e-5 * k**2 - 1.4452093e-8 * k**3 + 6.5459673 * math.log(k)
    assert own.saturation_vapour_pressure_kpa(t) == pytest.approx(math.exp(ln) / 1000, rel=1e-9)


@pytest.mark.parametrize("t", [-10.0, 0.0, 0.01])
def test_at_and_below_the_triple_point_the_branch_over_ice_holds(t: float) -> None:
    """Magnus over ice, 6.112·exp(22.46 t/(272.62 + t)) hPa (WMO-No. 8, constants from memory), within 0.1 %."""
    ice = 0.6112 * math.exp(22.46 * t / (272.62 + t))
    assert own.saturation_vapour_pressure_kpa(t) == pytest.approx(ice, rel=1e-3)


def test_over_ice_it_is_lower_than_over_water() -> None:
    """As the docstring says: 9 % at −10 °C; Magnus over water from WMO-No. 8."""
    water = 0.6112 * math.exp(17.62 * -10 / (243.12 - 10))
    assert 1 - own.saturation_vapour_pressure_kpa(-10) / water == pytest.approx(0.09, abs=0.005)


@given(st.lists(st.one_of(temps, st.just(math.nan)), max_size=20))
def test_arrays_are_their_numbers_one_by_one(values: list[float]) -> None:
    alone = [float(own.saturation_vapour_pressure_kpa(value)) for value in values]
    np.testing.assert_array_equal(own.saturation_vapour_pressure_kpa(values), alone)
    assert [math.isnan(e) for e in alone] == [math.isnan(value) for value in values]


def test_shapes_are_broadcast() -> None:
    table = humidity_to_keep.rh_for_deficit(np.array([[12.0], [15.0], [20.0]]), [0.1, 0.35])
    assert table.shape == (3, 2)
    assert table[1, 1] == humidity_to_keep.rh_for_deficit(15, 0.35)
    dew = own.dew_point_c([[10.0], [20.0]], [50.0, 100.0])
    assert dew.shape == (2, 2) and dew[1, 1] == pytest.approx(20, abs=0.001)


@given(temps, temps)
def test_warmer_air_holds_more(a: float, b: float) -> None:
    low, high = sorted((a, b))
    if high - low > 1e-6:
        assert own.saturation_vapour_pressure_kpa(low) < own.saturation_vapour_pressure_kpa(high)


@given(temps, humidities, humidities)
def test_drier_air_lacks_more(t: float, a: float, b: float) -> None:
    low, high = sorted((a, b))
    assert own.vapour_pressure_deficit_kpa(t, low) >= own.vapour_pressure_deficit_kpa(t, high) >= 0
    assert own.vapour_pressure_deficit_kpa(t, 100) == 0


@given(temps, humidities)
def test_deficit_and_humidity_undo_each_other(t: float, rh: float) -> None:
    assert humidity_to_keep.rh_for_deficit(t, own.vapour_pressure_deficit_kpa(t, rh)) == pytest.approx(rh, abs=1e-6)


@given(temps, st.floats(0, 8))
def test_a_deficit_is_attained_or_refused_and_never_clipped(t: float, deficit: float) -> None:
    rh = float(humidity_to_keep.rh_for_deficit(t, deficit))
    reason = humidity_to_keep.why_not_attainable(t, deficit)
    if math.isnan(rh):
        assert reason and deficit > own.saturation_vapour_pressure_kpa(t)
    else:
        assert not reason and 0 <= rh <= 100
        assert own.vapour_pressure_deficit_kpa(t, rh) == pytest.approx(deficit, abs=1e-6)


instruments = st.sampled_from([code for code in codes("psychrometer") if code != "electronic"])


@given(temps, st.floats(-40, 2), st.floats(60, 105), instruments)
def test_a_pair_gives_a_humidity_in_range_or_a_reason(dry: float, step: float, pressure: float, instrument: str) -> None:
    wet = dry + step
    rh = float(own.rh_from_wet_bulb(dry, wet, pressure, instrument))
    reason = own.why_no_rh(dry, wet, pressure, instrument)
    assert math.isnan(rh) == bool(reason)
    assert math.isnan(rh) or 0 <= rh <= 100


@given(st.floats(5, 35), st.floats(0, 1), st.floats(0, 1), st.floats(60, 105), instruments)
def test_a_lower_wet_bulb_is_drier_air(dry: float, a: float, b: float, pressure: float, instrument: str) -> None:
    small, large = sorted((a, b))
    moist, drier = own.rh_from_wet_bulb(dry, [dry - small, dry - large], pressure, instrument)
    assert drier <= moist <= 100
    assert own.rh_from_wet_bulb(dry, dry, pressure, instrument) == 100


@given(st.floats(10, 30), st.floats(0.1, 2), st.floats(60, 105))
def test_still_air_reads_driest_and_thin_air_moistest(dry: float, depression: float, pressure: float) -> None:
    """A25 to A28 and A35 against A40: a larger coefficient or pressure takes more off."""
    wet = dry - depression
    fan, sling, breeze, still = (own.rh_from_wet_bulb(dry, wet, pressure, name) for name in ("aspirated", "sling", "natural", "still"))
    assert fan == sling > breeze > still
    assert own.rh_from_wet_bulb(dry, wet, pressure - 10, "still") > still


@pytest.mark.parametrize(
    ("dry", "wet", "words"),
    [
        (10, 11, "above dry bulb"),
        (40, 5, "too far below"),
        (3, 0, "ice from water"),
        (3, 0.01, "ice from water"),
        (10, math.nan, "a reading is missing"),
    ],
)
def test_a_pair_that_gives_no_humidity(dry: float, wet: float, words: str) -> None:
    assert math.isnan(own.rh_from_wet_bulb(dry, wet, 101.325, "sling"))
    assert words in own.why_no_rh(dry, wet, 101.325, "sling")


@pytest.mark.parametrize(("instrument", "words"), [("electronic", "no wet bulb"), ("whirling", "is not known"), ("", "is not known")])
def test_instruments_without_a_coefficient_are_refused(instrument: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        own.rh_from_wet_bulb(20, 18, 100, instrument)


@given(temps, st.floats(1, 100))
def test_dew_point_saturates(t: float, rh: float) -> None:
    dew = float(own.dew_point_c(t, rh))
    assert dew <= t
    vapour = rh / 100 * float(own.saturation_vapour_pressure_kpa(t))
    assert own.saturation_vapour_pressure_kpa(dew) == pytest.approx(vapour, rel=2e-4)


@given(st.floats(-400, 8900), st.floats(1, 100))
def test_higher_is_thinner(elevation: float, more: float) -> None:
    assert own.pressure_kpa(elevation + more) < own.pressure_kpa(elevation)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: own.vapour_pressure_deficit_kpa(20, 101), "101 % is outside 0 to 100 %"),
        (lambda: own.vapour_pressure_deficit_kpa(20, [-1, 50]), "-1 % is outside"),
        (lambda: own.saturation_vapour_pressure_kpa([20, 300]), "300 °C is outside"),
        (lambda: own.saturation_vapour_pressure_kpa(math.inf), "inf °C is outside"),
        (lambda: humidity_to_keep.rh_for_deficit(20, -0.1), "must be 0 or more"),
        (lambda: humidity_to_keep.rh_for_deficit(20, math.inf), "must be 0 or more"),
        (lambda: own.rh_from_wet_bulb(20, 18, 1013.25, "sling"), "1013.25 kPa is outside 30 to 110 kPa"),
        (lambda: own.dew_point_c(20, 0), "no dew point"),
        (lambda: own.dew_point_c(20, 150), "is outside"),
        (lambda: own.pressure_kpa(20_000), "is outside"),
        (lambda: humidity_to_keep.printed_rh(120), "is outside"),
    ],
)
def test_nonsense_is_refused(call: Any, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()


def test_another_unit_system_in_the_library_changes_nothing() -> None:
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.IP)
    assert own.saturation_vapour_pressure_kpa(20) == pytest.approx(2.3388, abs=1e-4)


def test_every_instrument_with_a_wet_bulb_has_a_coefficient() -> None:
    for code in set(codes("psychrometer")) - {own.NO_WET_BULB}:
        assert 0 < own.constant(f"psychrometer_{code}") < 0.01


def test_every_constant_has_a_kind_a_source_or_a_reason_and_stands_in_the_readme() -> None:
    rows = list(csv.DictReader(data_file("reference/moist_air.csv").read_text(encoding="utf-8").splitlines()))
    readme = data_file("reference/README.md").read_text(encoding="utf-8")
    assert len({row["quantity"] for row in rows}) == len(rows)
    for row in rows:
        assert row["kind"] in {"measured limit", "published guidance", "common practice", "judgement", "published constant"}
        assert row["source"] or (row["kind"] == "judgement" and row["note"])
        assert f"`{row['quantity']}`" in readme
