"""What the water tests of an enclosure say, each value with its limit, the kind of the limit and its source."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from pipeline.formulas import water
from pipeline.writing.words import number

FINE, LOOK, ACT, NOT_KNOWN = "fine", "look", "act", "not known"
COLUMNS = ("tested", "quantity", "value", "unit", "state", "limit", "kind", "source", "words")
# quantity, title, unit, limit to aim for, limit at which to act; above them is worse
ABOVE = (
    ("nitrite_mg_l_n", "Nitrite", "mg/L NO2-N", "nitrite_aim_below", "nitrite_act"),
    ("nitrate_mg_l_n", "Nitrate", "mg/L NO3-N", "nitrate_aim_below", "nitrate_act"),
    ("chlorine_mg_l", "Chlorine", "mg/L", "chlorine_most", "chlorine_most"),
)
SEA_LEVEL_KPA = water.ATMOSPHERE_KPA


def water_state(tests: pd.DataFrame) -> pd.DataFrame:
    """Hold the tests of one enclosure against the limits.

    Parameters
    ----------
    tests : DataFrame
        Rows of water_tests, in order of time.

    Returns
    -------
    DataFrame
        Columns ``COLUMNS``, one row a value, the latest test first; ``state`` is fine, look, act or not known.
    """
    rows: list[dict[str, Any]] = []
    before = None
    for test in tests.to_dict("records"):
        mine = [*_ammonia(test), *_above(test), *_ph(test, before), *_oxygen(test), *_conductivity(test)]
        rows = [{"tested": _moment(test), **row} for row in mine] + rows
        before = test
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _moment(test: dict[str, Any]) -> str:
    clock = test.get("tested_at")
    return f"{test['tested_on']:%Y-%m-%d}" + (f" {clock}" if isinstance(clock, str) and clock else "")


def _row(title: str, value: float, unit: str, state: str, name: str, words: str) -> dict[str, Any]:
    limits = water.water_limits()
    limit = limits[limits["quantity"].eq(name) & limits["taxon_or_group"].eq("all")].iloc[0]
    source = ". ".join(str(part).rstrip(".") for part in (limit["source"], limit["note"]) if part)
    return {
        "quantity": title, "value": value, "unit": unit, "state": state, "limit": f"{number(limit['value'])} {limit['unit']}".strip(),
        "kind": limit["kind"], "source": source, "words": words,
    }  # fmt: skip


def _ammonia(test: dict[str, Any]) -> list[dict[str, Any]]:
    total, ph, temp = (test[name] for name in ("total_ammonia_mg_l_n", "ph", "water_temp_c"))
    if pd.isna(total):
        return []
    if pd.isna(ph) or pd.isna(temp):
        if total == 0:
            return [_row("Un-ionised ammonia", 0.0, "mg/L NH3", FINE, "unionised_ammonia_act", "none by this test")]
        words = "total ammonia was found, and without pH and temperature nobody can say how much of it is poisonous"
        return [_row("Un-ionised ammonia", np.nan, "mg/L NH3", NOT_KNOWN, "unionised_ammonia_act", words)]
    as_nh3 = float(water.unionised_ammonia_mg_l_n(total, ph, temp)) * water.ion_per_nitrogen("ammonia")
    state = ACT if as_nh3 >= water.water_limit("unionised_ammonia_act") else LOOK if total > 0 else FINE
    words = f"computed from {number(total)} mg/L total ammonia as N, pH {number(ph)} and {number(temp)} °C (Emerson et al. 1975)"
    return [_row("Un-ionised ammonia", as_nh3, "mg/L NH3", state, "unionised_ammonia_act", words)]


def _above(test: dict[str, Any]) -> list[dict[str, Any]]:
    rows = []
    for name, title, unit, aim, act in ABOVE:
        value = test[name]
        if pd.isna(value):
            continue
        acts = value > water.water_limit(act) if aim == act else value >= water.water_limit(act)
        state = ACT if acts else LOOK if value > water.water_limit(aim) else FINE
        rows.append(
            _row(title, float(value), unit, state, aim if state == FINE else act, f"aim at {number(water.water_limit(aim))} or less")
        )
    return rows


def _ph(test: dict[str, Any], before: dict[str, Any] | None) -> list[dict[str, Any]]:
    ph = test["ph"]
    if pd.isna(ph):
        return []
    rows = []
    low, high = water.water_limit("ph_low"), water.water_limit("ph_high")
    outside = "ph_low" if ph < low else "ph_high" if ph > high else ""
    words = f"{number(low)} to {number(high)} only where the wild site's own is not known"
    rows.append(_row("pH", float(ph), "", LOOK if outside else FINE, outside or "ph_high", words))
    if before is not None and pd.notna(before["ph"]) and (test["tested_on"] - before["tested_on"]).days <= 1:
        shift = abs(float(ph) - float(before["ph"]))
        if shift > water.water_limit("ph_shift_act"):
            rows.append(_row("Shift of pH", round(shift, 2), "within a day", ACT, "ph_shift_act", f"from {number(before['ph'])}"))
    return rows


def _oxygen(test: dict[str, Any]) -> list[dict[str, Any]]:
    oxygen, temp = test["dissolved_oxygen_mg_l"], test["water_temp_c"]
    if pd.isna(oxygen):
        return []
    if pd.isna(temp):
        words = f"{number(oxygen)} mg/L; without the temperature its saturation is not known"
        return [_row("Oxygen", np.nan, "% saturation", NOT_KNOWN, "oxygen_act_below", words)]
    share = float(water.oxygen_saturation_pct(oxygen, max(float(temp), 0.0), SEA_LEVEL_KPA))
    act, aim = water.water_limit("oxygen_act_below"), water.water_limit("oxygen_aim_above")
    state = ACT if share < act else LOOK if share < aim else FINE
    words = f"{number(oxygen)} mg/L at {number(temp)} °C, at the pressure of sea level: higher up the true figure is higher"
    return [_row("Oxygen", share, "% saturation", state, "oxygen_act_below" if state == ACT else "oxygen_aim_above", words)]


def _conductivity(test: dict[str, Any]) -> list[dict[str, Any]]:
    shown, temp, done = test["conductivity_us_cm"], test["water_temp_c"], test["conductivity_at_25c"]
    if pd.isna(shown):
        return []
    at_25 = float(water.conductivity_at_25c([shown], [temp], [done])[0])
    if np.isnan(at_25):
        words = f"{number(shown)} µS/cm; whether the meter corrected it to 25 °C was not noted"
        return [_row("Conductivity", np.nan, "µS/cm at 25 °C", NOT_KNOWN, "conductivity_unexplained_act", words)]
    state = LOOK if at_25 > water.water_limit("conductivity_unexplained_act") else FINE
    return [_row("Conductivity", at_25, "µS/cm at 25 °C", state, "conductivity_unexplained_act", "above this without a known cause")]
