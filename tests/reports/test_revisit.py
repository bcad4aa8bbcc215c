"""The revisit plan: no site too soon, nothing at eggs, and visits to absence, by hand."""

from __future__ import annotations

from datetime import date, timedelta

import pandas as pd
from gap_study import READ, SETTINGS, SITES, row_of, study, visits_of
from hypothesis import given
from hypothesis import strategies as st

from pipeline.reports import revisit
from pipeline.settings.limits import judgement
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
