"""Exports of loggers written by hand, and what is read of them."""

from __future__ import annotations

from collections import Counter
from datetime import date
from pathlib import Path

import pandas as pd

from pipeline.loggers import export_rows
from pipeline.loggers.exports import Layout
from pipeline.loggers.map import LoggerMap, parse_logger_map

TODAY = date(2024, 1, 1)
STATED = parse_logger_map('[logger]\nutc_offset = "-05:00"\nunit = "degC"\n', "map")


def write(folder: Path, text: str | bytes, name: str = "export.csv", encoding: str = "utf-8") -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
    return path


def stated(words: str) -> LoggerMap:
    return parse_logger_map(f"[logger]\n{words}\n", "map")


def read(layout: Layout, chunk: int = 20_000) -> tuple[pd.DataFrame, Counter[str], Counter[tuple[str, str, str]], Counter[str]]:
    """Readings, rows by fate, held texts and values of a whole file."""
    frames, fates, held, values = [], Counter[str](), Counter[tuple[str, str, str]](), Counter[str]()
    for part in export_rows.parts(layout, chunk):
        frames.append(part.readings)
        fates.update(part.fates)
        held.update(part.held)
        values.update(part.values)
    assert sum(fates.values()) == layout.rows
    return pd.concat(frames, ignore_index=True), fates, held, +values


def times(frame: pd.DataFrame) -> list[str]:
    return [str(moment) for moment in frame["read_at"]]


OFFSET_ONLY = stated('utc_offset = "-05:00"')
