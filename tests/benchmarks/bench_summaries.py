"""The reduction of logger readings by its expressions beside the same SQL written by hand, in DuckDB.

Run with ``PYTHONPATH=. python tests/benchmarks/bench_summaries.py [--readings N] [--rounds N]``. It prints CPU seconds and ratios, the
median of the rounds, and judges nothing. The goal of the daily reduction is a ratio of 1.5 at 10⁷ readings. Each side runs in a process of
its own, in turn, and reads the same Parquet file; imports are not counted on either side.
"""

from __future__ import annotations

import argparse
import json
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

import duckdb

LOGGERS, MINUTES = 20, 15
BEFORE = """
import json, resource, sys
from pathlib import Path
folder = Path(sys.argv[1])
def told():
    used = resource.getrusage(resource.RUSAGE_SELF)
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1024
"""
BY_HAND = (
    BEFORE
    + """
import duckdb
import pandas as pd
zone = "America/New_York"
edges = pd.date_range("2014-12-30", "2035-01-01", freq="h", tz="UTC")
shift = (edges.tz_convert(zone).tz_localize(None) - edges.tz_localize(None)) // pd.Timedelta(hours=1)
changes = [(str(edges[i].tz_localize(None)), int(shift[i])) for i in range(1, len(edges)) if shift[i] != shift[i - 1]]
case = "CASE " + " ".join(f"WHEN read_at < TIMESTAMP '{at}' THEN {int(shift[0]) if not i else changes[i - 1][1]}" for i, (at, _) in
    enumerate(changes)) + f" ELSE {changes[-1][1]} END"
start = told()[0]
with duckdb.connect() as connection:
    connection.execute("SET preserve_insertion_order = false")
    connection.execute(f'''COPY (
        WITH kept AS (FROM read_parquet('{folder}/in.parquet') WHERE NOT isnan(temp_c) AND temp_c BETWEEN -40 AND 85),
        steps AS (SELECT logger_id, read_at - lag(read_at) OVER (PARTITION BY logger_id ORDER BY read_at) AS step FROM kept),
        usual AS (SELECT logger_id, median(epoch_us(step)) / 1e6 AS step_s FROM steps GROUP BY ALL),
        days AS (SELECT logger_id, (read_at + to_hours({case}))::DATE AS day, count(*) AS n, avg(temp_c) AS mean_c, min(temp_c) AS low_c,
          max(temp_c) AS high_c FROM kept GROUP BY ALL)
        SELECT *, year(day) AS year FROM days JOIN usual USING (logger_id)
      ) TO '{folder}/by_hand' (FORMAT parquet, PARTITION_BY (year), OVERWRITE_OR_IGNORE)''')
cpu, mb = told()
print(json.dumps({"daily": cpu - start, "mb": mb}))
"""
)
BY_EXPRESSIONS = (
    BEFORE
    + """
import shutil
import pandas as pd
from pipeline.summaries.in_duckdb import in_parquet
from pipeline.summaries import expressions, reduce
shutil.rmtree(folder / "out", ignore_errors=True)
asked = reduce.Asked("America/New_York", (18.0,), pd.DataFrame({"logger_id": ["L0", "L1"], "latitude": 40.0, "longitude": -75.0}))
spent, last = {}, [told()[0], "ibis"]
def step(name):
    now = told()[0]
    spent[last[1]] = spent.get(last[1], 0) + now - last[0]
    last[:] = [now, name]
expressions.sql_of(expressions.table("t", expressions.READINGS), "duckdb")
step("start")
with in_parquet(folder / "in.parquet", folder) as engine:
    reduce.reduce_readings(engine, asked, folder / "out", lambda words: step(words.removeprefix("reducing: ")))
    step("end")
spent["mb"] = told()[1]
# what the day's table needs: the steps of each logger, and the table
spent["daily_alone"] = spent["counting the readings"] + spent["daily"]
print(json.dumps(spent))
"""
)


def make(folder: Path, readings: int) -> None:
    """Readings of invented loggers, in one file."""
    each = readings // LOGGERS
    series = f"""SELECT 'L' || (i // {each}) AS logger_id,
      TIMESTAMP '2015-01-01' + to_minutes(({MINUTES} * (i % {each}))::INTEGER) AS read_at,
      round(11 + 7 * sin(6.283185307 * ((i % {each}) * {MINUTES} / 525960.0 - 0.3)) + 2 * sin(6.283185307 * i * {MINUTES} / 1440.0)
      + 0.2 * sin(i * 0.7), 2) AS temp_c FROM range({each * LOGGERS}) t(i) WHERE i % 5000 <> 0"""
    duckdb.sql(f"COPY ({series}) TO '{folder}/in.parquet'")


def ran(script: str, folder: Path) -> dict[str, float]:
    """What a script in a process of its own prints."""
    done = subprocess.run([sys.executable, "-c", script, str(folder)], check=True, capture_output=True, text=True)
    result: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return result


def measure(readings: int, rounds: int) -> dict[str, float]:
    """Medians of the rounds."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        make(folder, readings)
        both = [(ran(BY_HAND, folder), ran(BY_EXPRESSIONS, folder)) for _ in range(rounds)]
        left, right = (f"'{folder}/{part}/*/*.parquet'" for part in ("by_hand", "out/daily"))
        (apart,) = duckdb.sql(
            f"SELECT count(*), max(abs(a.mean_c - b.mean_c)), count(*) FILTER (a.n <> b.n OR a.step_s <> b.step_s)"
            f" FROM {left} a FULL JOIN {right} b USING (logger_id, day)"
        ).fetchall()
    assert apart[1] <= 1e-9 and apart[2] == 0, apart
    found = {f"{name} s": statistics.median(one[name] for _, one in both) for name in both[0][1] if name != "mb"}
    found |= {"daily by hand s": statistics.median(one["daily"] for one, _ in both), "days": apart[0]}
    found["daily, ratio"] = statistics.median(made["daily_alone"] / hand["daily"] for hand, made in both)
    return {**found, "by hand MB": max(one["mb"] for one, _ in both), "expressions MB": max(one["mb"] for _, one in both)}


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--readings", type=int, default=10_000_000)
    parser.add_argument("--rounds", type=int, default=3)
    words = parser.parse_args()
    for what, value in measure(words.readings, words.rounds).items():
        print(f"{what:28} {value:,.2f}")
