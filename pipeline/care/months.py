"""The keeper's table of a care sheet: band, set point and act line of each month, its ceiling and its floor."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import pairwise
from typing import Any

import pandas as pd

from pipeline.errors import RillbookError
from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.settings import DEFAULTS
from pipeline.writing.site_counts import in_class
from pipeline.writing.words import GRADES, Row, advised, counted, degrees, fahrenheit, figure, month_name, month_runs, number
from schemas.enums import Status


def month_row(month: int, record: Row | None, values: tuple[float, ...], ceiling: float | None, floor: float | None) -> Row:
    """One row of the keeper's table.

    Parameters
    ----------
    month : int
        1 to 12.
    record : dict or None
        The month's row of the targets.
    values : tuple of float
        Its readings, °C.
    ceiling, floor : float or None
        Of the cell, °C.

    Returns
    -------
    dict
        ``kind`` (target, borrowed, refused, empty), ``low``, ``high``, ``aim_c``, ``act`` (°C or None) and what to print of them.

    Raises
    ------
    RillbookError
        One part of the row forbids what another advises.
    """
    name, n = MONTH_NAMES[month - 1], len(values)
    row: Row = {"number": month, "name": name, "kind": "empty", "why": "no readings", "notes": []}
    row |= dict.fromkeys(("low", "high", "aim_c", "act"))
    if record is None:
        return row if not n else {**row, "kind": Status.REFUSED, "why": "no target was derived", "notes": [counted(n, "reading")]}
    if record["status"] == Status.REFUSED and not n and not figure(record["n_readings"]):
        return row
    reason = "" if pd.isna(record["reason"]) else str(record["reason"])
    counts = f"{counted(record['n_readings'], 'reading')}, {counted(record['n_dates'], 'date')}, {in_class(record['n_sites'])}"
    if record["status"] == Status.REFUSED or figure(record["band_high"]) is None:
        return {**row, "kind": Status.REFUSED, "why": reason or Status.REFUSED, "notes": [counts]}
    _refuse_contradiction(name, record, ceiling, floor)
    return {**row, **_kept(record, reason, counts, floor)}


def _kept(record: Row, reason: str, counts: str, floor: float | None) -> Row:
    """What a row with a target says, in °C and °F."""
    low, high, aim, act = (float(record[column]) for column in ("band_low", "band_high", "set_point", "act_line"))
    warm = row_fahrenheit(record, floor)
    least = None if floor is None else (floor, fahrenheit(floor, up=True))
    borrowed = record["status"] == Status.BORROWED
    why = f"borrowed from {month_name(record['borrowed_from'])}" if borrowed else ""
    notes = ["" if why in reason else why, reason, "the field was warmer; the cap holds" if record["cut_by_ceiling"] else "", counts]
    grade = GRADES.get(str(record["grade"])[:1], GRADES["D"])
    return {
        "kind": record["status"],
        "low": low,
        "high": high,
        "aim_c": aim,
        "act": act,
        "why": why,
        "band": number(high) if low == high else f"{number(low)}–{number(high)}",
        "band_f": str(warm["high"]) if warm["low"] == warm["high"] else f"{warm['low']}–{warm['high']}",
        "low_f": warm["low"],
        "low_words": degrees(low, warm["low"]),
        "aim": advised(float(record["set_point_low"]), float(record["set_point_high"]), least),
        "points": [float(record["set_point_low"]), float(record["set_point_high"])],
        "act_words": degrees(act, warm["act"]),
        "grade": f"borrowed; own: {grade}" if borrowed else grade,
        "notes": [note for note in notes if note],
    }


def row_fahrenheit(record: Mapping[str, Any], floor: float | None) -> dict[str, int]:
    """Band, set point and act line of one row in whole °F, in the same order as in °C.

    Parameters
    ----------
    record : mapping
        ``band_low``, ``set_point``, ``band_high``, ``act_line`` [°C].
    floor : float or None
        Floor of the cell [°C].

    Returns
    -------
    dict of str to int
        ``low`` ≤ ``aim`` ≤ ``high`` ≤ ``act`` [°F], none below the floor's °F.
    """
    # A bottom is rounded up and a set point down: of one whole °C the bottom would stand above, and the lower figure wins.
    least = -1000 if floor is None else fahrenheit(floor, up=True)
    act = fahrenheit(float(record["act_line"]))
    high = fahrenheit(float(record["band_high"]))
    aim = min(max(fahrenheit(float(record["set_point"])), least), high)
    coolest = max(fahrenheit(float(record.get("set_point_low", record["set_point"]))), least)
    low = min(max(fahrenheit(float(record["band_low"]), up=True), least), aim, coolest)
    return {"low": low, "aim": aim, "high": high, "act": act}


def _refuse_contradiction(name: str, record: Row, ceiling: float | None, floor: float | None) -> None:
    """Stop rather than print a page of which one part forbids what another advises."""
    order = [
        ("floor", floor),
        ("bottom of the band", figure(record["band_low"])),
        ("lowest set point", figure(record["set_point_low"])),
        ("set point", figure(record["set_point"])),
        ("highest set point", figure(record["set_point_high"])),
        ("top of the band", figure(record["band_high"])),
        ("act line", figure(record["act_line"])),
        ("ceiling", ceiling),
    ]
    where = f"{record['taxon']}, {record['life_stage']}, {record['medium']}, {name}"
    remedy = "No care sheet was written. Derive the targets again with `rillbook targets`."
    for words, value in order[1:7]:
        if value is None:
            raise RillbookError(f"a target without a {words}.", remedy, where)
    known = [(words, value) for words, value in order if value is not None]
    for (words, value), (above, limit) in pairwise(known):
        if value > limit:
            raise RillbookError(f"the {words}, {number(value)} °C, stands above the {above}, {number(limit)} °C.", remedy, where)
    if ceiling is not None and record["band_high"] >= ceiling:
        raise RillbookError(f"the top of the band, {number(ceiling)} °C, is the ceiling itself.", remedy, where)


def ceiling_words(ceiling: float | None) -> Row | None:
    """The ceiling of a cell: ``c`` (°C) and ``words``; None without one."""
    return None if ceiling is None else {"c": ceiling, "words": degrees(ceiling, fahrenheit(ceiling))}


def floor_words(floor: float | None, months: list[Row], facts: Mapping[str, Any]) -> str:
    """The floor of a cell in a sentence, or what to hold to where there is none."""
    if floor is not None:
        return f"Floor {degrees(floor, fahrenheit(floor, up=True))}: do not go below."
    measured = [row for row in months if row["low"] is not None]
    if not measured:
        return "No floor: too little was read."
    lowest = min(measured, key=lambda row: (row["low"], row["low_f"], row["high"]))
    cold = {int(month) for month in facts.get("cold_months", DEFAULTS["cold_months"])}
    some = any(row["number"] in cold and row["kind"] != "empty" for row in months)
    winter = "too little was read in winter for a floor" if some else "winter unknown"
    return f"No floor: {winter}. Do not go below the lowest month measured ({lowest['name']}, band from {lowest['low_words']})."


def least_of(months: list[Row], floor: float | None) -> tuple[float, int] | None:
    """Least temperature that the page allows, in °C and °F as it is printed: the floor, or the bottom of the lowest month measured."""
    if floor is not None:
        return floor, fahrenheit(floor, up=True)
    measured = [(row["low"], row["low_f"]) for row in months if row["low"] is not None]
    return min(measured) if measured else None


def refused_months(months: Iterable[Row]) -> list[tuple[str, str]]:
    """Months that have readings or nothing at all, gathered by the reason why they have no target."""
    by_why: dict[str, list[int]] = {}
    for row in months:
        if row["low"] is None:
            by_why.setdefault(row["why"], []).append(row["number"])
    return [(month_runs(numbers), why) for why, numbers in by_why.items()]
