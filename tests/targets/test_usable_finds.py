"""What keeps a find from being evidence, when it was met, and which animal was counted already. Worked by hand; the cases are invented.

Night at 40° N 75° W on 10 July 2021: sunset 20:29, sunrise 5:42 Eastern daylight time (computed: astral; test_sun holds it to an almanac).
"""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest
from small_book import FIND, SITE, TOML, VISIT, book

from pipeline.settings import parse_settings
from pipeline.targets import evidence
from pipeline.targets import humidity_evidence as air
from pipeline.targets import usable_finds as own
from pipeline.targets import water_evidence as water

SETTINGS = parse_settings(TOML, "test")
EASTERN = "America/New_York"
FAULTS = ("name_fault", "stage_fault", "state_fault")


def found(find: dict[str, Any], **more: Any) -> tuple[str | None, ...]:
    """Name, stage and state fault of the one find of a book."""
    connection = book(sites=[SITE], visits=[VISIT], finds=[{**FIND, **find}], **more)
    row = connection.execute(f"{own.FOUND} SELECT {', '.join(FAULTS)} FROM found", own.parameters(SETTINGS)).fetchone()
    assert row is not None
    return tuple(row)


@pytest.mark.parametrize(
    ("find", "faults"),
    [
        ({}, (None, None, None)),
        ({"disposition": "salvaged"}, (None, None, "animal not well")),
        ({"condition": "dead"}, (None, None, "animal not well")),
        ({"condition": "well"}, (None, None, None)),
        ({"microhabitat": "unknown"}, (None, None, "microhabitat not noted")),
        ({"life_stage": "undetermined", "taxon": "DESM"}, ("named to genus only", "life stage not told", None)),
        ({"taxon": "NONE", "id_certainty": "unsure"}, ("taxon not in the book's list", None, None)),
        ({"id_certainty": "unsure"}, ("name not sure", None, None)),
        ({"visit_id": "V9"}, ("visit not in the book", None, None)),
    ],
)
def test_what_keeps_a_find_from_being_evidence(find: dict[str, Any], faults: tuple[str | None, ...]) -> None:
    assert found(find) == faults


def test_a_flag_counts_until_someone_settled_it() -> None:
    flag = {"table_name": "finds", "row_key": "F1"}
    assert found({}, flags=[flag]) == (None, None, "flagged, not settled")
    assert found({}, flags=[{**flag, "settled_by": "AB"}]) == found({}, flags=[{**flag, "row_key": "F2"}]) == (None, None, None)


def test_codes_in_sql() -> None:
    assert own.sql_list(("a", "b")) == "('a', 'b')" and own.sql_list(()) == "('')"


def clocks(*rows: tuple[str | None, str | None]) -> pd.DataFrame:
    """Finds of 10 July 2021: when met, and to when the search went on; with an end the find was met some time in the search."""
    frame = pd.DataFrame(rows, columns=["clock", "until"]).astype("str").replace({"None": None})
    return frame.assign(
        clock=[row[0] for row in rows], until=[row[1] for row in rows], some_time_in_visit=[row[1] is not None for row in rows],
        clock_date=pd.Timestamp("2021-07-10"), latitude=40.0, longitude=-75.0,
    ).astype({"clock": "str", "until": "str"})  # fmt: skip


def test_night_by_day_and_across_the_sunset() -> None:
    frame = clocks(("23:00", None), ("12:00", None), (None, None), ("18:00", "23:00"), ("22:00", "23:30"), ("23:30", "01:00"))
    assert own.night(frame, EASTERN).astype(object).where(lambda night: night.notna(), None).tolist() == [
        True, False, None, None, True, True,
    ]  # fmt: skip
    assert own.night(frame.assign(latitude=None), EASTERN).isna().all()


def test_on_the_surface_by_day_or_at_no_known_hour_is_no_evidence_of_the_open() -> None:
    frame = clocks(("23:00", None), ("12:00", None), (None, None), ("18:00", "23:00"))
    frame["night"] = own.night(frame, EASTERN)
    reasons = own.not_by_night(frame, EASTERN)
    assert reasons.where(reasons.notna(), None).tolist() == [None, own.BY_DAY, own.NO_HOUR, own.NO_HOUR]
    # A search from 22:00 of which nobody noted the end counts by its start.
    open_end = clocks(("22:00", None)).assign(some_time_in_visit=True)
    open_end["night"] = own.night(open_end, EASTERN)
    assert open_end["night"].isna().all() and own.not_by_night(open_end, EASTERN).isna().all()


def test_the_hour_of_a_find_met_some_time_in_a_search_is_the_warmest() -> None:
    """The day is warmest at 16:00 (judgement): inside the search that hour, else its nearer end; over midnight too."""
    frame = clocks(("10:30", None), ("14:00", "17:00"), ("10:00", "12:00"), ("17:30", "19:00"), ("22:00", "17:00"), (None, "12:00"))
    assert own.hour(frame).tolist()[:5] == [10.5, 16.0, 12.0, 17.5, 16.0] and pd.isna(own.hour(frame).iloc[5])


def test_a_marked_animal_counts_once_a_day_and_cell() -> None:
    """The same mark at another site, on another day, of another stage or taxon is another animal; without a mark all count."""
    base = {
        "taxon": "T",
        "population": "",
        "life_stage": "adult",
        "medium": "water",
        "site": "a",
        "visit_date": "2021-07-10",
        "animal_id": "R1",
    }
    others = [
        {"site": "b"},
        {"visit_date": "2021-07-11"},
        {"life_stage": "larva"},
        {"taxon": "U"},
        {"animal_id": None},
        {"animal_id": None},
    ]
    frame = pd.DataFrame([base, base, *({**base, **change} for change in others)])
    every = pd.Series(True, index=frame.index)
    assert own.repeated(frame, every).tolist() == [False, True] + [False] * 6
    # A first row that does not count lets the second stand.
    assert not own.repeated(frame, every & (frame.index > 0)).any()
    assert own.repeated(frame.iloc[:0], every.iloc[:0]).empty


def test_an_area_without_a_site_is_seen_from_its_middle() -> None:
    """By hand: the box 34 to 36° N, 84 to 82° W has its middle at 35° N 83° W; a circle is its own centre."""
    given = own.parameters(SETTINGS)
    assert (given["area"], given["lat"], given["lon"]) == (["north", "south"], [40.0, 35.0], [-75.0, -83.0])
    assert "genus" in given["no_species"] and "species" not in given["no_species"]
    assert len(given["micro"]) == len(given["medium"]) == len(given["channel"]) and not given["channel"][given["micro"].index("under_log")]


def test_what_is_told_without_a_site_is_what_a_book_without_it_tells() -> None:
    """Both sites lie on one stream, and each marked animal was met at both: whichever comes first counts, of the sites that are told of."""
    sites = [{**SITE, "waterbody": "brook", "elevation_m": 500.0}, {**SITE, "site_id": "S2", "waterbody": "brook", "elevation_m": 500.0}]
    visits = [{**VISIT, "visit_id": f"V{n}", "site_id": f"S{n % 2 + 1}", "start_time": "23:00", "ph": 6.5 + n / 10} for n in range(6)]
    met = {"water": {"water_temp_c": 12.0}, "air": {"air_temp_c": 15.0, "rh_pct": 90.0, "microhabitat": "on_surface"}}
    cover = {"microhabitat": "under_log", "substrate_temp_c": 13.0, "substrate_wetness": "moist"}
    rows = [
        {
            **FIND,
            "find_id": f"{kind}{n}",
            "visit_id": f"V{n}",
            "animal_id": f"A{n // 2}",
            "reading_place": "at_animal",
            **values,
            "count": n + 1,
        }
        for n in range(6)
        for kind, values in {**met, "cover": cover}.items()
    ]
    shown = {"V1", "V3", "V5"}
    smaller = book(
        sites=sites[1:],
        visits=[row for row in visits if row["visit_id"] in shown],
        finds=[row for row in rows if row["visit_id"] in shown],
    )
    whole = book(sites=sites, visits=visits, finds=rows)
    own.join(whole, SETTINGS)
    (read, left_out), (damp, dry), wet = evidence.judged(whole, SETTINGS), air.judged(whole, SETTINGS), water.found_in_water(whole)
    read, damp, wet = (frame[frame["site_id"] != "S1"] for frame in (read, damp, wet))
    assert len(read) and len(damp) and len(wet)
    assert evidence.once_each(read, left_out)[0].equals(evidence.readings(smaller, SETTINGS)[0])
    assert air.once_each(damp, dry)[0].equals(air.humidity_readings(smaller, SETTINGS)[0])
    assert water.by_day(wet)[0].equals(water.water_readings(smaller, SETTINGS)[0])
    assert air.wetness_told(whole, {"S1"}).equals(air.wetness_noted(smaller, SETTINGS)) and len(air.wetness_told(whole, {"S1"}))
    assert not evidence.once_each(read, left_out)[0].equals(evidence.readings(whole, SETTINGS)[0])
    told, every, excluded = evidence.readings_told(whole, SETTINGS, frozenset({"S1"}))
    assert told.equals(evidence.readings(smaller, SETTINGS)[0])
    assert every.equals(evidence.readings(whole, SETTINGS)[0]) and excluded.equals(evidence.readings(whole, SETTINGS)[1])
