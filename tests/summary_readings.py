"""Seeded readings of invented loggers, irregular as real ones are, with what a reduction must leave out."""

from __future__ import annotations

from pathlib import Path

import duckdb
import numpy as np
import pandas as pd

from pipeline.summaries.reduce import Asked
from schemas.frames.summaries import SUMMARIES

ZONE = "America/New_York"
START = pd.Timestamp("2019-06-01 03:00")
# step in minutes of each logger, and whether its clock counts seconds that drift
STEPS = {"A1": (15, False), "A2": (10, False), "B 3": (12, True), "07": (20, False), "E5": (5, True), "Z9": (15, False)}
PLACES = pd.DataFrame(
    {"logger_id": ["A1", "A2", "B 3", "07", "E5"], "latitude": [40.1, 40.1, 40.1, 64.8, np.nan], "longitude": [-75.2] * 5}
)
LINES = (18.0,)
KEY = {"hourly": ["logger_id", "hour_at"], "daily": ["logger_id", "day"], "excursions": ["logger_id", "line_c", "start_at"]}


def made(n: int, seed: int = 7) -> tuple[pd.DataFrame, pd.DataFrame]:
    """About `n` rows (``logger_id``, ``read_at``, ``temp_c``), and stretches in doubt.

    Gaps, empty cells, values that are no number or not possible, values exactly at a line, one reading alone, and both changes of the clock
    of every year lie in them.
    """
    rng = np.random.default_rng(seed)
    parts, doubt = [], []
    for name, (minutes, drifts) in STEPS.items():
        rows = n // len(STEPS)
        at_s = np.arange(rows) * minutes * 60.0
        # a gap of days every few months, and single readings that are lost
        at_s += np.cumsum((rng.random(rows) < 0.0005) * rng.integers(1, 400, rows)) * minutes * 60
        at_us = (at_s * 1e6).astype("int64") + (rng.integers(-900_000, 900_000, rows) if drifts else 0)
        hours = at_s / 3600
        temp = 11 + 7 * np.sin(2 * np.pi * (hours / 8766 - 0.1)) + 2.5 * np.sin(2 * np.pi * (hours - 14) / 24) + rng.normal(0, 0.4, rows)
        temp = np.round(temp, 3 if drifts else 1)
        temp[rng.random(rows) < 0.002] = np.nan
        temp[rng.random(rows) < 0.0005] = -200.0
        frame = pd.DataFrame({"logger_id": name, "read_at": START + pd.to_timedelta(at_us, unit="us"), "temp_c": temp})
        parts.append(frame[rng.random(rows) > 0.001])
        for start in rng.integers(0, rows - 500, 4):
            doubt.append((name, frame["read_at"].iloc[start], frame["read_at"].iloc[start + rng.integers(0, 300)]))
    parts.append(pd.DataFrame({"logger_id": ["once"], "read_at": [START], "temp_c": [30.0]}))
    return pd.concat(parts, ignore_index=True), pd.DataFrame(doubt, columns=["logger_id", "from_at", "to_at"])


def asked(in_doubt: pd.DataFrame) -> Asked:
    return Asked(ZONE, LINES, PLACES, in_doubt)


def write_parquet(readings: pd.DataFrame, folder: Path, empty: str = "NaN") -> None:
    """Write readings parted by logger; empty cells as NULL or, every second one, as a value that is no number."""
    with duckdb.connect() as connection:
        connection.register("given", readings)
        value = f"CASE WHEN isnan(temp_c) AND line % 2 = 0 THEN NULL WHEN isnan(temp_c) THEN '{empty}'::DOUBLE ELSE temp_c END"
        numbered = "SELECT *, row_number() OVER () AS line FROM given"
        connection.execute(
            f"COPY (SELECT logger_id, read_at, {value} AS temp_c FROM ({numbered}))"
            f" TO '{folder}' (FORMAT parquet, PARTITION_BY (logger_id))"
        )


def assert_same(folder: Path, other: Path) -> None:
    """Two reductions of one set of readings are the same: texts, moments and counts exactly, numbers to 1e-9."""
    assert (folder / "summaries.json").read_text() == (other / "summaries.json").read_text()
    for name in SUMMARIES:
        mine, theirs = table(folder, name), table(other, name)
        assert len(mine)
        pd.testing.assert_frame_equal(mine, theirs, rtol=0, atol=1e-9, obj=name)


def table(folder: Path, name: str) -> pd.DataFrame:
    """A reduced table as it was written, in order."""
    with duckdb.connect() as connection:
        frame = connection.execute(f"SELECT * FROM read_parquet('{folder}/{name}/*/*.parquet', hive_partitioning = true)").df()
    return frame.sort_values(KEY.get(name, ["logger_id", "day"]), ignore_index=True)
