"""Invented series of a logger, and what the checks say of them."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from pipeline.loggers import checks

ZONE = "America/New_York"


def series(temps: Any, start: str = "2023-05-01 05:00", minutes: float = 60, **columns: Any) -> pd.DataFrame:
    n = len(temps)
    frame = pd.DataFrame({
        "line": np.arange(2, n + 2), "read_at": pd.date_range(start, periods=n, freq=f"{minutes}min").astype("datetime64[us]"),
        "temp_c": np.asarray(temps, dtype="float64"), "rh_pct": np.nan, "ambiguous": False, "skipped": False,
    })  # fmt: skip
    return frame.assign(**columns)


def wave(days: int, mean: float = 12, swing: float = 4) -> np.ndarray:
    """Hourly temperatures with one swing a day and a slow drift, so that no value stays the same."""
    hours = np.arange(days * 24)
    return mean + swing / 2 * np.sin(2 * np.pi * hours / 24) + hours * 1e-4


def run(frame: pd.DataFrame, medium: str = "water", step_s: float = 3600, chunk: int = 10**9) -> tuple[pd.DataFrame, pd.DataFrame]:
    state = checks.watch(medium, step_s, ZONE)
    for start in range(0, len(frame), chunk):
        checks.feed(state, frame.iloc[start : start + chunk])
    return checks.finish(state)


def rules(frame: pd.DataFrame, medium: str = "water", step_s: float = 3600) -> list[str]:
    return run(frame, medium, step_s)[0]["rule"].tolist()
