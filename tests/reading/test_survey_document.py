"""The survey document: the same rows as from sheets, repairs written down, damage named, and nothing lost whatever the file holds."""

from __future__ import annotations

import json
import sys
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from examples import examples
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from survey_rows import CASES, REPAIR, SURVEY, corrections, rows, survey

from pipeline import cli
from pipeline.book.connection import open_book
from pipeline.commands import run
from pipeline.errors import RillbookError
from pipeline.loggers import exports as logger_files
from pipeline.reading import files as read
from pipeline.reading.survey_document import LISTS, LONGEST_TEXT, corrections_of, is_corrections, read_document, tables_of
from schemas.tables import LOADED, fields

TODAY = date(2026, 1, 1)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    run.init(tmp_path / "b", (CASES / "base" / "rillbook.toml").read_text())
    return tmp_path / "b"


def saved(folder: Path, document: Any, name: str = "visit.json") -> Path:
    path = folder.parent / name
    path.write_text(document if isinstance(document, str) else json.dumps(document), encoding="utf-8")
    return path


def load(folder: Path, path: Path, **words: Any) -> run.Report:
    report = run.load_files(folder, [path], today=TODAY, **words)
    assert isinstance(report, run.Report)
    return report


def test_a_document_gives_the_same_rows_as_the_sheets(folder: Path, tmp_path: Path) -> None:
    """The oracle is the path of the sheets, which has tests of its own."""
    report = load(folder, saved(folder, survey()))
    assert report.exit_code == 0 and report.account is not None and report.account.cells["unmapped"] == 0
    run.init(tmp_path / "other", (CASES / "base" / "rillbook.toml").read_text())
    run.load_files(tmp_path / "other", [CASES / "base" / f"{table}.csv" for table in LISTS], today=TODAY)
    mine, theirs = rows(folder), rows(tmp_path / "other")
    assert [len(mine[table]) for table in LISTS] == [1, 2, 2, 1]
    for table in LOADED:
        pd.testing.assert_frame_equal(mine[table], theirs[table])


def test_every_field_comes_through_as_it_was_typed() -> None:
    document = survey(finds=[{name: f" {name} text " for name in fields("finds")}])
    (finds,) = [one for one in read_document(json.dumps(document), "v.json", "", "v.json") if one.sheet == "finds"]
    assert finds.cells.iloc[0].to_dict() == document["finds"][0]


def test_the_same_document_again_changes_nothing_and_one_that_differs_asks(folder: Path) -> None:
    path = saved(folder, survey(corrections=[REPAIR]))
    assert load(folder, path).load_id == 1
    again = load(folder, path)
    assert again.load_id is None and "loaded before, as load 1" in again.notes[-1]
    assert len(corrections(folder)) == 1
    document = survey()
    document["finds"][0]["water_temp_c"] = "12.9"
    with pytest.raises(run.WouldReplaceError):
        load(folder, saved(folder, document))
    assert load(folder, saved(folder, document), replace=True).load_id == 2


def test_repairs_made_at_the_form_are_written_down_with_the_load_and_go_with_it(folder: Path) -> None:
    path = saved(folder, survey(corrections=[REPAIR, {}]))
    checked = run.check_files(folder, [path], today=TODAY)
    assert "Repairs made while typing: 1." in checked.notes[0] and corrections(folder) == []
    load(folder, path)
    assert corrections(folder) == [(1, "form-1", "finds", "F1", "water_temp_c", "54.7", "12.6", "degrees Fahrenheit", "")]
    run.undo(folder, 1)
    with open_book(folder) as connection:
        assert connection.execute("SELECT count(*) FROM settled").fetchall() == [(0,)]
    assert load(folder, path).load_id == 2


def test_a_repair_at_the_form_settles_nothing_that_is_held(folder: Path) -> None:
    document = survey(corrections=[REPAIR])
    document["finds"][1]["water_temp_c"] = "55"
    assert load(folder, saved(folder, document)).exit_code == 1
    items = run.held_items(folder)
    assert items[["table", "row", "field", "text"]].to_numpy().tolist() == [["finds", "F2", "water_temp_c", "55"]]
    assert (items["file"].iloc[0], items["sheet"].iloc[0], items["line"].iloc[0]) == ("visit.json", "finds", 2)


def test_what_is_left_out_of_every_row_holds_rows_and_stops_nothing(folder: Path) -> None:
    document = survey(finds=[{"find_id": "F1", "visit_id": "V1", "taxon": "GPOR", "life_stage": "adult", "count": "1"}], availability=[])
    report = load(folder, saved(folder, document))
    assert report.held[["table", "field", "rule"]].to_numpy().tolist() == [["finds", "microhabitat", "required_missing"]]
    assert len(rows(folder)["visits"]) == 2


def test_blank_rows_do_not_shift_the_others(folder: Path) -> None:
    document = survey()
    document["finds"] = [{}, {"find_id": " "}, *document["finds"]]
    document["finds"][3]["water_temp_c"] = "warm"
    report = load(folder, saved(folder, document))
    assert report.held[["sheet", "line", "text"]].to_numpy().tolist() == [["finds", 4, "warm"]]


def test_an_unknown_field_is_noted_and_its_text_is_kept(folder: Path) -> None:
    document = survey()
    document["finds"][0]["colour"] = "olive"
    report = load(folder, saved(folder, document))
    assert any("sheet finds: not used: colour" in note for note in report.notes)
    with open_book(folder) as connection:
        texts = connection.execute("SELECT cells FROM source_rows").fetchall()
    assert any("olive" in text for (text,) in texts)


def test_one_id_on_two_rows_is_merged_where_equal_and_held_where_not(folder: Path) -> None:
    document = survey()
    document["finds"] += [dict(document["finds"][0]), dict(document["finds"][1], svl_mm="41")]
    report = load(folder, saved(folder, document))
    assert report.held[["rule", "row_key", "line"]].to_numpy().tolist() == [["described_twice", "F2", 4]]
    assert rows(folder)["finds"]["svl_mm"].tolist() == [80, 40]


def test_numbers_and_yes_without_quote_marks_are_read_as_they_are_written(folder: Path) -> None:
    text = json.dumps(survey()).replace('"water_temp_c": "12.6"', '"water_temp_c": 12.60, "tail_whole": true, "sex": null')
    load(folder, saved(folder, text))
    found = rows(folder)["finds"].set_index("find_id").loc["F1"]
    assert (found["water_temp_c"], found["tail_whole"], pd.isna(found["sex"])) == (12.6, True, True)
    with open_book(folder) as connection:
        assert any('"12.60"' in cells for (cells,) in connection.execute("SELECT cells FROM source_rows").fetchall())


WHOLE = json.dumps(SURVEY)
BROKEN: list[tuple[str, str]] = [
    ('{"format": "something"}', 'does not say "format": "rillbook survey"'),
    ("[]", "this is no survey document"),
    ('"text"', "this is no survey document"),
    ("12", "this is no survey document"),
    (WHOLE[:-30], "line 1: the file ends in the middle. Open it in the form and save it again"),
    (WHOLE[: WHOLE.index("rock_in_flow") + 4], "the file ends in the middle"),
    (WHOLE.replace('"version"', "version"), "line 1: the file is not valid JSON"),
    (WHOLE.replace('"version": 1', '"version": 2'), "of version \"2\"; this rillbook reads version 1"),
    (WHOLE.replace('"version": 1, ', ""), "of version null"),
    (
        WHOLE.replace('"finds"', '"fishes"'),
        "unknown word 'fishes'. Known here: sites, visits, finds, availability, enclosures, loggers, water_tests, husbandry_events,"
        " corrections",
    ),
    (json.dumps(survey(finds={"F1": "adult"})), "finds must be a list"),
    (WHOLE.replace('"finds": [', '"finds": ["F0", '), r"finds, row 1: a row must name its fields; this is \"F0\""),
    (WHOLE.replace('"svl_mm": "80"', '"svl_mm": ["80", "81"]'), r"finds, row 1, svl_mm: a text must stand here, not \[\"80\", \"81\"\]"),
    (WHOLE.replace('"svl_mm": "80"', '"svl_mm": {"mm": "80"}'), "finds, row 1, svl_mm: a text must stand here"),
    (WHOLE.replace('"svl_mm": "80"', '"svl_mm": "80", "svl_mm": "81"'), "'svl_mm' stands twice in what begins"),
    (WHOLE.replace('"svl_mm": "80"', '"point_id": "80"'), "finds has no field 'point_id'"),
    (WHOLE.replace('"svl_mm": "80"', '" ": "80"'), "finds has no field ' '"),
    (WHOLE.replace('"svl_mm": "80"', '"SVL mm": "80", "svl_mm": "81"'), "name one field"),
    (WHOLE.replace('"80"', r'"\ud800"'), "svl_mm: the text holds a sign that no keyboard writes"),
    (WHOLE.replace('"80"', r'"\u0000"'), "svl_mm: the text holds a sign that no keyboard writes"),
    (WHOLE.replace('"80"', f'"{"8" * (LONGEST_TEXT + 1)}"'), f"longer than {LONGEST_TEXT} signs"),
    (json.dumps({"format": "rillbook survey", "version": 1, "finds": [{}, {"find_id": ""}]}), "the document holds no rows"),
    ('{"format": ' + "[" * 100_000, "nested too deeply"),
    (WHOLE.replace('"80"', '{"a":' * 400 + "1" + "}" * 400), "svl_mm: a text must stand here"),
    (json.dumps(survey(corrections=[REPAIR | {"field": "colour"}])), "corrections, row 1: finds.colour is no field"),
    (json.dumps(survey(corrections=[REPAIR | {"table": "taxa"}])), r"corrections, row 1: taxa\.water_temp_c is no field"),
    (json.dumps(survey(corrections=[REPAIR | {"by": "AB"}])), "corrections, row 1: unknown word 'by'"),
    ('{"not": "json"', "the file ends in the middle"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "message"), BROKEN)
def test_a_broken_document_is_one_clear_line_and_changes_nothing(
    folder: Path, text: str, message: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    path = saved(folder, text)
    with pytest.raises(RillbookError, match=message):
        run.check_files(folder, [path], today=TODAY)
    for command in ("check", "load"):
        monkeypatch.setattr(sys, "argv", ["rillbook", command, str(path), "--book", str(folder)])
        with pytest.raises(SystemExit) as stopped:
            cli.main()
        out, err = capsys.readouterr()
        assert stopped.value.code == 2 and out == "" and err.count("\n") == 1 and "stumbled" not in err and path.name in err, err
    assert run.status(folder)["loads"] == [] and path.read_text(encoding="utf-8") == text


def test_a_document_is_known_by_its_first_sign_too_and_never_taken_for_a_logger(folder: Path) -> None:
    for name in ("visit.json", "visit.JSON", "visit (1).json.txt"):
        for text in (json.dumps(survey()), json.dumps(survey(), indent=1), "\ufeff" + json.dumps(survey(), indent=4)):
            path = saved(folder, text, name)
            assert not logger_files.is_export(path)
            assert [one.sheet for one in read.read_files([path])] == list(LISTS)


def test_a_document_and_a_sheet_load_together(folder: Path) -> None:
    document = saved(folder, survey(sites=[]))
    report = run.load_files(folder, [document, CASES / "base" / "sites.csv"], today=TODAY)
    assert report.exit_code == 0 and len(rows(folder)["finds"]) == 2


texts = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\x00"), max_size=12)
values = st.one_of(texts, st.none(), st.booleans(), st.integers(), st.floats(), st.lists(texts, max_size=2))
names = st.one_of(st.sampled_from([name for table in LISTS for name in fields(table)]), texts)
documents = st.fixed_dictionaries(
    {"format": st.just("rillbook survey"), "version": st.just(1)},
    optional={table: st.lists(st.dictionaries(names, values, max_size=5), max_size=4) for table in LISTS}
    | {"corrections": st.lists(st.dictionaries(names, values, max_size=2), max_size=2)},
)


@settings(max_examples=examples(300, 100), suppress_health_check=[HealthCheck.too_slow])
@given(documents)
def test_any_document_is_refused_in_words_or_every_text_of_it_is_there(document: dict[str, Any]) -> None:
    try:
        tables = read_document(json.dumps(document), "v.json", "", "v.json")
    except RillbookError as problem:
        assert problem.what and problem.remedy
        return
    for one in tables:
        for place, row in enumerate(document[one.sheet], 1):
            written = {name: str(text).lower() for name, text in row.items() if text is not None and str(text).strip()}
            if not written:
                assert place not in one.lines
                continue
            (at,) = [index for index, line in enumerate(one.lines) if line == place]
            cells = {name: text for name, text in one.cells.iloc[at].items() if text.strip()}
            assert set(cells) == set(written)
            for name, value in row.items():
                if isinstance(value, str) and value.strip():
                    assert cells[name] == value
    kept = {one.sheet for one in tables}
    assert kept == {
        name
        for name in (*LISTS, "corrections")
        if any(str(text).strip() for row in document.get(name, []) for text in row.values() if text is not None)
    }


def test_repairs_keep_their_texts() -> None:
    source = tables_of(survey(version="1", corrections=[REPAIR]), "v.json", "", "v.json")[-1]
    assert is_corrections(source)
    (row,) = corrections_of(source).to_dict("records")
    assert row == {
        "item": "form-1", "table": "finds", "row": "F1", "field": "water_temp_c", "text": "54.7", "corrected": "12.6",
        "dismiss_reason": "degrees Fahrenheit", "by": "",
    }  # fmt: skip
