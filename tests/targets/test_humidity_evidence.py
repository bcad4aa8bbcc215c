"""Which humidity belongs to a find. FAO Irrigation and Drainage Paper 56 (Allen et al. 1998), Example 4 and eq. 11; small books by hand."""

from __future__ import annotations

from typing import Any

import pytest
from humid_studies import BOOK, NIGHT, fao_saturation_kpa
from small_book import SITE, VISIT
from small_book import book as small_book

from pipeline.targets import usable_finds as finds
from pipeline.targets.humidity_evidence import COVERED, IMPOSSIBLE, NONE_READ, THE_VISITS, humidity_readings
from schemas.frames.air_and_water import HUMIDITY_READING_COLUMNS

WET = {"air_temp_c": 25.6, "wet_bulb_c": 19.5}


def one(find: dict[str, Any], visit: dict[str, Any] | None = None, site: dict[str, Any] | None = None) -> Any:
    """The humidity of a book of one find, or the reason why there is none."""
    connection = small_book(sites=[{**SITE, **(site or {})}], visits=[{**VISIT, **(visit or {})}], finds=[{**NIGHT, **find}])
    frame, excluded = humidity_readings(connection, BOOK)
    assert list(frame.columns) == list(HUMIDITY_READING_COLUMNS)
    assert len(frame) + len(excluded) == 1
    return frame.iloc[0] if len(frame) else excluded["reason"].iloc[0]


@pytest.mark.parametrize(("psychrometer", "rh"), [("aspirated", 58.2), ("sling", 58.2), ("natural", 56.0), ("still", 49.5)])
def test_wet_bulb_is_read_with_its_instrument_and_elevation(psychrometer: str, rh: float) -> None:
    """FAO-56 Example 4: 25.6 and 19.5 °C at 1200 m; 56.0 and 49.5 by its coefficients for natural and still air, computed."""
    row = one(WET, {"psychrometer": psychrometer}, {"elevation_m": 1200.0})
    assert row["rh_pct"] == pytest.approx(rh, abs=0.3)
    assert row["deficit_kpa"] == pytest.approx(fao_saturation_kpa(25.6) * (1 - rh / 100), abs=0.01)
    assert (row["by_wet_bulb"], row["wettest_assumed"], row["from_visit"], row["reason"]) == (True, False, False, "")


@pytest.mark.parametrize("blank", ["psychrometer", "elevation", "both", "electronic"])
@pytest.mark.parametrize("psychrometer", ["aspirated", "sling", "natural", "still"])
@pytest.mark.parametrize("elevation", [-400.0, 0.0, 1200.0, 4900.0])
def test_instrument_or_elevation_not_noted_is_the_wettest(blank: str, psychrometer: str, elevation: float) -> None:
    noted = one(WET, {"psychrometer": psychrometer}, {"elevation_m": elevation})
    visit = {"psychrometer": {"psychrometer": None, "both": None, "electronic": "electronic"}.get(blank, psychrometer)}
    blanked = one(WET, visit, {"elevation_m": None if blank in ("elevation", "both") else elevation})
    assert blanked["wettest_assumed"] and blanked["rh_pct"] >= noted["rh_pct"] and blanked["deficit_kpa"] <= noted["deficit_kpa"]


def test_sensor_comes_before_the_wet_bulb_and_needs_an_air_temperature() -> None:
    row = one({**WET, "rh_pct": 71.0})
    assert (row["rh_pct"], row["by_wet_bulb"], row["wettest_assumed"]) == (71.0, False, False)
    assert row["deficit_kpa"] == pytest.approx(0.29 * fao_saturation_kpa(25.6), rel=2e-3)
    assert one({"rh_pct": 71.0}) == NONE_READ


@pytest.mark.parametrize(
    ("find", "visit", "reason"),
    [
        ({"rh_pct": 90.0, "air_temp_c": 15.0, "microhabitat": "under_log"}, {}, COVERED),
        ({"rh_pct": 90.0, "air_temp_c": 15.0, "microhabitat": "wet_rock"}, {}, COVERED),
        ({"air_temp_c": 15.0}, {}, NONE_READ),
        ({}, {"rh_pct": 90.0}, NONE_READ),
        ({"air_temp_c": 15.0, "wet_bulb_c": 0.0}, {"psychrometer": "sling"}, IMPOSSIBLE),
        ({"air_temp_c": 15.0, "wet_bulb_c": 15.5}, {"psychrometer": "sling"}, IMPOSSIBLE),
        ({"rh_pct": 90.0, "air_temp_c": 15.0, "condition": "thin"}, {}, "animal not well"),
        ({"rh_pct": 90.0, "air_temp_c": 15.0, "taxon": "DESM"}, {}, "named to genus only"),
        ({"rh_pct": 90.0, "air_temp_c": 15.0}, {"thermometer_accuracy_c": 1.5}, "thermometer worse than 1 °C"),
        ({"rh_pct": 90.0, "air_temp_c": 15.0, "life_stage": "undetermined", "condition": "dead"}, {}, "animal not well"),
    ],
)
def test_find_without_a_humidity_is_counted_with_its_reason(find: dict[str, Any], visit: dict[str, Any], reason: str) -> None:
    assert one(find, visit) == reason


@pytest.mark.parametrize("psychrometer", ["aspirated", "still", None])
def test_pair_that_an_instrument_could_not_show_is_out_whichever_was_noted(psychrometer: str | None) -> None:
    """20 °C dry and 9 °C wet: 17 % with a fan, below nothing in still air. A blank must neither bring such a pair in nor drop it."""
    assert one({"air_temp_c": 20.0, "wet_bulb_c": 9.0}, {"psychrometer": psychrometer}, {"elevation_m": 0.0}) == IMPOSSIBLE


@pytest.mark.parametrize(
    ("find", "visit", "reason"),
    [
        ({"rh_pct": 90.0, "air_temp_c": 15.0, "found_at": "12:10"}, {}, finds.BY_DAY),
        ({"rh_pct": 90.0, "air_temp_c": 15.0, "found_at": None}, {"start_time": None}, finds.NO_HOUR),
        ({"rh_pct": 90.0, "air_temp_c": 15.0, "life_stage": "undetermined"}, {}, "life stage not told"),
        ({"rh_pct": 90.0, "air_temp_c": 15.0, "reading_place": "reach"}, {}, THE_VISITS),
        ({}, {"rh_pct": 90.0, "air_temp_c": 15.0}, THE_VISITS),
        ({"air_temp_c": 16.0}, {"rh_pct": 90.0, "air_temp_c": 15.0}, THE_VISITS),
        ({"rh_pct": 90.0, "air_temp_c": 15.0}, {"rh_pct": 60.0, "air_temp_c": 19.0}, ""),
    ],
)
def test_reading_that_feeds_no_target_is_kept_with_its_reason(find: dict[str, Any], visit: dict[str, Any], reason: str) -> None:
    row = one(find, visit)
    assert (row["reason"], row["rh_pct"], row["air_temp_c"], row["from_visit"]) == (reason, 90.0, 15.0, reason == THE_VISITS)


def test_unsettled_flags_leave_readings_out() -> None:
    read = {"rh_pct": 90.0, "air_temp_c": 15.0}
    for flag, find, visit in (("finds", read, {}), ("visits", {}, read)):
        key = {"finds": "F1", "visits": "V1"}[flag]
        connection = small_book(
            sites=[SITE], visits=[{**VISIT, **visit}], finds=[{**NIGHT, **find}], flags=[{"table_name": flag, "row_key": key}]
        )
        frame, excluded = humidity_readings(connection, BOOK)
        assert frame.empty and excluded["n_finds"].sum() == 1


def test_equal_readings_of_one_stream_and_day_are_one_and_the_wettest() -> None:
    """Two instruments showed the same pair: the wetter meaning stands. Another clock time does not make another reading."""
    sites = [{**SITE, "waterbody": "Rill", "elevation_m": 300.0}, {**SITE, "site_id": "S2", "waterbody": "Rill", "elevation_m": 300.0}]
    visits = [{**VISIT, "psychrometer": "still"}, {**VISIT, "visit_id": "V2", "site_id": "S2", "psychrometer": "sling"}]
    pair = {"air_temp_c": 16.0, "wet_bulb_c": 15.0}
    rows = [
        {**NIGHT, **pair}, {**NIGHT, **pair, "find_id": "F2", "visit_id": "V2", "found_at": "22:00", "count": 3},
        {**NIGHT, "find_id": "F3", "air_temp_c": 16.0, "rh_pct": 80.0, "animal_id": "R1"},
        {**NIGHT, "find_id": "F4", "visit_id": "V2", "air_temp_c": 17.0, "rh_pct": 80.0, "animal_id": "R1"},
    ]  # fmt: skip
    frame, excluded = humidity_readings(small_book(sites=sites, visits=visits, finds=rows), BOOK)
    by_wet_bulb = frame[frame["by_wet_bulb"]].iloc[0]
    assert len(frame) == 2 and by_wet_bulb["n_animals"] == 4
    assert by_wet_bulb["rh_pct"] == pytest.approx(one(pair, {"psychrometer": "sling"}, {"elevation_m": 300.0})["rh_pct"])
    assert excluded["reason"].tolist() == [finds.REPEATED]
