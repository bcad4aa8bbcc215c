"""What safety costs: reading every page before a write, a copy beside the book, a backup and its check; seconds of CPU by size.

``python tests/benchmarks/bench_safety.py [ROWS]``: a book whose finds are rows made up for this, every column filled.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pipeline.book.connection import FILE_NAME, copy_beside, open_book
from pipeline.book.copies import back_up, restore
from pipeline.book.damage import unreadable
from pipeline.commands import run
from schemas.ddl import TYPES
from schemas.tables import fields
from schemas.vocabulary import codes

SETTINGS = '[book]\ntime_zone = "America/New_York"\n'


def value(name: str) -> str:
    """SQL for one made-up cell."""
    declared = fields("finds")[name]
    if declared.kind == "code":
        return f"'{codes(declared.vocabulary)[0]}'"
    if declared.kind in ("real", "whole"):
        low, high = declared.possible or (0.0, 100.0)
        return f"(({low}) + (i % 97) * (({high}) - ({low})) / 97.0)::{TYPES[declared.kind]}"
    if declared.kind in ("text", "codes"):
        return f"'{name[:4]}-' || i"
    return "NULL"


def timed(what: str, task: Callable[[], Any]) -> Any:
    """Do a task and print what it took."""
    cpu, wall = time.process_time(), time.perf_counter()
    found = task()
    print(f"{what}: {time.process_time() - cpu:.2f} s of CPU, {time.perf_counter() - wall:.2f} s on the clock", flush=True)
    return found


def main() -> None:
    """Fill a book and time each step."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    with tempfile.TemporaryDirectory() as work:
        folder = Path(work) / "b"
        run.init(folder, SETTINGS)
        with open_book(folder, write=True) as connection:
            names = list(fields("finds"))
            listed, made = ", ".join(f'"{name}"' for name in names), ", ".join(value(name) for name in names)
            connection.execute(
                f"INSERT INTO finds_all (load_id, row_no, patch, {listed}) SELECT 1, i, false, {made} FROM range({rows}) t(i)"
            )
            cells = "'[' || repeat('\"text\",', 40) || i || ']'"
            connection.execute(f"INSERT INTO source_rows SELECT 1, 0, i, i + 2, 'accepted', {cells} FROM range({rows}) t(i)")
        print(f"{rows} finds of {len(names)} columns and their text, {(folder / FILE_NAME).stat().st_size / 1e6:.0f} MB")
        with open_book(folder) as connection:
            assert not timed("read every page", lambda: unreadable(connection))[1]
        timed("copy beside", lambda: copy_beside(folder / FILE_NAME, "version_1"))
        timed("backup and its check", lambda: back_up(folder, Path(work) / "b.zip"))
        timed("restore and compare", lambda: restore(Path(work) / "b.zip", Path(work) / "again"))


if __name__ == "__main__":
    main()
