"""Comparisons that rules are made of: what each word says, missing values, and that every word is known to the form's page as well."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd
import pytest

from pipeline.entry import form
from schemas.comparisons import WORDS, Comparison, all_of
from schemas.rules import RULES

FRAME = pd.DataFrame({
    "a": [1.0, 2.0, 3.0, None],
    "b": [2.0, 2.0, None, 1.0],
    "code": pd.Series(["x", "y", None, "z"], dtype="str"),
    "flag": pd.array([True, False, None, True], dtype="boolean"),
})  # fmt: skip
# The plain meaning of each word; a missing value only answers whether it is noted, and is never true.
SAID = [
    (Comparison("a", "above", 2.0), [False, False, True, False]),
    (Comparison("a", "below", "b"), [True, False, False, False]),
    (Comparison("a", "at least", "b"), [False, True, False, False]),
    (Comparison("a", "at most", "b"), [True, True, False, False]),
    (Comparison("a", "above", 0.5, less="b"), [True, False, False, False]),
    (Comparison("code", "one of", ("x", "z")), [True, False, False, True]),
    (Comparison("flag", "is true"), [True, False, False, True]),
    (Comparison("flag", "is not true"), [False, True, True, False]),
    (Comparison("b", "noted"), [True, True, False, True]),
    (Comparison("b", "not noted"), [False, False, True, False]),
]


@pytest.mark.parametrize(("comparison", "held"), SAID, ids=[f"{one.field} {one.word} {one.to}" for one, _ in SAID])
def test_each_word_means_what_it_says(comparison: Comparison, held: list[bool]) -> None:
    assert comparison.holds(FRAME).tolist() == held


def test_all_must_hold() -> None:
    mask = all_of(Comparison("a", "below", "b"), Comparison("code", "one of", ("y",)))
    assert mask(FRAME).tolist() == [False] * 4
    assert all_of(Comparison("a", "noted"))(FRAME).tolist() == [True, True, True, False]


def script() -> str:
    return (Path(form.__file__).parent / "templates" / "form" / "rules.js").read_text(encoding="utf-8")


def test_the_page_knows_the_same_words() -> None:
    assert set(re.findall(r'^  "([a-z ]+)": \(value', script(), re.MULTILINE)) == set(WORDS)
    assert {comparison.word for comparison, _ in SAID} == set(WORDS)


# Rules that the page tells and that are more than comparisons are written twice; tests/entry/test_form_slips.py holds the two together.
PAIRS = ("visit_too_long", "warm_for_cool_stream", "mass_out_of_line", "find_outside_visit")


def test_only_the_listed_rules_are_written_twice() -> None:
    block = script().split("const BROKEN = {")[1].split("\n};")[0]
    assert tuple(re.findall(r"^  ([a-z_]+):", block, re.MULTILINE)) == PAIRS
    assert {rule.id for rule in RULES if rule.id in PAIRS and rule.when} == set()
    assert len([rule for rule in RULES if rule.when and rule.table in form.TABLES]) == 13
