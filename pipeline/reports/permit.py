"""The report that a permit office asks for: captures against the limits, activity and none, with places and names."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from pipeline.settings.reports import ANY, Limit, Permit
from schemas.frames.frame import columns_of, framed
from schemas.frames.reports import PermitFinds, PermitLimits, PermitSummary
from schemas.vocabulary import EGGS

NOT_NOTED = "not noted"
SEEN = "not_caught"
KEPT = "retained"
SALVAGED = "salvaged"
WHAT = {SEEN: "seen only", SALVAGED: "found dead, kept"}
COUNTED_AS = ("released", "retained", "dead", NOT_NOTED)
"""Dispositions that count as captured: an animal that died may have died in the hand, and one of which nobody noted it was perhaps held."""
SUMMARY = ["scientific_name", "life_stage", "county", "date", "disposition"]


def visits_of(permit: Permit, permits: tuple[Permit, ...], visits: pd.DataFrame) -> pd.DataFrame:
    """Visits made under a permit.

    Parameters
    ----------
    permit : Permit
        The permit.
    permits : tuple of Permit
        All of the book.
    visits : DataFrame
        Columns of ``schemas.tables.Visits``.

    Returns
    -------
    DataFrame
        The same columns, ``year`` and ``assumed``: the visit names no permit, and this is the only one of its year. Visits that name it in
        a year that it does not cover are here too, with ``outside`` true.
    """
    year = visits["visit_date"].dt.year
    written = visits["permit"].fillna("").astype("str").str.strip().str.casefold()
    alone = {one for one in permit.years if sum(one in other.years for other in permits) == 1}
    assumed = written.eq("") & year.isin(alone)
    mine = written.eq(permit.code.casefold()) | assumed
    return visits.assign(year=year, assumed=assumed, outside=~year.isin(permit.years))[mine]


def rows_of(
    permit: Permit,
    mine: pd.DataFrame,
    sites: pd.DataFrame,
    finds: pd.DataFrame,
    taxa: pd.DataFrame,
    years: list[int],
    fewest: frozenset[str] = frozenset(),
) -> pd.DataFrame:
    """One row a find under the permit, one a visit without a find, one a year without a visit.

    Parameters
    ----------
    permit : Permit
        The permit.
    mine : DataFrame
        As :func:`visits_of`, of the years reported.
    sites, finds : DataFrame
        Columns of ``schemas.tables``.
    taxa : DataFrame
        Columns ``code``, ``scientific_name``.
    years : list of int
        Years reported.
    fewest : frozenset of str
        Finds whose count was written as 3+ or the like.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.reports.PermitFinds`, in order of date, visit and find.
    """
    names = dict(zip(taxa["code"], taxa["scientific_name"], strict=True))
    places = sites[sites["site_id"].isin(mine["site_id"])].set_index("site_id").to_dict("index")
    of_visit: dict[str, list[dict[str, Any]]] = {}
    for find in finds[finds["visit_id"].isin(mine["visit_id"])].to_dict("records"):
        of_visit.setdefault(find["visit_id"], []).append(find)
    rows: list[dict[str, Any]] = []
    for visit in mine.sort_values(["visit_date", "visit_id"]).to_dict("records"):
        place = places.get(visit["site_id"], {})
        base = _of_visit(permit, visit, place)
        met = of_visit.get(visit["visit_id"], [])
        rows += [{**base, **_of_find(find, names), "at_least": "yes" if find["find_id"] in fewest else ""} for find in met]
        if not met:
            held = bool(visit.get("incomplete"))
            rows.append({**base, "what": "visit whose finds are held back" if held else "visit without a find", "number": 0})
    for year in years:
        if not mine["year"].eq(year).any():
            rows.append({"permit": permit.code, "year": year, "what": "no activity", "number": 0})
    frame = pd.DataFrame(rows, columns=list(columns_of(PermitFinds)))
    counts = ["number", "captured", "removed", "released", "died", "salvaged", "not_caught"]
    frame[counts] = frame[counts].astype("Float64").fillna(0).astype("int64")
    texts = [name for name in frame.columns if name not in (*counts, "year", "latitude", "longitude", "coordinate_uncertainty_m")]
    frame[texts] = frame[texts].astype("object").where(frame[texts].notna(), "")
    return framed(PermitFinds, frame.sort_values(["year", "date", "visit_id", "find_id"], ignore_index=True))


def _of_visit(permit: Permit, visit: Mapping[str, Any], place: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "permit": permit.code, "year": int(visit["year"]), "date": f"{visit['visit_date']:%Y-%m-%d}", "names": visit["observers"],
        "method": visit["protocol"], "county": _text(place.get("county")) or NOT_NOTED, "state": _text(place.get("state")) or NOT_NOTED,
        "site_id": visit["site_id"], "latitude": place.get("latitude"), "longitude": place.get("longitude"),
        "coordinate_type": "decimal degrees", "coordinate_source": "the site's", "datum": _text(place.get("datum")) or NOT_NOTED,
        "coordinate_uncertainty_m": place.get("coordinate_uncertainty_m"), "visit_id": visit["visit_id"],
    }  # fmt: skip


def _of_find(find: Mapping[str, Any], names: Mapping[str, str]) -> dict[str, Any]:
    number = int(find["count"])
    fate = _text(find["disposition"]) or NOT_NOTED
    # clutches are not animals, and a limit on animals says nothing of them
    captured = number if fate in COUNTED_AS and find["life_stage"] not in EGGS else 0
    at_find = find["latitude"] == find["latitude"] and find["longitude"] == find["longitude"]
    where = {"latitude": find["latitude"], "longitude": find["longitude"], "coordinate_source": "taken at the find"} if at_find else {}
    return {
        **where,
        "what": WHAT.get(fate, "eggs" if find["life_stage"] in EGGS else "capture"),
        "scientific_name": names.get(find["taxon"], find["taxon"]), "taxon": find["taxon"], "life_stage": find["life_stage"],
        "number": number, "mark": find["animal_id"], "captured": captured,
        "removed": number if fate == KEPT else 0, "released": captured if fate == "released" else 0,
        "died": captured if fate == "dead" else 0, "salvaged": number if fate == SALVAGED else 0,
        "not_caught": number if fate == SEEN else 0,
        "voucher": "yes" if fate in (KEPT, SALVAGED) else "no", "photo": "yes" if _text(find["photo"]) else "no",
        "find_id": find["find_id"], "disposition": fate,
    }  # fmt: skip


def _text(value: Any) -> str:
    return "" if value is None or value != value else str(value).strip()


def summary(rows: pd.DataFrame) -> pd.DataFrame:
    """Animals by species, stage, county, date and disposition.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.reports.PermitSummary`.
    """
    met = rows[rows["find_id"].ne("")]
    return framed(PermitSummary, met.groupby(SUMMARY, sort=True)["number"].sum().reset_index())


def against_limits(permit: Permit, rows: pd.DataFrame, years: list[int]) -> pd.DataFrame:
    """Hold each year's captures against each limit.

    Parameters
    ----------
    permit : Permit
        With its limits as the book states them.
    rows : DataFrame
        As :func:`rows_of`.
    years : list of int
        Years reported.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.reports.PermitLimits`.
    """
    return framed(PermitLimits, [row for year in years for limit in permit.limits for row in _held(permit, limit, rows, year)])


def _held(permit: Permit, limit: Limit, rows: pd.DataFrame, year: int) -> Iterator[dict[str, Any]]:
    own = rows[rows["year"].eq(year)]
    if limit.taxon != ANY:
        own = own[own["taxon"].eq(limit.taxon)]
    if limit.county.casefold() != ANY:
        own = own[own["county"].astype("str").str.casefold().eq(limit.county.casefold())]
    for kind, column, allowed in (("captured", "captured", limit.captured), ("retained", "removed", limit.retained)):
        if allowed is None:
            continue
        n = int(own[column].sum())
        if n > allowed:
            words = f"LIMIT PASSED: {n} {kind}, {allowed} allowed, {n - allowed} too many"
        elif (own["at_least"].eq("yes") & own[column].gt(0)).any():
            words = f"within the limit as far as the counts tell: at least {n} {kind}, {allowed} allowed"
        else:
            words = f"within the limit: {n} {kind}, {allowed} allowed" + (", none left" if n == allowed and allowed else "")
        yield {
            "permit": permit.code, "year": year, "taxon": limit.taxon, "county": limit.county, "kind": kind, "allowed": allowed,
            "counted": n, "left": allowed - n, "words": words,
        }  # fmt: skip
