"""Which readings count: small books made in memory, each case worked by hand.

Sources: method §1 as written in docs/method.md (Feder & Lynch 1982 and Lunghi et al. 2016 for "followed by the body"); what counts as night
is checked against the almanac in test_sun. The cases are invented.
"""

from __future__ import annotations

import dataclasses
import hashlib
from typing import Any

import pandas as pd
import pytest
from small_book import FIND, SITE, TOML, VISIT, book

from pipeline.settings import Settings, parse_settings
from pipeline.targets.evidence import availability, input_hash, readings
from pipeline.targets.usable_finds import BY_DAY, NO_HOUR, REPEATED
from schemas.frames.targets import Readings


@pytest.fixture(scope="module")
def settings() -> Settings:
    return parse_settings(TOML, "test")


def one(
    settings: Settings, find: dict[str, Any] | None = None, visit: dict[str, Any] | None = None, site: dict[str, Any] | None = None
) -> Any:
    """The single reading of a one-find book, or the reason why there is none."""
    connection = book(sites=[{**SITE, **(site or {})}], visits=[{**VISIT, **(visit or {})}], finds=[{**FIND, **(find or {})}])
    frame, excluded = readings(connection, settings)
    assert len(frame) + len(excluded) == 1
    return frame.iloc[0] if len(frame) else excluded["reason"].iloc[0]


NO_READING = "no reading that counts for this medium"


@pytest.mark.parametrize(
    ("find", "value", "medium", "from_visit"),
    [
        ({"water_temp_c": 13.1}, 13.1, "water", False),
        ({}, 14.0, "water", True),
        ({"water_temp_c": 13.1, "reading_place": "reach"}, 13.1, "water", True),
        ({"microhabitat": "seep_water", "water_temp_c": 11.0}, 11.0, "water", False),
        ({"microhabitat": "under_log", "substrate_temp_c": 12.5, "air_temp_c": 20.0}, 12.5, "land", False),
        ({"microhabitat": "wet_rock", "substrate_temp_c": 12.0, "water_temp_c": 13.0}, 12.0, "edge", False),
        ({"microhabitat": "wet_rock", "water_temp_c": 13.0}, 13.0, "edge", False),
        ({"microhabitat": "on_surface", "air_temp_c": 15.0, "found_at": "23:10"}, 15.0, "surface", False),
        (
            {"life_stage": "egg_mass", "microhabitat": "nest_water", "water_temp_c": 11.0, "reading_place": "at_animal"},
            11.0,
            "water",
            False,
        ),
    ],
)
def test_reading_of_a_find_is_the_one_of_its_medium(
    settings: Settings, find: dict[str, Any], value: float, medium: str, from_visit: bool
) -> None:
    row = one(settings, find)
    assert (row["value"], row["medium"], row["from_visit"]) == (value, medium, from_visit)


@pytest.mark.parametrize(
    ("find", "reason"),
    [
        ({"microhabitat": "seep_water"}, NO_READING),
        ({"microhabitat": "nest_water"}, NO_READING),
        ({"microhabitat": "seep_water", "water_temp_c": 11.0, "reading_place": "reach"}, NO_READING),
        ({"microhabitat": "bank_burrow"}, NO_READING),
        ({"microhabitat": "under_log", "air_temp_c": 20.0}, NO_READING),
        ({"microhabitat": "under_log", "substrate_temp_c": 12.5, "reading_place": "beside"}, NO_READING),
        ({"microhabitat": "under_log", "substrate_temp_c": 12.5, "reading_place": "reach"}, NO_READING),
        ({"microhabitat": "wet_rock"}, NO_READING),
        ({"microhabitat": "on_surface", "found_at": "23:10"}, NO_READING),
        ({"microhabitat": "on_surface", "air_temp_c": 15.0, "found_at": "23:10", "reading_place": "reach"}, NO_READING),
        ({"microhabitat": "on_surface", "air_temp_c": 15.0, "found_at": "12:10"}, BY_DAY),
        ({"life_stage": "egg_mass", "water_temp_c": 11.0}, "eggs not read at the nest"),
        ({"life_stage": "egg_mass", "water_temp_c": 11.0, "reading_place": "beside"}, "eggs not read at the nest"),
        ({"life_stage": "egg_mass"}, "eggs not read at the nest"),
        ({"life_stage": "egg_mass", "reading_place": "at_animal"}, NO_READING),
        ({"condition": "thin"}, "animal not well"),
        ({"condition": "dead"}, "animal not well"),
        ({"disposition": "salvaged"}, "animal not well"),
        ({"taxon": "DESM"}, "named to genus only"),
        ({"taxon": "XXXX"}, "taxon not in the book's list"),
        ({"id_certainty": "genus_only"}, "name not sure"),
        ({"id_certainty": "unsure"}, "name not sure"),
        ({"life_stage": "undetermined"}, "life stage not told"),
        ({"microhabitat": "unknown", "water_temp_c": 12.0}, "microhabitat not noted"),
        ({"visit_id": "V9"}, "visit not in the book"),
    ],
)
def test_find_without_evidence_is_counted_with_its_reason(settings: Settings, find: dict[str, Any], reason: str) -> None:
    assert one(settings, find, {"air_temp_c": 18.0}) == reason


def test_surface_needs_a_known_night(settings: Settings) -> None:
    surface = {"microhabitat": "on_surface", "air_temp_c": 15.0}
    assert one(settings, surface, {"start_time": None}) == NO_HOUR
    nowhere = {"latitude": None, "longitude": None}
    assert one(settings, {**surface, "found_at": "23:10"}, site=nowhere) == NO_HOUR
    assert one(settings, {**surface, "found_at": "23:10"}, site={**nowhere, "study_area": "north"})["night"]
    assert one(settings, {**surface, "found_at": "23:10"}, site={**nowhere, "study_area": "south"})["night"]


def test_box_centre_is_where_night_is_told(settings: Settings) -> None:
    # On 10 July 2021 the sun sets at 20:47 EDT at 35 N 83 W and at 20:29 at 40 N 75 W (computed: astral): 20:40 tells them apart.
    nowhere = {"latitude": None, "longitude": None}
    find = {"found_at": "20:40", "water_temp_c": 13.0}
    assert not one(settings, find, site={**nowhere, "study_area": "south"})["night"]
    assert one(settings, find, site={**nowhere, "study_area": "north"})["night"]


def test_find_before_the_start_is_of_the_next_day(settings: Settings) -> None:
    # On 14 March 2021 clocks went forward at 2:00: at 40 N 75 W the sun rose at 6:14 on the 13th and 7:12 on the 14th (computed:
    # astral), so 6:40 is day on the one and night on the other.
    row = one(settings, {"found_at": "06:40", "water_temp_c": 8.0}, {"visit_date": "2021-03-13", "start_time": "22:00"})
    assert (row["night"], row["date"], row["hour"], row["month"]) == (True, pd.Timestamp("2021-03-13"), pytest.approx(6 + 40 / 60), 3)
    same_day = one(settings, {"found_at": "06:40", "water_temp_c": 8.0}, {"visit_date": "2021-03-13", "start_time": "06:00"})
    assert not same_day["night"]


def test_clock_is_the_finds_or_else_the_visits(settings: Settings) -> None:
    assert one(settings, {"water_temp_c": 13.0, "found_at": "11:30"})["hour"] == 11.5
    assert one(settings, {"found_at": "11:30"})["hour"] == 10.0, "a visit's reading is taken when the visit starts"
    assert one(settings, {"found_at": "09:30"})["night"] == False  # noqa: E712
    assert pd.isna(one(settings, {}, {"start_time": None})["hour"])


@pytest.mark.parametrize(
    ("start", "end", "hour", "night"),
    [
        ("10:00", None, None, None),
        (None, "12:00", None, None),
        ("10:00", "12:00", 12.0, False),
        ("15:00", "17:00", 16.0, False),
        ("17:30", "18:30", 17.5, False),
        ("18:00", "23:30", 18.0, None),
        ("23:00", "01:00", 23.0, True),
        ("22:00", "17:00", 16.0, None),
    ],
)
def test_find_without_a_clock_takes_the_warmest_hour_of_its_visit(
    settings: Settings, start: str | None, end: str | None, hour: float | None, night: bool | None
) -> None:
    row = one(settings, {"water_temp_c": 13.0}, {"start_time": start, "end_time": end})
    assert pd.isna(row["hour"]) if hour is None else row["hour"] == hour
    assert pd.isna(row["night"]) if night is None else row["night"] == night


def test_thermometer_accuracy(settings: Settings) -> None:
    assert one(settings, {}, {"thermometer_accuracy_c": 1.0})["accuracy_c"] == 1.0
    assert pd.isna(one(settings)["accuracy_c"])
    assert one(settings, {}, {"thermometer_accuracy_c": 1.5}) == "thermometer worse than 1 °C"


def test_site_is_the_waterbody_where_filled(settings: Settings) -> None:
    assert one(settings)["site"] == "S1"
    row = one(settings, site={"waterbody": "Rill", "population": "upper"})
    assert (row["site"], row["population"], row["year"]) == ("Rill", "upper", 2021)


def test_equal_values_of_one_stream_and_day_are_one_reading(settings: Settings) -> None:
    sites = [{**SITE, "waterbody": "Rill"}, {**SITE, "site_id": "S2", "waterbody": "Rill"}]
    visits = [{**VISIT, "thermometer_accuracy_c": 0.2}, {**VISIT, "visit_id": "V2", "site_id": "S2"}]
    finds = [
        {**FIND, "count": 2},
        {**FIND, "find_id": "F2", "visit_id": "V2", "count": 3, "medium_assumed": True},
        {**FIND, "find_id": "F3", "visit_id": "V2", "water_temp_c": 14.0, "found_at": "10:00"},
        {**FIND, "find_id": "F4", "visit_id": "V2", "water_temp_c": 14.5, "found_at": "10:00"},
        {**FIND, "find_id": "F5", "visit_id": "V2", "water_temp_c": 14.0, "found_at": "11:00"},
        {**FIND, "find_id": "F6", "visit_id": "V2", "life_stage": "adult"},
    ]
    frame, excluded = readings(book(sites=sites, visits=visits, finds=finds), settings)
    assert excluded.empty
    larvae = frame[frame["life_stage"] == "larva"].set_index(["value", "hour"]).sort_index()
    assert list(larvae.index) == [(14.0, 10.0), (14.0, 11.0), (14.5, 10.0)]
    shared = larvae.loc[(14.0, 10.0)]
    assert (shared["n_animals"], shared["visit_id"], shared["medium_assumed"], shared["from_visit"]) == (6, "V1", True, False)
    assert pd.isna(shared["accuracy_c"]), "one of the merged readings has no accuracy: the merged one has none"
    assert len(frame[frame["life_stage"] == "adult"]) == 1


def test_merged_depth_is_missing_where_any_is(settings: Settings) -> None:
    soil = {**FIND, "microhabitat": "bank_burrow", "substrate_temp_c": 12.0}
    rows = [{**soil, "depth_cm": 30.0}, {**soil, "find_id": "F2", "depth_cm": 25.0}]
    assert readings(book(sites=[SITE], visits=[VISIT], finds=rows), settings)[0]["depth_cm"].tolist() == [25.0]
    rows.append({**soil, "find_id": "F3"})
    assert readings(book(sites=[SITE], visits=[VISIT], finds=rows), settings)[0]["depth_cm"].isna().all()
    water = {**FIND, "depth_cm": 30.0}
    assert readings(book(sites=[SITE], visits=[VISIT], finds=[water]), settings)[0]["depth_cm"].isna().all()


def test_an_animal_counts_once_a_day_in_a_cell(settings: Settings) -> None:
    marked = {**FIND, "animal_id": "R1Y2"}
    finds = [
        {**marked, "find_id": "F2", "water_temp_c": 13.0, "found_at": "10:30"},
        {**marked, "water_temp_c": 13.6, "found_at": "11:00"},
        {**marked, "find_id": "F3", "life_stage": "adult", "water_temp_c": 13.8, "found_at": "12:00"},
        {**marked, "find_id": "F0", "condition": "thin", "water_temp_c": 13.9, "found_at": "10:10"},
    ]
    frame, excluded = readings(book(sites=[SITE], visits=[VISIT], finds=finds), settings)
    assert sorted(frame["value"]) == [13.6, 13.8], "the first sound find of the day by code stands"
    assert dict(zip(excluded["reason"], excluded["n_finds"], strict=True)) == {REPEATED: 1, "animal not well": 1}


@pytest.mark.parametrize(
    ("flag", "left"),
    [
        ({"table_name": "finds", "row_key": "F1"}, {"F2": 13.0, "F3": 14.0}),
        ({"table_name": "visits", "row_key": "V1"}, {"F1": 12.0, "F2": 13.0}),
        ({"table_name": "finds", "row_key": "F1", "settled_by": "A. Person"}, {"F1": 12.0, "F2": 13.0, "F3": 14.0}),
        ({"table_name": "finds", "row_key": "F1", "effect": "flag"}, {"F1": 12.0, "F2": 13.0, "F3": 14.0}),
        ({"table_name": "finds", "row_key": "F1", "load_id": "L0"}, {"F1": 12.0, "F2": 13.0, "F3": 14.0}),
        ({"table_name": "visits", "row_key": "F1"}, {"F1": 12.0, "F2": 13.0, "F3": 14.0}),
    ],
)
def test_unsettled_flags_leave_rows_out(settings: Settings, flag: dict[str, Any], left: dict[str, float]) -> None:
    finds = [{**FIND, "water_temp_c": 12.0}, {**FIND, "find_id": "F2", "water_temp_c": 13.0}, {**FIND, "find_id": "F3"}]
    frame, excluded = readings(book(sites=[SITE], visits=[VISIT], finds=finds, flags=[flag]), settings)
    assert sorted(frame["value"]) == sorted(left.values())
    assert excluded["n_finds"].sum() == 3 - len(left)


def test_two_flags_on_one_find_do_not_double_it(settings: Settings) -> None:
    flags = [{"table_name": "finds", "row_key": "F1", "rule": rule} for rule in ("a", "b")]
    frame, excluded = readings(book(sites=[SITE], visits=[VISIT], finds=[FIND], flags=flags), settings)
    assert frame.empty and excluded["n_finds"].tolist() == [1]


def test_empty_book_gives_an_empty_frame(settings: Settings) -> None:
    frame, excluded = readings(book(), settings)
    assert list(frame.columns) == list(Readings.to_schema().columns) and frame.empty and excluded.empty
    assert len(input_hash(frame)) == 64


def test_book_without_areas_works(settings: Settings) -> None:
    bare = dataclasses.replace(settings, areas=())
    assert one(bare, {}, site={"study_area": "north"})["value"] == 14.0


def test_hash_follows_the_readings_and_not_their_order(settings: Settings) -> None:
    finds = [{**FIND, "water_temp_c": 12.0}, {**FIND, "find_id": "F2", "water_temp_c": 13.0}]
    frame, _ = readings(book(sites=[SITE], visits=[VISIT], finds=finds), settings)
    assert input_hash(frame) == input_hash(frame.iloc[::-1].reset_index(drop=True))
    assert input_hash(frame) != input_hash(frame.assign(value=frame["value"] + 0.1))
    assert input_hash(frame) != input_hash(frame.assign(hour=11.0))


def test_hash_is_that_of_the_rows_as_pandas_writes_them(settings: Settings) -> None:
    """hashlib of pandas' own CSV: cells that need quotes, zeros of both signs, and what is missing."""
    frame, _ = readings(
        book(sites=[SITE], visits=[VISIT], finds=[{**FIND, "find_id": f"F{n}", "water_temp_c": n} for n in range(4)]), settings
    )
    odd = frame.assign(site=['a "b", c', "d\re", "", "f"], visit_ids=["V1\nV2", "V3", "V1\nV2", "V4"], value=[0.0, -0.0, 0.1 + 0.2, 1e-7])
    odd["hour"], odd["night"] = [None, 11.0, 11.5, -0.0], pd.array([None, True, False, True], dtype="boolean")
    lines = odd.astype({"date": "str"}).to_csv(index=False, header=False, lineterminator="\n").splitlines()
    assert input_hash(odd) == hashlib.sha256("\n".join([",".join(odd.columns), *sorted(lines)]).encode()).hexdigest()


def test_availability_is_read_by_medium(settings: Settings) -> None:
    points = [
        {"point_id": "P1", "visit_id": "V1", "microhabitat": "rock_in_flow", "water_temp_c": 13.0, "air_temp_c": 20.0},
        {"point_id": "P2", "visit_id": "V1", "microhabitat": "under_log", "air_temp_c": 20.0},
        {"point_id": "P3", "visit_id": "V1", "microhabitat": "under_log", "substrate_temp_c": 12.0},
    ]
    flags = [{"table_name": "availability", "row_key": "P1"}]
    assert availability(book(sites=[SITE], visits=[VISIT], availability=points))["value"].tolist() == [13.0, 12.0]
    assert availability(book(sites=[SITE], visits=[VISIT], availability=points, flags=flags))["value"].tolist() == [12.0]
