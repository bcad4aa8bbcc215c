"""Whole commands as a user runs them, beside a DuckDB process that reads the same files into tables, and a plain pandas script.

    PYTHONPATH=. python tests/benchmarks/bench_speed.py [--finds N] [--readings N] [--loggers N] [--rounds N] [COMMAND ...]

It prints a table: CPU seconds (user and system) of each whole process, its memory at most, and the ratio to the DuckDB process that ran
just before it in the same round; of all the median of the rounds. CPU seconds grow when other work shares the processor, so the ratio is
what can be compared. It judges nothing.
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from large_sheets import write_exports, write_loggers, write_sheets

from pipeline.commands import demo_study as demo

HERE = Path(__file__).resolve().parent
TABLES = ("sites", "visits", "finds", "availability")
ON_A_BOOK = ("targets", "map", "publish", "gaps")
COMMANDS = ("help", "demo", "check", "load", *ON_A_BOOK, "loggers")
BARE = """
import sys, duckdb
with duckdb.connect(sys.argv[1]) as one:
    for number, path in enumerate(sys.argv[2:]):
        one.execute(f"CREATE TABLE t{number} AS SELECT * FROM read_csv('{path}', all_varchar = true, header = true)")
"""


@dataclass(frozen=True)
class Run:
    """CPU seconds and greatest memory, MB, of one process."""

    cpu: float
    memory: float


def run(*command: str) -> Run:
    """Run a process to its end; a command that refuses its input, or fails, stops the benchmark."""
    with tempfile.TemporaryFile() as said:
        child = subprocess.Popen([sys.executable, *command], stdout=said, stderr=said)
        _, status, used = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        said.seek(0)
        # 1: something was held back and the rest is loaded, which is as it should be with planted faults
        assert child.returncode in (0, 1), said.read().decode()
    return Run(used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)


def made_apart(make: Callable[..., Any], *words: object) -> Any:
    """What a function makes in a process that ends: Linux counts the greatest memory of a process for those that it starts, too."""
    with ProcessPoolExecutor(1, get_context("spawn")) as one:
        return one.submit(make, *words).result()


def rillbook(*words: object) -> Run:
    """Run a command of rillbook."""
    return run("-m", "pipeline", *map(str, words))


def bare(scratch: Path, paths: list[Path]) -> Run:
    """A DuckDB process that reads files into tables of a database."""
    database = scratch / "bare.duckdb"
    database.unlink(missing_ok=True)
    return run("-c", BARE, str(database), *map(str, paths))


def new_book(folder: Path) -> Path:
    """An empty book with the settings of the invented study."""
    shutil.rmtree(folder, ignore_errors=True)
    settings = folder.with_suffix(".toml")
    # the large sheets come without the lines of a landscape
    text = "".join(line for line in demo.settings_text().splitlines(keepends=True) if demo.LANDSCAPE not in line)
    settings.write_text(text, encoding="utf-8")
    rillbook("init", folder, "--settings", settings)
    return folder


def row(name: str, ours: list[Run], others: list[Run], pandas: list[Run] | None = None) -> None:
    """Print a line of the table."""
    ratio = statistics.median(one.cpu / other.cpu for one, other in zip(ours, others, strict=True))
    cpu, base = (statistics.median(one.cpu for one in runs) for runs in (ours, others))
    script = f"{statistics.median(one.cpu / two.cpu for one, two in zip(ours, pandas, strict=True)):.1f}" if pandas else ""
    print(f"| {name} | {cpu:.1f} | {base:.2f} | {ratio:.1f} | {script} | {max(one.memory for one in ours):.0f} |", flush=True)


def bench(finds: int, readings: int, loggers: int, rounds: int, wanted: list[str]) -> None:
    """Print the table."""
    print("| command | CPU s | yardstick, CPU s | ratio | ratio to the pandas script | MB |\n|---|---|---|---|---|---|")
    times = range(rounds)
    if "help" in wanted:
        pairs = [(run("-c", "import typer"), rillbook("--help")) for _ in range(2 * rounds + 1)]
        row("`--help` (yardstick: `import typer`)", [ours for _, ours in pairs], [theirs for theirs, _ in pairs])
    with tempfile.TemporaryDirectory() as folder:
        scratch = Path(folder)
        if "demo" in wanted:
            pairs = [(run("-c", "import pandas, duckdb"), rillbook("demo", scratch / f"demo{turn}")) for turn in times]
            row("`demo` (yardstick: `import pandas, duckdb`)", [ours for _, ours in pairs], [theirs for theirs, _ in pairs])
        paths = made_apart(write_sheets, scratch, finds)
        script = str(HERE / "plain_pandas.py")
        if "check" in wanted:
            book = new_book(scratch / "empty")
            three = [(bare(scratch, paths), rillbook("check", *paths, "--book", book), run(script, "check", str(scratch))) for _ in times]
            row(f"`check`, {finds:,} finds", *([one[at] for one in three] for at in (1, 0, 2)))
        if {"load", "loggers", *ON_A_BOOK} & set(wanted):
            pairs = [(bare(scratch, paths), rillbook("load", *paths, "--book", new_book(scratch / "book"))) for _ in times]
            if "load" in wanted:
                row(f"`load`, {finds:,} finds", [ours for _, ours in pairs], [theirs for theirs, _ in pairs])
        for name in ON_A_BOOK:
            if name in wanted:
                pairs = [(bare(scratch, paths), rillbook(name, "--book", scratch / "book")) for _ in times]
                row(f"`{name}`, {finds:,} finds", [ours for _, ours in pairs], [theirs for theirs, _ in pairs])
        if "loggers" in wanted:
            rillbook("load", made_apart(write_loggers, scratch, loggers), "--book", scratch / "book")
            exports, three = made_apart(write_exports, scratch, readings, loggers), []
            for turn in times:
                shutil.copytree(scratch / "book", scratch / f"book{turn}")
                ours = rillbook("load", *exports, "--book", scratch / f"book{turn}")
                three.append((bare(scratch, exports), ours, run(script, "logger", *map(str, exports))))
            name = f"`load`, {readings:,} readings of {loggers:,} logger{'s' * (loggers > 1)}"
            row(name, *([one[at] for one in three] for at in (1, 0, 2)))


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--finds", type=int, default=100_000)
    parser.add_argument("--readings", type=int, default=1_000_000)
    parser.add_argument("--loggers", type=int, default=1, help="files that the readings come in, one a logger")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("commands", nargs="*", default=list(COMMANDS), metavar="COMMAND", help=", ".join(COMMANDS))
    asked = parser.parse_args()
    bench(asked.finds, asked.readings, asked.loggers, asked.rounds, asked.commands)
