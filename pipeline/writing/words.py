"""How a care sheet writes counts, months and temperatures."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import pandas as pd

from pipeline.formulas.year_days import MONTH_NAMES
from schemas.vocabulary import codes_with, in_words, trait

Row = dict[str, Any]
Cell = tuple[str, str, str, str]

STAGES = {stage: trait("life_stage", stage, "plural") or in_words(stage) for stage in codes_with("life_stage", "told")}
MEDIA = {"water": "in water", "edge": "at the waterline", "land": "on land, under cover", "surface": "on the surface at night"}
NBSP = "\N{NO-BREAK SPACE}"
GRADES = {letter: f"{letter}{NBSP}{word}" for letter, word in zip("ABCD", ("strong", "fair", "provisional", "none"), strict=True)}


def number(value: float, digits: int | None = None) -> str:
    """Write a number as people read it: no trailing zeros (or `digits` decimals), a true minus sign."""
    text = f"{value:g}" if digits is None else f"{value:.{digits}f}"
    return text.replace("-", "−") if float(text) else text.lstrip("-")


def fahrenheit(printed: float, *, up: bool = False) -> int:
    """Whole °F of a °C as it is printed, rounded in the safe direction, so that the same °C always has the same °F.

    °F = 1.8 °C + 32 (the definition of the degree Fahrenheit).

    Parameters
    ----------
    printed : float
        The figure in °C.
    up : bool
        Rounded up (bottoms and floors), not down (tops, set points, act lines and ceilings).
    """
    exact = printed * 1.8 + 32
    return math.ceil(exact - 1e-9) if up else math.floor(exact + 1e-9)


def figure(value: Any) -> float | None:
    """Value as a number; None where it is missing."""
    return None if value is None or pd.isna(value) else float(value)


def named(names: Mapping[str, str], code: str) -> str:
    """Name of a code, or the code itself in words."""
    return names.get(code, in_words(code) if names is STAGES else code)


def some_of(names: Sequence[str], most: int) -> str:
    """The first of several names, and how many more there are, such as "A, B and 3 more"."""
    return ", ".join(names[:most]) + (f" and {len(names) - most} more" if len(names) > most else "")


def counted(n: Any, one: str, many: str = "") -> str:
    """A count with its noun, such as "1 site" or "3 sites"."""
    whole = 0 if n is None or pd.isna(n) else int(n)
    return f"{whole} {one if whole == 1 else many or one + 's'}"


def degrees(value: float, f: float, digits: int | None = None) -> str:
    """A temperature in °C with its °F."""
    return f"{number(value, digits)}{NBSP}°C ({number(f)}{NBSP}°F)"


def advised(low: float, high: float, least: tuple[float, int] | None) -> str:
    """Advised span in °C and °F, the °F rounded down as set points are, but never below the least that the page allows."""
    first, last = (fahrenheit(value) if least is None else max(fahrenheit(value), least[1]) for value in (low, high))
    if low == high:
        return degrees(low, first)
    return (
        f"{number(low)} to {number(high)}{NBSP}°C ({first} to {last}{NBSP}°F)"
        if first < last
        else f"{number(low)} to {degrees(high, last)}"
    )


def month_runs(numbers: Iterable[int]) -> str:
    """Names of months, three or more in a row as "March to June"."""
    runs: list[list[int]] = []
    for month in sorted(numbers):
        if runs and month == runs[-1][-1] + 1:
            runs[-1].append(month)
        else:
            runs.append([month])
    names = [[MONTH_NAMES[month - 1] for month in run] for run in runs]
    return ", ".join(f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(run) for run in names)


def share_of(flags: pd.Series) -> str:
    """Share of the flags that hold, in whole %."""
    return f"{round(100 * float(flags.mean()))} %"


def plain(value: float) -> str:
    """An observed value in °C and °F, to the nearest: it is what was read, so no direction is safer."""
    return degrees(value, round(value * 1.8 + 32), 1)


def between(low: float, high: float) -> str:
    """An observed span in °C and °F, to the nearest."""
    if low == high:
        return plain(low)
    ends = f"{number(low, 1)} to {number(high, 1)} °C", f"({number(round(low * 1.8 + 32))} to {number(round(high * 1.8 + 32))} °F)"
    return " ".join(end.replace(" ", NBSP) for end in ends)


def month_key(month: Any) -> str:
    """Month as text without the decimal point that a column with gaps gives to whole numbers."""
    return re.sub(r"\.0$", "", str(month))


def month_name(month: Any) -> str:
    """Name of a month from its number or text; seasons keep their word."""
    key = month_key(month)
    return MONTH_NAMES[int(key) - 1] if key.isdigit() else key
