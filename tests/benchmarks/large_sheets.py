"""Large invented sheets for the benchmarks: the invented study under new codes, again and again, and a logger's export of a stream."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.commands import demo_study as demo

KEYS = ("site_id", "visit_id", "find_id", "point_id", "waterbody")
SEED = 20261128
STEP = pd.Timedelta(minutes=15)


def write_sheets(folder: Path, finds: int) -> list[Path]:
    """Sheets of the invented study, repeated under new codes until they hold so many finds, its planted faults among them.

    Each copy has sites, visits and waterbodies of its own.
    """
    sheets = {path.stem: pd.read_csv(path, dtype="str", keep_default_na=False) for path in demo.copy_sheets(folder / "seed")}
    copies = -(-finds // len(sheets["finds"]))
    for name, frame in sheets.items():
        parts = [frame.assign(**{key: f"R{copy}-" + frame[key] for key in KEYS if key in frame}) for copy in range(copies)]
        pd.concat(parts).to_csv(folder / f"{name}.csv", index=False)
    return [folder / f"{name}.csv" for name in sheets]


def write_loggers(folder: Path, loggers: int = 1) -> Path:
    """A sheet with loggers, ``L1`` and so on, at a site of :func:`write_sheets`."""
    site = pd.read_csv(folder / "sites.csv", dtype="str", nrows=1)["site_id"].iloc[0]
    path = folder / "loggers.csv"
    rows = [f"L{number},{site},water,invented,0.2\n" for number in range(1, loggers + 1)]
    path.write_text("logger_id,site_id,medium,model,accuracy_c\n" + "".join(rows), encoding="utf-8")
    return path


def write_exports(folder: Path, readings: int, loggers: int = 1) -> list[Path]:
    """Exports of the loggers, one after the other: a reading each 15 minutes up to the end of 2025, a year's and a day's course, seeded."""
    end = pd.Timestamp("2025-12-31 23:45")
    times = pd.date_range(end=end, periods=readings, freq=STEP)
    day = times.dayofyear.to_numpy() + (times.hour.to_numpy() + times.minute.to_numpy() / 60) / 24
    noise = np.random.default_rng(SEED).normal(0, 0.2, readings)
    water = 10 - 7 * np.cos(2 * np.pi * (day - 20) / 365.25) - 1.2 * np.cos(2 * np.pi * (day % 1 - 0.62)) + noise
    frame = pd.DataFrame({"Date Time, GMT-05:00": times.strftime("%Y-%m-%d %H:%M"), "Temp, °C": np.round(water, 2)})
    paths = [folder / f"L{number}.csv" for number in range(1, loggers + 1)]
    for path, rows in zip(paths, np.array_split(np.arange(readings), loggers), strict=True):
        frame.iloc[rows].to_csv(path, index=False)
    return paths
