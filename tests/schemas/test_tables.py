"""Every declared field of every table: unit in the name, spans of the design, what is protected."""

from __future__ import annotations

import pytest
from sound_rows import ALL_FIELDS

from schemas.fields import Field
from schemas.tables import MODELS, fields, key_of, keys_of, purpose


def test_every_table_has_one_required_key_and_a_purpose() -> None:
    for table in MODELS:
        keys = [field for field in fields(table).values() if field.key]
        assert [field.name for field in keys] == list(keys_of(table)) and keys[0].name == key_of(table)
        # what a logger writes is named by the logger and the instant
        assert len(keys) == (2 if table == "logger_readings" else 1)
        assert all(field.required for field in keys) and purpose(table).endswith(".")


# The unit stands in the name as well (house rule 4); UNIT_ENDINGS says how each unit is spelt in a name.
UNIT_ENDINGS = {
    "°C": "_c", "%": "_pct", "mm": "_mm", "cm": "_cm", "m": "_m", "m2": "_m2", "g": "_g",
    "mg/L": "_mg_l", "mg/L NH3-N": "_mg_l_n", "mg/L NO2-N": "_mg_l_n", "mg/L NO3-N": "_mg_l_n",
    "mg/L CaCO3": "_mg_l_caco3", "µS/cm": "_us_cm", "min": "_minutes",
}  # fmt: skip
WITH_UNIT = [field for field in ALL_FIELDS if field.unit in UNIT_ENDINGS]
WET_READINGS = [field for field in ALL_FIELDS if field.name in ("water_temp_c", "substrate_temp_c")]
PRIVATE = {
    "site_id", "site_name", "waterbody", "latitude", "longitude", "verbatim_coordinates", "observers", "remarks", "permit", "photo",
}  # fmt: skip


@pytest.mark.parametrize("field", WITH_UNIT, ids=lambda field: f"{field.table}.{field.name}")
def test_the_unit_stands_in_the_name(field: Field) -> None:
    assert field.name.endswith(UNIT_ENDINGS[field.unit])


# Source: ISO 6709 order and sign as used by Darwin Core decimalLatitude and decimalLongitude (spans of -90 to 90 and -180 to 180).
@pytest.mark.parametrize("table", ["sites", "finds"])
def test_coordinates_span_the_earth(table: str) -> None:
    assert fields(table)["latitude"].possible == (-90, 90)
    assert fields(table)["longitude"].possible == (-180, 180)


# Source: Darwin Core coordinateUncertaintyInMeters: zero is not valid.
def test_an_uncertainty_of_zero_is_not_possible() -> None:
    possible = fields("sites")["coordinate_uncertainty_m"].possible
    assert possible and possible[0] > 0


# The rule of the design that a water or substrate reading below -0.5 or above 30 °C is held; common practice, no source.
@pytest.mark.parametrize("field", WET_READINGS, ids=lambda field: field.table)
def test_water_and_substrate_span_of_the_design(field: Field) -> None:
    assert field.possible == (-0.5, 30)


def test_places_names_and_free_text_are_protected() -> None:
    for field in ALL_FIELDS:
        assert field.protected or field.name not in PRIVATE, (field.table, field.name)
