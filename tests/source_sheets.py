"""Sheets as text, written by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from pipeline.reading.rows import Mapped, MappedSource, SourceMap, SourceTable
from pipeline.reading.values import CANONICAL, Style


def sheet(text: str, file: str = "a.csv", name: str = "", **words: Any) -> SourceTable:
    """A sheet of comma-separated lines, the first of them its headings."""
    header, *body = [line.split(",") for line in text.strip("\n").split("\n")]
    cells = pd.DataFrame(body, columns=header, dtype="str")
    return SourceTable(file, name, cells, np.arange(2, len(body) + 2), "0" * 64, words.pop("misshapen", {}), 0, **words)


def source_map(**words: Any) -> SourceMap:
    """A map of one sheet that says nothing but the given words."""
    plain: dict[str, Any] = {"missing": (), "unused": (), "no_find": {}, "wide_field": "count", "wide": {}, "tables": {}}
    return SourceMap("a.csv", "", **{**plain, **words})


def mapped(table: str, given: list[tuple[str | None, ...]], names: tuple[str, ...], styles: dict[str, Style] | None = None) -> MappedSource:
    """A mapped sheet of one table, its cells under the names of fields."""
    text = pd.DataFrame(given, columns=list(names), dtype="str")
    cells = text.fillna("")
    sheet = SourceTable("a.csv", "", cells, np.arange(2, len(cells) + 2), "0" * 64, {}, 0)
    known = {**dict.fromkeys(names, CANONICAL), **(styles or {})}
    one = Mapped(table, text, np.arange(len(text)), known, {name: (name,) for name in names}, {})
    return MappedSource(sheet, (one,), (cells == "").to_numpy(), (), np.zeros(len(cells), dtype=bool), ())
