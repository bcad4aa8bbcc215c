"""The invented study: its files, and whether each planted fault met its expected effect."""

from __future__ import annotations

import csv
from pathlib import Path

import pandas as pd

from pipeline.errors import RillbookError
from pipeline.settings import data_file
from schemas.rules import HOLD_ROW, HOLD_VALUE

SHEETS = ("sites.csv", "visits.csv", "finds.csv", "availability.csv")
FAULTS = "planted_faults.csv"


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
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name in (*SHEETS, FAULTS):
            (folder / name).write_bytes(data_file(f"demo/{name}").read_bytes())
    except OSError as problem:
        raise RillbookError(f"the folder cannot be written ({problem.strerror}).", "Choose another.", str(folder)) from None
    return [folder / name for name in SHEETS]


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
