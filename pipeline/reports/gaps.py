"""What evidence is missing: cells below each grade, the visits they lack, and the months in which visits would raise most."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from pipeline.settings import Settings
from pipeline.settings.limits import judgement
from pipeline.statistics.grades import ORDER, needs
from schemas.frames.frame import columns_of, framed
from schemas.frames.reports import GapMonths, Gaps, PublicGaps, Unseen
from schemas.vocabulary import codes, codes_with, codes_without

GROUP = ["taxon", "population", "life_stage", "medium"]
MONTHS = tuple(str(month) for month in range(1, 13))
# A reading at eggs means turning a nest rock: no list may ask for one (method §11).
NEVER_ASKED = (*codes_with("life_stage", "at_nest"), *codes_without("life_stage", "told"))
NIGHT = "surface"
SHARE, BESIDE, NOT_KNOWN = "share so far", "months beside it", "not known"
SHOWN = 12
TRIP_CLASSES = (1, 2, 3, 5, 10, 20, 50, 100, 200, 500, 1000)
"""Site-days of search as others may know them: the exact number tells how often a place was searched."""


def searched(readings: pd.DataFrame, looked: pd.DataFrame, sites: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Count for each cell the site-days on which its taxon was looked for, and those of them that gave a reading.

    Parameters
    ----------
    readings : DataFrame
        As :class:`schemas.frames.targets.Readings`.
    looked : DataFrame
        As :func:`pipeline.statistics.detection.searches`.
    sites : DataFrame
        Columns ``site_id``, ``waterbody``, ``population``.
    settings : Settings
        Warm and cold months.

    Returns
    -------
    DataFrame
        ``taxon``, ``population``, ``life_stage``, ``medium``, ``month`` (1 to 12, warm, cold), ``n_searches``, ``n_with_reading``.
    """
    body, code = sites["waterbody"].fillna("").str.strip(), sites["site_id"]
    places = sites.assign(site=body.where(body.ne(""), code), population=sites["population"].fillna(""))[["site_id", "site", "population"]]
    days = looked.merge(places, on="site_id").rename(columns={"visit_date": "date"})
    days = days[["taxon", "population", "site", "date"]].drop_duplicates()
    read = readings[[*GROUP, "site", "date"]].drop_duplicates().merge(days, on=["taxon", "population", "site", "date"])
    spans = {"warm": settings.warm_months, "cold": settings.cold_months} | {month: (int(month),) for month in MONTHS}
    n = _by_span(days, ["taxon", "population"], spans).rename("n_searches").reset_index()
    with_reading = _by_span(read, GROUP, spans).rename("n_with_reading").reset_index()
    cells = pd.DataFrame({"month": list(spans)}).merge(readings[GROUP].drop_duplicates(), how="cross")
    counts = {"n_searches": "int64", "n_with_reading": "int64"}
    counted = cells.merge(n, how="left").merge(with_reading, how="left").fillna(dict.fromkeys(counts, 0)).astype(counts)
    return counted[[*GROUP, *counts, "month"]]


def _by_span(rows: pd.DataFrame, by: list[str], spans: Mapping[str, tuple[int, ...]]) -> pd.Series[int]:
    """How many rows of each group lie in each span of months; index: the columns of `by`, and ``month``."""
    of_month = rows.groupby([*by, rows["date"].dt.month.rename("in_month")]).size().rename("n").reset_index()
    belongs = pd.DataFrame([(month, one) for month, span in spans.items() for one in span], columns=["month", "in_month"])
    return of_month.merge(belongs, on="in_month").groupby([*by, "month"])["n"].sum()


def gap_list(targets: pd.DataFrame, shared: Mapping[tuple[str, ...], Mapping[str, Any]], searched: pd.DataFrame) -> pd.DataFrame:
    """List the cells that lack evidence for a better grade, and what they lack.

    Parameters
    ----------
    targets : DataFrame
        As :func:`pipeline.targets.derive.targets`; its grades and counts are used, not its temperatures.
    shared : mapping
        (taxon, population, stage, medium) to ``years`` (a set), ``values`` and ``night_values``: distinct values and how many are surely at
        night, over all months.
    searched : DataFrame
        Columns ``taxon``, ``population``, ``life_stage``, ``medium``, ``month`` (text, seasons too), ``n_searches``, ``n_with_reading``.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.reports.Gaps`; egg masses and undetermined stages are never in it, nor cells of grade A.
    """
    asked = targets[~targets["life_stage"].isin(NEVER_ASKED) & targets["grade"].ne(ORDER[0])]
    counts = {tuple(row[:5]): row[5:] for row in searched[[*GROUP, "month", "n_searches", "n_with_reading"]].itertuples(index=False)}
    rows = [_gap(row, shared[tuple(str(row[name]) for name in GROUP)], counts) for row in asked.to_dict("records")]
    return framed(Gaps, rows)


def _gap(row: Mapping[str, Any], shared: Mapping[str, Any], counted: Mapping[tuple[str, ...], tuple[Any, ...]]) -> dict[str, Any]:
    monthly, month, cell = str(row["month"]) in MONTHS, str(row["month"]), tuple(str(row[name]) for name in GROUP)
    counts = counts_of(row, shared)
    only_visits = row["from_visit_share"] == 1
    better = ORDER[ORDER.index(row["grade"]) - 1]
    lack = {grade: lacking(counts, shared, grade, monthly=monthly, only_from_visit=only_visits) for grade in ORDER[:3]}
    own = lack[better]
    n_searches, n_with = (int(n) for n in counted.get((*cell, month), (0, 0)))
    company = "two people or more" if row["medium"] == NIGHT or own["at_night"] > 0 else ""
    beside = [counted.get((*cell, str(other)), (0, 0)) for other in _months_beside(int(month))] if monthly else []
    share = expected_share(n_searches, n_with, sum(int(n) for n, _ in beside), sum(int(n) for _, n in beside))
    trips = math.nan if share == 0 else math.ceil(own["visits"] / share - 1e-9)
    return {
        **{name: str(row[name]) for name in (*GROUP, "month", "grade")}, "next_grade": better,
        **{f"n_{name}": int(counts[name]) for name in ("sites", "dates", "visits", "years")},
        **{f"visits_to_{grade.lower()}": _visits_to(part, row["grade"], grade) for grade, part in lack.items()},
        **{f"more_{name}": own[name] for name in ("visits", "sites", "dates", "years", "at_night")},
        "at_animal": own["at_animal"], "interval": own["interval"],
        "n_searches": n_searches, "n_with_reading": n_with, "trips": trips,
        "trips_basis": SHARE if n_with else BESIDE if share else NOT_KNOWN, "company": company,
    }  # fmt: skip


def _months_beside(month: int) -> tuple[int, int]:
    return (month - 2) % 12 + 1, month % 12 + 1


def expected_share(n_searches: int, n_with_reading: int, n_beside: int, n_with_beside: int) -> float:
    """Share of the coming site-days of search that may be expected to give a reading of a cell.

    Parameters
    ----------
    n_searches, n_with_reading : int
        Site-days of search in the month so far, and those that gave a reading of the cell.
    n_beside, n_with_beside : int
        The same in the month before and the month after.

    Returns
    -------
    float
        The share so far, with one search more that succeeds as often as those of the months beside it. A month that was never searched is
        as good as these; where they gave nothing either, 0: nothing is known, and nothing is promised. A judgement of this project.
    """
    beside = n_with_beside / n_beside if n_beside else 0.0
    return (n_with_reading + beside) / (n_searches + 1)


def for_others(gaps: pd.DataFrame) -> pd.DataFrame:
    """The gap list to share: how often places were searched stands in it as a class (1000: or more), or not at all."""
    trips = gaps["trips"].map(lambda n: next((most for most in TRIP_CLASSES if n <= most), TRIP_CLASSES[-1]), na_action="ignore")
    return framed(PublicGaps, gaps.assign(trips=trips))


def _visits_to(lack: Mapping[str, Any], has: str, grade: str) -> float:
    if ORDER.index(has) <= ORDER.index(grade):
        return 0
    return math.nan if lack["interval"] and not lack["visits"] else lack["visits"]


def counts_of(row: Mapping[str, Any], shared: Mapping[str, Any]) -> dict[str, Any]:
    """Counts of a row of the targets, as :func:`pipeline.statistics.grades.grade_of` takes them."""
    return {
        **{name: row[f"n_{name}"] for name in ("sites", "dates", "visits")},
        "years": len(shared["years"]),
        "night_share": shared["night_values"] / shared["values"],
        "half_width": (row["p50_high"] - row["p50_low"]) / 2,
    }


def lacking(counts: Mapping[str, Any], shared: Mapping[str, Any], grade: str, *, monthly: bool, only_from_visit: bool) -> dict[str, Any]:
    """What a cell lacks for a grade.

    Parameters
    ----------
    counts : mapping
        As :func:`counts_of`.
    shared : mapping
        ``values`` and ``night_values`` of its taxon, population, stage and medium.
    grade : str
        A, B or C.
    monthly : bool
        The cell is one month.
    only_from_visit : bool
        No reading was taken at an animal.

    Returns
    -------
    dict
        ``sites``, ``dates``, ``years`` missing; ``visits``: independent visits that bring all of these, each with one reading, on a day
        of its own, and as many at new sites, in new years and at night as is said; ``at_night``; ``at_animal`` (bool); ``interval``: words
        where the width of the interval stands in the way too, else empty.
    """
    rule = needs(grade, monthly)
    short = {name: int(max(0, rule[name] - counts[name])) for name in ("sites", "dates", "visits", "years")}
    at_animal = bool(only_from_visit and grade in "AB")
    visits = max(*short.values(), int(at_animal))
    at_night = _night_visits(shared, rule["night_share"], visits)
    wide = not math.isinf(rule["half_width"]) and not counts["half_width"] <= rule["half_width"]
    return {**short, "visits": max(visits, at_night), "at_night": at_night, "at_animal": at_animal, "interval": _wide(counts, rule, wide)}


def _night_visits(shared: Mapping[str, Any], share: float, visits: int) -> int:
    """Fewest of the coming visits that must be at night; more than `visits` where that is not enough."""
    night, values = shared["night_values"], shared["values"]
    k = 0
    while (night + k) / (values + max(visits, k)) < share:
        k += 1
    return k


def _wide(counts: Mapping[str, Any], rule: Mapping[str, float], wide: bool) -> str:
    if not wide:
        return ""
    half = counts["half_width"]
    now = "too few sites and dates for an interval" if math.isnan(half) else f"half-width {half:.1f} °C"
    return f"{now}; at most {rule['half_width']:g} °C needed"


def best_months(
    gaps: pd.DataFrame, shared: Mapping[tuple[str, ...], Mapping[str, Any]], today: date, warm: tuple[int, ...] = ()
) -> pd.DataFrame:
    """Rank the coming twelve months of each population by the cells that a day of search in them raises.

    Parameters
    ----------
    gaps : DataFrame
        As :func:`gap_list`.
    shared : mapping
        As there.
    today : date
        The present month counts as coming.
    warm : tuple of int
        Months of the warm season, in which a missing target weighs most.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.reports.GapMonths`, best first. One day can serve several cells, so the days of a month are those of its
        neediest cell. A cell whose days of search nobody knows counts for nothing. Cells that need a new year count only where the coming
        month lies in one; cells whose interval is too wide count for nothing, since no number of visits can promise them.
    """
    rows, wanted = [], curable(gaps)
    wanted = wanted[wanted["month"].isin(MONTHS) & wanted["trips"].notna()]
    for (population, month), cells in wanted.groupby(["population", "month"], sort=True):
        year = today.year + (int(month) < today.month)
        new_year = [year not in shared[tuple(key)]["years"] for key in cells[GROUP].itertuples(index=False, name=None)]
        ready = cells[cells["more_years"] <= new_year]
        if len(ready):
            rows.append(
                {"population": population, "month": int(month), "next": f"{year}-{int(month):02d}", **_best(ready, int(month) in warm)}
            )
    frame = pd.DataFrame(rows, columns=[name for name in columns_of(GapMonths) if name != "rank"])
    frame = frame.sort_values(["per_trip", "new_targets", "next", "population"], ascending=[False, False, True, True], ignore_index=True)
    return framed(GapMonths, frame.assign(rank=range(1, len(frame) + 1)))


def curable(gaps: pd.DataFrame) -> pd.DataFrame:
    """Cells that visits can bring to their next grade; of the others the interval is too wide, and no visit can promise to narrow it."""
    return gaps[gaps["more_visits"].gt(0) & gaps["interval"].eq("")]


def _best(cells: pd.DataFrame, warm: bool) -> dict[str, Any]:
    """The number of site-days that is worth most a day."""
    first, needed = cells["next_grade"].eq(ORDER[2]).to_numpy(), cells["trips"].to_numpy()
    gains = np.where(first, judgement("warm_month_worth") if warm else 1.0, judgement("better_grade_worth"))
    trips = max(np.unique(needed), key=lambda number: (gains[needed <= number].sum() / number, number))
    raised = needed <= trips
    named = cells.loc[raised, ["taxon", "life_stage", "medium", "next_grade"]].itertuples(index=False, name=None)
    return {
        "trips": int(trips),
        "new_sites": int(cells.loc[raised, "more_sites"].max()),
        "cells_raised": int(raised.sum()),
        "new_targets": int((raised & first).sum()),
        "per_trip": round(gains[raised].sum() / trips, 3),
        "cells": "; ".join(f"{taxon} {stage} {medium} to {grade}" for taxon, stage, medium, grade in named),
        "company": "two people or more" if cells.loc[raised, "company"].ne("").any() else "",
    }


def unseen(targets: pd.DataFrame, finds: pd.DataFrame, taxa: list[str]) -> pd.DataFrame:
    """Stages without a single reading that counts; as :class:`schemas.frames.reports.Unseen`, never egg masses."""
    rows = []
    for taxon in taxa:
        for stage in codes("life_stage"):
            read = targets["taxon"].eq(taxon) & targets["life_stage"].eq(stage)
            if stage not in NEVER_ASKED and not read.any():
                n = int((finds["taxon"].eq(taxon) & finds["life_stage"].eq(stage)).sum())
                rows.append({"taxon": taxon, "life_stage": stage, "n_finds": n, "why": "found, not measured" if n else "never found"})
    return framed(Unseen, rows)


def below(gaps: pd.DataFrame) -> dict[str, int]:
    """How many month cells lie below each grade."""
    months = gaps[gaps["month"].isin(MONTHS)]
    return {grade: int(months["grade"].map(ORDER.index).gt(ORDER.index(grade)).sum()) for grade in ORDER[:3]}
