"""Codes that may be meant."""

from __future__ import annotations

from difflib import get_close_matches

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.checking.nearest import folded, nearest


@pytest.mark.parametrize(
    ("key", "found"),
    [
        ("kt-01", ["KT-01"]),
        ("KT 01", ["KT-01"]),
        ("KT-O1", ["KT-01"]),
        ("Mil 2", ["Mill 2"]),
        ("elsewhere", []),
        ("KT-01", ["KT-02"]),
    ],
)
def test_nearest_codes(key: str, found: list[str]) -> None:
    assert nearest(key, ["KT-01", "KT-02", "Mill 2"]) == found


def test_case_spaces_and_signs_are_no_part_of_a_code() -> None:
    assert folded("Kt - 01_b") == folded("KT01B") == "kt01b" and folded("") == folded(" -") == ""


def test_as_many_as_asked_nearest_first_and_none_of_nothing() -> None:
    """By hand: of the 10 signs of two codes of five, 8 are shared with MILLS and 8 of 9 with MILL; OAK shares none."""
    assert nearest("MILLX", ["OAK", "MILLS", "MILL"]) == ["MILL", "MILLS"]
    assert nearest("MILLX", ["OAK", "MILLS", "MILL"], 1) == ["MILL"]
    assert nearest("MILL-1", []) == []
    # Two codes that differ in their signs alone are both meant.
    assert nearest("kt 01", ["KT-01", "KT_01", "KT-02"]) == ["KT-01", "KT_01"]


@given(st.lists(st.text("AB01-", min_size=1, max_size=6), max_size=8, unique=True), st.text("AB01-", min_size=1, max_size=6))
def test_what_is_passed_over_early_is_nothing_that_the_full_comparison_would_give(known: list[str], key: str) -> None:
    others = sorted(set(known) - {key})
    folds = list(dict.fromkeys(map(folded, others)))
    if folded(key) not in folds:
        close = get_close_matches(folded(key), folds, n=3, cutoff=0.75)
        assert nearest(key, known) == [one for near in close for one in others if folded(one) == near][:3]
