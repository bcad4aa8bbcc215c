"""What rules must know of other tables and of the book."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest
from checked_sheets import CASES, base, run, write

from pipeline.settings import Settings, read_settings


@pytest.fixture(scope="module")
def book() -> Settings:
    return read_settings(CASES / "base")


def test_rules_of_groups_see_the_rows_that_the_book_holds_already(book: Settings, tmp_path: Path) -> None:
    known = {
        table: one.accepted.assign(**({"incomplete": False} if table == "visits" else {})).reset_index(drop=True)
        for table, one in run(base(), book).tables.items()
    }
    finds = (
        "find_id,visit_id,found_at,taxon,life_stage,gills,count,microhabitat,svl_mm,total_length_mm,mass_g,water_temp_c\n"
        "TWIN,V1,20:20,GPOR,adult,none,1,rock_in_flow,80,140,9.0,12.6\n"
    )
    visits = "visit_id,site_id,visit_date,start_time,protocol,search_minutes\nAGAIN,S1,2023-06-10,20:00,visual_encounter,10\n"
    checked = run(write(tmp_path, finds=finds, visits=visits), book, known)
    assert checked.flags[["row_key", "rule"]].to_numpy().tolist() == [["AGAIN", "visit_twice"], ["TWIN", "near_duplicate"]]
    # a row that only comes again is no twin of itself
    assert run(base(), book, known).flags.empty


def test_what_hangs_on_a_held_row_is_held_and_says_on_which(book: Settings, tmp_path: Path) -> None:
    sheets = {
        "sites": "site_id,habitat\nX,lake of fire\n",
        "visits": "visit_id,site_id,visit_date,protocol,search_minutes\nXV,X,2023-06-10,visual_encounter,5\n",
        "finds": "find_id,visit_id,taxon,life_stage,count,microhabitat\nXF,XV,GPOR,adult,1,rock_in_flow\n",
        "availability": "point_id,visit_id,microhabitat\nXP,XV,rock_in_flow\n",
    }
    checked = run(write(tmp_path, **sheets), book)
    assert checked.held[["table", "row_key", "parent_key", "rule"]].to_numpy().tolist() == [
        ["sites", "X", "", "code_unknown"], ["visits", "XV", "X", "parent_held"],
        ["finds", "XF", "XV", "parent_held"], ["availability", "XP", "XV", "parent_held"],
    ]  # fmt: skip
    assert "visit XV" in checked.held["message"].iloc[2]
    assert all(one.accepted.empty for one in checked.tables.values())


def frames_of(rule: str, book: Settings) -> set[str]:
    """Rules that the cases of a rule break, with the base rows beside them."""
    checked = run([*base(), *sorted(CASES.glob(f"{rule}.*.csv"))], book)
    return set(checked.held["rule"]) | set(checked.flags["rule"])


@pytest.mark.parametrize("rule", ["coordinates_swapped", "longitude_sign_lost", "outside_study_area"])
def test_a_place_is_held_against_the_study_areas_and_said_once(rule: str, book: Settings) -> None:
    assert frames_of(rule, book) == {rule}
    # Without a study area nobody can tell where a site should lie.
    assert frames_of(rule, dataclasses.replace(book, areas=())) == set()


def test_a_find_after_midnight_lies_inside_its_visit(book: Settings, tmp_path: Path) -> None:
    """A visit from 22:00 to 01:00: 00:30 is inside, 03:30 and 20:00 are not."""
    visits = "visit_id,site_id,visit_date,start_time,end_time,protocol,search_minutes\nV8,S1,2023-06-12,22:00,01:00,visual_encounter,60\n"
    head = "find_id,visit_id,found_at,taxon,life_stage,count,microhabitat\n"
    body = "".join(f"F{n},V8,{clock},GPOR,larva,1,rock_in_flow\n" for n, clock in enumerate(("00:30", "03:30", "20:00"), 5))
    checked = run([*base(), *write(tmp_path, more_visits=visits, more_finds=head + body)], book)
    told = checked.flags[checked.flags["rule"] == "find_outside_visit"]["row_key"].tolist()
    told += checked.held[checked.held["rule"] == "find_outside_visit"]["row_key"].tolist()
    assert sorted(told) == ["F6", "F7"]
