"""Marks of readings after a change of the book's time zone: as if the file had been loaded after it; instants never move."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from small_sheets import CASES, TODAY, load, sheets

from pipeline.book.connection import open_book
from pipeline.commands import run
from pipeline.errors import RillbookError
from pipeline.intake.settings_changed import settled

TOML = (CASES / "base" / "rillbook.toml").read_text()
LOGGERS = "logger_id,site_id,medium\npool,S1,water\nbank,S1,air\n"


def export(temps: list[float]) -> str:
    times = pd.date_range("2023-07-01 00:00", periods=len(temps), freq="h")
    rows = (f"{at:%Y-%m-%d %H:%M},{temp:.2f}" for at, temp in zip(times, temps, strict=True))
    return "\n".join(['"Date Time, GMT+00:00","Temp, °C"', *rows]) + "\n"


# six days at noon 8 °C warmer, then a day by Honolulu's clock that does not change
WARM = [18 + 8 * (hour % 24 in range(10, 14)) + hour % 3 / 10 for hour in range(24 * 6 + 10)] + [18.0] * 24 + [18.5, 19, 18.2]


def of_book(folder: Path, name: str) -> list[tuple[object, ...]]:
    with open_book(folder) as connection:
        return connection.execute(f"SELECT * EXCLUDE (load_id) FROM {name} ORDER BY ALL").fetchall()


def filled(folder: Path, zone: str) -> Path:
    run.init(folder, TOML.replace("America/New_York", zone))
    load(folder)
    run.load_files(folder, sheets(folder, loggers=LOGGERS), today=TODAY)
    run.load_files(folder, sheets(folder, bank=export(WARM), pool=export(WARM)), today=TODAY)
    return folder


def test_marks_are_as_if_the_file_had_been_loaded_after_the_change(tmp_path: Path) -> None:
    folder, other = filled(tmp_path / "a" / "b", "America/New_York"), filled(tmp_path / "c" / "b", "Pacific/Honolulu")
    before = {name: of_book(folder, name) for name in ("logger_flags", "logger_readings")}
    expected = of_book(other, "logger_flags")
    assert {row[3] for row in expected} >= {"flat_day", "out_of_water"} and expected != before["logger_flags"]
    (folder / "rillbook.toml").write_text(TOML.replace("America/New_York", "Pacific/Honolulu"))
    settled(folder)
    assert of_book(folder, "logger_flags") == expected
    assert of_book(folder, "logger_readings") == before["logger_readings"]
    (folder / "rillbook.toml").write_text(TOML)
    settled(folder)
    assert of_book(folder, "logger_flags") == before["logger_flags"]


def test_days_out_of_the_water_of_older_books_begin_at_local_midnight_now(tmp_path: Path) -> None:
    folder = filled(tmp_path / "b", "America/New_York")
    right = of_book(folder, "logger_flags")
    dry = [row[5] for row in right if row[3] == "out_of_water"]
    assert dry and all(at.hour == 5 for at in dry), "midnight by New York's standard time"
    with open_book(folder, write=True) as connection:
        hours = "from_at = from_at - INTERVAL 5 HOUR, to_at = to_at - INTERVAL 5 HOUR"
        connection.execute(f"UPDATE logger_flags_all SET {hours} WHERE rule = 'out_of_water'")
        connection.execute("DELETE FROM book_facts WHERE name = 'read_under'")
    for _ in range(2):
        settled(folder)
        assert of_book(folder, "logger_flags") == right


def test_a_file_of_which_another_brought_a_part_is_not_guessed_at(tmp_path: Path) -> None:
    folder = tmp_path / "b"
    run.init(folder, TOML)
    load(folder)
    run.load_files(folder, sheets(folder, loggers=LOGGERS), today=TODAY)
    run.load_files(folder, sheets(folder, pool=export(WARM[:60])), today=TODAY)
    run.load_files(folder, sheets(folder, pool=export(WARM)), today=TODAY)
    before = of_book(folder, "logger_flags")
    (folder / "rillbook.toml").write_text(TOML.replace("America/New_York", "Pacific/Honolulu"))
    with pytest.raises(RillbookError, match=r"the days of pool\.csv of load 4 cannot be told anew: some of its readings .* Nothing was"):
        run.held_items(folder)
    assert of_book(folder, "logger_flags") == before
    run.undo(folder, 4)
    assert settled(folder).time_zone == "Pacific/Honolulu"
