"""Data quality: every published conformance row, properties of the response model, and the report over rows, files and a book.

`check_values/bdq/cases.jsonl` holds the published rows of the TDWG Biodiversity Data Quality tests that are answered (CC BY 4.0; the README
beside it states source and changes). Status and result must be equal exactly, proposals without regard to the order of keys, as section 8
of the draft standard's implementers' guide asks. Other figures are by hand, unless a comment names a source.
"""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path
from types import SimpleNamespace

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from quality_rows import BY_LABEL

from pipeline.commands.reports import assess_quality as assessing
from pipeline.errors import RillbookError
from pipeline.quality import names as quality_name
from pipeline.quality import record as quality_other
from pipeline.quality import report as quality
from pipeline.quality import space as quality_space
from pipeline.quality import time_amendments
from pipeline.quality.published_tests import TESTS
from pipeline.settings import read_settings

SETTINGS = SimpleNamespace(invented=True)


STANDARDIZED = [test for test in TESTS if test.label.endswith("_STANDARDIZED") and len(test.terms) == 1]


@given(st.sampled_from(STANDARDIZED), st.text(max_size=12) | st.sampled_from(["f", "ssp.", "CC0", "evnt", "WGS84", "Mar.", "3rd", "Peru"]))
def test_what_is_proposed_passes_its_validation(test, text):
    said = test.run(text)
    if said.status == "AMENDED":
        (value,) = json.loads(said.result).values()
        judge = BY_LABEL[test.label.replace("AMENDMENT", "VALIDATION").replace("STANDARDIZED", "STANDARD")]
        assert judge.run(value).result == "COMPLIANT" and test.run(value).status == "NOT_AMENDED"


@pytest.mark.parametrize(
    ("function", "text", "meant"),
    [
        (quality_other.amendment_occurrencestatus_standardized, "notDetected", "absent"),  # Darwin Core, issue of 2026-05-26
        (quality_other.amendment_occurrencestatus_standardized, "detected", "present"),
        (quality_other.amendment_basisofrecord_standardized, "humanobservation", "HumanObservation"),
        (quality_other.amendment_basisofrecord_standardized, "Material", None),  # three classes begin so
        (quality_other.amendment_license_standardized, "cc-by 4.0", "https://creativecommons.org/licenses/by/4.0/legalcode"),
        (quality_other.amendment_license_standardized, "CC BY", None),  # no version
        (quality_space.amendment_countrycode_standardized, "austria", "AT"),
        (quality_space.amendment_countrycode_standardized, "Austr", None),
        (quality_space.amendment_geodeticdatum_standardized, "NAD 83", "EPSG:4269"),
        (quality_space.amendment_geodeticdatum_standardized, "unknown", None),
        (quality_name.amendment_taxonrank_standardized, "Art", "species"),
        (time_amendments.amendment_month_standardized, "sept.", "9"),
    ],
)
def test_what_a_word_can_only_mean(function, text, meant):
    said = function(text)
    assert (next(iter(json.loads(said.result).values())) if said.result else None) == meant


def some_rows() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "dwc:occurrenceID": ["a", "b", "c", "d"],
            "eventDate": ["2021-05-08", "2021-28-10", "2021-28-10", None],
            "dwc:verbatimEventDate": ["", "", "", "9.v.2021"],
            "decimalLatitude": ["35.65", "95", "35.65", ""],
            "decimalLongitude": ["-83.45", "-83.45", "-83.45", ""],
            "dc:type": ["evnt", "Event", "Event", "Event"],
            "my column": ["1", "2", "3", "4"],
        }
    )


def test_an_assessment_accounts_for_every_row():
    found = quality.assess(some_rows())
    outcomes = [word.lower() for word in quality.OUTCOMES]
    assert (found.summary[outcomes].sum(axis=1) == 4).all() and len(found.summary) == len(TESTS)
    assert (found.responses.groupby("test")["n_rows"].sum() == 4).all()
    assert found.others == ["my column"] and "eventDate" in found.terms
    of_test = found.summary.set_index("test")
    assert of_test.loc["VALIDATION_EVENTDATE_STANDARD", ["compliant", "not_compliant", "not_run"]].tolist() == [1, 2, 1]
    # both broken dates can be mended, and the missing one was written; the latitude cannot
    assert of_test.loc["VALIDATION_EVENTDATE_STANDARD", "not_compliant_after"] == 0
    assert of_test.loc["VALIDATION_EVENTDATE_NOTEMPTY", ["not_compliant", "not_compliant_after"]].tolist() == [1, 0]
    assert of_test.loc["VALIDATION_DECIMALLATITUDE_INRANGE", ["not_compliant", "not_compliant_after"]].tolist() == [1, 1]
    line = found.responses[(found.responses["test"] == "VALIDATION_EVENTDATE_STANDARD") & (found.responses["result"] == "NOT_COMPLIANT")]
    assert line[["inputs", "n_rows", "first_rows"]].values.tolist() == [['{"dwc:eventDate": "2021-28-10"}', 2, "2, 3"]]
    types = found.responses[found.responses["test"] == "AMENDMENT_DCTYPE_STANDARDIZED"].set_index("status")
    assert json.loads(types.loc["AMENDED", "inputs"]) == {"dc:type": "evnt"}


def test_each_row_is_answered_as_if_it_stood_alone():
    rows = quality.in_terms(some_rows())
    found = quality.assess(rows)
    for test in TESTS:
        answers = quality.answer(test, rows)
        for place, row in enumerate(rows.to_dict("records")):
            assert answers.responses[answers.codes[place]] == test.run(*(row.get(term, "") for term in test.terms))
    validations = [test for test in TESTS if test.kind == "validation"]
    alone = [[test.run(*(row.get(term, "") for term in test.terms)).result for test in validations] for row in rows.to_dict("records")]
    assert found.records["not_compliant"].tolist() == [one.count("NOT_COMPLIANT") for one in alone]
    assert (found.records[["compliant", "not_compliant", "not_run"]].sum(axis=1) == len(validations)).all()


def test_two_columns_are_told_apart_in_every_combination():
    """Each pair of 0, 1, 2: 0 and 1 must not be taken for 1 and 0."""
    pairs = [(a, b) for a in "012" for b in "012"]
    rows = pd.DataFrame(pairs, columns=["minimumElevationInMeters", "maximumElevationInMeters"])
    answers = quality.answer(BY_LABEL["VALIDATION_MINELEVATION_LESSTHAN_MAXELEVATION"], rows)
    assert [answers.inputs[code] for code in answers.codes] == pairs
    assert [answers.responses[code].result == "COMPLIANT" for code in answers.codes] == [a <= b for a, b in pairs]


def test_no_rows_and_no_known_column():
    found = quality.assess(pd.DataFrame({"eventDate": pd.Series([], dtype="str")}))
    assert found.n_rows == 0 and (found.summary["compliant"] == 0).all()
    assert "Data quality" in quality.page(found, "nothing", SETTINGS)


def test_a_hundred_thousand_rows_run_each_distinct_input_once(monkeypatch):
    """The time is a matter of distinct inputs, not of rows; counted, since clocks fail on a busy machine."""
    n, distinct = 100_000, 7
    rows = pd.DataFrame({"eventDate": [f"2021-05-0{1 + place % distinct}" for place in range(n)], "sex": ["male"] * n})
    asked = []
    heard = BY_LABEL["VALIDATION_EVENTDATE_STANDARD"]
    listening = type(heard)(lambda value: asked.append(value) or heard.run(value), heard.guid, heard.version, heard.terms)
    answers = quality.answer(listening, rows)
    assert len(asked) == distinct and len(answers.codes) == n
    assert int(quality.assess(rows).summary.set_index("test").loc["VALIDATION_SEX_STANDARD", "not_compliant"]) == n


def test_texts_are_inert_in_the_page():
    evil = "<script>alert(1)</script>${7*7}"
    page = quality.page(quality.assess(pd.DataFrame({"sex": [evil], evil: ["x"]})), evil, SETTINGS)
    assert "<script" not in page and "&lt;script&gt;" in page and "default-src 'none'" in page


@pytest.fixture(scope="module")
def demo_book(demo_run, tmp_path_factory):
    """A copy of the invented study's book."""
    return Path(shutil.copytree(demo_run[0], tmp_path_factory.mktemp("quality") / "book"))


def test_the_book_as_it_would_be_published(demo_book):
    written = assessing.write_quality(demo_book)
    assert [path.parent.relative_to(demo_book).as_posix() for path in written.files] == ["out/private"] * 4
    of_test = written.tables["summary"].set_index("test")
    rows = len(written.tables["records"])
    # what a publication owes its readers: no row of ours may fail these
    for label in (
        "VALIDATION_OCCURRENCEID_NOTEMPTY", "VALIDATION_BASISOFRECORD_STANDARD", "VALIDATION_LICENSE_STANDARD",
        "VALIDATION_GEODETICDATUM_STANDARD",
        "VALIDATION_DECIMALLATITUDE_INRANGE", "VALIDATION_DECIMALLONGITUDE_INRANGE", "VALIDATION_COORDINATES_NOTZERO",
        "VALIDATION_COORDINATEUNCERTAINTY_INRANGE", "VALIDATION_EVENTDATE_STANDARD", "VALIDATION_EVENTDATE_INRANGE",
        "VALIDATION_EVENT_CONSISTENT", "VALIDATION_SCIENTIFICNAME_NOTEMPTY", "VALIDATION_TAXONRANK_STANDARD", "VALIDATION_YEAR_INRANGE",
    ):  # fmt: skip
        assert of_test.loc[label, "compliant"] == rows, label
    # every place of ours is generalised, and says so
    assert of_test.loc["ISSUE_DATAGENERALIZATIONS_NOTEMPTY", "potential_issue"] == rows
    assert of_test.loc["VALIDATION_OCCURRENCESTATUS_STANDARD", "not_compliant_after"] == 0


def test_sheets_made_for_rillbook_belong_together(demo_book):
    demo = Path(__file__).parents[2] / "data/demo"
    rows, names = assessing.file_rows([demo / f"{name}.csv" for name in ("sites", "visits", "finds")], read_settings(demo_book))
    finds, visits = (pd.read_csv(demo / f"{name}.csv", dtype=str) for name in ("finds", "visits"))
    assert len(rows) == len(finds) and names.iloc[0] == "2"
    assert rows["eventDate"].iloc[0] == visits.set_index("visit_id")["visit_date"][finds["visit_id"].iloc[0]]
    # a find's own place stands before its site's
    own = finds["latitude"].notna()
    assert own.sum() > 0 and (rows.loc[own.to_numpy(), "decimalLatitude"].to_numpy() == finds.loc[own, "latitude"].to_numpy()).all()
    assert rows["decimalLatitude"].ne("").mean() > 0.99 and not {"taxon", "visit_id", "site_id"} & set(rows)


def test_what_is_no_darwin_core_is_said(demo_book, tmp_path):
    path = tmp_path / "notes.csv"
    path.write_text("colour,weather\nred,fine\n", encoding="utf-8")
    with pytest.raises(RillbookError, match="no column is named by a term"):
        assessing.write_quality(demo_book, [path])
    two = [shutil.copy(path, tmp_path / name) for name in ("one.csv", "two.csv")]
    for one in two:
        Path(one).write_text("eventDate,sex\n2021,Male\n", encoding="utf-8")
    with pytest.raises(RillbookError, match="more than one table"):
        assessing.write_quality(demo_book, [Path(one) for one in two])


def test_a_file_keeps_formulas_inert(demo_book, tmp_path):
    path = tmp_path / "theirs.csv"
    path.write_text('occurrenceID,sex\n1,"=HYPERLINK(1)"\n', encoding="utf-8")
    written = assessing.write_quality(demo_book, [path])
    assert written.files[0].name == "quality_theirs.html"
    _no_formula(written.files[1:])


def test_codes_of_the_book_keep_formulas_inert(demo_book, monkeypatch):
    """A code of the book may be any text."""
    rows = pd.DataFrame({"occurrenceID": ["1", "2"], "sex": ["=HYPERLINK(1)", "Male"]})
    monkeypatch.setattr(assessing, "own_rows", lambda folder, settings: (rows, pd.Series(["=1+1", "@x"])))
    _no_formula(assessing.write_quality(demo_book).files[1:])


def _no_formula(files):
    for file in files:
        cells = [cell for row in csv.reader(file.open(encoding="utf-8", newline="")) for cell in row]
        assert not [cell for cell in cells if cell.startswith(("=", "+", "@"))]


@pytest.mark.browser
@pytest.mark.parametrize("width", [1280, 375])
def test_the_page_fits_and_asks_for_nothing(demo_book, browser, width):
    page_file = assessing.write_quality(demo_book).files[0]
    page = browser.new_page(viewport={"width": width, "height": 900})
    asked, problems = [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: problems.append(message.text))
    page.goto(page_file.as_uri())
    page.click("summary")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.locator("details table").count() == 4 and asked == [page_file.as_uri()] and not problems
    page.close()
