"""Sheets written by hand and checked with the book of tests/cases/base."""

from __future__ import annotations

from datetime import date
from functools import cache
from pathlib import Path

import pandas as pd

from pipeline.checking import check
from pipeline.checking.outcome import Checked
from pipeline.checking.typed_rows import gather
from pipeline.mapping import apply_map as mapping
from pipeline.mapping import own_sheets
from pipeline.reading import files as read
from pipeline.reading.rows import MappedSource
from pipeline.settings import Settings
from schemas.tables import LOADED

CASES = Path(__file__).parent / "cases"
TODAY = date(2026, 1, 1)


def mapped(paths: list[Path]) -> list[MappedSource]:
    tables = read.read_files(paths)
    return mapping.apply_map(own_sheets.own_map(tables)[0], tables)


def empty() -> dict[str, pd.DataFrame]:
    return {table: gather(table, []).typed for table in LOADED}


def base() -> list[Path]:
    return [CASES / "base" / f"{table}.csv" for table in LOADED]


@cache
def mapped_base() -> tuple[MappedSource, ...]:
    """The base book read once: most cases stand beside it."""
    return tuple(mapped(base()))


def run(paths: list[Path], book: Settings, known: dict[str, pd.DataFrame] | None = None) -> Checked:
    more = paths[len(LOADED) :] if paths[: len(LOADED)] == base() else None
    sources = mapped(paths) if more is None else [*mapped_base(), *(mapped(more) if more else [])]
    return check.check(sources, book, known or empty(), TODAY)


def write(folder: Path, **sheets: str) -> list[Path]:
    paths = []
    for name, text in sheets.items():
        paths.append(folder / f"{name}.csv")
        paths[-1].write_text(text, encoding="utf-8")
    return paths
