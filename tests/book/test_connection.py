"""The database file: whole after a kill, a full disk or a lock, and a message where it cannot be used."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import textwrap
from pathlib import Path

import duckdb
import pytest
from small_sheets import FINDS, ROOT, SITES, TODAY, VISITS, ids, load, sheets, state

from pipeline.book.connection import FILE_NAME, WAIT_S, is_empty, open_book
from pipeline.book.current import known_rows
from pipeline.commands import run
from pipeline.errors import RillbookError


def child(code: str, folder: Path, **words: object) -> subprocess.Popen[str]:
    script = textwrap.dedent(code).format(folder=str(folder), **words)
    return subprocess.Popen([sys.executable, "-c", script], cwd=ROOT, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE)


KILLED = """
    import sys, time
    from pathlib import Path
    from datetime import date
    from pipeline.book import loads
    from pipeline.commands import run
    insert = loads.append_rows
    def slow(connection, name, frame, load_id):
        insert(connection, name, frame, load_id)
        if name == "{after}":
            print("half-way", flush=True)
            time.sleep(60)
    loads.append_rows = slow
    run.load_files(Path({folder!r}), [Path(one) for one in {paths!r}], today=date(2026, 1, 1))
"""


@pytest.mark.parametrize("first", [True, False])
@pytest.mark.parametrize("after", ["finds_all", "flags_all"])
def test_a_kill_half_way_leaves_the_book_as_it_was(folder: Path, first: bool, after: str) -> None:
    if not first:
        load(folder)
    before = state(folder)
    finds = FINDS.replace("F1", "F7").replace("F2", "F8").replace("V1", "V3") + "F9,V3,GPOR,adult,1,rock_in_flow,26\n"
    paths = sheets(
        folder, sites=SITES, visits_more=VISITS.splitlines()[0] + "\nV3,S1,2023-07-10,20:00,visual_encounter,60,13\n", finds_more=finds
    )
    victim = child(KILLED, folder, paths=[str(path) for path in paths], after=after)
    assert victim.stdout is not None and victim.stdout.readline() == "half-way\n"
    victim.send_signal(signal.SIGKILL)
    assert victim.wait(timeout=30) == -signal.SIGKILL
    assert state(folder) == before
    assert load(folder, paths).load_id == (1 if first else 2)
    assert {"F7", "F8", "F9"} <= set(ids(folder)["finds"])


def test_what_the_engine_holds_in_memory_is_bounded(folder: Path) -> None:
    load(folder)
    with open_book(folder) as connection:
        assert connection.execute("SELECT current_setting('memory_limit')").fetchall() == [("512.0 MiB",)]


def test_nobody_else_may_look_at_what_does_not_fit_in_memory(folder: Path) -> None:
    """Exact places may lie in it, as in the book itself."""
    load(folder)
    spilled = folder / f"{FILE_NAME}.tmp"
    with open_book(folder) as connection:
        assert connection.execute("SELECT current_setting('temp_directory')").fetchall() == [(str(spilled),)]
        assert spilled.stat().st_mode & 0o777 == 0o700
        with open_book(folder):
            pass
        connection.execute("SET memory_limit = '40MB'")
        assert spilled.stat().st_mode & 0o777 == 0o700, "another command that ends leaves the folder of this one"
        rows = connection.execute("SELECT i, hash(i)::VARCHAR AS text FROM range(2_000_000) t(i) ORDER BY text")
        assert rows.fetchone() and [*spilled.glob("duckdb_temp*")]
        assert spilled.stat().st_mode & 0o777 == 0o700
        rows.fetchall()
    assert sorted(path.name for path in folder.iterdir()) == [FILE_NAME, "rillbook.toml"]


def test_what_a_kill_left_of_it_goes_with_the_next_command_that_writes(folder: Path) -> None:
    load(folder)
    spilled = folder / f"{FILE_NAME}.tmp"
    spilled.mkdir()
    for name in ("in_use_0_1", "duckdb_temp_0_0_owner", "duckdb_temp_0_0_storage_DEFAULT-0.tmp"):
        (spilled / name).touch()
    with open_book(folder):
        pass
    assert len([*spilled.iterdir()]) == 3, "another command may be reading"
    with open_book(folder, write=True):
        pass
    assert not spilled.exists()


def test_a_question_too_large_for_the_memory_says_so(folder: Path) -> None:
    load(folder)
    before = state(folder)
    refused = pytest.raises(RillbookError, match=r"could not be written .*Nothing was changed. Close other programs, or work on a machine")
    with refused, open_book(folder, write=True) as connection:
        connection.execute("UPDATE sites_all SET county = 'Nowhere'")
        connection.execute("SET memory_limit = '20MB'")
        connection.execute("SELECT list(i) FROM range(20_000_000) t(i)").fetchall()
    assert state(folder) == before


def test_rows_are_stored_in_order_however_many_at_once(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipeline.book.connection.AT_ONCE", 2)
    monkeypatch.setattr("pipeline.book.loads.AT_ONCE", 2)
    finds = (
        FINDS + "".join(f"X{number},V1,GPOR,adult,1,rock_in_flow,12\n" for number in range(5)) + "X9,V1,GPOR,adult,1,rock_in_flow,12,odd\n"
    )
    run.load_files(folder, sheets(folder, sites=SITES, visits=VISITS, finds=finds), today=TODAY)
    with open_book(folder) as connection:
        rows = connection.execute("SELECT source_row, line, cells FROM source_rows WHERE source = 2 ORDER BY rowid").fetchall()
    lines = finds.splitlines()[1:]
    assert [(row, line, json.loads(cells)) for row, line, cells in rows] == [
        (number, number + 2, line.split(",")) for number, line in enumerate(lines)
    ]
    assert ids(folder)["finds"] == ["F1", "F2", *(f"X{number}" for number in range(5))]


HOLDS = """
    import duckdb, time
    connection = duckdb.connect({folder!r} + "/rillbook.duckdb")
    print("open", flush=True)
    time.sleep(60)
"""


def test_a_book_that_is_open_elsewhere_says_so(folder: Path) -> None:
    load(folder)
    other = child(HOLDS, folder)
    try:
        assert other.stdout is not None and other.stdout.readline() == "open\n"
        for command in (["status"], ["load", str(folder.parent / "finds.csv")], ["held"]):
            done = subprocess.run(
                [sys.executable, "-m", "pipeline", "--wait", "0", *command, "--book", str(folder)], cwd=ROOT, capture_output=True, text=True
            )
            assert done.returncode == 2 and done.stdout == ""
            assert (
                done.stderr
                == f"rillbook: {folder / 'rillbook.duckdb'}: the book is open in another program. Close it there and try again.\n"
            )
    finally:
        other.kill()
        other.wait()


def test_a_file_that_is_no_database_is_named_and_left_alone(folder: Path) -> None:
    (folder / "rillbook.duckdb").write_text("not a database, but a letter " * 1000)
    before = (folder / "rillbook.duckdb").read_bytes()
    for action in (lambda: run.status(folder), lambda: load(folder)):
        with pytest.raises(RillbookError, match=r"Nothing of it can be read: it is no book.*Restore the latest backup"):
            action()
    assert (folder / "rillbook.duckdb").read_bytes() == before


FULL = """
    import resource, signal
    from pathlib import Path
    from datetime import date
    from pipeline.commands import run
    from pipeline.errors import RillbookError
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, ({size}, {size}))
    try:
        run.load_files(Path({folder!r}), [Path(one) for one in {paths!r}], today=date(2026, 1, 1))
    except RillbookError as problem:
        print(problem)
"""


def test_a_full_disk_leaves_the_book_as_it_was(folder: Path) -> None:
    """A limit on the size of files stands for the full disk: every write past it fails, as there."""
    load(folder)
    before, size = state(folder), (folder / "rillbook.duckdb").stat().st_size
    many = "".join(f"X{number},V3,GPOR,adult,1,rock_in_flow,13\n" for number in range(20000))
    paths = sheets(folder, visits_more=VISITS.replace("V1", "V3").replace("V2", "V4"), finds_more=FINDS.splitlines()[0] + "\n" + many)
    victim = child(FULL, folder, paths=[str(path) for path in paths], size=size + 4096)
    out, err = victim.communicate(timeout=60)
    assert "the book could not be written" in out and "Nothing was changed" in out and "Is the disk full?" in out, (out, err)
    assert state(folder) == before
    assert load(folder, paths).exit_code == 0


def test_a_database_that_cannot_be_opened(folder: Path) -> None:
    (folder / "rillbook.duckdb").mkdir()
    with pytest.raises(RillbookError, match=r"cannot be opened.*rights of the folder"):
        load(folder)


def test_a_folder_that_cannot_be_written(folder: Path) -> None:
    load(folder)
    folder.chmod(0o500)
    (folder / "rillbook.duckdb").chmod(0o400)
    if os.access(folder, os.W_OK):
        pytest.skip("this user may write everywhere")
    with pytest.raises(RillbookError, match=r"cannot be opened.*rights of the folder"):
        load(folder, sheets(folder, more=FINDS))
    assert ids(folder)["finds"] == ["F1", "F2"]


def test_reading_a_new_book_leaves_no_file_behind(folder: Path) -> None:
    assert run.held_items(folder).empty
    assert run.status(folder)["loads"] == []
    run.check_files(folder, sheets(folder, sites=SITES), today=TODAY)
    assert [path.name for path in folder.iterdir()] == ["rillbook.toml"]


def test_a_reader_of_a_new_book_leaves_nothing_for_the_next(folder: Path) -> None:
    for _ in range(2):
        with open_book(folder) as connection:
            assert is_empty(connection)
            connection.execute("INSERT INTO book_facts VALUES ('left', 'behind')")
            connection.execute("CREATE TABLE left_behind (what VARCHAR)")


def test_a_reader_waits_for_a_load_that_is_being_stored(folder: Path, caplog: pytest.LogCaptureFixture) -> None:
    """DuckDB lets one process write or several read: a reader meets the lock, says so, and goes on once it is free."""
    paths = sheets(folder, sites=SITES, visits=VISITS, finds=FINDS)
    slow = child(KILLED.replace("time.sleep(60)", "time.sleep(2)"), folder, paths=[str(path) for path in paths], after="finds_all")
    assert slow.stdout is not None and slow.stdout.readline() == "half-way\n"
    words = WAIT_S.set(0)
    with pytest.raises(RillbookError, match="open in another program"):
        run.status(folder)
    WAIT_S.reset(words)
    assert run.status(folder)["tables"]["finds"] == 2
    assert caplog.messages == ["The book is in use by another command; waiting up to 30 s for it."]
    assert slow.wait(timeout=30) == 0


def test_a_book_without_the_keepers_tables_is_read_and_gets_them_when_written(folder: Path) -> None:
    """A book of a version before water_tests and husbandry_events."""
    load(folder)
    with duckdb.connect(str(folder / FILE_NAME)) as connection:
        for table in ("water_tests", "husbandry_events"):
            for name in (table, f"current_{table}"):
                connection.execute(f"DROP VIEW {name}")
            connection.execute(f"DROP TABLE {table}_all")
        for name in ("population", "medium", "since", "until"):
            connection.execute("DROP VIEW IF EXISTS enclosures")
            connection.execute("DROP VIEW IF EXISTS current_enclosures")
            connection.execute(f"ALTER TABLE enclosures_all DROP COLUMN {name}")
        connection.execute("CREATE VIEW current_enclosures AS SELECT * FROM enclosures_all")
        connection.execute("CREATE VIEW enclosures AS SELECT * FROM current_enclosures")
        connection.execute("DROP TABLE book_facts")
    with open_book(folder) as connection:
        assert {table: len(frame) for table, frame in known_rows(connection).items()}["water_tests"] == 0
    sheet = folder.parent / "enclosures.csv"
    sheet.write_text("enclosure_id,taxon,population,life_stage,medium\nT1,GPOR,north,larva,water\n", encoding="utf-8")
    tests = folder.parent / "water_tests.csv"
    tests.write_text("test_id,enclosure_id,tested_on,ph\nW1,T1,2024-05-01,6.8\n", encoding="utf-8")
    load(folder, [sheet, tests])
    with open_book(folder) as connection:
        assert connection.execute("SELECT population, medium FROM enclosures").fetchall() == [("north", "water")]
        assert connection.execute("SELECT ph FROM water_tests").fetchall() == [(6.8,)]
