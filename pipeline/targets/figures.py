"""What was read in one cell: counts, weighted quantiles, the grade, and how much of the daily swing stands in its readings."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any, TypeAlias

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.settings.limits import judgement
from pipeline.statistics.bootstrap import crossed_bootstrap, interval
from pipeline.statistics.grades import grade_of, missing_for_c, worse
from pipeline.statistics.quantiles import weighted_quantile
from pipeline.statistics.sample_size import effective_visits
from pipeline.statistics.weights import named_seed, site_day_weights
from schemas.frames.targets import COUNT_TARGET_COLUMNS

Cell = tuple[str, str, str, str, str]
Columns: TypeAlias = pd.DataFrame | Mapping[str, Any]
GradeCap = Callable[[Cell], str | None] | Mapping[Cell, str] | None

MONTHS = tuple(str(month) for month in range(1, 13))
QUANTILES = {"min": 0.0, "p05": 0.05, "p25": 0.25, "p50": 0.5, "p75": 0.75, "p95": 0.95, "max": 1.0}

number = cache(judgement)


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
        its rows are surely at night), ``from_visit`` (all its rows are the visit's), ``accuracy_c`` (the worst; °C).
    """
    hour = readings["hour"].astype("float64")
    swing = np.cos(2 * np.pi * (hour - number("daytime_peak_hour")) / 24).fillna(1.0)
    swing = swing.mask(readings["depth_cm"] >= number("daytime_flat_depth"), 0.0)
    accuracy = readings["accuracy_c"].astype("float64").fillna(number("accuracy_default"))
    # by arrays: pandas takes ten times as long to tell equal rows apart by a text
    keys = [pd.factorize(readings["site"], sort=True)[0], *(readings[name].to_numpy() for name in ("date", "month", "value"))]
    order = np.lexsort(keys[::-1])
    starts = np.ones(len(order), dtype=bool)
    starts[1:] = np.logical_or.reduce([key[order][1:] != key[order][:-1] for key in keys])
    first = np.flatnonzero(starts)

    def over(how: np.ufunc, column: pd.Series[Any]) -> NDArray[Any]:
        ordered = column.to_numpy()[order]
        return np.asarray(how.reduceat(ordered, first) if len(first) else ordered)

    return (
        readings[["site", "date", "month", "value"]]
        .iloc[order[first]]
        .reset_index(drop=True)
        .assign(
            swing=over(np.maximum, swing),
            night=over(np.logical_and, readings["night"].fillna(False).astype("bool")),
            from_visit=over(np.logical_and, readings["from_visit"].astype("bool")),
            accuracy_c=over(np.maximum, accuracy),
        )
    )


def columns_of(frame: pd.DataFrame) -> dict[str, NDArray[Any]]:
    """Columns as plain arrays: what is asked for each cell of a table is asked of arrays, since a small frame costs more than its rows."""
    return {str(name): frame[name].to_numpy() for name in frame}


def rows_of(columns: Mapping[str, NDArray[Any]], wanted: NDArray[Any]) -> dict[str, NDArray[Any]]:
    """The wanted rows of columns that are plain arrays: by their places, or by a mask."""
    return {name: column[wanted] for name, column in columns.items()}


def weights_of(values: Columns) -> NDArray[np.float64]:
    """Site-day weights of distinct values; sum 1."""
    return site_day_weights(values["site"], values["month"], values["date"])


def draws_of(values: Columns, cell: Cell, seed: int, replicates: int, weights: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
    """Bootstrapped P5, P50 and P95 of distinct values, °C, shape (replicates, 3); `weights` where they are known already."""
    weights = weights_of(values) if weights is None else weights
    return crossed_bootstrap(
        values["value"], weights, values["site"], values["date"], [0.05, 0.5, 0.95], replicates, named_seed(cell, seed)
    )


def n_visits(readings: Columns) -> int:
    """Visits behind readings: several visits may share one reading, and each of them counts.

    Parameters
    ----------
    readings : DataFrame or mapping to arrays
        Columns ``visit_ids`` (visit codes, one a line), or ``visit_id`` alone where every reading has one visit.
    """
    if "visit_ids" not in readings:
        return _distinct(readings["visit_id"])
    lists = pd.unique(np.asarray(readings["visit_ids"]))
    return len(set("\n".join(lists).split("\n"))) if len(lists) else 0


def _distinct(values: Any) -> int:
    column = np.asarray(values)
    return len(np.unique(column)) if column.dtype.kind in "iu" else int(pd.Series(column).nunique())


def figures_of(readings: Columns, values: Columns, cell: Cell, seed: int, replicates: int) -> dict[str, Any]:
    """Counts and quantiles of one cell.

    Parameters
    ----------
    readings, values : DataFrame or mapping to arrays
        Its readings, and the distinct values of them.
    cell : tuple of str
        Taxon, population, stage, medium, and month as text or ``warm`` or ``cold``.
    seed, replicates : int
        Of the bootstrap.

    Returns
    -------
    dict
        Counts and quantiles by the names of a targets table, °C; ``low`` and ``high`` (P10 and P90), ``swing`` (weighted mean share of the
        daily swing, 0 to 1), ``only_from_visit``, and ``draws`` (see :func:`draws_of`; None where too few sites or dates were read).
    """
    names = [*QUANTILES, "low", "high", "p50_low", "p50_high", "night_share", "from_visit_share", "swing"]
    empty = dict.fromkeys(names, math.nan)
    if not len(values["value"]):
        return {**empty, **dict.fromkeys(COUNT_TARGET_COLUMNS, 0), "n_eff": 0.0, "only_from_visit": False, "draws": None}
    counts = {
        "n_readings": len(readings["date"]), "n_animals": int(np.sum(readings["n_animals"])), "n_visits": n_visits(readings),
        "n_dates": _distinct(readings["date"]), "n_sites": _distinct(readings["site"]), "n_years": _distinct(readings["year"]),
        "n_eff": 0.0,
    }  # fmt: skip
    figures: dict[str, Any] = {**empty, **counts, "draws": None}
    weights = weights_of(values)
    probabilities = [*QUANTILES.values(), number("spring_low_percentile") / 100, number("spring_high_percentile") / 100]
    figures.update(zip([*QUANTILES, "low", "high"], weighted_quantile(values["value"], weights, probabilities), strict=True))
    figures["n_eff"] = effective_visits(*_daily_means(values), int(counts["n_dates"]))
    from_visit = np.asarray(readings["from_visit"], dtype=bool)
    figures["night_share"], figures["from_visit_share"] = float(np.mean(values["night"])), float(from_visit.mean())
    figures["only_from_visit"] = bool(from_visit.all())
    figures["swing"] = max(float(np.sum(np.asarray(values["swing"]) * weights)), 0.0)
    enough = counts["n_sites"] >= number("p50_sites_least") and counts["n_dates"] >= number("p50_dates_least")
    if enough or cell[-1] not in MONTHS:
        figures["draws"] = draws_of(values, cell, seed, replicates, weights)
    if enough:
        low, high = number("p50_low_percentile"), number("p50_high_percentile")
        figures["p50_low"], figures["p50_high"] = interval(figures["draws"][:, 1], low, high)
    return figures


def _daily_means(values: Columns) -> tuple[NDArray[np.float64], NDArray[Any]]:
    """Mean of each site and day, °C, and its site."""
    value, names = np.asarray(values["value"]), np.asarray(values["site"])
    sites, site = np.unique(names, return_inverse=True)
    dates, date = np.unique(np.asarray(values["date"]), return_inverse=True)
    day = site * len(dates) + date
    days = np.unique(day)
    if len(days) == len(day):
        return value, names
    return pd.Series(value).groupby(day, sort=True).mean().to_numpy(), sites[days // len(dates)]


def graded(figures: dict[str, Any], cell: Cell, shared: dict[str, Any], grade_cap: GradeCap) -> dict[str, Any]:
    """Add ``grade`` and ``lack`` (what is missing for a target, in words) to the figures of a cell.

    Parameters
    ----------
    figures, cell
        As :func:`figures_of`.
    shared : dict
        ``years`` and ``night_share`` of the taxon, population, stage and medium.
    grade_cap : callable or mapping, optional
        Cell to the best grade that it may have.
    """
    counts = {name: figures[f"n_{name}"] for name in ("sites", "dates", "visits")} | shared
    counts["half_width"] = (figures["p50_high"] - figures["p50_low"]) / 2
    monthly = cell[-1] in MONTHS
    earned = grade_of(counts, monthly=monthly, only_from_visit=figures["only_from_visit"])
    cap = grade_cap(cell) if callable(grade_cap) else (grade_cap or {}).get(cell)
    grade = worse(earned, cap)
    lack = missing_for_c(counts, monthly=monthly) or f"graded {grade}" if earned == grade else f"held at grade {grade} by hand"
    return {**figures, "grade": grade, "lack": lack}
