"""Ratios, side by side in one run: our bootstrap of a book against a plain pandas loop, and against one pandas groupby-quantile.

Run with ``PYTHONPATH=. python tests/benchmarks/bench_bootstrap.py [READINGS] [CELLS]``. The loop is timed on a few replicates of a few
cells and scaled. Peak memory is that of the whole process, the frame and the libraries in it. It prints ratios and the times that they
come from; it judges nothing.
"""

from __future__ import annotations

import resource
import statistics
import sys
import time
from collections.abc import Callable

import numpy as np
import pandas as pd

from pipeline.statistics.bootstrap import crossed_bootstrap
from pipeline.statistics.weights import site_day_weights

REPLICATES = 2000
PROBABILITIES = [0.05, 0.5, 0.95]
SITES, DATES = 20, 60
ROUNDS = 5
LOOP_REPLICATES, LOOP_CELLS = 5, 2


def make_book(readings: int, cells: int) -> pd.DataFrame:
    """Invented readings: columns ``cell``, ``site``, ``date``, ``month``, ``value`` (°C), ``weight`` (of site-days)."""
    rng = np.random.default_rng(1)
    date = pd.Timestamp("2019-06-01") + pd.to_timedelta(2 * rng.integers(0, DATES, readings), unit="D")
    frame = pd.DataFrame({
        "cell": rng.integers(0, cells, readings), "site": [f"stream {number:02}" for number in rng.integers(0, SITES, readings)],
        "date": date, "month": date.month, "value": rng.normal(14, 2, readings).round(2),
    })  # fmt: skip
    frame["weight"] = 0.0
    for _, cell in frame.groupby("cell"):
        frame.loc[cell.index, "weight"] = site_day_weights(cell["site"], cell["month"], cell["date"])
    return frame


def ours(book: pd.DataFrame) -> pd.DataFrame:
    """Bootstrapped quantiles of every cell, by cell."""
    found = {
        cell: crossed_bootstrap(rows["value"], rows["weight"], rows["site"], rows["date"], PROBABILITIES, REPLICATES, int(cell))
        for cell, rows in book.groupby("cell")
    }
    return pd.DataFrame({cell: draws.std(axis=0) for cell, draws in found.items()})


def plain_replicate(rows: pd.DataFrame, rng: np.random.Generator) -> list[float]:
    """One replicate as one writes it with pandas: draw sites and dates, put the frames together, weigh, read off."""
    sites, dates = rows["site"].unique(), rows["date"].unique()
    of_site = {site: part for site, part in rows.groupby("site")}
    drawn = pd.concat([of_site[site] for site in rng.choice(sites, len(sites))])
    copies = pd.Series(rng.choice(dates, len(dates))).value_counts()
    drawn = drawn.assign(weight=drawn["weight"] * drawn["date"].map(copies).fillna(0)).sort_values("value")
    reached = drawn["weight"].cumsum() / drawn["weight"].sum()
    return [float(drawn["value"][reached >= probability].iloc[0]) for probability in PROBABILITIES]


def seconds(task: Callable[[], object], rounds: int = ROUNDS) -> float:
    """Median wall seconds of a task."""
    times = []
    for _ in range(rounds):
        start = time.perf_counter()
        task()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def plain_loop(book: pd.DataFrame) -> float:
    """Seconds of the whole plain loop, scaled from a few replicates of a few cells."""
    rng = np.random.default_rng(1)
    cells = [rows for _, rows in book.groupby("cell")][:LOOP_CELLS]
    start = time.perf_counter()
    for rows in cells:
        for _ in range(LOOP_REPLICATES):
            plain_replicate(rows, rng)
    scale = book["cell"].nunique() / LOOP_CELLS * REPLICATES / LOOP_REPLICATES
    return (time.perf_counter() - start) * scale


def main() -> None:
    """Time and print."""
    given = [int(word) for word in sys.argv[1:]]
    book = make_book(*(given or [100_000, 100]))
    ours(book[book["cell"] < 2])
    mine, one = seconds(lambda: ours(book), 3), seconds(lambda: book.groupby("cell")["value"].quantile(0.95))
    three = seconds(lambda: book.groupby("cell")["value"].quantile(PROBABILITIES))
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    loop = plain_loop(book)
    print(f"{len(book):,} readings, {book['cell'].nunique()} cells, {REPLICATES:,} replicates of 3 quantiles: {mine:.2f} s")
    print(f"plain pandas loop, scaled from {LOOP_REPLICATES * LOOP_CELLS} replicates, {loop:,.0f} s: {loop / mine:,.0f} x ours")
    print(f"one groupby-quantile, {1000 * one:.1f} ms: ours is {mine / one:.0f} x")
    print(f"one groupby-quantile of all 3, {1000 * three:.1f} ms: ours is {mine / three:.0f} x")
    print(f"peak memory {peak:.0f} MB")


if __name__ == "__main__":
    main()
