"""From readings to temperature targets: quantiles, grade, ceiling, floor, set point and band, or a refusal with its reason.

Missing evidence may lower a ceiling or raise a floor, never the other way (method §5). So everything that a missing clock time, year,
accuracy or a lower grade can touch moves in one direction only: clock times never enter a weight, and each value of a day counts with its
most cautious row.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.formulas.grades import down, grade_of, missing_for_c, provisional, up, worse
from pipeline.formulas.limits import ctmax_limit, group_cap, judgement
from pipeline.formulas.statistics import bootstrap_percentile, crossed_bootstrap, effective_visits, interval, weighted_quantile
from pipeline.formulas.weights import named_seed, site_day_weights
from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.settings import Settings
from schemas.frames import COUNT_TARGET_COLUMNS, TARGET_COLUMNS, TEXT_TARGET_COLUMNS, check_targets

Group = tuple[str, str, str, str]
Cell = tuple[str, str, str, str, str]
GradeCap = Callable[[Cell], str | None] | Mapping[Cell, str] | None

GROUP = ["taxon", "population", "life_stage", "medium"]
MONTHS = tuple(str(month) for month in range(1, 13))
EGGS = "egg_mass"
CONSTANT = ("warm_spring", "cave")
LENDS_NOTHING = (EGGS, "hatchling")
QUANTILES = {"min": 0.0, "p05": 0.05, "p25": 0.25, "p50": 0.5, "p75": 0.75, "p95": 0.95, "max": 1.0}
COUNTED = ["visit_id", "site", "date", "year", "n_animals", "from_visit"]
PRINTED = ("set_point", "band_low", "band_high", "act_line")
OWN_BOUND = "P95 of your records"

number = cache(judgement)


@dataclass(frozen=True)
class Limits:
    """What one taxon × population × stage × medium has in common; °C, nan where there is none."""

    p95_bound: float
    allowance: float
    ceiling: float
    bound_by: str
    floor: float


@dataclass(frozen=True)
class WarmSeason:
    """What the warm season of one taxon × population × stage × medium says before any limit; °C, nan where there is none."""

    p95_bound: float
    allowance: float
    p50_low: float
    p50_high: float


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
    """Derive the temperature targets of every cell (method §2–§5).

    Parameters
    ----------
    readings : DataFrame
        As :class:`schemas.frames.Readings`, °C.
    taxa : DataFrame
        Columns ``code``, ``scientific_name``, ``group``.
    settings : Settings
        Warm and cold months, and the seed.
    half_ranges : mapping, optional
        Half of the daily swing by loggers, °C, of those groups (taxon, population, stage, medium) that have one; see
        :func:`allowance_parts`.
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
        Columns of ``schemas.frames.TARGET_COLUMNS``: for each taxon × population × stage × medium seen, the rows warm, cold and 1 to 12.
        ``p95_bound``, ``allowance``, ``ceiling``, ``ceiling_bound_by`` and ``floor`` belong to the group and stand in all its rows.
        Quantiles are not rounded.

    Raises
    ------
    AssertionError
        A thermometer worse than the method takes, a ceiling above the second-highest visit, or a value above its ceiling.

    Notes
    -----
    Spring and cave taxa and eggs are unsafe on both sides: their bounds rest on all months, nothing is borrowed, and the group cap does
    not hold (for eggs neither does CTmax). A floor above the set point is refused, because a band cannot mend it.
    """
    assert not (readings["accuracy_c"] > number("accuracy_default")).any(), "a reading of a thermometer worse than the method takes"
    draws = int(replicates or number("replicates"))
    known = taxa.set_index("code")
    evidence = readings[readings["at_nest"] | (readings["life_stage"] != EGGS)]
    rows: list[dict[str, Any]] = []
    for key, group in evidence.groupby(GROUP, sort=True):
        taxon = known.loc[key[0]]
        half = (half_ranges or {}).get(tuple(key))
        found = _group_rows(tuple(key), group, taxon["scientific_name"], taxon["group"], settings, draws, grade_cap, half)
        rows.extend({**row, "basis": _word(row, settings, selected)} for row in found)
    return check_targets(_typed(pd.DataFrame(rows, columns=list(TARGET_COLUMNS))))


def warm_season(readings: pd.DataFrame, settings: Settings, *, replicates: int | None = None) -> WarmSeason:
    """Derive the bound of P95, its allowances and the interval of P50 alone, by the steps of :func:`targets`.

    Parameters
    ----------
    readings : DataFrame
        As :class:`schemas.frames.Readings`, °C, of one taxon, population, stage and medium; not of eggs nor of spring and cave taxa, whose
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
    figures = _figures(warm, distinct_values(warm), cell, settings.seed, int(replicates or number("replicates")))
    bound, allowance = _bound(figures["draws"], warm, settings.warm_months, None)
    return WarmSeason(bound, allowance, figures["p50_low"], figures["p50_high"])


def distinct_values(readings: pd.DataFrame) -> pd.DataFrame:
    """Give each distinct value of a site and day one row, as cautious as its most cautious reading.

    Parameters
    ----------
    readings : DataFrame
        Readings of one taxon, population, stage and medium.

    Returns
    -------
    DataFrame
        Sorted; columns ``site``, ``date``, ``month``, ``value`` (°C), ``swing`` (highest share of the daily swing, −1 to 1), ``night`` (all
        its rows are surely at night), ``from_visit`` (all its rows are the visit's).
    """
    hour = readings["hour"].astype("float64")
    swing = np.cos(2 * np.pi * (hour - number("daytime_peak_hour")) / 24).fillna(1.0)
    swing = swing.mask(readings["depth_cm"] >= number("daytime_flat_depth"), 0.0)
    rows = readings[["site", "date", "month", "value", "from_visit"]].assign(
        swing=swing, night=readings["night"].fillna(False).astype("bool")
    )
    how = {"swing": "max", "night": "min", "from_visit": "min"}
    return rows.groupby(["site", "date", "month", "value"], sort=True).agg(how).reset_index()


def _weights(values: pd.DataFrame) -> NDArray[np.float64]:
    return site_day_weights(values["site"], values["month"].astype("int64"), values["date"])


def _draws(values: pd.DataFrame, weights: NDArray[np.float64], cell: Cell, seed: int, replicates: int) -> NDArray[np.float64]:
    """Bootstrapped P5, P50 and P95, shape (replicates, 3)."""
    return crossed_bootstrap(
        values["value"], weights, values["site"], values["date"], [0.05, 0.5, 0.95], replicates, named_seed(cell, seed)
    )


def allowance_parts(readings: pd.DataFrame, warm_months: tuple[int, ...], half_range: float | None = None) -> dict[str, float]:
    """What is taken off the bound, part by part (method §5).

    Parameters
    ----------
    readings : DataFrame
        The readings on which the bound rests; at least one.
    warm_months : tuple of int
        Months of the warm season.
    half_range : float, optional
        Half of the daily swing in this medium and depth by loggers, °C. It can lower the daytime part and never raises it: a logger that
        swings more would otherwise warm the ceiling by being lost.

    Returns
    -------
    dict
        °C by name: ``thermometer``, ``daytime``, ``one year``, ``few warm months``, ``visit readings only``. 0 where a part does not hold.
    """
    values = distinct_values(readings)
    swing = float((values["swing"] * _weights(values)).sum())
    few = readings["month"][readings["month"].isin(warm_months)].nunique() < number("warm_months_least")
    half = number("daytime_half_range") if half_range is None else min(half_range, number("daytime_half_range"))
    return {
        "thermometer": float(readings["accuracy_c"].fillna(number("accuracy_default")).max()),
        "daytime": half * max(swing, 0.0),
        "one year": number("one_year") if readings["year"].nunique() <= 1 else 0.0,
        "few warm months": number("few_warm_months") if few else 0.0,
        "visit readings only": number("from_visit_only") if readings["from_visit"].all() else 0.0,
    }


def bound_readings(readings: pd.DataFrame, taxa: pd.DataFrame, settings: Settings) -> dict[Group, pd.DataFrame]:
    """Readings on which the bound of each taxon × population × stage × medium rests; none where there are no such readings."""
    kind = taxa.set_index("code")["group"]
    evidence = readings[readings["at_nest"] | (readings["life_stage"] != EGGS)]
    groups = {tuple(key): group for key, group in evidence.groupby(GROUP, sort=True)}
    basis = {key: _basis(group, _two_sided(key[2], kind[key[0]]), settings.warm_months) for key, group in groups.items()}
    return {key: rows for key, rows in basis.items() if len(rows)}


def group_allowances(
    readings: pd.DataFrame, taxa: pd.DataFrame, settings: Settings, half_ranges: Mapping[Group, float] | None = None
) -> dict[Group, dict[str, float]]:
    """Allowance parts of every taxon × population × stage × medium that has readings behind its bound; arguments as in :func:`targets`."""
    basis = bound_readings(readings, taxa, settings)
    return {key: allowance_parts(rows, settings.warm_months, (half_ranges or {}).get(key)) for key, rows in basis.items()}


def _two_sided(life_stage: str, kind: str) -> bool:
    return life_stage == EGGS or kind in CONSTANT


def _basis(frame: pd.DataFrame, two_sided: bool, months: tuple[int, ...]) -> pd.DataFrame:
    return frame if two_sided else frame[frame["month"].isin(months)]


def _word(row: Mapping[str, Any], settings: Settings, selected: frozenset[tuple[str, ...]]) -> str:
    month = str(row["month"])
    months = {"warm": settings.warm_months, "cold": settings.cold_months}
    season = month if month in months else next((name for name, span in months.items() if int(month) in span), "other months")
    return "selected" if (*(str(row[name]) for name in GROUP), season) in selected else "observed"


def _group_rows(
    key: Group,
    group: pd.DataFrame,
    name: str,
    kind: str,
    settings: Settings,
    replicates: int,
    grade_cap: GradeCap,
    half_range: float | None,
) -> Iterator[dict[str, Any]]:
    values = distinct_values(group)
    spans = {"warm": settings.warm_months, "cold": settings.cold_months, **{month: (int(month),) for month in MONTHS}}
    shared = {"years": group["year"].nunique(), "night_share": float(values["night"].mean())}
    cells, counted = {}, group[COUNTED]
    for month, span in spans.items():
        inside, these = counted[group["month"].isin(span)], values[values["month"].isin(span)]
        figures = _figures(inside, these, (*key, month), settings.seed, replicates)
        cells[month] = _graded(figures, (*key, month), shared, grade_cap)
    limits = _limits(key, group, values, cells, name, kind, settings, replicates, half_range)
    lends = key[2] not in LENDS_NOTHING and kind not in CONSTANT
    for month in spans:
        lender = _lender(cells, month) if lends and month in MONTHS else None
        head = dict(zip([*GROUP, "month"], [*key, month], strict=True), quantity="temperature", unit="°C")
        tail = {name: value for name, value in cells[month].items() if name in TARGET_COLUMNS}
        yield {**head, **tail, **_shared_columns(limits), **_advice(cells, month, lender, limits, kind)}


def _figures(readings: pd.DataFrame, values: pd.DataFrame, cell: Cell, seed: int, replicates: int) -> dict[str, Any]:
    """Counts and quantiles of one cell."""
    empty = dict.fromkeys([*QUANTILES, "low", "high", "p50_low", "p50_high", "night_share", "from_visit_share"], math.nan)
    if not len(values):
        return {**empty, **dict.fromkeys(COUNT_TARGET_COLUMNS, 0), "n_eff": 0.0, "only_from_visit": False, "draws": None}
    counts = {
        "n_readings": len(readings), "n_animals": int(readings["n_animals"].sum()), "n_visits": readings["visit_id"].nunique(),
        "n_dates": readings["date"].nunique(), "n_sites": readings["site"].nunique(), "n_years": readings["year"].nunique(), "n_eff": 0.0,
    }  # fmt: skip
    figures: dict[str, Any] = {**empty, **counts, "draws": None}
    weights = _weights(values)
    probabilities = [*QUANTILES.values(), number("spring_low_percentile") / 100, number("spring_high_percentile") / 100]
    figures.update(zip([*QUANTILES, "low", "high"], weighted_quantile(values["value"], weights, probabilities), strict=True))
    days = values.groupby(["site", "date"], sort=True)["value"].mean().reset_index()
    figures["n_eff"] = effective_visits(days["value"], days["site"], counts["n_dates"])
    figures["night_share"], figures["from_visit_share"] = float(values["night"].mean()), float(readings["from_visit"].mean())
    figures["only_from_visit"] = bool(readings["from_visit"].all())
    enough = counts["n_sites"] >= number("p50_sites_least") and counts["n_dates"] >= number("p50_dates_least")
    if enough or cell[-1] not in MONTHS:
        figures["draws"] = _draws(values, weights, cell, seed, replicates)
    if enough:
        low, high = number("p50_low_percentile"), number("p50_high_percentile")
        figures["p50_low"], figures["p50_high"] = interval(figures["draws"][:, 1], low, high)
    return figures


def _graded(figures: dict[str, Any], cell: Cell, shared: dict[str, Any], grade_cap: GradeCap) -> dict[str, Any]:
    counts = {name: figures[f"n_{name}"] for name in ("sites", "dates", "visits")} | shared
    counts["half_width"] = (figures["p50_high"] - figures["p50_low"]) / 2
    monthly = cell[-1] in MONTHS
    earned = grade_of(counts, monthly=monthly, only_from_visit=figures["only_from_visit"])
    cap = grade_cap(cell) if callable(grade_cap) else (grade_cap or {}).get(cell)
    grade = worse(earned, cap)
    lack = missing_for_c(counts, monthly=monthly) if earned == grade else f"held at grade {grade} by hand"
    return {**figures, "grade": grade, "lack": lack}


def _limits(
    key: Group,
    group: pd.DataFrame,
    values: pd.DataFrame,
    cells: dict[str, dict[str, Any]],
    name: str,
    kind: str,
    settings: Settings,
    replicates: int,
    half_range: float | None,
) -> Limits:
    """Ceiling and floor of one taxon × population × stage × medium."""
    two_sided = _two_sided(key[2], kind)
    both = _draws(values, _weights(values), (*key, "all"), settings.seed, replicates) if two_sided else None
    warm, cold = (both, both) if two_sided else (cells["warm"]["draws"], cells["cold"]["draws"])
    basis = _basis(group, two_sided, settings.warm_months)
    bound, allowance = _bound(warm, basis, settings.warm_months, half_range)
    if not any(provisional(cell["grade"]) for cell in cells.values()):
        return Limits(bound, allowance, math.nan, "", math.nan)
    ceiling, bound_by = _ceiling(bound - allowance, key[2], name, kind)
    ceiling = down(ceiling, cells["warm"]["grade"])
    _below_second_visit(ceiling, _basis(values, two_sided, settings.warm_months), key)
    floor = math.nan
    if cold is not None:
        floor = max(up(bootstrap_percentile(cold[:, 0], number("floor_percentile")), cells["cold"]["grade"]), number("floor_least"))
    return Limits(bound, allowance, ceiling, bound_by, floor)


def _bound(
    draws: NDArray[np.float64] | None, basis: pd.DataFrame, warm_months: tuple[int, ...], half_range: float | None
) -> tuple[float, float]:
    """Lower bound of P95 and what is taken off it."""
    if draws is None:
        return math.nan, math.nan
    return bootstrap_percentile(draws[:, 2], number("bound_percentile")), sum(allowance_parts(basis, warm_months, half_range).values())


def _ceiling(own: float, life_stage: str, name: str, kind: str) -> tuple[float, str]:
    """Lowest of the bounds that hold for the stage and group, not rounded, and its words."""
    bounds = [] if math.isnan(own) else [(own, OWN_BOUND)]
    aside = ", not from your records" if math.isnan(own) else ""
    if life_stage != EGGS:
        bounds.append((ctmax_limit(name)["value"], f"CTmax less {number('ctmax_margin'):g} °C{aside}"))
    cap = group_cap(kind)
    if life_stage != EGGS and kind not in CONSTANT and cap is not None:
        bounds.append((cap["value"], f"group cap{aside}"))
    # Eggs have readings of their own or no row at all, and every other stage has a CTmax: there is always a bound.
    return min(bounds)


def _below_second_visit(ceiling: float, values: pd.DataFrame, key: Group) -> None:
    highest = np.sort(values.groupby(["site", "date"])["value"].max().to_numpy())
    assert len(highest) < 2 or not ceiling > highest[-2] + 1e-9, f"the ceiling of {' '.join(key)} stands above its second-highest visit"


def _shared_columns(limits: Limits) -> dict[str, Any]:
    return {
        "p95_bound": limits.p95_bound,
        "allowance": limits.allowance,
        "ceiling": limits.ceiling,
        "ceiling_bound_by": limits.bound_by,
        "floor": limits.floor,
    }


def _lender(cells: dict[str, dict[str, Any]], month: str) -> str | None:
    """Neighbouring month that a month without a target of its own may borrow from."""
    own = cells[month]
    if provisional(own["grade"]) or not own["n_readings"]:
        return None
    before, after = str((int(month) - 2) % 12 + 1), str(int(month) % 12 + 1)
    beside = [neighbour for neighbour in (before, after) if cells[neighbour]["n_readings"]]
    lender = min(beside, key=lambda neighbour: cells[neighbour]["p50"], default=None)
    if lender is None or not provisional(cells[lender]["grade"]) or cells[lender]["p50"] > own["p50"]:
        return None
    return lender


def _advice(cells: dict[str, dict[str, Any]], month: str, lender: str | None, limits: Limits, kind: str) -> dict[str, Any]:
    """Set point, band and act line of one row, or why it has none."""
    own = cells[month]
    refusal = _refusal(own, lender, limits)
    if refusal:
        return _refused(refusal)
    ends = ("low", "high") if kind in CONSTANT else ("p25", "p75")
    bottom, top, middle, act = own[ends[0]], own[ends[1]], own["p50"], own["p75"] + number("act_line_step")
    grade = own["grade"]
    if lender:
        other, grade = cells[lender], "C"
        # A borrowed value is never warmer than the month's own readings would have given.
        middle, top = min(other["p50"], middle), min(other[ends[1]], top)
        bottom, act = min(other[ends[0]], top), min(other["p75"] + number("act_line_step"), act)
    highest = limits.ceiling - number("thermostat_margin")
    band_high = down(min(top, act, highest), grade)
    set_point = min(down(middle, grade), band_high)
    if limits.floor > set_point:
        return _refused(f"the floor of {limits.floor:g} °C stands above the set point of {set_point:g} °C: look at the winter readings")
    lowest = bottom if math.isnan(limits.floor) else max(bottom, limits.floor)
    return {
        "status": "borrowed" if lender else "target",
        "reason": _remark(own, lender),
        "borrowed_from": lender or "",
        "set_point": set_point,
        "band_low": min(up(lowest, grade), set_point),
        "band_high": band_high,
        "act_line": down(min(limits.ceiling, act), grade),
        "cut_by_ceiling": highest < min(top, act),
    }


def _refusal(own: dict[str, Any], lender: str | None, limits: Limits) -> str:
    if not own["n_readings"]:
        return "no readings"
    if not provisional(own["grade"]) and not lender:
        return own["lack"]
    if own["p50"] > limits.ceiling:
        return f"half of the readings lie above the ceiling of {limits.ceiling:g} °C: look at them"
    return ""


def _refused(reason: str) -> dict[str, Any]:
    return {"status": "refused", "reason": reason, "borrowed_from": "", "cut_by_ceiling": False, **dict.fromkeys(PRINTED, math.nan)}


def _remark(own: dict[str, Any], lender: str | None) -> str:
    remarks = [f"{own['lack']}; borrowed from {MONTH_NAMES[int(lender) - 1]}"] if lender else []
    if own["n_years"] == 1:
        remarks.append("one year only: it speaks of that year")
    if own["only_from_visit"]:
        remarks.append("only the visits' readings, none at an animal")
    return "; ".join(remarks)


def _typed(frame: pd.DataFrame) -> pd.DataFrame:
    text = dict.fromkeys(TEXT_TARGET_COLUMNS, "str")
    counts = dict.fromkeys(COUNT_TARGET_COLUMNS, "int64")
    real = {name: "float64" for name in TARGET_COLUMNS if name not in {*text, *counts, "cut_by_ceiling"}}
    return frame.astype({**text, **counts, **real, "cut_by_ceiling": "bool"})
