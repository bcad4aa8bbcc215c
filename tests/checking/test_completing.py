"""What follows from a row itself: codes of taxa and instants."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from checked_sheets import CASES, base, run, write

from pipeline.checking import completing
from pipeline.settings import Settings, read_settings


@pytest.fixture(scope="module")
def book() -> Settings:
    return read_settings(CASES / "base")


def test_other_spellings_of_a_taxon_become_its_code_and_the_spelling_is_kept(book: Settings, tmp_path: Path) -> None:
    checked = run(
        [*base(), *write(tmp_path, more="find_id,visit_id,taxon,life_stage,count,microhabitat\nX,V1,Spring Sal,adult,1,rock_in_flow\n")],
        book,
    )
    row = checked.tables["finds"].accepted.set_index("find_id").loc["X"]
    assert (row["taxon"], row["verbatim_taxon"]) == ("GPOR", "Spring Sal")


# Worked by hand: New York is at UTC-4 in summer and UTC-5 in winter; on 2023-11-05 the hour from 01:00 came
# twice (IANA time zone database).
@pytest.mark.parametrize(
    ("day", "start", "instant"),
    [
        ("2023-06-10", "20:00", "2023-06-11 00:00"),
        ("2023-12-10", "20:00", "2023-12-11 01:00"),
        ("2023-11-05", "01:30", "2023-11-05 06:30"),
        ("2023-03-12", "02:30", "2023-03-12 07:00"),
    ],
)
def test_clock_times_become_instants(day: str, start: str, instant: str) -> None:
    made = completing.instant(pd.Series(pd.to_datetime([day])), pd.Series([start], dtype="str"), "America/New_York")
    assert made.iloc[0] == pd.Timestamp(instant)


def test_a_find_before_the_start_belongs_to_the_next_day(book: Settings, tmp_path: Path) -> None:
    visits = "visit_id,site_id,visit_date,start_time,end_time,protocol,search_minutes\nN,S1,2023-07-01,22:00,01:30,visual_encounter,60\n"
    finds = "find_id,visit_id,found_at,taxon,life_stage,count,microhabitat\nX,N,00:30,GPOR,adult,1,rock_in_flow\n"
    checked = run([*base(), *write(tmp_path, visits_more=visits, finds_more=finds)], book)
    assert checked.flags.empty
    assert checked.tables["finds"].accepted.set_index("find_id").at["X", "found_utc"] == pd.Timestamp("2023-07-02 04:30")


def test_the_book_knows_a_taxon_by_its_code_and_its_aliases(book: Settings) -> None:
    known = completing.alias_of(book)
    assert known["gpor"] == "GPOR" and all(word == word.casefold() for word in known)
    aliases = {alias for text in book.taxa["aliases"] for alias in str(text or "").split("|") if alias}
    assert set(known) == {word.casefold() for word in aliases} | {code.casefold() for code in book.taxa["code"]}


@pytest.mark.parametrize(("clock", "twice"), [("00:30", False), ("01:30", True), ("02:30", False), (None, False)])
def test_the_hour_that_comes_twice_is_told(clock: str | None, twice: bool) -> None:
    """5 November 2023 in New York: at 2:00 clocks went back to 1:00 (tz database). In spring an hour is skipped and none comes twice."""
    day = pd.Series(pd.to_datetime(["2023-11-05", "2023-03-12"]))
    clocks = pd.Series([clock, "02:30"], dtype="str")
    assert completing.start_is_ambiguous(day, clocks, "America/New_York").tolist() == [twice, False]


def test_without_a_day_or_a_clock_there_is_no_instant() -> None:
    days, clocks = pd.Series(pd.to_datetime(["2023-06-10", None])), pd.Series([None, "20:00"], dtype="str")
    assert completing.instant(days, clocks, "America/New_York").isna().all()


def test_a_place_in_text_fills_the_numbers_and_says_how(book: Settings, tmp_path: Path) -> None:
    """36°12'15.5" N is 36 + 12/60 + 15.5/3600 = 36.204306; 81°54'9.0" W is −81.9025."""
    sites = 'site_id,habitat,verbatim_coordinates,datum\nS1,headwater,"36 12 15.5 N 81 54 9.0 W",WGS84\nS2,headwater,by the mill,WGS84\n'
    checked = run(write(tmp_path, sites=sites), book)
    accepted = checked.tables["sites"].accepted.set_index("site_id")
    assert accepted.loc["S1", ["latitude", "longitude"]].tolist() == pytest.approx([36.204306, -81.9025], abs=1e-6)
    assert {"latitude", "longitude"} <= set(checked.converted["field"])
    assert accepted.loc["S2", ["latitude", "longitude", "verbatim_coordinates"]].isna().all()
    assert checked.held[["row_key", "field", "text"]].to_numpy().tolist() == [["S2", "verbatim_coordinates", "by the mill"]]


def test_an_unknown_target_is_held_and_the_row_stays(book: Settings, tmp_path: Path) -> None:
    head = "visit_id,site_id,visit_date,protocol,search_minutes,target_taxa\n"
    body = "V8,S1,2023-06-10,visual_encounter,60,gpor|eten\nV9,S1,2023-06-11,visual_encounter,60,GPOR|NONE\n"
    checked = run([*base(), *write(tmp_path, more_visits=head + body)], book)
    visits = checked.tables["visits"].accepted.set_index("visit_id")
    assert visits.loc["V8", "target_taxa"] == "GPOR|ETEN" and pd.isna(visits.loc["V9", "target_taxa"])
    (held,) = checked.held.to_dict("records")
    assert (held["row_key"], held["rule"], held["text"]) == ("V9", "code_unknown", "GPOR|NONE") and "'NONE'" in held["message"]
