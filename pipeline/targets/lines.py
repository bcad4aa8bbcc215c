"""The lines of a target: what to hold, when to act, what never to reach (method §5), each with its own evidence.

Everything that a missing clock time, year, accuracy or a lower grade can touch moves in one direction only. The quantiles, the
second-warmest day and the choice of the cooler neighbour rest on values and dates alone; the day shift and the allowances grow with what is
missing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.settings.limits import ctmax_limit, group_cap
from pipeline.statistics.bootstrap import bootstrap_percentile
from pipeline.statistics.grades import down, provisional, up
from pipeline.targets.figures import MONTHS, number, weights_of
from schemas.vocabulary import CONSTANT, EGGS

Group = tuple[str, str, str, str]

NOT_RECORDED = "not from the records"
WEAKEST = "C"
"""Grade whose step is the widest: what must not move with a grade is rounded by it."""


@dataclass(frozen=True)
class Bounds:
    """What the records of one taxon × population × stage × medium say before any ceiling; °C, nan where there is none.

    Attributes
    ----------
    p95_bound, allowance : float
        Lower bound of the warm season's P95, and what is taken off it.
    floor : float
        Do not go below; rounded up.
    two_sided : bool
        Too cold is as unsafe as too warm: eggs, springs and caves.
    warm_months : tuple of int
        Months for which the bound speaks.
    """

    p95_bound: float
    allowance: float
    floor: float
    two_sided: bool
    warm_months: tuple[int, ...]

    def of(self, month: str) -> float:
        """Bound of a month or season, °C; nan where it has none of its own."""
        own = month == "warm" or (month in MONTHS and int(month) in self.warm_months)
        return self.p95_bound - self.allowance if own or self.two_sided else math.nan

    @property
    def least(self) -> float:
        """Lowest set point that the floor allows, °C; −inf without a floor."""
        return least_set_point(self.floor)


@dataclass(frozen=True)
class Lines:
    """Lines of one row before rounding and before any ceiling, °C."""

    bottom: float
    middle: float
    top: float
    act: float


def least_set_point(floor: float) -> float:
    """Lowest set point over a floor: a thermostat swings by 1 °C. Rounded by the widest step, so that no grade moves it.

    Parameters
    ----------
    floor : float
        °C; nan for none.

    Returns
    -------
    float
        °C; −inf without a floor.
    """
    return -math.inf if math.isnan(floor) else up(floor, WEAKEST) + number("thermostat_margin")


def two_sided(life_stage: str, kind: str) -> bool:
    """Too cold is as unsafe as too warm."""
    return life_stage in EGGS or kind in CONSTANT


def day_shift(swing: float, half_range: float | None, both_sides: bool) -> float:
    """What readings taken by day stand above the day's mean, °C.

    shift = half-range × mean of cos(2π(hour − 16)/24), not below 0; half-range: the judgement of `daytime_half_range`, or a logger's own
    where that is smaller.

    Parameters
    ----------
    swing : float
        Weighted mean of the cosine over the cell's values, 0 to 1; nan where nothing was read.
    half_range : float or None
        Half of the daily swing in this medium and depth by loggers, °C. It can lower the shift and never raises it: a logger that swings
        more would otherwise warm a set point by being lost.
    both_sides : bool
        Water that hardly changes and nests: no swing is assumed, for a set point that is too cold is unsafe there. Only a logger's counts.
    """
    most = number("daytime_half_range")
    half = (0.0 if both_sides else most) if half_range is None else min(half_range, most)
    return half * swing


def allowance_parts(readings: pd.DataFrame, values: pd.DataFrame, warm_months: tuple[int, ...]) -> dict[str, float]:
    """What is taken off the bound, part by part (method §5).

    Parameters
    ----------
    readings, values : DataFrame
        The readings on which the bound rests, and their distinct values; at least one.
    warm_months : tuple of int
        Months of the warm season.

    Returns
    -------
    dict
        °C by name: ``thermometer``, ``one year``, ``few warm months``, ``visit readings only``. 0 where a part does not hold.
    """
    few = readings["month"][readings["month"].isin(warm_months)].nunique() < number("warm_months_least")
    return {
        "thermometer": float((values["accuracy_c"] * weights_of(values)).sum()),
        "one year": number("one_year") if readings["year"].nunique() <= 1 else 0.0,
        "few warm months": number("few_warm_months") if few else 0.0,
        "visit readings only": number("from_visit_only") if readings["from_visit"].all() else 0.0,
    }


def bound_of(draws: NDArray[np.float64] | None, parts: Mapping[str, float]) -> tuple[float, float]:
    """Lower bound of P95 and what is taken off it, °C; nan where nothing was drawn.

    The percentile was calibrated (method §9) and is frozen.
    """
    if draws is None:
        return math.nan, math.nan
    return bootstrap_percentile(draws[:, 2], number("bound_percentile")), sum(parts.values())


def floor_of(draws: NDArray[np.float64] | None, grade: str, cells: Mapping[str, Mapping[str, Any]], both_sides: bool) -> float:
    """Lowest temperature to allow, °C, rounded up; nan without a reading in the cold season.

    Where both sides are unsafe it stands at least 1 °C under every month's lower act line, as a ceiling stands over the upper ones.
    """
    if draws is None:
        return math.nan
    floor = bootstrap_percentile(draws[:, 0], number("floor_percentile"))
    if both_sides:
        bottoms = [cell["low"] for month, cell in cells.items() if month in MONTHS and cell["n_readings"]]
        floor = min(floor, min(bottoms) - number("lower_act_line_step") - number("ceiling_over_act"))
    return max(up(floor, grade), number("floor_least"))


def lines_of(cell: Mapping[str, Any], bound: float, shift: float, observed_ends: bool) -> Lines:
    """Band, set point and act line that a cell's own readings give.

    top as read = min(P75, max(bound, P50)); act line = min(P75 + 2, max(bound, top as read + 1)), a moment and not shifted; band and set
    point are P25, P50 and the top less the day shift. Weak evidence brings the top down to the set point and never below it.

    Parameters
    ----------
    cell : mapping
        ``p25``, ``p50``, ``p75``, ``low``, ``high`` (P10, P90), °C.
    bound : float
        Lower bound of P95 less its allowances, °C; nan where the month has none: then P75 + 2 stands for it.
    shift : float
        Day shift, °C.
    observed_ends : bool
        Springs and caves: P10 and P90 stand for P25 and P75.
    """
    low, high = (cell["low"], cell["high"]) if observed_ends else (cell["p25"], cell["p75"])
    highest = high + number("act_line_step")
    bound = highest if math.isnan(bound) else bound
    top = min(high, max(bound, cell["p50"]))
    return Lines(low - shift, cell["p50"] - shift, top - shift, min(highest, max(bound, top + number("act_over_top"))))


def cooler_of(own: Lines, other: Lines) -> Lines:
    """Lines of a month that borrows: never warmer than its own readings would have given."""
    top = min(own.top, other.top)
    return Lines(min(other.bottom, top), min(own.middle, other.middle), top, min(own.act, other.act))


@cache
def _heat_limit(name: str) -> float:
    return float(ctmax_limit(name)["value"])


def outer_limits(life_stage: str, name: str, kind: str) -> list[tuple[float, str]]:
    """Limits that no record of the book moves, °C, with their words: the species' heat limit and the cap of its group; none for eggs."""
    if life_stage in EGGS:
        return []
    limits = [(_heat_limit(name), f"heat limit of adults (CTmax) less {number('ctmax_margin'):g} °C")]
    cap = group_cap(kind)
    if kind not in CONSTANT and cap is not None:
        limits.append((float(cap["value"]), "cap of the group"))
    return limits


def ceiling_of(
    values: pd.DataFrame, acts: Iterable[float], bounds: Bounds, outer: list[tuple[float, str]], grade: str
) -> tuple[float, str]:
    """A moment never to reach, °C, rounded down, and in words what set it and by how much the others were higher.

    The lowest of (a) the second-warmest site-day at which the stage was found, or 1 °C above the highest act line where that is higher,
    (c) the heat limit less its margin, (d) the cap of the group; without any act line (c) and (d) alone.

    Parameters
    ----------
    values : DataFrame
        Distinct values of the taxon, population, stage and medium.
    acts : iterable of float
        Act lines of its rows with a target of their own, before any ceiling, °C.
    bounds : Bounds
        The floor lifts the act lines with the set points.
    outer : list
        As :func:`outer_limits`.
    grade : str
        Of the warm season: how finely the ceiling is rounded.
    """
    lifted = [max(act, bounds.least + number("act_over_top")) for act in acts]
    found = list(outer)
    if lifted:
        days = np.sort(values.groupby(["site", "date"])["value"].max().to_numpy())
        own = [(float(days[-2:][0]), "second-warmest day of the records")]
        own.append(
            (max(lifted) + number("ceiling_over_act"), f"{number('ceiling_over_act'):g} °C over the highest act line of the records")
        )
        found.insert(0, max(own))
    if not found:
        return math.nan, ""
    (value, words), *others = sorted(found)
    told = [words, *(f"{other} {above - value:.1f} °C higher" for above, other in others)]
    return down(value, grade), "; ".join(told if lifted else [*told, NOT_RECORDED])


def row_lines(lines: Lines, bounds: Bounds, ceiling: float, grade: str) -> dict[str, Any]:
    """Lines as printed: rounded in the safe direction, under the ceiling, over the floor, in order.

    Returns
    -------
    dict
        ``set_point``, ``band_low``, ``band_high``, ``act_line`` (°C) and ``cut_by_ceiling``.
    """
    highest = math.inf if math.isnan(ceiling) else ceiling - number("thermostat_margin")
    highest = highest if math.isinf(highest) else down(highest, grade)
    top = down(lines.top, grade)
    band_high = max(min(top, highest), min(bounds.least, highest))
    set_point = max(min(down(lines.middle, grade), band_high), min(bounds.least, band_high))
    bottom = lines.bottom if math.isnan(bounds.floor) else max(lines.bottom, bounds.floor)
    act = max(down(lines.act, grade), band_high + number("act_over_top") if band_high > top else -math.inf)
    return {
        "set_point": set_point,
        "band_low": min(up(bottom, grade), set_point),
        "band_high": band_high,
        "act_line": act if math.isnan(ceiling) else min(act, ceiling - number("act_under_ceiling")),
        "cut_by_ceiling": top > highest,
    }


def lender(cells: Mapping[str, Mapping[str, Any]], month: str) -> str | None:
    """Neighbouring month that a month without a target of its own may borrow from: the cooler one, one step, graded, not its warmer."""
    own = cells[month]
    if provisional(own["grade"]) or not own["n_readings"]:
        return None
    beside = [neighbour for neighbour in neighbours(month) if cells[neighbour]["n_readings"]]
    coolest = min(beside, key=lambda neighbour: cells[neighbour]["p50"], default=None)
    if coolest is None or not provisional(cells[coolest]["grade"]) or cells[coolest]["p50"] > own["p50"]:
        return None
    return coolest


def neighbours(month: str) -> tuple[str, str]:
    """The months before and after."""
    return str((int(month) - 2) % 12 + 1), str(int(month) % 12 + 1)
