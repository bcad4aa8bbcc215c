"""SIGKILL at random moments: the book opens, nothing is lost or doubled, and no half file lies in out/."""

from __future__ import annotations

import errno
import json
import multiprocessing
import os
import random
import signal
import time
from pathlib import Path

import duckdb
import pytest
from book_dump import rebuild
from small_sheets import CASES, FINDS, SITES, TODAY, VISITS, load, sheets

from pipeline.book.connection import FILE_NAME, open_book
from pipeline.commands import run
from pipeline.errors import RillbookError
from pipeline.writing import files

KILLS = 100 if os.environ.get("RILLBOOK_FULL") else 20
EARLIER = Path(__file__).parent / "earlier" / "version_1.sql"
TASKS = ("load", "undo", "migrate", "targets", "backup", "publish")


def do(task: str, folder: Path, number: int) -> None:
    """One command, in a child."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
    if task == "load":
        run.load_files(folder, sheets(folder, more=SITES.replace("S1", f"K{number}")), today=TODAY)
    elif task == "undo":
        run.undo(folder, run.status(folder)["loads"][-1]["load_id"])
    elif task == "migrate":
        run.status(folder)
    elif task == "targets":
        run.derive_targets(folder, write_pages=True)
    elif task == "publish":
        run.publish(folder, today=TODAY)
    else:
        run.backup(folder, folder.parent / f"backup_{number}.zip")


def rows(folder: Path) -> dict[str, list[tuple[object, ...]]]:
    with open_book(folder) as connection:
        tables = [row[0] for row in connection.execute("SELECT table_name FROM duckdb_tables() WHERE NOT internal").fetchall()]
        kept = [name for name in tables if name not in ("book_facts", "published")]
        return {name: connection.execute(f"SELECT * FROM {name} ORDER BY ALL").fetchall() for name in kept}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    text = (CASES / "base" / "rillbook.toml").read_text().replace("[book]", '[book]\nauthor = "AB"\nlicence = "CC-BY-4.0"', 1)
    run.init(tmp_path / "b", text)
    load(tmp_path / "b")
    placed = "site_id,habitat,latitude,longitude,datum\nS2,stream,36.5,-81.5,WGS84\n"
    visited = VISITS.splitlines()[0] + "\nV5,S2,2023-06-10,20:00,visual_encounter,60,12.5\n"
    load(tmp_path / "b", sheets(tmp_path / "b", placed=placed, visited=visited))
    return tmp_path / "b"


def test_a_kill_at_any_moment_leaves_a_whole_book(folder: Path, tmp_path: Path) -> None:
    dice = random.Random(7)
    context = multiprocessing.get_context("fork")
    old = tmp_path / "old"
    run.init(old, (folder / "rillbook.toml").read_text())
    rebuild(EARLIER, tmp_path / "old.duckdb")
    longest = dict.fromkeys(TASKS, 2.0)
    done = dict.fromkeys(TASKS, 0)
    for number in range(KILLS):
        task = TASKS[number % len(TASKS)]
        place = old if task == "migrate" else folder
        if task == "migrate":
            (old / FILE_NAME).write_bytes((tmp_path / "old.duckdb").read_bytes())
        before = rows(place) if task != "migrate" else None
        victim = context.Process(target=do, args=(task, place, number))
        started = time.monotonic()
        victim.start()
        victim.join(dice.random() * longest[task])
        if victim.is_alive():
            os.kill(victim.pid, signal.SIGKILL)  # type: ignore[arg-type]
        else:
            done[task] += 1
            longest[task] = time.monotonic() - started
        victim.join()
        after = rows(place)
        if task == "migrate":
            assert [len(after[name]) for name in ("loads", "sites_all", "visits_all", "finds_all")] == [5, 2, 2, 4], number
        elif task == "load":
            same = after == before
            assert same or {f"K{number}"} == {row[6] for row in set(after["sites_all"]) - set(before["sites_all"])}, number  # type: ignore[index]
        elif task == "undo":
            undone = [row for row in after["loads"] if row not in before["loads"]]  # type: ignore[index]
            assert len(undone) <= 1 and {**after, "loads": []} == {**before, "loads": []}, number  # type: ignore[dict-item]
        else:
            assert after == before, (task, number)
        for path in (place / "out").rglob("*"):
            if path.is_file() and not path.name.startswith("."):
                assert path.stat().st_size, path
                if path.suffix == ".json":
                    json.loads(path.read_text(encoding="utf-8"))
        for path in tmp_path.glob("backup_*.zip"):
            run.restore(path, tmp_path / f"again_{number}")
            path.unlink()
    with duckdb.connect(str(folder / FILE_NAME), read_only=True) as connection:
        assert connection.execute("SELECT count(*) - count(DISTINCT load_id) FROM loads").fetchall() == [(0,)]


def test_tables_pages_and_ledger_are_one_step(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk fills up at the last page of the second day: everything is as on the first."""

    def outcome() -> tuple[dict[str, bytes], object]:
        with open_book(folder) as connection:
            ledger = connection.execute("SELECT * FROM published ORDER BY ALL").fetchall()
        return {path.name: path.read_bytes() for path in (folder / "out").rglob("*") if path.is_file()}, ledger

    pages = run.derive_targets(folder, write_pages=True).pages
    before = outcome()
    assert [path.name for path in pages] == ["card_GPOR.html", "care_sheet_GPOR.html"] and {path.name for path in pages} < set(before[0])
    load(folder, sheets(folder, late=VISITS.replace("V1", "V7").replace("V2", "V8"), more=FINDS.replace("F", "G").replace(",V1,", ",V7,")))
    beside = files._beside

    def full(path: Path, *more: object) -> str:
        if path.name == "care_sheet_GPOR.html":
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return beside(path, *more)  # type: ignore[arg-type]

    monkeypatch.setattr(files, "_beside", full)
    with pytest.raises(RillbookError, match=r"the targets cannot be written \(the disk is full\)"):
        run.derive_targets(folder, write_pages=True)
    assert outcome() == before
    monkeypatch.undo()
    run.derive_targets(folder, write_pages=True)
    changed = {name for name, content in outcome()[0].items() if before[0].get(name) != content}
    assert {"targets.csv", "care_sheet_GPOR.html"} <= changed


def test_the_tasks_do_what_they_say(folder: Path, tmp_path: Path) -> None:
    """A kill of a task that stops by itself would prove nothing."""
    do_here = [task for task in TASKS if task not in ("migrate", "undo")]
    for number, task in enumerate(do_here):
        kept = os.dup(2)
        try:
            do(task, folder, number)
        except RillbookError as problem:
            raise AssertionError(f"{task}: {problem}") from None
        finally:
            os.dup2(kept, 2)
    assert (folder / "out" / "targets.json").exists() and (tmp_path / "backup_2.zip").exists() and (folder / "out" / "publish").exists()
