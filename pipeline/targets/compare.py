"""Two populations side by side: the same medium, months and hours only, and how small a difference could have been seen (method §8)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.errors import RillbookError
from pipeline.settings import Settings
from pipeline.settings.limits import judgement
from pipeline.statistics.bootstrap import crossed_bootstrap, interval
from pipeline.statistics.quantiles import weighted_quantile
from pipeline.statistics.weights import named_seed, site_day_weights
from schemas.enums import Status

Stratum = tuple[int, int]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Side:
    """One of the two populations, within what both have.

    Attributes
    ----------
    population : str
    median : float
        Weighted median, °C; nan where the comparison is refused.
    n_readings, n_visits, n_dates, n_sites, n_years : int
        What was compared. Readings are distinct values of a site, day and part of the day.
    n_left_out : int
        Rows of readings without clock time, or of a month and part of the day that the other population lacks.
    """

    population: str
    median: float
    n_readings: int
    n_visits: int
    n_dates: int
    n_sites: int
    n_years: int
    n_left_out: int


@dataclass(frozen=True)
class Comparison:
    """Difference between two populations of one taxon, stage and medium.

    Attributes
    ----------
    taxon, life_stage, medium : str
    first, second : Side
    status : str
        ``shown`` (the interval leaves 0 out), ``not shown`` or ``refused``.
    reason : str
        Why refused.
    months : tuple of int
        Months that both have.
    hours : tuple of (int, int)
        Parts of the day that both have, from and to, local hours.
    difference, low, high : float
        Median of the first less median of the second and its 95 % interval, °C; nan where refused.
    smallest : float
        True difference that `compare_power` of like surveys would have shown, °C; nan where refused.
    words : tuple of str
        The same in sentences, for the page.
    """

    taxon: str
    life_stage: str
    medium: str
    first: Side
    second: Side
    status: str
    reason: str
    months: tuple[int, ...]
    hours: tuple[tuple[int, int], ...]
    difference: float
    low: float
    high: float
    smallest: float
    words: tuple[str, ...]


def compare(
    readings: pd.DataFrame,
    first: str,
    second: str,
    settings: Settings,
    *,
    taxon: str,
    life_stage: str,
    medium: str,
    replicates: int | None = None,
) -> Comparison:
    """Compare the temperatures at which two populations were found.

    Only months and parts of the day (`compare_hour_block` hours) in which both were read are used, each pair of month and part weighing the
    same in both; within it site-day weights. Difference of weighted medians; its interval from a crossed bootstrap by site and date of each
    population by itself. smallest = (z(97.5 %) + z(power))·SE, SE the spread of the bootstrapped difference.

    Parameters
    ----------
    readings : DataFrame
        As :class:`schemas.frames.targets.Readings`, °C.
    first, second : str
        Populations, as the book's sites name them.
    settings : Settings
        The seed.
    taxon, life_stage, medium : str
        Codes of the cell.
    replicates : int, optional
        Bootstrap replicates; the method's number if not given.

    Returns
    -------
    Comparison
        Refused below `compare_sites_least` sites or `compare_dates_least` dates of either population.

    Raises
    ------
    RillbookError
        The two are one, or one of them has no readings of this taxon, stage and medium; the message names those that have.

    Notes
    -----
    Populations read on the same days share the weather; drawing their days apart makes the interval wider than it need be, never narrower.

    References
    ----------
    Owen 2007, Annals of Applied Statistics 1:386 (bootstrap); the sum of two normal quantiles is the textbook size of a detectable
    difference (both from memory).
    """
    cell = readings[(readings["taxon"] == taxon) & (readings["life_stage"] == life_stage) & (readings["medium"] == medium)]
    _refuse_unknown(cell, first, second, f"{taxon}, {life_stage}, {medium}")
    rows = [_stratified(cell[cell["population"] == name]) for name in (first, second)]
    common = sorted(set(_strata(rows[0])) & set(_strata(rows[1])))
    kept = [part[np.array([one in common for one in _strata(part)], dtype=bool)] for part in rows]
    reason = _too_few(kept, (first, second), bool(common))
    block = int(judgement("compare_hour_block"))
    months = tuple(sorted({month for month, _ in common}))
    hours = tuple((part * block, (part + 1) * block) for part in sorted({part for _, part in common}))
    nothing = (math.nan, math.nan, math.nan, math.nan)
    medians, numbers = ((math.nan, math.nan), nothing)
    if not reason:
        names = ("compare", taxon, life_stage, medium)
        medians, numbers = _figures(kept, (first, second), names, settings.seed, int(replicates or judgement("replicates")))
    sides = [
        _side(name, median, part, int((cell["population"] == name).sum()))
        for name, median, part in zip((first, second), medians, kept, strict=True)
    ]
    status = Status.REFUSED if reason else "not shown" if numbers[1] <= 0 <= numbers[2] else "shown"
    words = _words(sides, status, reason, numbers)
    return Comparison(taxon, life_stage, medium, sides[0], sides[1], status, reason, months, hours, *numbers, words)


def _refuse_unknown(cell: pd.DataFrame, first: str, second: str, what: str) -> None:
    known = sorted(set(cell["population"]) - {""})
    if first == second:
        raise RillbookError(f"{first!r} cannot be compared with itself.", "Name two populations.")
    for name in (first, second):
        if name not in known:
            there = f"Populations with readings: {', '.join(known)}." if known else "No population has any: set them in the sites' sheet."
            raise RillbookError(f"population {name!r} has no readings of {what}.", there)


def _stratified(readings: pd.DataFrame) -> pd.DataFrame:
    timed = readings[readings["hour"].notna()]
    part = (timed["hour"].astype("float64") // judgement("compare_hour_block")).astype("int64")
    return timed.assign(part=part, month=timed["month"].astype("int64"))


def _strata(rows: pd.DataFrame) -> list[Stratum]:
    return list(zip(rows["month"], rows["part"], strict=True))


def _too_few(kept: list[pd.DataFrame], names: tuple[str, str], any_common: bool) -> str:
    if not any_common:
        return "they have no month and part of the day in common in which both were read with a clock time"
    short = []
    for name, part in zip(names, kept, strict=True):
        for label, column in (("sites", "site"), ("dates", "date")):
            least = judgement(f"compare_{label}_least")
            if part[column].nunique() < least:
                short.append(f"{name} has {part[column].nunique()} of {least:g} {label}")
    return f"within the months and hours that both have, {', '.join(short)}" if short else ""


def _figures(
    kept: list[pd.DataFrame], names: tuple[str, str], cell: tuple[str, ...], seed: int, replicates: int
) -> tuple[tuple[float, float], tuple[float, float, float, float]]:
    medians, drawn = [], []
    for name, part in zip(names, kept, strict=True):
        values = part.drop_duplicates(["site", "date", "part", "value"])
        weights = _weights(values)
        medians.append(float(weighted_quantile(values["value"], weights, 0.5)[0]))
        own_seed = named_seed((*cell, name), seed)
        drawn.append(crossed_bootstrap(values["value"], weights, values["site"], values["date"], [0.5], replicates, own_seed)[:, 0])
    differences = drawn[0] - drawn[1]
    low, high = interval(differences, judgement("p50_low_percentile"), judgement("p50_high_percentile"))
    normal = NormalDist()
    reach = normal.inv_cdf(judgement("p50_high_percentile") / 100) + normal.inv_cdf(judgement("compare_power"))
    return (medians[0], medians[1]), (medians[0] - medians[1], low, high, reach * float(differences.std()))


def _weights(values: pd.DataFrame) -> Floats:
    """Each month and part of the day weighs the same; within it each site, and within a site each day."""
    weights = np.empty(len(values))
    strata = values.groupby(["month", "part"], sort=True).indices
    for places in strata.values():
        rows = values.iloc[places]
        weights[places] = site_day_weights(rows["site"], rows["month"], rows["date"]) / len(strata)
    return weights


def _side(name: str, median: float, part: pd.DataFrame, n_rows: int) -> Side:
    n_readings = len(part.drop_duplicates(["site", "date", "part", "value"]))
    visits, dates, sites = (int(part[column].nunique()) for column in ("visit_id", "date", "site"))
    return Side(name, median, n_readings, visits, dates, sites, int(part["date"].dt.year.nunique()), n_rows - len(part))


def _words(sides: list[Side], status: str, reason: str, numbers: tuple[float, float, float, float]) -> tuple[str, ...]:
    first, second = sides
    if status == Status.REFUSED:
        return (f"Not compared: {reason}.",)
    difference, low, high, smallest = numbers
    said = [
        f"{side.population}: median {side.median:.1f} °C ({side.n_readings} readings, {side.n_dates} dates, {side.n_sites} sites, "
        f"{side.n_years} {'year' if side.n_years == 1 else 'years'})."
        for side in sides
    ]
    span = f"difference {difference:.1f} °C, 95 % interval {low:.1f} to {high:.1f} °C".replace("-", "−")
    if status == "shown":
        said.append(f"{first.population} was found {'warmer' if low > 0 else 'cooler'} than {second.population}: {span}.")
    else:
        said.append(f"No difference was shown between {first.population} and {second.population}: {span}. That does not make them alike.")
    power = 100 * judgement("compare_power")
    said.append(f"A true difference of {math.ceil(smallest * 10) / 10:.1f} °C would have been shown by {power:g} % of surveys like these.")
    least_sites, least_dates = judgement("p50_sites_least"), judgement("p50_dates_least")
    if any(side.n_sites < least_sites or side.n_dates < least_dates for side in sides):
        said.append(f"With fewer than {least_sites:g} sites or {least_dates:g} dates the interval is narrower than it should be.")
    return tuple(said)
