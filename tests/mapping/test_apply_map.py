"""Sheets as people send them: headings that stand twice, other sheets in the workbook, sums among the rows."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
import xlsxwriter

from pipeline.book.connection import open_book
from pipeline.book.current import current_rows
from pipeline.commands import run
from pipeline.errors import RillbookError

CASES = Path(__file__).parents[1] / "cases"
TODAY = date(2026, 1, 1)
MAP = """[[source]]
file = "*"
unused = ["Note", "Depth"]
[source.sites]
site_id = "Site"
habitat = { constant = "stream" }
[source.visits]
site_id = { same_as = "sites.site_id" }
visit_id = { fields = ["site_id", "visit_date"] }
visit_date = "Date"
protocol = { constant = "visual_encounter" }
search_minutes = "Minutes"
"""
WIDE = (
    MAP.replace('unused = ["Note", "Depth"]\n', "")
    + """[source.finds]
visit_id = { same_as = "visits.visit_id" }
find_id = { fields = ["visit_id", "taxon", "life_stage"], number = true }
microhabitat = { constant = "stream_unspecified" }
[source.wide]
columns."springs" = { taxon = "GPOR", life_stage = "adult" }
columns."others" = { taxon = "ETEN", life_stage = "adult" }
"""
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    run.init(tmp_path / "b", (CASES / "base" / "rillbook.toml").read_text())
    return tmp_path / "b"


def load(folder: Path, column_map: str, path: Path) -> run.Report:
    (folder.parent / "map.toml").write_text(column_map, encoding="utf-8")
    report = run.load_files(folder, [path], folder.parent / "map.toml", today=TODAY)
    assert isinstance(report, run.Report) and report.account is not None
    assert sum(report.account.cells.values()) % max(1, sum(report.account.rows.values())) == 0
    return report


def csv(folder: Path, text: str) -> Path:
    path = folder.parent / "sheet.csv"
    path.write_text(text, encoding="utf-8")
    return path


def workbook(folder: Path, **sheets: list[list[object]]) -> Path:
    path = folder.parent / "sheet.xlsx"
    with xlsxwriter.Workbook(path) as made:
        for name, rows in sheets.items():
            sheet = made.add_worksheet(name)
            for number, row in enumerate(rows):
                sheet.write_row(number, 0, row)
    return path


GOOD: list[list[object]] = [["Site", "Date", "Minutes", "Note", "Depth"], ["A", "2023-06-10", 30, "", ""]]


def test_a_repeated_heading_on_another_sheet_stops_nothing(folder: Path) -> None:
    path = workbook(folder, Visits=GOOD, Sums=[["June", "June", "July"], [1, 2, 3]])
    report = load(folder, MAP.replace('file = "*"', 'file = "*"\nsheet = "Visits"'), path)
    assert run.status(folder)["tables"]["visits"] == 1
    assert any("Sums" in note and "not read" in note for note in report.notes)


def test_a_repeated_heading_among_the_unused_stops_nothing(folder: Path) -> None:
    load(folder, MAP, csv(folder, "Site,Date,Minutes,Depth,Depth,Note,Note\nA,2023-06-10,30,1,2,x,y\n"))
    assert run.status(folder)["tables"]["visits"] == 1


def test_a_repeated_heading_that_is_needed_is_named_by_its_position(folder: Path) -> None:
    path = csv(folder, "Site,Date,Minutes,T,T\nA,2023-06-10,30,12.5,19\n")
    with pytest.raises(RillbookError, match=r"more than one column 'T'\. Say which: 'T \(column 4\)' or 'T \(column 5\)'"):
        load(folder, MAP + 'water_temp_c = "T"\n', path)
    load(folder, MAP.replace('"Depth"', '"T"') + 'water_temp_c = "T (column 4)"\n', path)
    with open_book(folder) as connection:
        assert list(current_rows(connection, "visits")["water_temp_c"]) == [12.5]


def test_a_repeated_heading_of_an_own_sheet_is_refused_with_its_line(folder: Path) -> None:
    with pytest.raises(RillbookError, match=r"sheet\.csv, line 1: two columns are named 'habitat'"):
        run.load_files(folder, [csv(folder, "site_id,habitat,habitat\nA,stream,stream\n")], today=TODAY)


def test_a_sheet_asked_of_a_text_file_is_told_as_that(folder: Path) -> None:
    with pytest.raises(RillbookError, match=r"asks for the sheet 'Visits' of this file, and a text file has no sheets"):
        load(folder, MAP.replace('file = "*"', 'file = "*"\nsheet = "Visits"'), csv(folder, "Site,Date,Minutes\nA,2023-06-10,30\n"))
    with pytest.raises(RillbookError, match=r"this workbook has no sheet 'Visit'\. It has 'Visits'"):
        load(folder, MAP.replace('file = "*"', 'file = "*"\nsheet = "Visit"'), workbook(folder, Visits=GOOD))


def test_a_heading_listed_with_a_trailing_space_is_that_heading(folder: Path) -> None:
    load(
        folder,
        MAP.replace('"Note"', '"Note "').replace('"Minutes"', '"Minutes "'),
        csv(folder, "Site,Date,Minutes,Note \nA,2023-06-10,30,x\n"),
    )
    assert run.status(folder)["tables"]["visits"] == 1


def test_a_column_that_is_not_there_names_the_nearest_heading(folder: Path) -> None:
    with pytest.raises(RillbookError, match=r"has no column 'Minutes'\. The nearest heading is 'Minute'"):
        load(folder, MAP, csv(folder, "Site,Date,Minute\nA,2023-06-10,30\n"))


def test_rows_that_the_map_leaves_out_are_counted(folder: Path) -> None:
    text = "Site,Date,Minutes,springs,others\nA,2023-06-10,30,2,0\nTotal,,30,2,0\nmean,,,1,0\n"
    report = load(folder, WIDE.replace("[source.sites]", '[source.skip]\nSite = ["Total", "mean"]\n[source.sites]'), csv(folder, text))
    assert report.held.empty and report.account is not None
    assert report.account.rows["skipped"] == 2 and report.account.cells["skipped"] == 10
    empty = dict.fromkeys(("availability", "enclosures", "loggers", "water_tests", "husbandry_events"), 0)
    assert run.status(folder)["tables"] == {"sites": 1, "visits": 1, "finds": 1, **empty}


def test_a_total_that_is_no_number_is_flagged_and_states_no_absence(folder: Path) -> None:
    """Nobody knows what it adds up to; an empty one says nothing."""
    said = 'target_taxa = { constant = "GPOR|ETEN" }\nall_counted = { constant = "yes" }\n[source.finds]'
    text = "Site,Date,Minutes,springs,others,sum\nA,2023-06-10,30,3,0,many\nB,2023-06-10,30,3,0,\n"
    report = load(folder, WIDE.replace("[source.finds]", said) + '[source.total]\ncolumn = "sum"\n', csv(folder, text))
    assert report.flags.loc[report.flags["rule"] == "total_differs", "message"].tolist() == [
        "the counts of the row add up to 3, its total says many."
    ]
    with open_book(folder) as connection:
        assert connection.execute("SELECT visit_id, taxon FROM absences").fetchall() == [("B_2023-06-10", "ETEN")]


def test_a_total_that_disagrees_is_flagged_and_states_no_absence(folder: Path) -> None:
    """A total of 5 over counts of 3 and 0: two animals that nobody named may be of either taxon."""
    text = "Site,Date,Minutes,springs,others,sum\nA,2023-06-10,30,3,0,5\nB,2023-06-10,30,3,0,3\nC,2023-06-10,30,3,0,\n"
    said = 'target_taxa = { constant = "GPOR|ETEN" }\nall_counted = { constant = "yes" }\n[source.finds]'
    report = load(folder, WIDE.replace("[source.finds]", said) + '[source.total]\ncolumn = "sum"\n', csv(folder, text))
    flags = report.flags[report.flags["rule"] == "total_differs"]
    assert list(flags["row_key"]) == ["A_2023-06-10"] and list(flags["line"]) == [2]
    assert "add up to 3, its total says 5" in flags["message"].item()
    with open_book(folder) as connection:
        stated = connection.execute("SELECT visit_id FROM absences ORDER BY ALL").fetchall()
    assert stated == [("B_2023-06-10",), ("C_2023-06-10",)]


def test_inner_runs_of_spaces_in_keys_are_one(folder: Path) -> None:
    text = "Site,Date,Minutes\nMill  2,2023-06-10,30\nMill\u00a02,2023-06-11,30\nMill 2,2023-06-12,30\n"
    report = load(folder, MAP, csv(folder, text))
    with open_book(folder) as connection:
        assert list(current_rows(connection, "sites")["site_id"]) == ["Mill 2"]
        assert set(current_rows(connection, "visits")["site_id"]) == {"Mill 2"}
    assert "a run of spaces as one" in set(report.converted["how"])


def test_a_clock_without_am_or_pm_is_told_as_that(folder: Path) -> None:
    """13:15 can be read; what is missing is a word of the map, and the message says so."""
    text = "Site,Date,Minutes,Begin\nA,2023-06-10,30,13:15\nB,2023-06-10,30,1:15 pm\n"
    begin = 'visit_date = "Date"\nstart_time = { column = "Begin", clock = "ampm" }'
    report = load(folder, MAP.replace('visit_date = "Date"', begin), csv(folder, text))
    (held,) = report.held.to_dict("records")
    assert (held["field"], held["rule"], held["text"]) == ("start_time", "clock_half_missing", "13:15")
    assert "13:15" in held["message"] and "am or pm" in held["message"] and "clock" in held["remedy"]
    with open_book(folder) as connection:
        assert current_rows(connection, "visits")["start_time"].fillna("").tolist() == ["", "13:15"]
