"""The page of the gap list: what is lacked in words, and no text of a person runs."""

from __future__ import annotations

from datetime import date

import pandas as pd
from gap_study import SETTINGS

from pipeline.reports import gaps
from pipeline.reports.gaps_page import page
from pipeline.statistics.detection import detections
from schemas.frames.reports import GAP_COLUMNS, GAP_MONTH_COLUMNS

LOOKED = pd.DataFrame({"visit_id": [], "site_id": [], "visit_date": [], "taxon": [], "found": []}).astype({"found": "bool"})
CELL = {
    **dict.fromkeys(GAP_COLUMNS, 0), "taxon": "EWIL", "population": "north", "life_stage": "larva", "medium": "water", "month": "5",
    "grade": "C", "next_grade": "B", "interval": "", "company": "", "trips_basis": gaps.SHARE, "at_animal": False,
    "more_visits": 4, "more_sites": 3, "more_years": 1, "trips": 4, "n_searches": 6, "n_with_reading": 6,
    "n_sites": 3, "n_dates": 2, "n_visits": 6,
}  # fmt: skip


def text(private: bool = False, **changes: object) -> str:
    listed = pd.DataFrame([{**CELL, **changes}], columns=list(GAP_COLUMNS))
    months = pd.DataFrame(columns=list(GAP_MONTH_COLUMNS))
    never = pd.DataFrame(columns=["taxon", "life_stage", "why"])
    return page(listed, months, detections(LOOKED, ["EWIL"], {}), never, 12, SETTINGS, date(2025, 1, 1), private=private)


def test_what_a_cell_lacks_is_said_in_words() -> None:
    said = text()
    assert "4 visits (3 at new sites, in 1 new year)" in said and "about 5</td>" in said and "May" in said
    assert "3 sites, 2 dates, 6 visits" not in said and "6 of 6" not in said and "2025-01-01" in said
    own = text(private=True)
    assert "3 sites, 2 dates, 6 visits" in own and "6 of 6" in own and 'class="banner private"' in own and "about 4</td>" in own
    assert "larvae in water" in said and "Eurycea wilderae" in said, "words, no codes"


def test_a_line_that_no_visit_can_cure_is_counted_and_left_out() -> None:
    said = text(more_visits=0, interval="half-width 3 °C; at most 2.5 °C needed")
    assert "1 more lines are left out" in said and "larvae in water" not in said


def test_night_is_never_for_one_alone_and_a_cell_never_searched_says_so() -> None:
    assert "4 visits (2 at night, never alone)" in text(more_sites=0, more_years=0, more_at_night=2)
    assert "nobody knows" in text(trips=None, trips_basis=gaps.NOT_KNOWN)
    assert "not searched" in text(private=True, n_searches=0, n_with_reading=0, trips_basis=gaps.NOT_KNOWN, trips=None)


def test_a_name_with_signs_of_html_stays_text() -> None:
    assert "<script>x" not in text(population="<script>x</script>")
