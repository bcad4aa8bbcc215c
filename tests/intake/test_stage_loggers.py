"""Logger files are read without the book: others read and write meanwhile, and what they changed is seen before anything is stored."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from small_sheets import CASES, TODAY, load, sheets

from pipeline.book.connection import open_book
from pipeline.book.loads import start_load
from pipeline.commands import run
from pipeline.errors import RillbookError
from pipeline.intake import load_loggers, stage_loggers

LOGGER = "logger_id,site_id,medium\npool,S1,water\n"
EXPORT = '"Date Time, GMT+00:00","Temp, °C"\n2023-07-01 05:00,10\n2023-07-01 06:00,11\n2023-07-01 07:00,12\n'


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    run.init(tmp_path / "b", (CASES / "base" / "rillbook.toml").read_text())
    load(tmp_path / "b")
    run.load_files(tmp_path / "b", sheets(tmp_path / "b", loggers=LOGGER), today=TODAY)
    return tmp_path / "b"


def test_others_write_while_exports_are_read_and_the_book_is_looked_at_again(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The other load brings one of the very readings, differently: it stands, and ours is held."""
    mine, other = sheets(folder, pool=EXPORT, other=EXPORT.replace(",11\n", ",13\n"))
    words = folder / "map.toml"
    words.write_text('[logger]\nname = "pool"\n')
    reads, asked = [], stage_loggers.read_into

    def meanwhile(*given: Any, **more: Any) -> Any:
        reads.append(given[0])
        found = asked(*given, **more)
        if len(reads) == 1:
            assert run.load_files(folder, [other], words, today=TODAY).load_id == 3
        return found

    monkeypatch.setattr(load_loggers, "read_into", meanwhile)
    report = run.load_files(folder, [mine], words, today=TODAY)
    assert len(reads) == 3, "the first reading, that of the other load, and the second reading"
    assert report.load_id == 4 and report.held["rule"].tolist() == ["reading_differs"]  # type: ignore[union-attr]
    with open_book(folder) as connection:
        assert connection.execute("SELECT temp_c FROM logger_readings ORDER BY read_at").fetchall() == [(10,), (13,), (12,)]
    assert not any(path.exists() for path in reads), "what was set aside is gone"


def test_a_book_that_changes_all_the_time_is_held_at_last(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (path,) = sheets(folder, pool=EXPORT)
    steps: list[str] = []
    reads, asked = [], stage_loggers.read_into

    def meanwhile(*given: Any, **more: Any) -> Any:
        reads.append(given[0])
        found = asked(*given, **more)
        if len(reads) <= load_loggers.TRIES:
            with open_book(folder, write=True) as connection:
                start_load(connection, "load", [], f"other {len(reads)}", "", None, datetime(2024, 1, 1))
        else:
            other = "import sys; from pipeline.cli import main; sys.argv[1:] = ['--wait', '0', 'status', '--book', sys.argv[1]]; main()"
            tried = subprocess.run([sys.executable, "-c", other, str(folder)], capture_output=True, text=True, check=False)
            assert tried.returncode == 2 and "open in another program" in tried.stderr
        return found

    monkeypatch.setattr(load_loggers, "read_into", meanwhile)
    report = run.load_files(folder, [path], today=TODAY, progress=steps.append)
    assert len(reads) == load_loggers.TRIES + 1 and report.load_id == 2 + load_loggers.TRIES + 1
    assert steps.count("reading again: another command changed the book") == load_loggers.TRIES
    assert steps.count("reading once more, with the book held: others change it all the time") == 1
    with open_book(folder) as connection:
        assert connection.execute("SELECT count(*) FROM logger_readings").fetchall() == [(3,)]


def test_what_a_kill_left_is_gone_at_the_next_start_and_what_is_under_way_stays(folder: Path) -> None:
    def killed() -> None:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
        with stage_loggers.set_aside(folder) as staged:
            staged.write_bytes(b"readings")
            (folder / "ready").touch()
            time.sleep(60)

    victim = multiprocessing.get_context("fork").Process(target=killed)
    victim.start()
    while not (folder / "ready").exists():
        assert victim.is_alive()
        time.sleep(0.05)
    (left,) = folder.glob(f"{stage_loggers.PREFIX}*")
    with stage_loggers.set_aside(folder) as staged:
        assert left.exists() and staged.parent != left, "its load is under way"
    os.kill(victim.pid, signal.SIGKILL)  # type: ignore[arg-type]
    victim.join()
    assert left.exists()
    run.load_files(folder, sheets(folder, pool=EXPORT), today=TODAY)
    assert not [*folder.glob(f"{stage_loggers.PREFIX}*")]


@pytest.mark.parametrize(
    ("text", "rising"), [(EXPORT, True), (EXPORT.replace("07:00", "06:00"), False), (EXPORT.replace("07:", "04:"), False)]
)
def test_a_file_rises_where_each_reading_is_later(folder: Path, text: str, rising: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    found, asked = [], stage_loggers.read_into

    def told(*given: Any, **more: Any) -> Any:
        found.extend(asked(*given, **more))
        return found

    monkeypatch.setattr(load_loggers, "read_into", told)
    run.load_files(folder, sheets(folder, pool=text), today=TODAY)
    assert [one.rising for one in found] == [rising]


def test_no_room_for_the_readings_is_one_line(folder: Path, tmp_path: Path) -> None:
    with pytest.raises(RillbookError, match=r"the readings cannot be set aside .* Nothing was changed"):
        stage_loggers.read_into(tmp_path / "nowhere" / "staged.duckdb", [], None, "UTC", print, texts=True)  # type: ignore[arg-type]


def test_a_file_in_which_no_reading_is_found_is_told(folder: Path) -> None:
    """A comma in a heading moves every column."""
    report = run.load_files(
        folder, sheets(folder, pool="Date Time,GMT+00:00,Temp °C\n" + "2023-07-01 05:00,10\n2023-07-01 06:00,11\n"), today=TODAY
    )
    (note,) = report.notes
    assert note.startswith("pool.csv: no reading was found in it. Look at its headings") and report.rows.get("stored", 0) == 0  # type: ignore[union-attr]
    told = run.load_files(folder, sheets(folder, pool=EXPORT), today=TODAY)
    assert told.notes == []
