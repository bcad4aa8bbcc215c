"""How much evidence a cell has, and how finely its targets may be printed."""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import pandas as pd

from pipeline.settings.limits import grade_rules, judgement
from schemas.enums import Status

ORDER = "ABCD"
NONE = "D"
# Sums of decimal fractions end a hair beside the whole step; so little is rounding of the machine and not of the evidence.
HAIR = 1e-9


@cache
def _rules() -> dict[str, dict[str, float]]:
    return {str(grade): {str(name): float(value) for name, value in row.items()} for grade, row in grade_rules().iterrows()}


@cache
def step(grade: str) -> float:
    """Step to which figures of a grade are rounded, °C; those without a grade of their own are rounded like the weakest."""
    letter = grade[:1].lower()
    return judgement(f"rounding_{letter if letter in ('a', 'b', 'c') else 'c'}")


def needs(grade: str, monthly: bool) -> dict[str, float]:
    """What a grade asks for; a month asks for a third of the dates and visits of a season.

    Parameters
    ----------
    grade : str
        A, B or C.
    monthly : bool
        The cell is one month.

    Returns
    -------
    dict
        ``sites``, ``dates``, ``visits``, ``years``, ``night_share`` (at least) and ``half_width`` (°C, at most).
    """
    rule = dict(_rules()[grade])
    if monthly:
        for name in ("dates", "visits"):
            rule[name] = math.ceil(rule[name] * judgement("month_share") - HAIR)
    return rule


def grade_of(counts: dict[str, Any], *, monthly: bool, only_from_visit: bool) -> str:
    """Grade of a cell (method §5).

    Parameters
    ----------
    counts : dict
        ``sites``, ``dates``, ``visits`` of the cell; ``years`` and ``night_share`` of its taxon, population, stage and medium;
        ``half_width`` of the 95 % interval of P50 in °C, nan where it could not be computed.
    monthly : bool
        The cell is one month.
    only_from_visit : bool
        No reading was taken at an animal: C at most.

    Returns
    -------
    str
        A strong, B fair, C provisional, D none.
    """
    for grade in "ABC"[2 if only_from_visit else 0 :]:
        rule = needs(grade, monthly)
        enough = all(counts[name] >= rule[name] for name in ("sites", "dates", "visits", "years", "night_share"))
        # nan <= inf is false, but a grade without a condition on the width must not ask for one.
        if enough and (math.isinf(rule["half_width"]) or counts["half_width"] <= rule["half_width"]):
            return grade
    return NONE


def missing_for_c(counts: dict[str, Any], *, monthly: bool) -> str:
    """Say what a cell lacks for a target, such as "2 of 3 sites, 4 of 6 dates needed"; empty where its counts reach C."""
    rule = needs("C", monthly)
    short = [f"{int(counts[name])} of {int(rule[name])} {name}" for name in ("sites", "dates", "visits") if counts[name] < rule[name]]
    return f"{', '.join(short)} needed" if short else ""


def worse(grade: str, cap: str | None) -> str:
    """The lower of two grades; no cap changes nothing."""
    return grade if not cap else max(grade, cap, key=ORDER.index)


def provisional(grade: str) -> bool:
    """C or better: good enough for a target."""
    return grade != NONE


def down(value: float, grade: str) -> float:
    """Round a top down to the step of its grade, °C."""
    size = step(grade)
    return math.floor(value / size + HAIR) * size + 0.0


def up(value: float, grade: str) -> float:
    """Round a bottom up to the step of its grade, °C."""
    size = step(grade)
    return math.ceil(value / size - HAIR) * size + 0.0


def least_allowed(rows: pd.DataFrame) -> float:
    """Lowest temperature that a cell's figures allow: its floor, or where winter is unknown the bottom of the lowest month measured.

    Parameters
    ----------
    rows : DataFrame
        Targets of one cell, columns of ``schemas.frames.targets.TARGET_COLUMNS``, °C.

    Returns
    -------
    float
        °C; nan where no month has a target.

    Notes
    -----
    Method §5: without a cold-season reading "do not go below the lowest month measured".
    """
    floor = float(rows["floor"].max())
    months = rows["month"].astype("str").str.replace(".0", "").str.isdigit() & rows["status"].ne(Status.REFUSED)
    return floor if not math.isnan(floor) else float(rows.loc[months, "band_low"].min())
