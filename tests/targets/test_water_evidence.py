"""Which water values count: one a waterbody and day, at 25 °C and at the pressure of the site, by hand.

Sources: oxygen at saturation from the table of Standard Methods (from memory; it agrees with Benson & Krause), 84.3 % at 500 m computed
with their equation elsewhere; ISO 7888:1985, linear form, for conductivity. The small books are invented.
"""

from __future__ import annotations

from typing import Any

import pytest
from small_book import FIND, SITE, TOML, VISIT
from small_book import book as small_book

from pipeline.settings import parse_settings
from pipeline.targets.water_evidence import NO_ELEVATION, NO_TEMPERATURE, UNCORRECTED, water_readings
from schemas.frames.air_and_water import WATER_LEFT_OUT_COLUMNS, WATER_READING_COLUMNS

BOOK = parse_settings(TOML, "test")


def read(
    visits: list[dict[str, Any]], finds: list[dict[str, Any]] | None = None, sites: list[dict[str, Any]] | None = None, **more: Any
) -> tuple[dict[tuple[str, str], float], dict[str, int]]:
    """Values by date and quantity, and values not used by reason; one larva in the channel on each visit unless told otherwise."""
    made = [{**VISIT, "visit_id": f"V{n}", "site_id": (sites or [SITE])[0]["site_id"], **visit} for n, visit in enumerate(visits)]
    met = finds or [{**FIND, "find_id": f"F{n}", "visit_id": f"V{n}"} for n in range(len(made))]
    readings, left_out = water_readings(small_book(sites=sites or [SITE], visits=made, finds=met, **more), BOOK)
    assert list(readings.columns) == list(WATER_READING_COLUMNS) and list(left_out.columns) == list(WATER_LEFT_OUT_COLUMNS)
    values = {(row.date.strftime("%m-%d"), row.quantity): row.value for row in readings.itertuples()}
    return values, left_out.groupby("reason")["n_visits"].sum().to_dict()


@pytest.mark.parametrize(
    ("visit", "value", "unused"),
    [
        ({"conductivity_at_25c": True, "water_temp_c": 10.0}, 40.0, {}),
        ({"conductivity_at_25c": False, "water_temp_c": 10.0}, 40.0 * 1.4015, {}),
        ({"conductivity_at_25c": False, "water_temp_c": 15.0}, 40.0 * 1.2361, {}),
        ({"conductivity_at_25c": True, "water_temp_c": None}, 40.0, {}),
        ({"conductivity_at_25c": True, "water_temp_c": -0.3}, 40.0, {}),
        ({"conductivity_at_25c": False, "water_temp_c": -0.3}, None, {NO_TEMPERATURE: 1}),
        ({"conductivity_at_25c": False, "water_temp_c": None}, None, {NO_TEMPERATURE: 1}),
        ({"conductivity_at_25c": None, "water_temp_c": 10.0}, None, {UNCORRECTED: 1}),
    ],
)
def test_conductivity_is_at_25_degrees_unless_the_meter_did_it(visit: dict[str, Any], value: float | None, unused: dict[str, int]) -> None:
    """Factors at α = 0.0191 computed from the linear form: 1.4015 at 10 °C, 1.2361 at 15 °C. Not noted is not used, and counted."""
    values, left_out = read([{"conductivity_us_cm": 40.0, **visit}])
    assert left_out == unused
    assert values == ({} if value is None else {("07-10", "conductivity"): pytest.approx(value, rel=1e-4)})


@pytest.mark.parametrize(
    ("oxygen", "temp", "elevation", "saturation", "unused"),
    [
        (10.306, 14.0, 0.0, 100.0, {}),
        (8.0, 15.0, 500.0, 84.3, {}),
        (8.0, 15.0, 0.0, 79.3, {}),
        (8.0, 15.0, None, None, {NO_ELEVATION: 1}),
        (8.0, 15.0, 6000.0, None, {NO_ELEVATION: 1}),
        (8.0, None, 500.0, None, {NO_TEMPERATURE: 1}),
        (8.0, -0.2, 500.0, None, {NO_TEMPERATURE: 1}),
    ],
)
def test_oxygen_is_told_as_read_and_at_the_pressure_of_the_site(
    oxygen: float, temp: float | None, elevation: float | None, saturation: float | None, unused: dict[str, int]
) -> None:
    values, left_out = read([{"dissolved_oxygen_mg_l": oxygen, "water_temp_c": temp}], sites=[{**SITE, "elevation_m": elevation}])
    assert values[("07-10", "oxygen")] == oxygen and left_out == unused
    assert values.get(("07-10", "saturation")) == (None if saturation is None else pytest.approx(saturation, abs=0.1))


@pytest.mark.parametrize(
    "find",
    [
        {"microhabitat": "seep_water"}, {"microhabitat": "wet_rock"}, {"microhabitat": "under_log"}, {"life_stage": "egg_mass"},
        {"life_stage": "undetermined"}, {"condition": "dead"}, {"taxon": "DESM"}, {"id_certainty": "unsure"},
    ],
)  # fmt: skip
def test_water_counts_for_sound_animals_in_the_channel_alone(find: dict[str, Any]) -> None:
    assert read([{"ph": 6.8}], [{**FIND, "visit_id": "V0", **find}]) == ({}, {})
    assert read([{"ph": 6.8}])[0] == {("07-10", "ph"): 6.8}


def test_unsettled_flag_on_the_visit_leaves_its_water_out() -> None:
    assert read([{"ph": 6.8}], flags=[{"table_name": "visits", "row_key": "V0"}]) == ({}, {})


def test_a_waterbody_and_day_have_one_value() -> None:
    """Three visits of one stream and day: the median; two: the lower, so that it was read."""
    sites = [{**SITE, "waterbody": "Rill"}, {**SITE, "site_id": "S2", "waterbody": "Rill"}]
    day = {"visit_date": "2021-07-11"}
    visits: list[dict[str, Any]] = [
        {"ph": 6.2},
        {"ph": 7.0, "site_id": "S2"},
        {"ph": 6.4},
        {"ph": 7.1, **day},
        {"ph": 6.9, "site_id": "S2", **day},
    ]
    assert read(visits, sites=sites)[0] == {("07-10", "ph"): 6.4, ("07-11", "ph"): 6.9}


def test_many_finds_of_a_visit_and_a_marked_animal_count_once() -> None:
    finds = [{**FIND, "find_id": f"F{n}", "visit_id": "V0", "animal_id": "R1" if n < 2 else None, "count": 2} for n in range(4)]
    connection = small_book(sites=[SITE], visits=[{**VISIT, "visit_id": "V0", "ph": 6.8}], finds=finds)
    readings, _ = water_readings(connection, BOOK)
    assert readings["n_animals"].tolist() == [6]
