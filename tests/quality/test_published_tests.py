"""Every published row of the data-quality tests is met or listed with its reason (check_values/bdq holds them with their source)."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from quality_rows import BY_LABEL

from pipeline.quality.published_tests import CONTRADICTIONS, LEFT_OUT, TESTS, documentation
from pipeline.quality.responses import INTERNAL, RAN

ROWS = [json.loads(line) for line in (Path(__file__).parents[1] / "check_values/bdq/cases.jsonl").read_text(encoding="utf-8").splitlines()]


def answered(row: dict[str, object]):
    """Response of our function to one published row."""
    inputs = {term.partition(":")[2]: value for term, value in row["inputs"].items()}
    parameters = row["parameters"]
    named = {"source_authority": parameters["bdqval:sourceAuthority"]} if parameters else {}
    test = BY_LABEL[row["test"]]
    return test.run(*(inputs.get(term) for term in test.terms), **named)


@pytest.mark.parametrize("label", BY_LABEL)
def test_every_published_row(label):
    rows = [row for row in ROWS if row["test"] == label]
    assert rows, f"{label} has no published row here"
    for row in rows:
        said = answered(row)
        wanted = json.loads(row["result"]) if row["result"].startswith("{") else row["result"]
        result = json.loads(said.result) if said.result.startswith("{") else said.result
        assert (said.status, result) == (row["status"], wanted), f"dataID {row['dataID']}: {row['inputs']}"
        assert said.comment


def test_at_least_forty_tests_with_all_their_rows():
    assert len(TESTS) >= 40 and len({test.guid for test in TESTS}) == len(TESTS)
    assert len(ROWS) == 941 and {row["test"] for row in ROWS} == set(BY_LABEL)
    assert {(row["test"], row["guid"]) for row in ROWS} == {(test.label, test.guid) for test in TESTS}


def test_no_row_of_an_answered_test_was_left_behind(root):
    """Against the whole extract, where it is at hand."""
    whole_extract = root.parent / "shared/reference/bdq"
    if not whole_extract.is_dir():
        pytest.skip("The whole extract of the published rows is not here; the copy beside the tests was run.")
    published = [json.loads(line) for line in (whole_extract / "cases.jsonl").read_text(encoding="utf-8").splitlines()]
    assert {row["test"] for row in published} - set(BY_LABEL) <= set(LEFT_OUT)
    kept = [{name: row[name] for name in ROWS[0]} for row in published if row["test"] in BY_LABEL]
    assert kept == ROWS
    with (whole_extract / "index.csv").open(encoding="utf-8", newline="") as file:
        listed = {row["test"]: row for row in csv.DictReader(file)}
    for test in TESTS:
        said = re.findall(r"\w+:(\w+)", listed[test.label]["acted_upon"] + " " + listed[test.label]["consulted"])
        # what the coordinates as written mean is told by themselves, whatever their system is called
        assert set(said) - {"verbatimCoordinateSystem"} == set(test.terms), test.label
        assert test.version == listed[test.label]["spec_last_updated"], test.label


@pytest.mark.parametrize(("numbers", "label"), [entry[:2] for entry in CONTRADICTIONS])
def test_listed_contradictions_are_published_rows(numbers, label):
    rows = {str(row["dataID"]): row for row in ROWS}
    assert {rows[one]["test"] for one in numbers.split(", ")} == {label}


@given(st.text(max_size=40))
def test_no_text_makes_a_test_stumble(text):
    for test in TESTS:
        said = test.run(*([text] * len(test.terms)))
        assert said.status in (RAN, INTERNAL, "AMENDED", "FILLED_IN", "NOT_AMENDED")
        if said.status in ("AMENDED", "FILLED_IN"):
            assert json.loads(said.result)


def test_the_document_tells_what_is_answered(root):
    text = (root / "docs/quality.md").read_text(encoding="utf-8")
    assert text.partition("<!-- tests -->\n\n")[2] == documentation(), "write documentation() after the marker in docs/quality.md"
