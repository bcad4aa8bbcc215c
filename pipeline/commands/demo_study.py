"""The invented study: its files, and whether each planted fault met its expected effect."""

from __future__ import annotations

import csv
from pathlib import Path

import pandas as pd

from pipeline.errors import RillbookError
from pipeline.settings import data_file
from schemas.rules.rules import HOLD_ROW, HOLD_VALUE

SHEETS = ("sites.csv", "visits.csv", "finds.csv", "availability.csv")
FAULTS = "planted_faults.csv"
LANDSCAPE = "landscape.geojson"
TANK_SHEETS = ("enclosures.csv", "loggers.csv", "water_tests.csv", "husbandry_events.csv")
TANK_LOGGERS = ("tank_1.csv", "tank_2.csv", "tank_3.csv", "tank_4.csv")
TANKS_UNTIL = "2025-07-31"
"""Last day of the invented keeper's record that the demo audits."""


def settings_text() -> str:
    """The `rillbook.toml` of the invented study."""
    return data_file("demo/rillbook.toml").read_text(encoding="utf-8")


def copy_sheets(folder: Path) -> list[Path]:
    """Copy the sheets of the invented study into a folder; return their paths.

    Raises
    ------
    RillbookError
        The folder cannot be written.
    """
    _copy(folder, "demo", (*SHEETS, FAULTS, LANDSCAPE))
    return [folder / name for name in SHEETS]


def copy_tank_sheets(folder: Path) -> tuple[list[Path], list[Path]]:
    """Copy what the invented keeper wrote into a folder; return the paths of the sheets, and of the loggers' exports.

    Raises
    ------
    RillbookError
        The folder cannot be written.
    """
    _copy(folder, "demo/tank_sheets", (*TANK_SHEETS, *TANK_LOGGERS))
    return [folder / name for name in TANK_SHEETS], [folder / name for name in TANK_LOGGERS]


def _copy(folder: Path, source: str, names: tuple[str, ...]) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in names:
            (folder / name).write_bytes(data_file(f"{source}/{name}").read_bytes())
    except OSError as problem:
        raise RillbookError(f"the folder cannot be written ({problem.strerror}).", "Choose another.", str(folder)) from None


def planted_faults() -> pd.DataFrame:
    """Planted faults: table, row_key, field, rule, effect, text, note."""
    text = data_file(f"demo/{FAULTS}").read_text(encoding="utf-8")
    return pd.DataFrame(csv.DictReader(text.splitlines()), dtype="str")


def compare(held: pd.DataFrame, flags: pd.DataFrame) -> pd.DataFrame:
    """Hold what a load found against what was planted.

    Parameters
    ----------
    held, flags : DataFrame
        As a check reports them.

    Returns
    -------
    DataFrame
        ``table``, ``row_key``, ``rule``, ``expected`` and ``met`` effect, one row a planted or met fault; an empty text
        where there is none.
    """
    effect = held["candidate"].map(lambda candidate: HOLD_ROW if candidate >= 0 else HOLD_VALUE)
    found = pd.concat([held.assign(effect=effect)[["table", "row_key", "rule", "effect"]], flags[["table", "row_key", "rule", "effect"]]])
    key = ["table", "row_key", "rule"]
    planted = planted_faults()[[*key, "effect"]].drop_duplicates(key).rename(columns={"effect": "expected"})
    met = found.drop_duplicates(key).rename(columns={"effect": "met"})
    return planted.merge(met, on=key, how="outer").fillna("").sort_values(key, ignore_index=True)
