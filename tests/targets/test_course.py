"""The field through the year as a set point may follow it: runs of months, days that visits reach, and 1 °C a week, by hand."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.targets.course import limited_course, runs, slowed, span, weakest_grade

YEAR = tuple(range(1, 13))


@pytest.mark.parametrize(
    ("months", "expected"),
    [
        ([6, 7, 8], [(6, 7, 8)]),
        ([11, 12, 1, 2, 6], [(6,), (11, 12, 1, 2)]),
        ([1, 12], [(12, 1)]),
        (list(YEAR), [YEAR]),
        ([], []),
        ([month for month in YEAR if month != 2], [(3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 1)]),
    ],
)
def test_runs_pass_new_year(months: list[int], expected: list[tuple[int, ...]]) -> None:
    assert runs(months) == expected


def test_days_reach_a_week_beyond_the_visits() -> None:
    # By hand: 3 June is day 154, 29 July day 210; a week on either side. 20 December is day 354, 4 January day 4.
    assert span((6, 7), np.array([210, 154, 180])).tolist() == list(range(147, 218))
    assert span((12, 1), np.array([354, 4])).tolist() == [*range(347, 366), *range(1, 12)]
    assert span(YEAR, np.array([40])).tolist() == list(range(1, 366))


@given(st.lists(st.floats(-5, 30), min_size=1, max_size=60), st.booleans())
def test_slowing_lowers_no_more_than_it_must(values: list[float], closed: bool) -> None:
    curve = np.array(values)
    slow = slowed(curve, closed)
    assert (slow <= curve).all()
    around = np.append(slow, slow[0]) if closed else slow
    assert (np.abs(np.diff(around)) <= 1 / 7 + 1e-9).all()
    # The highest such curve: a curve that keeps to the rate is left as it is.
    assert slowed(slow, closed) == pytest.approx(slow)
    assert slow.min() == curve.min()


def test_slowing_by_hand() -> None:
    # A step of 3 °C up on day 7 takes three weeks: 10 + (day − 6)/7.
    slow = slowed(np.array([10.0] * 7 + [13.0] * 28), closed=False)
    assert slow[:7].tolist() == [10.0] * 7
    assert slow[[13, 20, 27, 34]] == pytest.approx([11, 12, 13, 13])


def month_row(p50: float, **changes: Any) -> dict[str, Any]:
    """A month of the targets, grade B, with plain lines round its median."""
    lines = {"min": p50 - 3, "p05": p50 - 2, "p25": p50 - 1, "p50": p50, "p75": p50 + 1, "p95": p50 + 2, "max": p50 + 3}
    return {
        **lines, "n_readings": 20, "n_sites": 6, "n_dates": 4, "n_visits": 10, "grade": "B", "status": "target", "day_shift": 0.0,
        "p95_bound": math.nan, "allowance": 0.0, "ceiling": math.nan, "set_point_high": math.nan, "floor": math.nan, **changes,
    }  # fmt: skip


NOT_READ = {**month_row(math.nan), "n_readings": 0, "n_sites": 0, "n_dates": 0, "n_visits": 0, "grade": "D", "status": "refused"}


def course_of(months: dict[int, dict[str, Any]]) -> np.ndarray:
    """Highest set point of each day, from months too few for a fit: the medians alone speak."""
    rows = [("a", pd.Timestamp(2021, month, 15), month, 15 + 30 * month, row["p50"]) for month, row in months.items()]
    values = pd.DataFrame(rows, columns=["site", "date", "month", "day", "value"])
    fitted, limited = limited_course(values, {month: months.get(month, NOT_READ) for month in YEAR}, (6, 7, 8, 9))
    assert np.isnan(fitted).all() and len(limited) == 365
    return limited


def test_two_months_hold_their_medians_and_one_cools_the_other() -> None:
    """June at 10 °C and July at 14 °C, by hand: days 152 to 181 and 182 to 212; from 30 June on 1 °C a week up to 14 on 28 July."""
    limited = course_of({6: month_row(10.0), 7: month_row(14.0)})
    assert limited[151:181].tolist() == [10.0] * 30
    assert limited[181:212] == pytest.approx(np.minimum(10 + np.arange(1, 32) / 7, 14))
    assert limited[180 + 21] == pytest.approx(13)


def test_a_day_shift_and_a_ceiling_lower_a_month() -> None:
    assert course_of({7: month_row(14.0, day_shift=1.5)})[181:212].tolist() == [12.5] * 31
    # A thermostat swings by 1 °C (judgement): under a ceiling of 13 no more than 12.
    assert course_of({7: month_row(14.0, ceiling=13.0)})[181:212].tolist() == [12.0] * 31
    # A month that prints 12 at most may come just under the next step of B, 13, and no higher.
    assert course_of({7: month_row(14.0, set_point_high=12.0)})[181:212] == pytest.approx([13.0] * 31, abs=1e-5)


def test_a_month_that_lacks_its_counts_cools_nobody() -> None:
    few = {"n_sites": 2, "n_dates": 1, "n_visits": 2, "grade": "D", "status": "refused"}
    assert course_of({6: month_row(4.0, **few), 7: month_row(14.0)})[181:212].tolist() == [14.0] * 31
    assert course_of({6: month_row(4.0), 7: month_row(14.0)})[181] < 5


def test_the_weakest_grade_of_the_months_that_were_read() -> None:
    months = {1: month_row(5.0, grade="A"), 2: month_row(5.0, grade="C"), 3: NOT_READ}
    assert weakest_grade(months) == "C" and weakest_grade({1: months[1], 3: NOT_READ}) == "A" and weakest_grade({3: NOT_READ}) == "D"
