"""Grades, rounding and the lowest temperature allowed, by hand; the thresholds are the judgements of data/reference/limits.csv."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd
import pytest

from pipeline.statistics.grades import down, grade_of, least_allowed, missing_for_c, needs, provisional, step, up, worse

ENOUGH = {"sites": 12, "dates": 24, "visits": 60, "years": 3, "night_share": 0.2, "half_width": 1.5}


@pytest.mark.parametrize(
    ("change", "grade"),
    [
        ({}, "A"),
        ({"sites": 11}, "B"),
        ({"dates": 23}, "B"),
        ({"visits": 59}, "B"),
        ({"years": 2}, "B"),
        ({"night_share": 0.19}, "B"),
        ({"half_width": 1.51}, "B"),
        ({"half_width": 2.51}, "C"),
        ({"half_width": math.nan}, "C"),
        ({"years": 1}, "C"),
        ({"years": 0, "night_share": 0.0}, "C"),
        ({"sites": 5}, "C"),
        ({"dates": 11}, "C"),
        ({"visits": 29}, "C"),
        ({"sites": 2}, "D"),
        ({"dates": 5}, "D"),
        ({"visits": 9}, "D"),
    ],
)
def test_grade_thresholds(change: dict[str, float], grade: str) -> None:
    assert grade_of({**ENOUGH, **change}, monthly=False, only_from_visit=False) == grade


def test_months_need_a_third_rounded_up() -> None:
    assert [(needs(grade, True)["dates"], needs(grade, True)["visits"], needs(grade, True)["sites"]) for grade in "ABC"] == [
        (8, 20, 12), (4, 10, 6), (2, 4, 3),
    ]  # fmt: skip
    assert missing_for_c({"sites": 2, "dates": 1, "visits": 4}, monthly=True) == "2 of 3 sites, 1 of 2 dates needed"


def test_rounding() -> None:
    assert [down(value, "A") for value in (15.49, 15.5, 15.99, -0.2)] == [15.0, 15.5, 15.5, -0.5]
    assert [up(value, "A") for value in (8.0, 8.1, 8.6)] == [8.0, 8.5, 9.0]
    assert [down(value, grade) for value, grade in ((15.9, "B"), (15.9, "C"), (15.9, "D"))] == [15.0] * 3
    # 1.3 − 2.3 is −0.9999999999999998 in binary and 1.2 − 2.2 is −1.0000000000000002: neither may move by a whole step.
    assert up(1.3 - 2.3, "C") == down(1.2 - 2.2, "C") == -1.0 and down(16.3 - 1.3, "C") == 15.0


def test_visit_readings_alone_are_provisional_at_most() -> None:
    assert grade_of(ENOUGH, monthly=False, only_from_visit=True) == "C"
    assert grade_of({**ENOUGH, "sites": 2}, monthly=False, only_from_visit=True) == "D"


def test_the_lower_of_two_grades_and_which_is_good_enough() -> None:
    assert worse("A", "C") == worse("C", "A") == "C" and worse("D", None) == "D" and worse("B", "") == "B"
    assert [provisional(grade) for grade in "ABCD"] == [True, True, True, False]


def test_a_cell_that_has_its_counts_lacks_nothing() -> None:
    assert missing_for_c({"sites": 3, "dates": 2, "visits": 4}, monthly=True) == ""
    assert missing_for_c({"sites": 3, "dates": 5, "visits": 10}, monthly=False) == "5 of 6 dates needed"


def test_a_cell_without_a_grade_is_rounded_like_the_weakest() -> None:
    assert [step(grade) for grade in ("A", "B", "C", "D", "")] == [0.5, 1.0, 1.0, 1.0, 1.0]


def rows_of(**columns: list[Any]) -> pd.DataFrame:
    return pd.DataFrame({"month": ["warm", "1", "6"], "status": "target", "band_low": [2.0, 5.0, 9.0], "floor": math.nan, **columns})


def test_the_lowest_allowed_is_the_floor_and_without_winter_the_lowest_month() -> None:
    """Method §5. The season is no month: its 2 °C do not count; nor does a month that was refused."""
    assert least_allowed(rows_of(floor=[3.5, 3.5, 3.5])) == 3.5
    assert least_allowed(rows_of()) == 5.0
    assert least_allowed(rows_of(month=["warm", "1.0", "6.0"])) == 5.0, "months that passed through a number column"
    assert least_allowed(rows_of(status=["target", "refused", "target"])) == 9.0
    assert math.isnan(least_allowed(rows_of(status=["target", "refused", "refused"])))
    assert math.isnan(least_allowed(rows_of().iloc[:0]))
