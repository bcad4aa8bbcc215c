"""Water against published tables, worked examples and another library.

`check_values/water.csv` holds the figures with their source; `check_values/ids.csv` lists every figure that was collected.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path
from typing import Any

import gsw
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.formulas import water as own
from pipeline.settings import data_file

HERE = Path(__file__).parents[1] / "check_values"
LEFT_OUT = {
    "B21": "pressure of an isothermal atmosphere at 15 °C: another law; ours is A75 and A76",
    "B27": "another coefficient of conductivity; one is used throughout",
    "B28": "as B27",
    "B48": "German degrees of hardness: nothing converts hardness",
    "B49": "as B48",
    "B50": "hardness from calcium and magnesium: not computed",
    "B51": "grains per gallon: nothing converts hardness",
    "B52": "alkalinity: not computed",
    "B53": "mean pH by way of H+: pH is shown by median and quantiles",
    "B54": "as B53",
    "B55": "as B53",
}


def _checks() -> list[dict[str, str]]:
    with (HERE / "water.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_collected_figure_is_met_or_left_out_with_a_reason() -> None:
    with (HERE / "ids.csv").open(encoding="utf-8", newline="") as file:
        collected = {row["id"] for row in csv.DictReader(file) if row["id"].startswith("B")}
    met = {row["id"] for row in _checks()}
    assert met | set(LEFT_OUT) == collected and not met & set(LEFT_OUT)
    assert len(met) == 49


STANDARD_METHODS = {
    1: 14.216, 2: 13.829, 3: 13.460, 4: 13.107, 6: 12.447, 7: 12.139, 8: 11.843, 9: 11.559, 11: 11.027, 12: 10.777, 13: 10.537,
    14: 10.306, 16: 9.870, 17: 9.665, 18: 9.467, 19: 9.276, 21: 8.915, 22: 8.743, 23: 8.578, 24: 8.418,
}  # fmt: skip


@pytest.mark.parametrize(("t", "mg_l"), STANDARD_METHODS.items())
def test_oxygen_of_the_printed_table(t: float, mg_l: float) -> None:
    """Standard Methods 4500-O, table I, 760 mmHg: from memory, unverified."""
    assert own.oxygen_saturation_mg_l(t, 101.325) == pytest.approx(mg_l, abs=0.002)


@given(st.floats(0, 40))
def test_oxygen_agrees_with_the_sea_water_library_at_salinity_0(t: float) -> None:
    """gsw (TEOS-10), O2sol_SP_pt: Garcia & Gordon 1992 fitted the same data by another polynomial; µmol/kg times density."""
    mg_l = gsw.O2sol_SP_pt(0, t) * gsw.rho_t_exact(0, t, 0) * 31.9988e-6
    assert own.oxygen_saturation_mg_l(t, 101.325) == pytest.approx(mg_l, abs=0.002)


@given(st.floats(0, 39), st.floats(0.01, 1), st.floats(60, 104), st.floats(0.01, 5))
def test_warm_or_thin_air_leaves_less_oxygen(t: float, warmer: float, pressure: float, more: float) -> None:
    here = own.oxygen_saturation_mg_l(t, pressure)
    assert 0 < own.oxygen_saturation_mg_l(t + warmer, pressure) < here < own.oxygen_saturation_mg_l(t, pressure + more)


@given(st.floats(0, 40), st.floats(60, 105), st.floats(0, 2))
def test_percent_of_saturation_is_not_clipped(t: float, pressure: float, share: float) -> None:
    full = own.oxygen_saturation_mg_l(t, pressure)
    assert own.oxygen_saturation_pct(share * full, t, pressure) == pytest.approx(100 * share, abs=1e-9)


@pytest.mark.parametrize(("t", "factor"), [(0, 1.9139), (5, 1.6181), (10, 1.4015), (15, 1.2361), (18, 1.1543), (20, 1.1056), (30, 0.9128)])
def test_factor_of_conductivity(t: float, factor: float) -> None:
    """1/(1 + 0.0191 (t − 25)), the linear form of ISO 7888:1985, worked by hand."""
    assert own.conductivity_at_25c(1000, t, False) == pytest.approx(1000 * factor, abs=0.06)


def test_conductivity_is_never_corrected_twice_nor_on_a_guess() -> None:
    got = own.conductivity_at_25c([100, 100, 100, 100, np.nan], [15, 15, 15, np.nan, 15], [True, False, None, True, False])
    assert got[0] == 100 and got[1] == pytest.approx(123.61, abs=0.02)
    assert math.isnan(got[2]) and got[3] == 100 and math.isnan(got[4])
    assert math.isnan(own.conductivity_at_25c(100, np.nan, False))


# Emerson et al. 1975, J. Fish. Res. Board Can. 32:2379, eq. 8 and 9, computed by hand: percent of the total ammonia.
@pytest.mark.parametrize(
    ("ph", "t", "percent"), [(7.0, 10, 0.1853), (8.0, 15, 2.656), (8.0, 20, 3.807), (8.0, 25, 5.366), (8.5, 15, 7.942)]
)
def test_ammonia_by_its_source(ph: float, t: float, percent: float) -> None:
    assert 100 * own.unionised_ammonia_fraction(ph, t) == pytest.approx(percent, abs=0.005)


@given(st.floats(4, 10), st.floats(0, 49), st.floats(0.01, 1))
def test_ammonia_is_worse_where_water_is_warmer_or_more_alkaline(ph: float, t: float, more: float) -> None:
    here = own.unionised_ammonia_fraction(ph, t)
    assert 0 < here < 1
    assert own.unionised_ammonia_fraction(ph + more, t) > here
    assert own.unionised_ammonia_fraction(ph, t + more) > here


@given(st.floats(0, 100), st.sampled_from(sorted(own.IONS)))
def test_nitrogen_is_the_lighter_part(value: float, ion: str) -> None:
    n = own.as_nitrogen_mg_l(value, ion)
    assert n * own.ion_per_nitrogen(ion) == pytest.approx(value)
    assert n <= value


def test_fifty_of_nitrate_is_eleven_of_nitrogen() -> None:
    """50 mg/L of nitrate are 11.3 mg/L of nitrate-nitrogen (WHO, Guidelines for Drinking-water Quality; from memory: "11 as N")."""
    assert own.as_nitrogen_mg_l(50, "nitrate") == pytest.approx(11.3, abs=0.05)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: own.oxygen_saturation_mg_l(41, 101), "41 °C is outside 0 to 40 °C"),
        (lambda: own.oxygen_saturation_mg_l([10, -1], 101), "-1 °C is outside"),
        (lambda: own.oxygen_saturation_mg_l(10, 1013.25), "1013.25 kPa is outside"),
        (lambda: own.oxygen_saturation_mg_l(10, 760), "760 kPa is outside"),
        (lambda: own.oxygen_saturation_pct(-1, 10, 101), "is outside"),
        (lambda: own.conductivity_at_25c(-5, 10, False), "is outside"),
        (lambda: own.conductivity_at_25c(5, 55, False), "55 °C is outside"),
        (lambda: own.unionised_ammonia_fraction(15, 10), "a pH of 15 is outside 0 to 14"),
        (lambda: own.unionised_ammonia_fraction(7, 51), "51 °C is outside"),
        (lambda: own.unionised_ammonia_mg_l_n(-1, 7, 20), "is outside"),
        (lambda: own.as_nitrogen_mg_l(-1, "nitrate"), "is outside"),
        (lambda: own.ion_per_nitrogen("NO3"), "say nitrate, nitrite"),
    ],
)
def test_nonsense_is_refused(call: Any, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()


def test_missing_stays_missing() -> None:
    for value in (
        own.oxygen_saturation_mg_l(np.nan, 101),
        own.oxygen_saturation_pct(8, 10, np.nan),
        own.unionised_ammonia_mg_l_n(1, np.nan, 10),
        own.as_nitrogen_mg_l(np.nan, "nitrite"),
    ):
        assert math.isnan(value)


def test_every_limit_has_a_kind_a_source_or_a_reason_and_stands_in_the_readme() -> None:
    table = own.water_limits()
    readme = data_file("reference/README.md").read_text(encoding="utf-8")
    assert not table.duplicated(["taxon_or_group", "life_stage", "quantity"]).any()
    assert set(table["kind"]) <= {"measured limit", "published guidance", "common practice", "judgement", "published constant"}
    for row in table.itertuples():
        assert f"`{row.quantity}`" in readme
        if row.kind in ("common practice", "judgement"):
            assert row.note and not row.source
        else:
            assert row.source or row.note.startswith("From memory")


def test_limits_of_nitrogen_stay_well_below_what_killed_larvae() -> None:
    """Marco et al. 1999 and Camargo et al. 2005, abstracts read: 1 mg/L N of nitrite killed, 10 mg/L N of nitrate harmed."""
    assert own.water_limit("nitrite_aim_below") < own.water_limit("nitrite_act") < 1
    assert own.water_limit("nitrate_aim_below") < own.water_limit("nitrate_act") <= 10


def test_a_limit_of_some_taxon_is_none_for_all() -> None:
    with pytest.raises(KeyError, match="0 rows for 'copper_lc50'"):
        own.water_limit("copper_lc50")


def test_a_copy_of_the_limits_may_be_changed() -> None:
    table = own.water_limits()
    table["value"] = 0.0
    assert own.water_limit("nitrate_act") == 10


@pytest.mark.parametrize(("t", "vapour_kpa", "theta"), [(15, 1.705, 7.7558e-4), (20, 2.338, 7.1554e-4)])
def test_thin_air_takes_off_what_the_vapour_pressure_and_theta_say(t: float, vapour_kpa: float, theta: float) -> None:
    """(P − u)(1 − θP)/((1 − u)(1 − θ)) with u of FAO-56 Table 2.3 and θ of B59 (at 20 °C by hand), at 0.7 atmospheres."""
    u = vapour_kpa / 101.325
    factor = (0.7 - u) * (1 - 0.7 * theta) / ((1 - u) * (1 - theta))
    ratio = own.oxygen_saturation_mg_l(t, 0.7 * 101.325) / own.oxygen_saturation_mg_l(t, 101.325)
    assert ratio == pytest.approx(factor, abs=2e-5)
