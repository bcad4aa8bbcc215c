"""Logger files in the book: stored once, accounted for by row, linked to their loggers, taken back whole."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import logger_exports
import pandas as pd
import pytest
from typer.testing import CliRunner

from pipeline.book.connection import FILE_NAME, open_book
from pipeline.cli import app
from pipeline.commands import run
from pipeline.errors import RillbookError
from pipeline.intake import load_loggers as loggers
from pipeline.intake.logger_report import LoggerReport
from pipeline.loggers import staging as logger_store

TODAY = date(2024, 1, 1)
MAPS = Path(__file__).resolve().parents[2] / "data" / "column_maps"
SETTINGS = """[book]
title = "a test"
time_zone = "America/New_York"

[[taxon]]
code = "AAA"
scientific_name = "Aus bus"
group = "cool_stream"
"""


def write(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A book with a site, an enclosure and three loggers."""
    run.init(tmp_path / "book", SETTINGS)
    sheets = [
        write(tmp_path, "sites.csv", "site_id,habitat\nS1,stream\n"),
        write(tmp_path, "enclosures.csv", "enclosure_id,taxon,life_stage,volume_l\nE1,aaa,larva,40\n"),
        write(tmp_path, "loggers.csv", "logger_id,site_id,enclosure_id,medium\npool,S1,,water\nbank,S1,,air\ntank,,E1,water\n"),
    ]
    assert run.load_files(tmp_path / "book", sheets).exit_code == 0
    return tmp_path / "book"


def hourly(temps: list[float], start: str = "2023-07-01 05:00", header: str = '"Date Time, GMT+00:00","Temp, °C"') -> str:
    times = pd.date_range(start, periods=len(temps), freq="h")
    return "\n".join([header, *(f"{at:%Y-%m-%d %H:%M},{temp:.2f}" for at, temp in zip(times, temps, strict=True))]) + "\n"


def load(folder: Path, *paths: Path, words: str = "", **more: Any) -> LoggerReport:
    map_path = write(folder, "map.toml", f"[logger]\n{words}\n") if words else None
    report = run.load_files(folder, list(paths), map_path, today=TODAY, **more)
    assert isinstance(report, LoggerReport)
    return report


def stored(folder: Path, query: str = "SELECT * EXCLUDE (load_id) FROM logger_readings ORDER BY ALL") -> list[tuple[Any, ...]]:
    with open_book(folder) as connection:
        return connection.execute(query).fetchall()


def test_loggers_and_enclosures_come_through_the_path_of_sheets(folder: Path) -> None:
    assert stored(folder, "SELECT logger_id, site_id, enclosure_id, medium FROM loggers ORDER BY ALL") == [
        ("bank", "S1", None, "air"), ("pool", "S1", None, "water"), ("tank", None, "E1", "water"),
    ]  # fmt: skip
    assert stored(folder, "SELECT taxon FROM enclosures") == [("AAA",)]


def test_a_logger_of_an_unknown_site_or_enclosure_is_held(folder: Path, tmp_path: Path) -> None:
    sheet = write(tmp_path, "more.csv", "logger_id,site_id,enclosure_id,medium\nx,S9,,water\ny,,E9,water\nz,S1,E1,air\n")
    report = run.load_files(folder, [sheet])
    assert report.held[["row_key", "parent_key", "rule"]].values.tolist() == [["x", "S9", "parent_unknown"], ["y", "E9", "parent_unknown"]]


def test_an_export_is_recognised_stored_and_accounted_for(folder: Path, tmp_path: Path) -> None:
    report = load(folder, write(tmp_path, "pool.csv", logger_exports.TWO_LINES_24H))
    assert report.load_id == 2 and report.exit_code == 0
    assert report.rows == {"stored": 3, "heading": 2, "event": 1}
    assert [(row[0], str(row[1]), row[2]) for row in stored(folder)] == [
        ("pool", "2017-12-17 01:00:00", 20.5), ("pool", "2017-12-17 03:00:00", 19.0), ("pool", "2017-12-17 05:00:00", 18.5),
    ]  # fmt: skip
    fates = stored(folder, "SELECT fate, count(*) FROM source_rows WHERE load_id = 2 GROUP BY ALL ORDER BY ALL")
    assert fates == [("event", 1), ("heading", 2), ("reading", 3)]
    texts = stored(folder, "SELECT cells FROM source_rows WHERE load_id = 2 ORDER BY source_row")
    assert json.loads(texts[2][0]) == ["1", "12/16/17 20:00", "20.5", "0", ""]


def test_a_check_writes_nothing(folder: Path, tmp_path: Path) -> None:
    path = write(tmp_path, "pool.csv", logger_exports.TWO_LINES_24H)
    before = (folder / FILE_NAME).read_bytes()
    report = run.check_files(folder, [path], today=TODAY)
    assert isinstance(report, LoggerReport) and report.load_id is None and report.rows["stored"] == 3
    assert (folder / FILE_NAME).read_bytes() == before


def test_the_same_export_changes_nothing_and_loads_again_after_undo(folder: Path, tmp_path: Path) -> None:
    path = write(tmp_path, "pool.csv", logger_exports.TWO_LINES_24H)
    load(folder, path)
    again = load(folder, path)
    assert again.load_id is None and "loaded before, as load 2" in again.notes[0]
    run.undo(folder, 2)
    assert stored(folder) == [] and stored(folder, "SELECT * FROM logger_files") == []
    assert load(folder, path).load_id == 3 and len(stored(folder)) == 3


def test_an_export_that_grew_adds_only_what_is_new(folder: Path, tmp_path: Path) -> None:
    load(folder, write(tmp_path, "pool.csv", hourly([10, 11, 12])))
    report = load(folder, write(tmp_path, "pool.csv", hourly([10, 11, 12, 13, 14])))
    assert (report.rows["stored"], report.rows["same"]) == (2, 3) and len(stored(folder)) == 5
    assert report.flags["rule"].tolist() == ["overlap"] and report.flags["n"].tolist() == [3]
    with pytest.raises(RillbookError, match="load 3 rests on load 2"):
        run.undo(folder, 2)
    run.undo(folder, 3)
    run.undo(folder, 2)
    assert stored(folder) == []


def test_a_reading_that_differs_is_held_and_the_first_stays(folder: Path, tmp_path: Path) -> None:
    load(folder, write(tmp_path, "pool.csv", hourly([10, 11, 12])))
    report = load(folder, write(tmp_path, "pool.csv", hourly([10, 11.5, 12, 13])))
    assert report.exit_code == 1 and report.rows["held"] == 1
    (held,) = report.held.to_dict("records")
    assert held["rule"] == "reading_differs" and "first 2023-07-01 06:00:00: 11.5 °C, stored 11 °C" in held["message"]
    assert [row[2] for row in stored(folder)] == [10, 11, 12, 13]
    assert stored(folder, "SELECT rule, n FROM logger_held") == [("reading_differs", 1)]


def test_a_load_that_corrects_another_takes_its_place(folder: Path, tmp_path: Path) -> None:
    load(folder, write(tmp_path, "pool.csv", hourly([10, 11, 12])))
    report = load(folder, write(tmp_path, "pool.csv", hourly([10, 11.5, 12])), corrects=2)
    assert report.exit_code == 0 and [row[2] for row in stored(folder)] == [10, 11.5, 12]


def test_two_exports_of_one_time_in_one_load(folder: Path, tmp_path: Path) -> None:
    one, other = write(tmp_path, "a.csv", hourly([10, 11, 12])), write(tmp_path, "b.csv", hourly([10, 11.4, 12]))
    report = load(folder, one, other, words='name = "pool"')
    assert [file.rows["stored"] for file in report.files] == [3, 0] and report.files[1].rows["same"] == 2
    assert report.held["file"].tolist() == ["b.csv"] and len(stored(folder)) == 3


def test_the_same_export_read_an_hour_off_is_told_as_an_overlap(folder: Path, tmp_path: Path) -> None:
    text = hourly([10, 11, 12], header="Date Time,Temp °C")
    load(folder, write(tmp_path, "pool.csv", text), words='name = "pool"\nutc_offset = "-05:00"')
    report = load(folder, write(tmp_path, "pool.csv", text + " \n"), words='name = "pool"\nutc_offset = "-04:30"')
    assert report.flags["rule"].tolist() == ["overlap"]


def test_readings_rest_on_their_logger(folder: Path, tmp_path: Path) -> None:
    load(folder, write(tmp_path, "pool.csv", hourly([10, 11])))
    with pytest.raises(RillbookError, match="load 2 rests on load 1"):
        run.undo(folder, 1)


def test_an_unknown_logger_changes_nothing(folder: Path, tmp_path: Path) -> None:
    good, bad = write(tmp_path, "pool.csv", hourly([10, 11])), write(tmp_path, "well.csv", hourly([10, 11]))
    with pytest.raises(RillbookError, match=r"which logger is this\? The file calls itself well\..*The book has bank, pool, tank"):
        load(folder, good, bad)
    assert stored(folder) == [] and stored(folder, "SELECT count(*) FROM loads") == [(1,)]


def test_what_is_held_is_written_down_and_a_map_mends_it(folder: Path, tmp_path: Path) -> None:
    path = write(tmp_path, "pool.csv", hourly([10, -200, -200, 11]))
    report = load(folder, path)
    assert report.exit_code == 1 and report.rows == {"stored": 2, "heading": 1, "held": 2}
    assert report.held[["rule", "field", "text", "n", "line"]].values.tolist() == [["not_possible", "temp_c", "-200.00", 2, 3]]
    run.undo(folder, 2)
    report = load(folder, path, words='name = "pool"\nmissing = ["-200.00"]')
    assert report.exit_code == 0 and report.rows == {"stored": 2, "heading": 1, "blank": 2}


def test_flags_are_stored_with_their_time(folder: Path, tmp_path: Path) -> None:
    load(folder, write(tmp_path, "pool.csv", hourly([10, 11, 26, 27, 12])))
    flags = stored(
        folder, "SELECT logger_id, rule, from_at::VARCHAR, to_at::VARCHAR, n, value FROM logger_flags ORDER BY rule DESC, from_at"
    )
    assert flags == [
        ("pool", "out_of_range", "2023-07-01 07:00:00", "2023-07-01 08:00:00", 2, 27.0),
        ("pool", "jump", "2023-07-01 06:00:00", "2023-07-01 07:00:00", 1, 15.0),
        ("pool", "jump", "2023-07-01 08:00:00", "2023-07-01 09:00:00", 1, -15.0),
    ]


def test_a_water_logger_is_held_beside_the_air_logger_of_its_site(folder: Path, tmp_path: Path) -> None:
    def days(mean: float, swing: float) -> list[float]:
        noon, night = range(8, 13), range(20, 24)
        return [mean + swing / 2 * ((hour % 24 in noon) - (hour % 24 in night)) for hour in range(24 * 6)]

    load(folder, write(tmp_path, "bank.csv", hourly(days(18, 8))))
    wet = load(folder, write(tmp_path, "pool.csv", hourly(days(14, 2))))
    assert "out_of_water" not in set(wet.flags["rule"])
    run.undo(folder, 3)
    dry = load(folder, write(tmp_path, "pool.csv", hourly(days(18, 7))))
    assert "the daily range and mean follow the air logger" in dry.flags.set_index("rule").at["out_of_water", "message"]
    # the export begins at 05:00 of UTC, midnight by New York's standard time, and every day of it is dry
    begins, ends = (dry.flags.set_index("rule").at["out_of_water", name] for name in ("from_at", "to_at"))
    assert (begins.hour, ends.hour) == (5, 5), "the evening of the last dry day counted, and that of the day before the first did not"
    run.undo(folder, 4)
    # an enclosure has no air of a site beside it
    assert "out_of_water" not in set(load(folder, write(tmp_path, "tank.csv", hourly(days(18, 7)))).flags["rule"])


def test_sheets_and_exports_are_not_loaded_together(folder: Path, tmp_path: Path) -> None:
    paths = [write(tmp_path, "pool.csv", hourly([10, 11])), tmp_path / "sites.csv"]
    with pytest.raises(RillbookError, match=r"pool\.csv looks like a logger's export and sites\.csv does not"):
        run.load_files(folder, paths)


@pytest.mark.parametrize("name", ["sites", "visits", "finds", "availability"])
def test_a_sheet_of_the_invented_study_is_no_export(name: str, root: Path) -> None:
    assert not loggers.are_exports([root / "data" / "demo" / f"{name}.csv"], None)


def test_the_command_line_says_what_was_found(folder: Path, tmp_path: Path) -> None:
    path = write(tmp_path, "pool.csv", hourly([10, 11, 26, 27, 12, -200]))
    result = CliRunner().invoke(app, ["load", str(path), "--book", str(folder)])
    assert result.exit_code == 1, result.output
    for words in (
        "pool.csv: logger pool; 5 stored, 1 heading, 1 held", "UTC +00:00 (from the file)", "1 × not_possible", "1 × out_of_range",
        "pool.csv, line 4, 2023-07-01 07:00 UTC: 2 readings of 26 to 27 °C", "Stored as load 2.",
    ):  # fmt: skip
        assert words in result.output
    result = CliRunner().invoke(app, ["status", "--book", str(folder)])
    assert "5 readings of 1 loggers, 1 held back" in result.output and "marked out_of_range: 1" in result.output
    result = CliRunner().invoke(app, ["check", str(path), "--book", str(folder), "--json"])
    assert "loaded before" in json.loads(result.output)["notes"][0]


@pytest.mark.open_data
def test_all_118_exports_are_in_the_book_once(open_data: Path, tmp_path: Path) -> None:
    folder = tmp_path / "book"
    run.init(folder, SETTINGS)
    plots, depths = range(1, 7), ("air", 0, 10, 20, 30, 40, 50)
    places = [(f"{plot}-{depth}", f"P{plot}", "air" if depth == "air" else "land") for plot in plots for depth in depths]
    sheets = [
        write(tmp_path, "sites.csv", "site_id,habitat\n" + "".join(f"P{plot},forest\n" for plot in range(1, 7))),
        write(tmp_path, "loggers.csv", "logger_id,site_id,medium\n" + "".join(f"{','.join(place)}\n" for place in places)),
    ]
    run.load_files(folder, sheets)
    paths = sorted((open_data / "sparcnet_fsu" / "temperature").glob("*/*"))
    report = run.load_files(folder, paths, MAPS / "sparcnet_fsu_loggers.toml")
    assert isinstance(report, LoggerReport) and report.exit_code == 0
    # 210,873 temperatures, of which one file of 2,005 is there twice, as .csv and as .txt
    assert report.rows == {"stored": 208_868, "same": 2_005, "heading": 861, "event": 56}
    unique = "SELECT count(*), count(DISTINCT (logger_id, read_at)), count(DISTINCT logger_id) FROM logger_readings"
    assert stored(folder, unique) == [(208_868, 208_868, 42)]
    with open_book(folder) as connection:
        summary = logger_store.summary(connection)
    assert summary["flags"]["name_contradicts"] == 13 and summary["flags"]["overlap"] == 1 and summary["held"] == 0
