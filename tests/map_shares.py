"""How much of a hand-made column map a proposed one says, line by line."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from fnmatch import fnmatch
from typing import Any

import pandas as pd

from pipeline.mapping.apply_map import apply_map
from pipeline.mapping.column_map import parse_map
from pipeline.mapping.first_map import FirstMap
from pipeline.mapping.write_first_map import asks, written
from pipeline.reading.rows import MappedSource, SourceTable
from pipeline.reading.values import read_column
from schemas.tables import LOADED, fields

Statement = tuple[str, str]


@dataclass(frozen=True)
class Share:
    """Lines of the hand-made map, those that are proposed, and lines that are proposed as seen and are not so."""

    lines: tuple[Statement, ...]
    proposed: tuple[Statement, ...]
    wrong: tuple[Statement, ...]

    @property
    def share(self) -> float:
        return len(self.proposed) / len(self.lines)


def confirmed(text: str) -> str:
    """A proposed map as if a person had agreed to every guess, and had taken out every question."""
    left_out = re.sub(r', (unit|clock|date_order) = "ask"', "", text)
    kept = [line for line in left_out.splitlines() if not re.search(r'= .*"ask"', line)]
    return re.sub(r"^confirm = \[.*?^\]$", "confirm = []", "\n".join(kept), flags=re.M | re.S)


def share_of(by_hand: str, proposed: FirstMap, sheets: list[SourceTable]) -> Share:
    """Hold a proposed map against one made by hand.

    A line is ``key = value``; ``title``, ``about`` and ``file`` are none. It is proposed where the value is the same, or where the field
    gets the same value from every row of the sheet.
    """
    text = confirmed(written(proposed))
    mine, theirs = _statements(tomllib.loads(text), sheets), _statements(tomllib.loads(by_hand), sheets)
    same_effect = _same_effect(apply_map(parse_map(text, "proposed"), sheets), apply_map(parse_map(by_hand, "by hand"), sheets))
    asked = {(one.sheet.file, line.path) for one in proposed.sources for line in one.lines if asks(line.value)}
    right = [one for one, value in theirs.items() if one in mine and one not in asked and (mine[one] == value or one in same_effect)]
    seen = [("", line.path) for line in proposed.reading if not line.guess and not asks(line.value)]
    seen += [(one.sheet.file, line.path) for one in proposed.sources for line in one.lines if not line.guess and not asks(line.value)]
    # what the hand-made map leaves unsaid is wrong too, unless it has the same effect
    return Share(tuple(theirs), tuple(right), tuple(one for one in seen if one not in right and one not in same_effect))


def _statements(document: dict[str, Any], sheets: list[SourceTable]) -> dict[Statement, Any]:
    found: dict[Statement, Any] = {("", f"reading.{word}"): _plain(value) for word, value in document.get("reading", {}).items()}
    for source in document["source"]:
        file = next(one.file for one in sheets if fnmatch(one.file, source.get("file", "*")))
        for word, value in source.items():
            if word in (*LOADED, "no_find", "skip", "total"):
                found.update({(file, f"{word}.{name}"): _plain(one) for name, one in value.items()})
            elif word == "wide":
                found[file, "wide.field"] = value.get("field", "count")
                found.update({(file, f"wide.columns.{name}"): sets for name, sets in value["columns"].items()})
            elif word != "file":
                found[file, word] = _plain(value)
    return found


def _plain(value: Any) -> Any:
    if isinstance(value, list):
        return sorted(map(str, value))
    return {"column": value} if isinstance(value, str) else value


def _same_effect(mine: list[MappedSource], theirs: list[MappedSource]) -> set[Statement]:
    found = set()
    for one, other in zip(mine, theirs, strict=True):
        for mapped, as_by_hand in ((a, b) for a in one.mapped for b in other.mapped if a.table == b.table):
            if list(mapped.rows) != list(as_by_hand.rows):
                continue
            for name in set(mapped.text) & set(as_by_hand.text):
                values = [
                    read_column(each.text[name], fields(each.table)[name], each.styles[name]).values
                    if name in each.styles
                    else each.text[name]
                    for each in (mapped, as_by_hand)
                ]
                if _equal(*values):
                    found.add((one.source.file, f"{mapped.table}.{name}"))
    return found


def _equal(a: pd.Series, b: pd.Series) -> bool:
    return bool(((a == b) | (a.isna() & b.isna())).fillna(False).all()) and len(a) == len(b)
