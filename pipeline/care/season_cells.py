"""The cells of a card: for each season what to hold, month by month, and what to do where nothing is known."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from itertools import pairwise
from typing import Any

from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.settings.limits import judgement
from pipeline.writing.words import NBSP, Row, fahrenheit, number
from schemas.enums import Status

ASK = "do not guess, ask"

Seasons = Mapping[str, tuple[int, ...]]
Months = Mapping[int, Mapping[str, Any]]


def as_degrees(value: float, up: bool = False) -> str:
    """A printed °C with its °F."""
    return f"{number(value)}{NBSP}°C ({number(fahrenheit(value, up=up))}{NBSP}°F)"


def span_of(low: float, high: float, up: bool = False, least: float = math.inf) -> tuple[str, str]:
    """A span in °C and in °F; `up`: its lower end is a bottom, rounded up, but not over `least` °F. The ends never change places."""
    warm = fahrenheit(high)
    cool = min(fahrenheit(low, up=up), warm, least)
    celsius = number(low) if low == high else f"{number(low)}–{number(high)}"
    return f"{celsius}{NBSP}°C", f"{number(cool) if cool == warm else f'{number(cool)}–{number(warm)}'}{NBSP}°F"


def seasons_of(warm: Iterable[int], cold: Iterable[int]) -> dict[str, tuple[int, ...]]:
    """The book's four seasons: its warm and cold months, and between them spring before the warm ones and autumn before the cold ones.

    Returns
    -------
    dict
        ``spring``, ``summer``, ``autumn``, ``winter`` to their months in the order of the year; a season may be empty.
    """
    warm, cold = set(warm), set(cold)
    found: dict[str, list[int]] = {"spring": [], "summer": [], "autumn": [], "winter": []}
    for month in range(1, 13):
        ahead = [(month - 1 + step) % 12 + 1 for step in range(12)]
        following = next((one for one in ahead if one in warm | cold), month)
        between = "spring" if following in warm else "autumn"
        found["summer" if month in warm else "winter" if month in cold else between].append(month)
    # A season over the turn of the year begins in autumn: December before January.
    return {name: tuple(_in_order(months)) for name, months in found.items()}


def span_in_words(months: tuple[int, ...]) -> str:
    """Months that follow one another, such as "December to March"; else their names."""
    names = [MONTH_NAMES[month - 1] for month in months]
    together = all((month - 2) % 12 + 1 == before for before, month in pairwise(months))
    return f"{names[0]} to {names[-1]}" if together and len(names) > 2 else ", ".join(names)


def _in_order(months: list[int]) -> list[int]:
    firsts = [month for month in months if (month - 2) % 12 + 1 not in months]
    start = firsts[-1] if 1 in months and 12 in months and firsts else (months or [1])[0]
    return sorted(months, key=lambda month: (month - start) % 12)


def season_cells(months: Months, seasons: Seasons, borrows: bool, both_ways: bool) -> dict[str, Row]:
    """What one row of the card says in each season.

    Parameters
    ----------
    months : mapping
        Month to its row of the targets.
    seasons : mapping
        As :func:`seasons_of`.
    borrows : bool
        A month without evidence may take the nearest cooler known month, said to be borrowed.
    both_ways : bool
        Too cold is as unsafe: a lower act line is told too.

    Returns
    -------
    dict
        Season to ``set``, ``band`` (°C and °F in words, empty where nothing is known), ``low``, ``high``, ``points`` (°C), ``lines`` (one a
        month, or for months alike) and ``unknown`` (what to do in months without evidence).
    """
    summer = seasons["summer"] or (7,)
    midsummer = summer[(len(summer) - 1) // 2]
    return {name: _season(months, span, midsummer if borrows else None, both_ways) for name, span in seasons.items()}


def _season(months: Months, span: tuple[int, ...], midsummer: int | None, both_ways: bool) -> Row:
    known = [month for month in span if months[month]["status"] != Status.REFUSED]
    rows = [months[month] for month in known]
    cell: Row = {"set": "", "set_f": "", "band": "", "band_f": "", "points": [], "lines": [], "unknown": _unknown(months, span, midsummer)}
    if not rows:
        return cell
    points = [float(row[name]) for row in rows for name in ("set_point_low", "set_point_high")]
    ends = min(float(row["band_low"]) for row in rows), max(float(row["band_high"]) for row in rows)
    cell["set"], cell["set_f"] = span_of(min(points), max(points))
    cell["band"], cell["band_f"] = span_of(*ends, up=True, least=fahrenheit(min(points)))
    return {**cell, "points": points, "low": ends[0], "high": ends[1], "lines": _lines(months, known, both_ways)}


def _lines(months: Months, known: list[int], both_ways: bool) -> list[Row]:
    """One line a month; months alike that follow one another share one."""
    lines: list[Row] = []
    for month in known:
        row = months[month]
        names = ("set_point_low", "set_point_high", "act_line", "status", "band_low")
        same = tuple(row[name] for name in names)
        if lines and lines[-1]["same"] == same and (month - 2) % 12 + 1 == lines[-1]["months"][-1]:
            lines[-1]["months"].append(month)
        else:
            lines.append({"same": same, "months": [month], "row": row})
    return [{**line, "label": _label(line["months"]), **_line(line["row"], both_ways)} for line in lines]


def _label(months: list[int]) -> str:
    first, last = (MONTH_NAMES[month - 1][:3] for month in (months[0], months[-1]))
    return first if len(months) == 1 else f"{first}–{last}"


def _line(row: Mapping[str, Any], both_ways: bool) -> Row:
    celsius, warm = span_of(float(row["set_point_low"]), float(row["set_point_high"]))
    act = float(row["act_line"])
    under = float(row["band_low"]) - judgement("lower_act_line_step")
    borrowed = f", borrowed from {MONTH_NAMES[int(row['borrowed_from']) - 1]}" if row["status"] == Status.BORROWED else ""
    return {
        "set": celsius,
        "set_f": warm,
        "act": act,
        "act_words": as_degrees(act),
        "under": as_degrees(under, up=True) if both_ways else "",
        "note": borrowed,
    }


def _unknown(months: Months, span: tuple[int, ...], midsummer: int | None) -> list[str]:
    """Months of a season without a target, gathered by what to do then."""
    told: dict[str, list[int]] = {}
    for month in span:
        if months[month]["status"] == Status.REFUSED:
            told.setdefault(ASK if midsummer is None else _instead(months, month, midsummer), []).append(month)
    return [f"{_runs(group)} not known: {what}" for what, group in told.items()]


def _runs(group: list[int]) -> str:
    """Short names of months, a run of them as its ends."""
    runs: list[list[int]] = []
    for month in group:
        if runs and (month - 2) % 12 + 1 == runs[-1][-1]:
            runs[-1].append(month)
        else:
            runs.append([month])
    return ", ".join(_label(run) for run in runs)


def _instead(months: Months, month: int, midsummer: int) -> str:
    """The nearest known month on the cooler side of the year; in winter, where none is known, the coolest of the cool half."""
    reach = judgement("borrow_months_most")
    known = [one for one in range(1, 13) if months[one]["status"] != Status.REFUSED and _apart(one, month) <= reach]
    cooler = [one for one in known if _apart(one, midsummer) >= _apart(month, midsummer)]
    if not cooler and _apart(month, midsummer) >= judgement("winter_from_midsummer"):
        # a month of the warm season is no stand-in for winter
        cool_half = [one for one in known if _apart(one, midsummer) >= judgement("cool_half_from_midsummer")]
        cooler = sorted(cool_half, key=lambda one: months[one]["set_point_low"])[:1]
    if not cooler:
        return ASK
    lent = min(cooler, key=lambda one: (_apart(one, month), months[one]["set_point_low"]))
    return f"borrow {MONTH_NAMES[lent - 1][:3]}’s {as_degrees(float(months[lent]['set_point_low']))} or ask"


def _apart(one: int, other: int) -> int:
    """Months between two months, the shorter way round."""
    return min((one - other) % 12, (other - one) % 12)
