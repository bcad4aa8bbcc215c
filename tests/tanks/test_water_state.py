"""Water tests of an enclosure against their limits."""

from __future__ import annotations

import pandas as pd
import pytest

from pipeline.tanks.water_state import water_state

NOTHING = dict.fromkeys(
    ("conductivity_at_25c",
     "total_ammonia_mg_l_n", "nitrite_mg_l_n", "nitrate_mg_l_n", "chlorine_mg_l", "ph", "water_temp_c", "dissolved_oxygen_mg_l",
     "conductivity_us_cm", "hardness_mg_l_caco3"), float("nan"),
)  # fmt: skip


def rows(**values: float) -> pd.DataFrame:
    return water_state(pd.DataFrame([{**NOTHING, "tested_on": pd.Timestamp("2025-07-01"), "tested_at": None, **values}]))


def test_unionised_ammonia_is_computed() -> None:
    """Emerson et al. 1975, table of the share at 20 °C and pH 8.0: 3.83 %; as NH3 1.216 times the nitrogen."""
    (row,) = rows(total_ammonia_mg_l_n=1.0, ph=8.0, water_temp_c=20.0).query("quantity == 'Un-ionised ammonia'").to_dict("records")
    assert row["value"] == pytest.approx(0.0383 * 1.216, rel=0.01)


def test_ammonia_without_ph_is_not_known_and_never_fine() -> None:
    (row,) = rows(total_ammonia_mg_l_n=0.5).to_dict("records")
    assert row["state"] == "not known" and pd.isna(row["value"])


def test_every_value_has_its_limit_with_kind_and_source() -> None:
    found = rows(nitrite_mg_l_n=0.0, nitrate_mg_l_n=5.0, chlorine_mg_l=0.0)
    assert set(found["quantity"]) == {"Nitrite", "Nitrate", "Chlorine"}
    assert (found["limit"] != "").all() and (found["kind"] != "").all() and found["tested"].eq("2025-07-01").all()


def test_a_little_chlorine_is_too_much() -> None:
    assert rows(chlorine_mg_l=1.0)["state"].tolist() == ["act"] and rows(chlorine_mg_l=0.0)["state"].tolist() == ["fine"]
