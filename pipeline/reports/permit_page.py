"""The page of a permit report."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from pipeline.reports.permit import NOT_NOTED
from pipeline.settings import Settings
from pipeline.settings.reports import ANY, Permit
from pipeline.writing.page import render
from pipeline.writing.words import counted
from schemas.vocabulary import vocabulary


def page(
    permit: Permit,
    mine: pd.DataFrame,
    rows: pd.DataFrame,
    limits: pd.DataFrame,
    years: list[int],
    settings: Settings,
    notes: list[str],
    name: str = "permit",
) -> str:
    """Write the report as a private page.

    Parameters
    ----------
    permit, mine, rows, limits, years
        As above.
    settings : Settings
        Title, taxa.
    notes : list of str
        What else the reader must know, such as what is held back.
    name : str
        What the names of the CSV files beside the page begin with: each find and each date stand there.

    Returns
    -------
    str
        HTML that needs no other file.
    """
    names = dict(zip(settings.taxa["code"], settings.taxa["scientific_name"], strict=True))
    return render(
        "reports",
        "permit.html",
        settings=settings, permit=permit, years=years, notes=[*notes, *_notes(permit, mine, rows)],
        activity=[_activity(year, rows[rows["year"].eq(year)]) for year in years],
        limits=[{**row, "name": names.get(row["taxon"], "all taxa together")} for row in limits.to_dict("records")],
        passed=[_passed(row, names) for row in limits[limits["left"] < 0].to_dict("records")],
        totals=_totals(rows), files=[f"{name}.csv", f"{name}_summary.csv", f"{name}_limits.csv"],
        dispositions=[(code.replace("_", " "), words["definition"]) for code, words in vocabulary("disposition").items()],
    )  # fmt: skip


def _totals(rows: pd.DataFrame) -> list[dict[str, Any]]:
    met = rows[rows["find_id"].ne("")]
    sums = met.groupby(["year", "scientific_name", "county", "disposition"], sort=True)["number"].sum().reset_index()
    return [{**row, "disposition": row["disposition"].replace("_", " ")} for row in sums.to_dict("records")]


def _passed(row: Mapping[str, Any], names: Mapping[str, str]) -> str:
    where = "" if row["county"].casefold() == ANY else f", {row['county']}"
    return f"{row['year']}, {names.get(row['taxon'], 'all taxa together')}{where}: {row['words']}."


def _activity(year: int, rows: pd.DataFrame) -> dict[str, Any]:
    """What was done in a year, in words; that nothing was done is said as well."""
    visits = rows[rows["visit_id"].ne("")]
    if visits.empty:
        return {"year": year, "words": f"No activity under this permit in {year}: no visit, no capture."}
    n_visits, captured = visits["visit_id"].nunique(), int(rows["captured"].sum())
    empty = int(rows["what"].eq("visit without a find").sum())
    caught = f"{counted(captured, 'animal')} captured" if captured else "no animal captured"
    n = {name: int(rows[name].sum()) for name in ("released", "removed", "died", "salvaged", "not_caught")}
    unknown = int(rows.loc[rows["disposition"].eq(NOT_NOTED), "captured"].sum())
    words = (
        f"{counted(n_visits, 'visit')} to {counted(visits['site_id'].nunique(), 'site')}"
        f" from {visits['date'].min()} to {visits['date'].max()} ({counted(empty, 'visit')} without a find), {caught}:"
        f" {n['released']} released, {n['removed']} kept, {n['died']} died or found dead{f', {unknown} not noted' if unknown else ''}."
        f" Besides, {n['salvaged']} found dead and kept, and {n['not_caught']} seen and not held."
    )
    return {"year": year, "words": words}


def _notes(permit: Permit, mine: pd.DataFrame, rows: pd.DataFrame) -> Iterator[str]:
    lines = (
        (int(mine["assumed"].sum()), "names no permit and is counted here, since no other permit of the book covers that year"),
        (int(mine["outside"].sum()), "names this permit in a year that it does not cover"),
        (rows.loc[rows["county"].eq(NOT_NOTED), "visit_id"].nunique(), "has a site without a county; a limit by county cannot count it"),
    )
    for n, words in lines:
        if n:
            yield f"{counted(n, 'visit')}: each {words}."
    unknown = rows["find_id"].ne("") & rows["disposition"].eq(NOT_NOTED)
    if unknown.any():
        yield f"{counted(int(unknown.sum()), 'find')} without a disposition: counted as captured."
    fewest = int(rows["at_least"].eq("yes").sum())
    if fewest:
        yield f"{counted(fewest, 'find')} with a count such as 3+: the fewest is counted, the truth may be more."
    if not permit.limits:
        yield "The book states no limit for this permit."
