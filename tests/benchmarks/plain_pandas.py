"""What a person would write with pandas alone for the job of a check or of a logger load: the yardstick of `bench_speed.py`.

It reads the sheets as text, types every column of numbers, days and codes, counts what cannot be read, lies outside its span, is missing,
stands twice or hangs on nothing, and prints the counts. It keeps no text, line or reason of a fault, and knows no rule of two columns.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pandas as pd

from schemas.tables import fields, key_of
from schemas.vocabulary import codes

PARENTS = {"visits": ("site_id", "sites"), "finds": ("visit_id", "visits"), "availability": ("visit_id", "visits")}


def check(folder: Path) -> None:
    """Check the four sheets of a folder, and count the faults of each."""
    frames: dict[str, pd.DataFrame] = {}
    for table in ("sites", "visits", "finds", "availability"):
        frame = frames[table] = pd.read_csv(folder / f"{table}.csv", dtype="str", keep_default_na=False, na_values=["", "NA", "-"])
        faults = int(frame[key_of(table)].duplicated().sum())
        for name, declared in fields(table).items():
            if name not in frame:
                continue
            text = frame[name].str.strip()
            if declared.kind in ("real", "whole"):
                number = pd.to_numeric(text, errors="coerce")
                faults += int((number.isna() & text.notna()).sum())
                if declared.possible:
                    faults += int((~number.between(*declared.possible) & number.notna()).sum())
                frame[name] = number
            elif declared.kind == "day":
                day = pd.to_datetime(text, format="%Y-%m-%d", errors="coerce")
                faults += int((day.isna() & text.notna()).sum())
                frame[name] = day
            elif declared.kind == "code":
                faults += int((~text.isin(codes(declared.vocabulary)) & text.notna()).sum())
            faults += int(text.isna().sum()) if declared.required else 0
        if table in PARENTS:
            name, parent = PARENTS[table]
            faults += int((~frame[name].isin(frames[parent][key_of(parent)])).sum())
        print(table, len(frame), faults)


def logger(path: Path) -> None:
    """Read an export, bring its times to UTC, and count what cannot be read."""
    frame = pd.read_csv(path, dtype="str", keep_default_na=False, names=["at", "temp_c"], skiprows=1)
    frame["at"] = pd.to_datetime(frame["at"], format="%Y-%m-%d %H:%M", errors="coerce") + pd.Timedelta(hours=5)
    frame["temp_c"] = pd.to_numeric(frame["temp_c"], errors="coerce")
    print(len(frame), int(frame.isna().any(axis=1).sum()), int(frame["at"].duplicated().sum()))


if __name__ == "__main__":
    for named in sys.argv[2:]:
        {"check": check, "logger": logger}[sys.argv[1]](Path(named))
