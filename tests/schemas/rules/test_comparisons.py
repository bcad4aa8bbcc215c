"""Comparisons that rules are made of: what each word says, missing values, and that every word is known to the form's page as well."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd
import pytest

from pipeline.entry import form
from schemas.rules.comparisons import AMONG, WORDS, Among, Comparison, all_of
from schemas.rules.rules import RULES

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
    assert len([rule for rule in RULES if rule.when and rule.table in form.TABLES]) == 21
    assert {rule.among.word for rule in RULES if rule.among} == set(AMONG)


# The plain meaning of each statement on the finds of one visit; V2 has one find, which stands beside none.
FINDS = pd.DataFrame({
    "visit_id": ["V1"] * 5 + ["V2"], "visit_water_temp_c": [20.0] * 5 + [20.0], "water_temp_c": [12.0, 11.6, 12.0, 21.0, None, 3.0],
})  # fmt: skip
AMONG_SAID = [
    (Among("copied", "water_temp_c", 2), [0, 2]),
    (Among("copied", "water_temp_c", 3), []),
    (Among("apart", "water_temp_c", 3, alike=3, apart=6), [3]),
    (Among("apart", "water_temp_c", 4, alike=3, apart=6), []),
    (Among("apart", "water_temp_c", 3, alike=0.1, apart=6), []),
    (Among("visit apart", "water_temp_c", 4, alike=10, apart=6), [0]),
    (Among("visit apart", "water_temp_c", 4, alike=3, apart=6), []),
]


@pytest.mark.parametrize(("said", "held"), AMONG_SAID, ids=[f"{one.word} {one.least} {one.alike}" for one, _ in AMONG_SAID])
def test_each_statement_on_finds_means_what_it_says(said: Among, held: list[int]) -> None:
    assert [place for place, one in enumerate(said.holds(FINDS)) if one] == held


def test_the_page_knows_the_same_statements() -> None:
    block = script().split("const AMONG = {")[1].split("\n};")[0]
    assert set(re.findall(r'^  "([a-z ]+)": \(said', block, re.MULTILINE)) == set(AMONG)
