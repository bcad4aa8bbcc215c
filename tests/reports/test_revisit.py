"""The revisit plan: no site too soon, nothing at eggs, and visits to absence, by hand."""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd
from examples import examples
from gap_study import READ, SETTINGS, SITES, row_of, study, visits_of
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.reports import revisit
from pipeline.settings.limits import judgement
from pipeline.settings.reports import Reach
from pipeline.statistics.detection import detections, searches


def planned(today: date, last: str = "2024-07-10") -> pd.DataFrame:
    made = study()
    visits, finds = visits_of(last)
    looked = searches(visits, finds)
    past = revisit.history(looked, detections(looked, ["EWIL", "GPOR"], {"GPOR": 0.3}), SITES["site_id"].tolist())
    return revisit.plan(made["gaps"], READ, SITES, visits, past, today)


@given(
    today=st.dates(date(2024, 7, 1), date(2025, 12, 31)),
    ago=st.integers(0, 40),
)
@settings(max_examples=examples(100, 12))
def test_no_site_twice_within_a_fortnight(today: date, ago: int) -> None:
    """Method §11. A day planned, any other day planned and any day in the past lie 14 days apart, whichever day of each window is taken."""
    rest = 14
    assert judgement("revisit_days_least") == rest
    visits, _ = visits_of(f"{today - timedelta(days=ago)}")
    looked = SMALL["looked"]
    past = revisit.history(looked, detections(looked, ["EWIL", "GPOR"], {"GPOR": 0.3}), SITES["site_id"].tolist())
    plan = revisit.plan(SMALL["gaps"], READ, SITES, visits, past, today)
    assert len(plan)
    for site, rows in plan.groupby("site_id"):
        pairs = zip(rows["from"], rows["until"], strict=True)
        windows = [(date.fromisoformat(start), date.fromisoformat(until)) for start, until in pairs]
        past_days = [day.date() for day in visits.loc[visits["site_id"].eq(site), "visit_date"] if day.date() <= today]
        ends = [*past_days, *(until for _, until in windows)]
        assert all(today <= start <= until for start, until in windows)
        for start, until in windows:
            assert all((start - end).days >= rest for end in ends if end < until)
    assert not plan.duplicated(["month", "site_id"]).any()


SMALL = study()


def test_the_plan_asks_for_no_eggs_and_says_when_not_to_go() -> None:
    plan = planned(date(2025, 5, 1))
    assert len(plan) and not plan["look_for"].str.contains("egg").any()
    assert plan["go_only_if"].eq(revisit.GO_ONLY_IF).all() and "rises" in revisit.GO_ONLY_IF
    night = plan["look_for"].str.contains("surface")
    assert night.any() and plan.loc[night, "company"].str.contains("two people").all()


@given(
    today=st.dates(date(2024, 7, 1), date(2025, 12, 31)),
    days=st.integers(1, 8),
    more=st.integers(0, 6),
)
@settings(max_examples=examples(100, 12))
def test_no_month_asks_for_more_than_a_person_can_do(today: date, days: int, more: int) -> None:
    """The fault: sixteen sites in the last three days of a November."""
    reach = Reach(days, days + more)
    visits, _ = visits_of(f"{today - timedelta(days=30)}")
    past = revisit.history(SMALL["looked"], detections(SMALL["looked"], ["EWIL", "GPOR"], {"GPOR": 0.3}), SITES["site_id"].tolist())
    plan = revisit.plan(SMALL["gaps"], READ, SITES, visits, past, today, reach)
    for month, rows in plan.groupby("month"):
        assert len(rows) <= reach.visits and rows["until"].nunique() <= days
        first = date.fromisoformat(f"{month}-01")
        # each spell has its share of the visits, and what is left of a month has no more than its share
        assert rows.groupby("until").size().max() <= -(-reach.visits // days)
        if today > first:
            left = (date.fromisoformat(rows["until"].max()) - today).days + 1
            assert len(rows) <= reach.visits * (left / 28) + -(-reach.visits // days)


def test_spells_share_a_month_out() -> None:
    spells = list(revisit._spells(date(2026, 11, 1), date(2026, 11, 30), Reach(4, 8)))
    assert [(start.day, end.day, n) for start, end, n in spells] == [(1, 7, 2), (8, 15, 2), (16, 22, 2), (23, 30, 2)]
    # of three days nothing is asked
    assert list(revisit._spells(date(2026, 11, 28), date(2026, 11, 30), Reach(4, 8))) == []


def test_what_the_plan_brings_is_not_asked_for_twice() -> None:
    """A cell that takes one more day of search is served once, though four sites could serve it."""
    cell = {**row_of(SMALL["gaps"], "larva", "water", "5"), "more_visits": 1, "more_sites": 0, "trips": 1}
    visits, _ = visits_of()
    past = revisit.history(SMALL["looked"], detections(SMALL["looked"], ["EWIL"], {}), SITES["site_id"].tolist())
    plan = revisit.plan(pd.DataFrame([cell]), READ, SITES, visits, past, date(2025, 5, 1))
    assert plan["look_for"].ne("").sum() == 1


def test_of_two_sites_on_one_waterbody_one_stands() -> None:
    plan = planned(date(2025, 5, 1))
    for _, rows in plan.groupby("month"):
        assert len({"D", "E"} & set(rows["site_id"])) <= 1


def test_a_site_that_a_cell_has_already_is_not_asked_for_new_sites() -> None:
    """Larvae in water in May lack 4 visits, 3 of them at new sites; a cell that lacks new sites only is served by none of its own."""
    cell = row_of(SMALL["gaps"], "larva", "water", "5")
    only_new = pd.DataFrame([{**cell, "more_visits": 3, "more_sites": 3}])
    visits, _ = visits_of()
    looked = SMALL["looked"]
    past = revisit.history(looked, detections(looked, ["EWIL"], {}), SITES["site_id"].tolist())
    plan = revisit.plan(only_new, READ, SITES, visits, past, date(2025, 5, 1))
    assert set(plan.loc[plan["look_for"].ne(""), "site_id"]) == {"D"}
    assert plan.iloc[0]["score"] == round(1 / cell["trips"], 3)


def test_absence_at_a_site_by_hand() -> None:
    """GPOR was looked for five times at A, B and C and not found; at a detection of 0.3 nine visits state absence: four to go."""
    looked = SMALL["looked"]
    past = revisit.history(looked, detections(looked, ["EWIL", "GPOR"], {"GPOR": 0.3}), SITES["site_id"].tolist())
    gpor = past[past["taxon"].eq("GPOR")]
    assert gpor["n_looked"].tolist() == [5, 5, 5] and gpor["visits_to_absence"].tolist() == [4, 4, 4]
    assert past.loc[past["taxon"].eq("EWIL"), "visits_to_absence"].isna().all()
    enough = revisit.history(looked, detections(looked, ["EWIL", "GPOR"], {"GPOR": 0.5}), SITES["site_id"].tolist())
    assert enough.loc[enough["taxon"].eq("GPOR"), "visits_to_absence"].tolist() == [0, 0, 0]


def test_a_hostile_name_is_text_on_the_plan() -> None:
    plan = planned(date(2025, 5, 1))
    sites = SITES.assign(site_name="<script>x</script>")
    absence = detections(SMALL["looked"], ["EWIL"], {})
    past = revisit.history(SMALL["looked"], absence, ["A"])
    text = revisit.page(plan, past, absence, sites, SETTINGS, date(2025, 5, 1))
    assert "<script>" not in text and "&lt;script&gt;" in text
