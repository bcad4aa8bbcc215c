"""Ten years of one logger at 1-minute steps: the audit of its enclosure against a bare DuckDB read of the same file, and its memory.

Run with ``python tests/benchmarks/bench_audit.py [YEARS]``. It prints the ratio and what it comes from; it judges nothing. The goal is a
ratio below 3 and a peak below 1 GB. Each side runs in a process of its own, in turn.
"""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

import pandas as pd

ROUNDS = 3
START = "2015-01-01"
TOML = """
[book]
title = "Invented: one logger"
time_zone = "America/New_York"
[[taxon]]
code = "DMON"
scientific_name = "Desmognathus monticola"
group = "cool_stream"
"""
BARE = """
import duckdb, json, resource, sys, time
from pathlib import Path
path = Path(sys.argv[1]) / "readings.csv"
database = path.with_name("bare.duckdb")
database.unlink(missing_ok=True)
start = time.perf_counter()
with duckdb.connect(str(database)) as connection:
    connection.execute(f"CREATE TABLE readings AS SELECT * FROM read_csv('{path}')")
took = time.perf_counter() - start
print(json.dumps({"s": took, "mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024}))
"""
AUDIT = """
import json, resource, sys, time
from pathlib import Path
import pandas as pd
from pipeline.book.connection import open_book
from pipeline.book.current import current_rows
from pipeline.tanks.audit import audit_enclosure
from pipeline.tanks.stretch import Stretch
folder = Path(sys.argv[1])
rows = pd.read_pickle(folder / "targets.pkl")
start = time.perf_counter()
with open_book(folder) as connection:
    (enclosure,) = current_rows(connection, "enclosures").to_dict("records")
    taxon = {"scientific_name": "Desmognathus monticola", "group": "cool_stream"}
    stretch = Stretch(pd.Timestamp(sys.argv[2]), pd.Timestamp(sys.argv[3]), "America/New_York")
    found = audit_enclosure(connection, enclosure, rows, taxon, stretch)
took = time.perf_counter() - start
n = int(found.sensors[0].days["n"].sum())
spells = len(found.sensors[0].verdict.spells)
print(json.dumps({"s": took, "mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, "n": n, "spells": spells}))
"""


def make(folder: Path, minutes: int) -> None:
    """A book with one enclosure and its logger, and the same readings as a file."""
    sys.path.insert(0, str(Path(__file__).parents[1]))
    from tanks.tank_book import targets

    from pipeline.book.connection import open_book
    from pipeline.commands import run

    (folder / "rillbook.toml").write_text(TOML, encoding="utf-8")
    (folder / "enclosures.csv").write_text("enclosure_id,taxon,population,life_stage,medium\nT1,DMON,north,larva,water\n")
    (folder / "loggers.csv").write_text("logger_id,enclosure_id,medium\nL1,T1,water\n")
    run.load_files(folder, [folder / "enclosures.csv", folder / "loggers.csv"])
    # a year's course, a daily swing, noise; every 5000th reading is missing; above the act line on summer afternoons
    series = f"""SELECT TIMESTAMP '{START}' + to_minutes(i::INTEGER) AS read_at, round(11 + 3.5 * sin(6.283185307 * (i / 525960.0 - 0.3))
      + 2 * sin(6.283185307 * i / 1440.0) + 0.2 * sin(i * 0.7), 2) AS temp_c FROM range({minutes}) t(i) WHERE i % 5000 <> 0"""
    with open_book(folder, write=True) as connection:
        connection.execute(
            "INSERT INTO logger_readings_all (load_id, source, line, logger_id, read_at, temp_c)"
            f" SELECT 1, 0, row_number() OVER (), 'L1', read_at, temp_c FROM ({series})"
        )
        connection.execute(f"COPY (SELECT 'L1' AS logger_id, * FROM ({series})) TO '{folder / 'readings.csv'}'")
    targets().to_pickle(folder / "targets.pkl")


def ran(script: str, *words: str) -> dict[str, float]:
    """What a script in a process of its own prints."""
    done = subprocess.run([sys.executable, "-c", script, *words], check=True, capture_output=True, text=True)
    # in a process without a file of its own DuckDB draws a bar before
    result: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return result


def measure(years: float) -> dict[str, float]:
    """Medians of the rounds."""
    minutes = int(years * 365.25 * 1440)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        make(folder, minutes)
        end = str(pd.Timestamp(START) + pd.Timedelta(minutes=minutes))
        rounds = [(ran(BARE, name), ran(AUDIT, name, START, end)) for _ in range(ROUNDS)]
    bare, audit = (statistics.median(part["s"] for part in side) for side in zip(*rounds, strict=True))
    return {
        "readings": rounds[0][1]["n"], "spells": rounds[0][1]["spells"], "bare_s": bare, "audit_s": audit,
        "ratio": statistics.median(audited["s"] / read["s"] for read, audited in rounds), "peak_mb": max(one["mb"] for _, one in rounds),
    }  # fmt: skip


if __name__ == "__main__":
    for what, value in measure(float(sys.argv[1]) if len(sys.argv) > 1 else 10.0).items():
        print(f"{what:10} {value:,.2f}")
