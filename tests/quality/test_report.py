"""Data quality: every published conformance row, properties of the response model, and the report over rows, files and a book.

`check_values/bdq/cases.jsonl` holds the published rows of the TDWG Biodiversity Data Quality tests that are answered (CC BY 4.0; the README
beside it states source and changes). Status and result must be equal exactly, proposals without regard to the order of keys, as section 8
of the draft standard's implementers' guide asks. Other figures are by hand, unless a comment names a source.
"""

from __future__ import annotations

import csv
import json
import re
import shutil
import zipfile
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.commands import assess_quality as assessing
from pipeline.errors import RillbookError
from pipeline.quality import archive as archive_file
from pipeline.quality import dates as quality_dates
from pipeline.quality import heights, time_amendments
from pipeline.quality import names as quality_name
from pipeline.quality import record as quality_other
from pipeline.quality import report as quality
from pipeline.quality import space as quality_space
from pipeline.quality import time as quality_time
from pipeline.quality.published_tests import CONTRADICTIONS, LEFT_OUT, TESTS, documentation
from pipeline.quality.responses import EXTERNAL, INTERNAL, RAN, empty, folded, number, whole

ROWS = [json.loads(line) for line in (Path(__file__).parents[1] / "check_values/bdq/cases.jsonl").read_text(encoding="utf-8").splitlines()]
BY_LABEL = {test.label: test for test in TESTS}
SETTINGS = SimpleNamespace(invented=True)


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


# A value is Empty if it holds only U+0000 to U+0020; the words below are values (implementers' guide).
@pytest.mark.parametrize(
    ("value", "wanted"),
    [(None, True), ("", True), (" \t\n", True), ("\x00\x0e\x1f", True), ("null", False), ("NA", False), ("?", False), ("\u00a0", False)],
)
def test_empty(value, wanted):
    assert empty(value) is wanted


@pytest.mark.parametrize(
    ("text", "wanted"),
    [("1", 1.0), ("-0.5", -0.5), ("1e3", 1000.0), (".5", 0.5), ("1,5", None), (" 1", None), ("nan", None), ("inf", None), ("1_0", None)],
)
def test_number(text, wanted):
    assert number(text) == wanted


def test_whole_numbers_are_of_plain_digits():
    assert whole("12") == 12 and whole("012") == 12 and whole("-3") == -3
    assert whole("1.0") is None and whole("١٢") is None and whole("") is None and whole(None) is None


# ISO 8601-1 in the reading of the published rows (standards of the draft, section on dates); seconds by hand.
SECONDS = {
    "2021-02": 28 * 86400,
    "2020-02-29": 86400,
    "2021-060": 86400,
    "2007-11-13/15": 3 * 86400,
    "2007-11/12": 61 * 86400,
    "2007-12-31/2008-01-01": 2 * 86400,
    "2021-03-01T10:00/12:30": 9000,
    "2021-03-01T10:00-0500/2021-03-01T16:00Z": 3600,
    "2021-03-01T10:00": 60,
    "2021-03-01T10": 3600,
    "2021-03-01T10:00/02T10:00": 86400,
}


@pytest.mark.parametrize("text", SECONDS)
def test_length_of_a_date(text):
    span = quality_dates.read_span(text)
    assert span is not None and span.seconds == SECONDS[text]


@pytest.mark.parametrize(
    "text",
    ["2021-02-29", "2021-366", "2021-13", "21-01-01", "2021/13", "2021-01-05/2021-01-04", "2021-01-05/", "/2021", "2021-01-01T24:00",
     "2021-01-01T10:60", "2021-01T10:00", "2021-01-01T10:00+15:00", "0000", "２０２１", "2021-01-01 10:00", "2021-01-01T10:00/02"],
)  # fmt: skip
def test_no_date(text):
    assert quality_dates.read_span(text) is None


# How people write dates: by hand. What can be read in two ways is never read.
WRITTEN = {
    "8 May 1980": "1980-05-08", "May 8, 1980": "1980-05-08", "1980 May 8": "1980-05-08", "8.5.1980": None, "13.5.1980": "1980-05-13",
    "5.5.1980": "1980-05-05", "viii 1980": "1980-08", "1980-05-08": "1980-05-08", "9-10.iii.2000": "2000-03-09/2000-03-10",
    "3 April - 5 May 2001": "2001-04-03/2001-05-05", "10.iii-9.ii.2000": None, "31 June 2001": None, "spring 1999": None, "1501": None,
    "May": None, "12 May 80": None, "1970s": "1970-01-01/1979-12-31", "23rd Oct 2021": "2021-10-23", "2021-05-08 or 09": None,
}  # fmt: skip


@pytest.mark.parametrize("text", WRITTEN)
def test_dates_as_people_write_them(text):
    assert quality_dates.written_date(text) == WRITTEN[text]


@given(st.dates(date(1582, 11, 15), date(2200, 1, 1)))
def test_a_day_is_read_back_whole(day):
    span = quality_dates.read_span(day.isoformat())
    assert span is not None and span.start.date() == day == span.last_day and span.seconds == 86400
    parts = (str(day.year), str(day.month), str(day.day))
    made = time_amendments.amendment_eventdate_from_yearmonthday("", *parts)
    assert json.loads(made.result) == {"dwc:eventDate": day.isoformat()}
    assert quality_time.validation_event_consistent(day.isoformat(), *parts, "", "").result == "COMPLIANT"


@given(st.text(max_size=40))
def test_no_text_makes_a_test_stumble(text):
    for test in TESTS:
        said = test.run(*([text] * len(test.terms)))
        assert said.status in (RAN, INTERNAL, "AMENDED", "FILLED_IN", "NOT_AMENDED")
        if said.status in ("AMENDED", "FILLED_IN"):
            assert json.loads(said.result)


STANDARDIZED = [test for test in TESTS if test.label.endswith("_STANDARDIZED") and len(test.terms) == 1]


@given(st.sampled_from(STANDARDIZED), st.text(max_size=12) | st.sampled_from(["f", "ssp.", "CC0", "evnt", "WGS84", "Mar.", "3rd", "Peru"]))
def test_what_is_proposed_passes_its_validation(test, text):
    said = test.run(text)
    if said.status == "AMENDED":
        (value,) = json.loads(said.result).values()
        judge = BY_LABEL[test.label.replace("AMENDMENT", "VALIDATION").replace("STANDARDIZED", "STANDARD")]
        assert judge.run(value).result == "COMPLIANT" and test.run(value).status == "NOT_AMENDED"


def test_today_is_the_latest_day():
    today = date(2024, 2, 29)
    assert quality_time.validation_eventdate_inrange("2024-12-31", today).result == "COMPLIANT"
    assert quality_time.validation_eventdate_inrange("2025-01-01", today).result == "NOT_COMPLIANT"
    assert quality_time.validation_dateidentified_inrange("2024-02-29", "2024-02", today).result == "COMPLIANT"
    assert quality_time.validation_dateidentified_inrange("2024-03-01", "", today).result == "NOT_COMPLIANT"
    assert quality_time.validation_year_inrange("2025", today).result == "NOT_COMPLIANT"


def test_a_list_that_is_not_here_is_said():
    assert quality_other.validation_sex_standard("Male", "https://invalid/invalidservice").status == EXTERNAL
    assert quality_other.amendment_license_standardized("CC0", "no such list").status == EXTERNAL


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


@pytest.mark.parametrize("kind", ["by", "by-sa", "by-nc", "by-nc-sa", "by-nd", "by-nc-nd"])  # the six licences of Creative Commons
def test_each_licence_passes_at_its_address(kind):
    for address in (f"https://creativecommons.org/licenses/{kind}/4.0/", f"http://creativecommons.org/licenses/{kind}/4.0/legalcode"):
        assert quality_other.validation_license_standard(address).result == "COMPLIANT"
    assert quality_other.validation_license_standard(f"https://creativecommons.org/licenses/{kind}/3.0/").result == "NOT_COMPLIANT"


@pytest.mark.parametrize(
    ("parts", "result"),
    [
        (("Aus bus cus", "Aus", "bus", "cus"), "COMPLIANT"),
        (("Aus (Dus) bus", "Aus", "bus", ""), "COMPLIANT"),
        (("Aus cf. bus", "Aus", "bus", ""), "COMPLIANT"),
        (("Aus bus", "", "", "bus"), "NOT_COMPLIANT"),  # the epithet of the species is none below it
        (("Aus bus", "aus", "bus", ""), "NOT_COMPLIANT"),
    ],
)
def test_parts_of_a_name_stand_in_their_places(parts, result):
    assert quality_name.validation_polynomial_consistent(*parts).result == result


def test_no_list_has_two_meanings_for_one_writing():
    text = (Path(__file__).parents[2] / "data/reference/quality_vocabularies.csv").read_text(encoding="utf-8")
    rows = pd.DataFrame(csv.DictReader(text.splitlines())).assign(short=lambda frame: frame["written"].map(quality_other.fold))
    assert rows.groupby(["vocabulary", "short"])["term"].nunique().max() == 1
    assert (rows["source"] != "").all() and len(folded("countryCode")) > 2 * 249


# Conversions are exact by definition: a foot is 0.3048 m, a fathom six feet.
@pytest.mark.parametrize(
    ("text", "span"),
    [
        ("2 km", ("2000", "2000")), ("-5 to 3 m", ("-5", "3")), ("1 fathom", ("1.8288", "1.8288")), ("10 m - 50 ft", ("10", "15.24")),
        ("300-200 m", None), ("about 10 m", None), ("10 m?", None), ("10", None), ("10 miles", None),
    ],
)  # fmt: skip
def test_heights_as_written(text, span):
    read = heights.read_span(text)
    assert (read[:2] if read else None) == span


def test_the_document_tells_what_is_answered(root):
    text = (root / "docs/quality.md").read_text(encoding="utf-8")
    assert text.partition("<!-- tests -->\n\n")[2] == documentation(), "write documentation() after the marker in docs/quality.md"


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
    rows, names = assessing.file_rows([demo / f"{name}.csv" for name in ("sites", "visits", "finds")], assessing.read_settings(demo_book))
    finds, visits = (pd.read_csv(demo / f"{name}.csv", dtype=str) for name in ("finds", "visits"))
    assert len(rows) == len(finds) and names.iloc[0] == "2"
    assert rows["eventDate"].iloc[0] == visits.set_index("visit_id")["visit_date"][finds["visit_id"].iloc[0]]
    # a find's own place stands before its site's
    own = finds["latitude"].notna()
    assert own.sum() > 0 and (rows.loc[own.to_numpy(), "decimalLatitude"].to_numpy() == finds.loc[own, "latitude"].to_numpy()).all()
    assert rows["decimalLatitude"].ne("").mean() > 0.99 and not {"taxon", "visit_id", "site_id"} & set(rows)


META = """<?xml version="1.0" encoding="UTF-8"?>
<archive xmlns="http://rs.tdwg.org/dwc/text/">
 <core encoding="UTF-8" fieldsTerminatedBy="\\t" linesTerminatedBy="\\n" fieldsEnclosedBy="" ignoreHeaderLines="1" rowType="http://rs.tdwg.org/dwc/terms/Event">
  <files><location>event.txt</location></files><id index="0"/>
  <field index="1" term="http://rs.tdwg.org/dwc/terms/eventDate"/><field default="EPSG:4326" term="http://rs.tdwg.org/dwc/terms/geodeticDatum"/>
 </core>
 <extension encoding="UTF-8" fieldsTerminatedBy="," linesTerminatedBy="\\n" fieldsEnclosedBy='"' ignoreHeaderLines="0" rowType="http://rs.tdwg.org/dwc/terms/Occurrence">
  <files><location>occurrence.csv</location></files><coreid index="0"/>
  <field index="1" term="http://rs.tdwg.org/dwc/terms/occurrenceID"/><field index="2" term="http://rs.tdwg.org/dwc/terms/eventDate"/>
 </extension>
 <extension rowType="http://rs.tdwg.org/eco/terms/Event"><files><location>lost.csv</location></files><coreid index="0"/></extension>
</archive>"""


def archive(folder: Path, meta: str = META) -> Path:
    path = folder / "theirs.zip"
    with zipfile.ZipFile(path, "w") as file:
        file.writestr("meta.xml", meta)
        file.writestr("event.txt", "id\teventDate\ne1\t2021-05-08\ne2\t2021-05-09\n")
        file.writestr("occurrence.csv", 'e1,"o,1",\ne2,o2,2021-05-10\ne9,o3,\n')
    return path


def test_an_archive_of_events_is_read_by_occurrence(tmp_path):
    path = archive(tmp_path)
    assert archive_file.is_archive(path)
    rows = archive_file.read_archive(path)
    assert rows.to_dict("list") == {
        "occurrenceID": ["o,1", "o2", "o3"],
        "eventDate": ["2021-05-08", "2021-05-10", ""],
        "geodeticDatum": ["EPSG:4326", "EPSG:4326", ""],
    }


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("event.txt", "gone.txt", "cannot be read"),
        ("</archive>", "", "cannot be read"),
        ("<archive", "<!DOCTYPE a [<!ENTITY b 'c'>]><archive", "document type"),
        ("<core", "<extra", "cannot be read"),
        ('index="1"', 'index="one"', "cannot be read"),
        ('encoding="UTF-8" fields', 'encoding="no such" fields', "cannot be read"),
    ],
)
def test_a_damaged_archive_is_an_error(tmp_path, old, new, message):
    with pytest.raises(RillbookError, match=message):
        archive_file.read_archive(archive(tmp_path, META.replace(old, new)))


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
