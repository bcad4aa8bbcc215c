"""The gap list and the revisit plan: counts that reach the grade, nothing at eggs, no site too soon, and visits to absence."""

from __future__ import annotations

import math
from datetime import date
from typing import Any

import pandas as pd
import pytest
from gap_study import READ, SETTINGS, SITES, row_of, study, visits_of
from hypothesis import given
from hypothesis import strategies as st

from pipeline.reports import gaps, gaps_page, revisit
from pipeline.statistics.detection import detections, searches
from pipeline.statistics.grades import ORDER, grade_of, needs
from pipeline.targets import derive
from schemas.frames.reports import GAP_COLUMNS, GAP_MONTH_COLUMNS, REVISIT_COLUMNS

# --- what a cell lacks -------------------------------------------------------------------------------------------------------------------


@st.composite
def cells(draw: st.DrawFn) -> tuple[dict[str, Any], dict[str, Any], bool, bool]:
    visits = draw(st.integers(0, 80))
    dates = draw(st.integers(min(visits, 1), max(visits, min(visits, 1))))
    values = draw(st.integers(max(visits, 1), 400))
    night = draw(st.integers(0, values))
    shared = {"years": set(range(draw(st.integers(0 if not visits else 1, 5)))), "values": values, "night_values": night}
    half = draw(st.one_of(st.just(math.nan), st.floats(0.1, 4)))
    counts = {
        "visits": visits,
        "dates": dates,
        "sites": draw(st.integers(min(dates, 1), max(min(visits, 20), min(dates, 1)))),
        "half_width": half,
    }
    return {**counts, "years": len(shared["years"]), "night_share": night / values}, shared, draw(st.booleans()), draw(st.booleans())


def after(counts: dict[str, Any], shared: dict[str, Any], lack: dict[str, Any], grade: str, monthly: bool) -> dict[str, Any]:
    """Counts after the visits that were asked for, each with one reading on a day of its own; the interval taken for narrow enough."""
    return {
        "sites": counts["sites"] + lack["sites"], "dates": counts["dates"] + lack["visits"], "visits": counts["visits"] + lack["visits"],
        "years": counts["years"] + lack["years"],
        "night_share": (shared["night_values"] + lack["at_night"]) / (shared["values"] + lack["visits"]),
        "half_width": min(needs(grade, monthly)["half_width"], 1e9) if lack["interval"] else counts["half_width"],
    }  # fmt: skip


@given(cells(), st.sampled_from("ABC"))
def test_the_visits_asked_for_reach_the_grade_and_no_fewer_do(cell: tuple[Any, ...], grade: str) -> None:
    counts, shared, monthly, only_visits = cell
    lack = gaps.lacking(counts, shared, grade, monthly=monthly, only_from_visit=only_visits)
    reached = grade_of(after(counts, shared, lack, grade, monthly), monthly=monthly, only_from_visit=only_visits and not lack["at_animal"])
    assert ORDER.index(reached) <= ORDER.index(grade)
    assert lack["sites"] + 0 <= lack["visits"] and lack["years"] <= lack["visits"] and lack["at_night"] <= lack["visits"]
    if lack["visits"] and not lack["at_animal"]:
        fewer = {
            **{name: min(lack[name], lack["visits"] - 1) for name in ("sites", "dates", "years", "visits", "at_night")},
            "interval": lack["interval"],
        }
        short = grade_of(after(counts, shared, fewer, grade, monthly), monthly=monthly, only_from_visit=False)
        assert ORDER.index(short) > ORDER.index(grade)


def test_lacks_by_hand() -> None:
    """A month cell asks for a third of the dates and visits of method §5, rounded up: B 6 sites, 4 dates, 10 visits, 2 years, ± 2.5 °C."""
    counts = {"sites": 4, "dates": 3, "visits": 7, "years": 1, "night_share": 0.1, "half_width": 3.0}
    shared = {"years": {2024}, "values": 10, "night_values": 1}
    lack = gaps.lacking(counts, shared, "B", monthly=True, only_from_visit=False)
    assert (lack["sites"], lack["dates"], lack["visits"], lack["years"], lack["at_night"]) == (2, 1, 3, 1, 0)
    assert lack["interval"] == "half-width 3.0 °C; at most 2.5 °C needed"
    # A: 12 sites, 8 dates, 20 visits, 3 years; of 23 values a fifth are 4.6, so four more at night
    strong = gaps.lacking(counts, shared, "A", monthly=True, only_from_visit=False)
    assert (strong["sites"], strong["visits"], strong["years"], strong["at_night"]) == (8, 13, 2, 4)
    assert gaps.lacking(counts, shared, "B", monthly=True, only_from_visit=True)["at_animal"]
    done = gaps.lacking({**counts, "sites": 6, "dates": 4, "visits": 10, "years": 2}, shared, "B", monthly=True, only_from_visit=False)
    assert done["visits"] == 0 and done["interval"]


# --- a small study -----------------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def small() -> dict[str, Any]:
    return study()


def test_no_egg_cell_is_ever_listed(small: dict[str, Any]) -> None:
    assert "egg_mass" in set(small["targets"]["life_stage"]), "the study has readings at nests"
    never = gaps.unseen(small["targets"], small["finds"], ["EWIL", "GPOR"])
    for frame in (small["gaps"], never):
        assert not set(frame["life_stage"]) & {"egg_mass", "undetermined"}
    months = gaps.best_months(small["gaps"], small["shared"], date(2025, 5, 1))
    assert len(months) and not months["cells"].str.contains("egg").any()


def test_a_cell_by_hand(small: dict[str, Any]) -> None:
    """May: 3 sites × 2 dates = 6 visits. C asks 3 sites, 2 dates, 4 visits; B 6 sites, 4 dates, 10 visits, 2 years: 4 more visits."""
    may = row_of(small["gaps"], "larva", "water", "5")
    assert (may["grade"], may["next_grade"], may["n_sites"], may["n_dates"], may["n_visits"]) == ("C", "B", 3, 2, 6)
    assert (may["more_visits"], may["more_sites"], may["more_dates"], may["more_years"]) == (4, 3, 2, 1)
    assert (may["visits_to_c"], may["visits_to_b"], may["visits_to_a"]) == (0, 4, 14)
    assert (may["n_searches"], may["n_with_reading"], may["trips"], may["trips_basis"]) == (6, 6, 4, gaps.SHARE)
    june = row_of(small["gaps"], "adult", "land", "6")
    assert (june["n_searches"], june["n_with_reading"], june["more_visits"], june["trips"]) == (6, 1, 3, 21)
    may_land = row_of(small["gaps"], "adult", "land", "5")
    assert (may_land["more_visits"], may_land["trips"], may_land["trips_basis"]) == (4, 168, gaps.BESIDE), (
        "June gave 1 of 6: a sixth of one search of seven"
    )
    january = row_of(small["gaps"], "adult", "land", "1")
    assert (january["n_searches"], january["trips_basis"]) == (0, gaps.NOT_KNOWN) and pd.isna(january["trips"]), "nothing is promised"


def test_grades_are_those_of_the_targets(small: dict[str, Any]) -> None:
    for row in small["targets"].to_dict("records"):
        counts = gaps.counts_of(row, small["shared"][tuple(row[name] for name in gaps.GROUP)])
        assert grade_of(counts, monthly=row["month"] in gaps.MONTHS, only_from_visit=row["from_visit_share"] == 1) == row["grade"]


def test_work_at_night_is_never_for_one_alone(small: dict[str, Any]) -> None:
    listed = small["gaps"]
    night = listed["medium"].eq("surface") | listed["more_at_night"].gt(0)
    assert night.any() and (~night).any() and listed["company"].ne("").eq(night).all()


def test_cells_below_each_grade(small: dict[str, Any]) -> None:
    months = small["targets"][small["targets"]["month"].isin(gaps.MONTHS) & small["targets"]["life_stage"].ne("egg_mass")]
    assert gaps.below(small["gaps"]) == {
        grade: int(months["grade"].isin(list(worse)).sum()) for grade, worse in {"A": "BCD", "B": "CD", "C": "D"}.items()
    }


def test_a_new_year_counts_only_when_it_has_begun() -> None:
    cell = {
        "taxon": "T",
        "population": "",
        "life_stage": "larva",
        "medium": "water",
        "month": "5",
        "next_grade": "B",
        "interval": "",
        "company": "",
    }
    listed = pd.DataFrame([{**cell, "more_visits": 2, "more_years": 1, "more_sites": 1, "trips": 4}])
    shared = {("T", "", "larva", "water"): {"years": {2024}}}
    assert gaps.best_months(listed, shared, date(2024, 3, 1)).empty
    (row,) = gaps.best_months(listed, shared, date(2024, 6, 1)).to_dict("records")
    assert (row["next"], row["trips"], row["cells_raised"], row["per_trip"], row["new_sites"]) == ("2025-05", 4, 1, 0.062, 1)
    assert gaps.best_months(listed.assign(more_years=2), shared, date(2024, 6, 1)).empty


def test_months_that_raise_most_a_day_come_first() -> None:
    cell = {
        "population": "",
        "life_stage": "larva",
        "medium": "water",
        "next_grade": "C",
        "interval": "",
        "company": "",
        "more_years": 0,
        "more_sites": 0,
    }
    rows = [("T", "5", 2), ("U", "5", 2), ("V", "5", 9), ("T", "6", 1), ("U", "6", 9), ("T", "7", 3)]
    listed = pd.DataFrame([{**cell, "taxon": taxon, "month": month, "trips": trips, "more_visits": 1} for taxon, month, trips in rows])
    shared = {(taxon, "", "larva", "water"): {"years": set()} for taxon in "TUV"}
    months = gaps.best_months(listed, shared, date(2024, 7, 1))
    assert months[["month", "trips", "cells_raised", "next"]].to_numpy().tolist() == [
        [5, 2, 2, "2025-05"], [6, 1, 1, "2025-06"], [7, 3, 1, "2024-07"],
    ]  # fmt: skip


def test_a_month_that_nobody_knows_is_not_ranked_and_a_missing_line_of_july_weighs_most() -> None:
    """The fault: never-searched January, counted as if each search succeeded, stood first, and July, where the line is missing, 19th."""
    cell = {"taxon": "T", "population": "", "life_stage": "larva", "medium": "water", "interval": "", "company": "", "more_years": 0}
    rows = [("1", "C", None), ("7", "C", 6), ("5", "C", 4), ("6", "B", 1)]
    listed = pd.DataFrame(
        [{**cell, "month": month, "next_grade": grade, "trips": trips, "more_visits": 2, "more_sites": 0} for month, grade, trips in rows]
    )
    months = gaps.best_months(listed, {("T", "", "larva", "water"): {"years": set()}}, date(2024, 1, 1), (6, 7, 8, 9))
    # worth a day: 2/6 in July, 1/4 in May, a quarter of 1 in June
    assert months[["month", "new_targets", "per_trip"]].to_numpy().tolist() == [[7, 1, 0.333], [5, 1, 0.25], [6, 0, 0.25]]


@given(st.integers(0, 50), st.integers(0, 50), st.integers(0, 50), st.integers(0, 50))
def test_the_expected_share_lies_between_nothing_and_every_search(n: int, found: int, n_beside: int, found_beside: int) -> None:
    share = gaps.expected_share(n, min(found, n), n_beside, min(found_beside, n_beside))
    assert 0 <= share <= 1 and (share > 0) == (min(found, n) > 0 or min(found_beside, n_beside) > 0)


def test_the_list_to_share_tells_no_searches_and_days_by_class(small: dict[str, Any]) -> None:
    shared = gaps.for_others(small["gaps"])
    assert not {"n_searches", "n_with_reading"} & set(shared)
    told = shared["trips"].dropna()
    assert set(told) <= set(gaps.TRIP_CLASSES) and (told >= small["gaps"].loc[told.index, "trips"]).all()


# --- the plan ----------------------------------------------------------------------------------------------------------------------------


def test_a_book_without_readings_has_an_empty_list() -> None:
    empty = READ.iloc[:0]
    targets = derive.targets(empty, SETTINGS.taxa, SETTINGS)
    visits, finds = visits_of()
    listed = gaps.gap_list(targets, {}, gaps.searched(empty, searches(visits, finds), SITES, SETTINGS))
    assert listed.empty and list(listed.columns) == list(GAP_COLUMNS)
    months = gaps.best_months(listed, {}, date(2025, 1, 1))
    assert months.empty and list(months.columns) == list(GAP_MONTH_COLUMNS)
    absence = detections(searches(visits, finds), ["EWIL", "GPOR"], {})
    past = revisit.history(searches(visits, finds), absence, SITES["site_id"].tolist())
    plan = revisit.plan(listed, empty, SITES, visits, past.iloc[:0], date(2025, 1, 1))
    assert plan.empty and list(plan.columns) == list(REVISIT_COLUMNS)
    never = gaps.unseen(targets, finds, ["EWIL", "GPOR"])
    assert len(never) == 10 and never.loc[0, "why"] == "never found" and "found, not measured" in set(never["why"])
    assert "No reading counts yet" in gaps_page.page(listed, months, absence, never, 0, SETTINGS, date(2025, 1, 1))
    assert "No visit of the coming months" in revisit.page(plan, past, absence, SITES, SETTINGS, date(2025, 1, 1))
