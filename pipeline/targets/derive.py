"""From readings to temperature targets: a row for each taxon × population × stage × medium and month or season, with its lines or the
reason why it has none (method §2–§6).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.settings import Settings
from pipeline.statistics.grades import down, provisional
from pipeline.targets.figures import MONTHS, Cell, GradeCap, columns_of, distinct_values, draws_of, figures_of, graded, number, rows_of
from pipeline.targets.lines import (
    Bounds,
    Group,
    allowance_parts,
    bound_of,
    ceiling_of,
    cooler_of,
    day_shift,
    floor_of,
    lender,
    lines_of,
    outer_limits,
    row_lines,
    two_sided,
)
from pipeline.targets.season import schedule, with_set_points
from schemas.enums import Status
from schemas.frames.frame import framed
from schemas.frames.targets import TARGET_COLUMNS, Targets, check_targets
from schemas.vocabulary import CONSTANT, EGGS, has_trait

GROUP = ["taxon", "population", "life_stage", "medium"]
COUNTED = ["visit_id", "visit_ids", "site", "date", "year", "n_animals", "from_visit"]
PRINTED = ("set_point", "set_point_low", "set_point_high", "band_low", "band_high", "act_line")


@dataclass(frozen=True)
class WarmSeason:
    """What the warm season of one taxon × population × stage × medium says before any limit; °C, nan where there is none."""

    p95_bound: float
    allowance: float
    p50_low: float
    p50_high: float


@dataclass(frozen=True)
class Species:
    """What a taxon brings to its targets."""

    name: str
    kind: str


def targets(
    readings: pd.DataFrame,
    taxa: pd.DataFrame,
    settings: Settings,
    *,
    half_ranges: Mapping[Group, float] | None = None,
    selected: frozenset[tuple[str, ...]] = frozenset(),
    replicates: int | None = None,
    grade_cap: GradeCap = None,
) -> pd.DataFrame:
    """Derive the temperature targets of every cell.

    Parameters
    ----------
    readings : DataFrame
        As :class:`schemas.frames.targets.Readings`, °C.
    taxa : DataFrame
        Columns ``code``, ``scientific_name``, ``group``.
    settings : Settings
        Warm and cold months, and the seed.
    half_ranges : mapping, optional
        Half of the daily swing by loggers, °C, of those groups (taxon, population, stage, medium) that have one; see
        :func:`pipeline.targets.lines.day_shift`.
    selected : frozenset of tuple
        Taxon, population, stage, medium and season (``warm``, ``cold`` or another word for the rest) that availability readings show to be
        selected; every other row says ``observed``.
    replicates : int, optional
        Bootstrap replicates; the method's number if not given.
    grade_cap : callable or mapping, optional
        Cell (taxon, population, stage, medium, month as text) to the best grade it may have, from a person more cautious than the rules.

    Returns
    -------
    DataFrame
        Columns of ``schemas.frames.targets.TARGET_COLUMNS``: for each taxon × population × stage × medium seen, the rows warm, cold and 1
        to 12.
        ``p95_bound``, ``allowance``, ``ceiling``, ``ceiling_bound_by`` and ``floor`` belong to the group and stand in all its rows.
        Quantiles are not rounded. A row of grade C or better always has its lines.

    Raises
    ------
    AssertionError
        A thermometer worse than the method takes, or lines out of order.

    Notes
    -----
    Spring and cave taxa and eggs are unsafe on both sides: their bounds rest on all months, nothing is borrowed, no daily swing is assumed,
    and the group cap does not hold (for eggs neither does CTmax). A group without a cell of grade C or better has no target, and its
    ceiling is that of the heat limit and the cap alone.
    """
    assert not (readings["accuracy_c"] > number("accuracy_default")).any(), "a reading of a thermometer worse than the method takes"
    draws = int(replicates or number("replicates"))
    known = taxa.set_index("code")
    rows: list[dict[str, Any]] = []
    values: dict[Group, pd.DataFrame] = {}
    for key, group in _evidence(readings).groupby(GROUP, sort=True):
        taxon = known.loc[key[0]]
        values[tuple(key)] = distinct_values(group)
        species = Species(taxon["scientific_name"], taxon["group"])
        half = (half_ranges or {}).get(tuple(key))
        found = _group_rows(tuple(key), group, values[tuple(key)], species, settings, draws, grade_cap, half)
        rows.extend({**row, "basis": _word(row, settings, selected)} for row in found)
    frame = framed(Targets, rows)
    return check_targets(with_set_points(frame, schedule(readings, frame, settings)))


def warm_season(readings: pd.DataFrame, settings: Settings, *, replicates: int | None = None) -> WarmSeason:
    """Derive the bound of P95, its allowances and the interval of P50 alone, by the steps of :func:`targets`.

    Parameters
    ----------
    readings : DataFrame
        As :class:`schemas.frames.targets.Readings`, °C, of one taxon, population, stage and medium; not of eggs nor of spring and cave
        taxa, whose
        bounds rest on all months.
    settings : Settings
        Warm months and the seed.
    replicates : int, optional
        Bootstrap replicates; the method's number if not given.

    Returns
    -------
    WarmSeason

    Raises
    ------
    ValueError
        No readings, or readings of more than one group.
    """
    keys = readings[GROUP].drop_duplicates()
    if len(keys) != 1:
        raise ValueError(f"the readings must be of one taxon, population, stage and medium; got {len(keys)}.")
    warm = _basis(readings, False, settings.warm_months)
    taxon, population, life_stage, medium = (str(part) for part in keys.iloc[0])
    cell = (taxon, population, life_stage, medium, "warm")
    values = distinct_values(warm)
    figures = figures_of(warm, values, cell, settings.seed, int(replicates or number("replicates")))
    parts = allowance_parts(warm, values, settings.warm_months) if len(warm) else {}
    bound, allowance = bound_of(figures["draws"], parts)
    return WarmSeason(bound, allowance, figures["p50_low"], figures["p50_high"])


def bound_readings(readings: pd.DataFrame, taxa: pd.DataFrame, settings: Settings) -> dict[Group, pd.DataFrame]:
    """Readings on which the bound of each taxon × population × stage × medium rests; none where there are no such readings."""
    kind = taxa.set_index("code")["group"]
    groups = {tuple(key): group for key, group in _evidence(readings).groupby(GROUP, sort=True)}
    basis = {key: _basis(group, two_sided(key[2], kind[key[0]]), settings.warm_months) for key, group in groups.items()}
    return {key: rows for key, rows in basis.items() if len(rows)}


def group_allowances(readings: pd.DataFrame, taxa: pd.DataFrame, settings: Settings) -> dict[Group, dict[str, float]]:
    """Allowance parts of every taxon × population × stage × medium that has readings behind its bound; arguments as in :func:`targets`."""
    basis = bound_readings(readings, taxa, settings)
    return {key: allowance_parts(rows, distinct_values(rows), settings.warm_months) for key, rows in basis.items()}


def _evidence(readings: pd.DataFrame) -> pd.DataFrame:
    return readings[readings["at_nest"] | (~readings["life_stage"].isin(EGGS))]


def _basis(frame: pd.DataFrame, both_sides: bool, months: tuple[int, ...]) -> pd.DataFrame:
    return frame if both_sides else frame[frame["month"].isin(months)]


def _word(row: Mapping[str, Any], settings: Settings, selected: frozenset[tuple[str, ...]]) -> str:
    month = str(row["month"])
    months = {"warm": settings.warm_months, "cold": settings.cold_months}
    season = month if month in months else next((name for name, span in months.items() if int(month) in span), "other months")
    return "selected" if (*(str(row[name]) for name in GROUP), season) in selected else "observed"


def _group_rows(
    key: Group,
    group: pd.DataFrame,
    values: pd.DataFrame,
    species: Species,
    settings: Settings,
    replicates: int,
    grade_cap: GradeCap,
    half_range: float | None,
) -> Iterator[dict[str, Any]]:
    cells = _cells(key, group, values, settings, replicates, grade_cap)
    both_sides = two_sided(key[2], species.kind)
    outer = outer_limits(key[2], species.name, species.kind)
    bounds = _bounds(key, group, values, cells, settings, replicates, both_sides, outer)
    shifts = {month: day_shift(cell["swing"], half_range, both_sides) for month, cell in cells.items()}
    own = {
        month: lines_of(cell, bounds.of(month), shifts[month], species.kind in CONSTANT)
        for month, cell in cells.items()
        if cell["n_readings"]
    }
    acts = [own[month].act for month, cell in cells.items() if provisional(cell["grade"])]
    ceiling, bound_by = ceiling_of(values, acts, bounds, outer, cells["warm"]["grade"])
    lends = has_trait("life_stage", key[2], "lends") and species.kind not in CONSTANT
    shared = {"p95_bound": bounds.p95_bound, "allowance": bounds.allowance, "ceiling": ceiling, "ceiling_bound_by": bound_by}
    shared["floor"] = bounds.floor if acts else math.nan
    for month, cell in cells.items():
        source = lender(cells, month) if lends and month in MONTHS else None
        head = dict(zip([*GROUP, "month"], [*key, month], strict=True), quantity="temperature", unit="°C")
        tail = {name: value for name, value in cell.items() if name in TARGET_COLUMNS}
        yield {**head, **tail, **shared, "day_shift": shifts[month], **_advice(cell, source, own, month, bounds, ceiling)}


def _cells(
    key: Group, group: pd.DataFrame, values: pd.DataFrame, settings: Settings, replicates: int, grade_cap: GradeCap
) -> dict[str, dict[str, Any]]:
    """Figures and grade of both seasons and of each month."""
    spans = {"warm": settings.warm_months, "cold": settings.cold_months, **{month: (int(month),) for month in MONTHS}}
    shared = {"years": group["year"].nunique(), "night_share": float(values["night"].mean())}
    counted, distinct, cells = columns_of(group[[name for name in COUNTED if name in group]]), columns_of(values), {}
    # numbers in the order of the codes: they sort as these do, in a fraction of the time
    counted["site"], codes = pd.factorize(group["site"], sort=True)
    distinct["site"] = pd.Index(codes).get_indexer(pd.Index(values["site"]))
    months = group["month"].to_numpy()
    for month, span in spans.items():
        cell: Cell = (*key, month)
        inside, these = rows_of(counted, np.isin(months, span)), rows_of(distinct, np.isin(distinct["month"], span))
        cells[month] = graded(figures_of(inside, these, cell, settings.seed, replicates), cell, shared, grade_cap)
    return cells


def _bounds(
    key: Group,
    group: pd.DataFrame,
    values: pd.DataFrame,
    cells: dict[str, dict[str, Any]],
    settings: Settings,
    replicates: int,
    both_sides: bool,
    outer: list[tuple[float, str]],
) -> Bounds:
    """Bound, allowance and floor of one taxon × population × stage × medium."""
    both = draws_of(values, (*key, "all"), settings.seed, replicates) if both_sides else None
    warm, cold = (both, both) if both_sides else (cells["warm"]["draws"], cells["cold"]["draws"])
    basis = _basis(group, both_sides, settings.warm_months)
    parts = allowance_parts(basis, _basis(values, both_sides, settings.warm_months), settings.warm_months) if len(basis) else {}
    bound, allowance = bound_of(warm, parts)
    floor = floor_of(cold, cells["cold"]["grade"], cells, both_sides)
    bounds = Bounds(bound, allowance, floor, both_sides, settings.warm_months)
    if outer:
        # A floor that left no set point under a heat limit would contradict it; the limit holds.
        lowest = down(min(limit for limit, _ in outer), "C") - 2 * number("thermostat_margin")
        bounds = replace(bounds, floor=math.nan if math.isnan(floor) else min(floor, lowest))
    return bounds


def _advice(cell: dict[str, Any], source: str | None, own: Mapping[str, Any], month: str, bounds: Bounds, ceiling: float) -> dict[str, Any]:
    """Lines of one row, or why it has none."""
    if not cell["n_readings"]:
        return _refused("no readings")
    if not provisional(cell["grade"]) and not source:
        return _refused(cell["lack"])
    lines = cooler_of(own[month], own[source]) if source else own[month]
    printed = row_lines(lines, bounds, ceiling, "C" if source else cell["grade"])
    # Any day may stand as high as the band until the days are known.
    span = {"set_point_low": printed["set_point"], "set_point_high": printed["band_high"]}
    return {
        "status": Status.BORROWED if source else Status.TARGET,
        "reason": _remark(cell, source),
        "borrowed_from": source or "",
        **printed,
        **span,
    }


def _refused(reason: str) -> dict[str, Any]:
    return {"status": Status.REFUSED, "reason": reason, "borrowed_from": "", "cut_by_ceiling": False, **dict.fromkeys(PRINTED, math.nan)}


def _remark(cell: dict[str, Any], source: str | None) -> str:
    remarks = [f"{cell['lack']}; borrowed from {MONTH_NAMES[int(source) - 1]}"] if source else []
    if cell["n_years"] == 1:
        remarks.append("one year only: it speaks of that year")
    if cell["only_from_visit"]:
        remarks.append("only the visits' readings, none at an animal")
    return "; ".join(remarks)
