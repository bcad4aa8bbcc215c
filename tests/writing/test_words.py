"""How numbers, months and temperatures are written: degrees Fahrenheit on the safe side (°F = 1.8 °C + 32 by definition)."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from pipeline.writing import words
from pipeline.writing.words import fahrenheit, number


# °F. Definition of the degree Fahrenheit: °F = 1.8 °C + 32; 20 °C is 68 °F and 10 °C is 50 °F exactly.
@pytest.mark.parametrize(
    ("printed", "up", "expected"), [(20.0, False, 68), (10.0, True, 50), (14.0, False, 57), (14.0, True, 58), (19.5, False, 67)]
)
def test_fahrenheit(printed: float, up: bool, expected: int) -> None:
    assert fahrenheit(printed, up=up) == expected


def test_fahrenheit_is_within_a_degree_and_never_on_the_unsafe_side() -> None:
    for printed in np.arange(-1.0, 26.0, 0.5):
        exact = printed * 1.8 + 32
        assert exact - 1 < fahrenheit(printed) <= exact <= fahrenheit(printed, up=True) < exact + 1


def test_numbers_are_written_as_people_read_them() -> None:
    assert [number(12.0), number(12.5), number(-0.5), number(-0.04, 1), number(7.26, 1)] == ["12", "12.5", "−0.5", "0.0", "7.3"]


def test_months_in_a_row_are_one_span_and_two_stand_side_by_side() -> None:
    assert words.month_runs([6, 3, 4, 5, 9, 10]) == "March to June, September, October" and words.month_runs([]) == ""
    assert words.month_name("7.0") == words.month_name(7) == "July" and words.month_name("warm") == "warm"


def test_counts_and_missing_figures() -> None:
    assert [words.counted(n, "site") for n in (0, 1, 2, None, float("nan"))] == ["0 sites", "1 site", "2 sites", "0 sites", "0 sites"]
    assert words.counted(2, "population") == "2 populations" and words.counted(2, "egg mass", "egg masses") == "2 egg masses"
    assert words.figure(None) is words.figure(float("nan")) is None and words.figure(3) == 3.0
    assert words.share_of(pd.Series([True, False, False])) == "33 %"


def test_of_several_names_the_first_are_told_and_the_rest_counted() -> None:
    assert [words.some_of(["A", "B", "C"][:n], 2) for n in (0, 1, 2, 3)] == ["", "A", "A, B", "A, B and 1 more"]


def test_what_was_read_is_told_to_the_nearest_and_what_is_advised_on_the_safe_side() -> None:
    """10.3 °C is 50.54 °F: read, 51; advised as a top, 50. 8 °C is 46.4 °F: as a bottom 47."""
    nbsp = words.NBSP
    assert words.plain(10.3) == f"10.3{nbsp}°C (51{nbsp}°F)" == words.between(10.3, 10.3)
    assert words.between(8.0, 10.3) == f"8.0{nbsp}to{nbsp}10.3{nbsp}°C (46{nbsp}to{nbsp}51{nbsp}°F)"
    assert words.advised(10.3, 10.3, None) == f"10.3{nbsp}°C (50{nbsp}°F)"
    # Never below the least that the page allows: 8 °C rounded down would be 46.
    assert words.advised(8.0, 12.0, (8.0, 47)) == f"8 to 12{nbsp}°C (47 to 53{nbsp}°F)"
