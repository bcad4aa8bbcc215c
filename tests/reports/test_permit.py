"""Captures and limits of a permit, by hand."""

from __future__ import annotations

from report_study import HAND_FINDS, HAND_SITES, HAND_VISITS, PERMIT, TAXA, by_hand

from pipeline.reports import permit as permit_report
from pipeline.settings.reports import Permit


def test_visits_belong_to_the_permit_they_name_or_to_the_only_one_of_their_year() -> None:
    mine, _ = by_hand()
    assert mine["visit_id"].tolist() == ["v1", "v2", "v3", "v5", "v6"]
    assert mine.loc[mine["assumed"], "visit_id"].tolist() == ["v3"] and mine.loc[mine["outside"], "visit_id"].tolist() == ["v5"]
    two = permit_report.visits_of(PERMIT, (PERMIT, Permit("other", "", (2024,), ())), HAND_VISITS)
    assert "v3" not in two["visit_id"].tolist(), "two permits cover 2024, so a visit that names none belongs to neither"


def test_captures_by_hand() -> None:
    """f1 2 released, f2 1 dead, f6 1 of no known fate, f7 1 kept: 5 captured; eggs, seen and salvaged are not. A kept clutch is kept."""
    _, rows = by_hand()
    of_2024 = rows[rows["year"].eq(2024)]
    assert {name: int(of_2024[name].sum()) for name in ("captured", "removed", "released", "died", "salvaged", "not_caught")} == {
        "captured": 5, "removed": 2, "released": 2, "died": 1, "salvaged": 1, "not_caught": 4,
    }  # fmt: skip
    what = dict(zip(rows["find_id"] + rows["visit_id"], rows["what"], strict=True))
    assert what["v2"] == "visit without a find" and what["v6"] == "visit whose finds are held back" and what["f4v1"] == "eggs"
    assert rows.loc[rows["year"].eq(2025), "what"].tolist() == ["no activity"]
    f6 = rows[rows["find_id"].eq("f6")].iloc[0]
    assert (f6["latitude"], f6["coordinate_source"], f6["county"], f6["datum"]) == (36.2, "taken at the find", "not noted", "not noted")


def test_limits_by_hand() -> None:
    _, rows = by_hand()
    limits = permit_report.against_limits(PERMIT, rows, [2024, 2025])
    words = dict(zip(zip(limits["year"], limits["taxon"], limits["kind"], strict=True), limits["words"], strict=True))
    assert words[2024, "any", "captured"] == "within the limit as far as the counts tell: at least 5 captured, 5 allowed"
    assert words[2024, "any", "retained"] == "LIMIT PASSED: 2 retained, 0 allowed, 2 too many"
    assert words[2024, "EWIL", "captured"].endswith("at least 3 captured, 3 allowed"), "the county is compared without regard to case"
    assert words[2025, "any", "captured"] == "within the limit: 0 captured, 5 allowed"
    exact = permit_report.rows_of(PERMIT, by_hand()[0], HAND_SITES, HAND_FINDS, TAXA, [2024])
    assert permit_report.against_limits(PERMIT, exact, [2024])["words"].iloc[0] == "within the limit: 5 captured, 5 allowed, none left"
