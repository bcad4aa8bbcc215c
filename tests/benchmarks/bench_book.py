"""Ratios, side by side in one run: load and targets of 100,000 finds against a bare DuckDB read of the same file; start-up against typer's.

Run with ``python tests/benchmarks/bench_book.py [FINDS]``. It prints ratios and the times that they come from; it judges nothing.
"""

from __future__ import annotations

import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import pandas as pd

from pipeline.commands import demo_study as demo
from pipeline.commands import run

ROUNDS = 3


def seconds(task: Callable[[], object]) -> float:
    """Wall seconds of one call."""
    start = time.perf_counter()
    task()
    return time.perf_counter() - start


def write_sheets(folder: Path, finds: int) -> list[Path]:
    """Sheets of the invented study, repeated under new codes until they hold so many finds.

    The copies stand at sites of their own and lie a week apart, so that they are visits of their own.
    """
    sheets = {path.stem: pd.read_csv(path, dtype="str", keep_default_na=False) for path in demo.copy_sheets(folder / "seed")}
    copies = -(-finds // len(sheets["finds"]))
    for name, frame in sheets.items():
        parts = []
        for copy in range(copies):
            part = frame.copy()
            for key in ("site_id", "visit_id", "find_id", "point_id"):
                if key in part:
                    part[key] = f"R{copy}-" + part[key]
            if "waterbody" in part:
                part["waterbody"] = f"R{copy}-" + part["waterbody"]
            parts.append(part)
        pd.concat(parts).to_csv(folder / f"{name}.csv", index=False)
    return [folder / f"{name}.csv" for name in sheets]


def bare_read(path: Path) -> None:
    """Read the finds as DuckDB does by itself, into a table of a file."""
    import duckdb

    database = path.parent / "bare.duckdb"
    database.unlink(missing_ok=True)
    with duckdb.connect(str(database)) as connection:
        connection.execute(f"CREATE TABLE finds AS SELECT * FROM read_csv('{path}', all_varchar = true)")


def bench_book(finds: int) -> None:
    """Print the ratios of load and targets to a bare read."""
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        paths = write_sheets(folder, finds)
        table = next(path for path in paths if path.stem == "finds")
        rows = len(pd.read_csv(table, dtype="str", usecols=["find_id"]))
        bare, loading, deriving = [], [], []
        for turn in range(ROUNDS):
            book = folder / f"book{turn}"
            run.init(book, demo.settings_text())
            bare.append(seconds(lambda: bare_read(table)))
            loading.append(seconds(lambda book=book: run.load_files(book, paths)))
            deriving.append(seconds(lambda book=book: run.derive_targets(book)))
            shutil.rmtree(book)
    base = statistics.median(bare)
    print(f"{rows:,} finds, median of {ROUNDS}: bare read {base:.2f} s")
    print(f"load     {statistics.median(loading) / base:8.1f} x   ({statistics.median(loading):.1f} s)")
    print(f"targets  {statistics.median(deriving) / base:8.1f} x   ({statistics.median(deriving):.1f} s)")


def bench_start() -> None:
    """Print the ratio of `rillbook --help` to the import of typer alone."""
    python = sys.executable
    ours, theirs = [], []
    for _ in range(2 * ROUNDS + 1):
        theirs.append(seconds(lambda: subprocess.run([python, "-c", "import typer"], check=True)))
        ours.append(seconds(lambda: subprocess.run([python, "-m", "pipeline", "--help"], check=True, stdout=subprocess.DEVNULL)))
    base = statistics.median(theirs)
    print(f"--help   {statistics.median(ours) / base:8.2f} x   import typer ({statistics.median(ours):.2f} s, {base:.2f} s)")


if __name__ == "__main__":
    bench_start()
    bench_book(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
