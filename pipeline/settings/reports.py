"""Permits, parcels, what a person can do in a month, and stated detection: the words of `rillbook.toml` that reports need."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pipeline.errors import RillbookError

ANY = "any"
PERMIT_DEFAULTS: dict[str, Any] = {"code": "", "holder": "", "years": [], "limit": []}
LIMIT_DEFAULTS: dict[str, Any] = {"taxon": ANY, "county": ANY, "captured": None, "retained": None}
PARCEL_DEFAULTS: dict[str, Any] = {"code": "", "sites": [], "polygon": []}
REACH_WORDS = ("days_a_month", "visits_a_month")
AMOUNTS = ("captured", "retained")


@dataclass(frozen=True)
class Reach:
    """What a person can do in a month, for the revisit plan.

    Attributes
    ----------
    days : int
        Days in the field.
    visits : int
        Visits in all, no fewer than days.
    """

    days: int = 4
    visits: int = 8


@dataclass(frozen=True)
class Limit:
    """How many animals a permit allows in a year.

    Attributes
    ----------
    taxon, county : str
        Taxon code and county, or ``any`` for all of them together.
    captured, retained : int or None
        Most animals captured, and kept of them, in one calendar year; None where the permit states none.
    """

    taxon: str
    county: str
    captured: int | None
    retained: int | None


@dataclass(frozen=True)
class Permit:
    """One permit: its number as the visits name it, who holds it, the years that it covers, and its limits."""

    code: str
    holder: str
    years: tuple[int, ...]
    limits: tuple[Limit, ...]


@dataclass(frozen=True)
class Parcel:
    """Land of one owner: codes of its sites, or its corners as latitude and longitude in degrees, WGS 84."""

    code: str
    sites: tuple[str, ...]
    polygon: tuple[tuple[float, float], ...]


def permit_of(entry: Mapping[str, Any], taxa: tuple[str, ...], where: str) -> Permit:
    """Read one [[permit]].

    Parameters
    ----------
    entry : mapping
        Its words.
    taxa : tuple of str
        Taxon codes of the book.
    where : str
        File, for errors.

    Raises
    ------
    RillbookError
        A word is unknown, missing or says what it must not.
    """
    where = f"{where}, [[permit]]"
    _refuse_unknown(entry, PERMIT_DEFAULTS, where)
    row = {**PERMIT_DEFAULTS, **entry}
    code = _code(row["code"], where)
    where = f"{where} {code}"
    if not isinstance(row["holder"], str):
        raise RillbookError("holder must be a text in quote marks.", "Mend it.", where)
    years = row["years"]
    if not isinstance(years, list) or not years or not all(type(year) is int and 1900 <= year <= 2200 for year in years):
        raise RillbookError("years must list the calendar years that the permit covers.", "Write years = [2024, 2025].", where)
    limits = row["limit"]
    if not isinstance(limits, list) or not all(isinstance(limit, dict) for limit in limits):
        raise RillbookError("limits must stand as headings [[permit.limit]] with their words below.", "Mend it.", where)
    return Permit(code, row["holder"], tuple(sorted(set(years))), tuple(_limit(limit, taxa, where) for limit in limits))


def _limit(entry: Mapping[str, Any], taxa: tuple[str, ...], where: str) -> Limit:
    _refuse_unknown(entry, LIMIT_DEFAULTS, f"{where}, [[permit.limit]]")
    row = {**LIMIT_DEFAULTS, **entry}
    if row["taxon"] not in (ANY, *taxa):
        raise RillbookError(f"a limit's taxon {row['taxon']!r} is not in the book.", f"Write one of {', '.join((ANY, *taxa))}.", where)
    if not isinstance(row["county"], str) or not row["county"].strip():
        raise RillbookError("a limit's county must be a text in quote marks.", 'Write it as your sites do, or "any".', where)
    for word in AMOUNTS:
        if row[word] is not None and (type(row[word]) is not int or row[word] < 0):
            raise RillbookError(f"{word} must be a whole number, 0 or more.", "Write the permit's figure, or leave the line out.", where)
    if all(row[word] is None for word in AMOUNTS):
        raise RillbookError("a limit states no number.", "Give it captured, retained or both.", where)
    return Limit(row["taxon"], row["county"].strip(), row["captured"], row["retained"])


def parcel_of(entry: Mapping[str, Any], where: str) -> Parcel:
    """Read one [[parcel]]; errors as in :func:`permit_of`."""
    where = f"{where}, [[parcel]]"
    _refuse_unknown(entry, PARCEL_DEFAULTS, where)
    row = {**PARCEL_DEFAULTS, **entry}
    code = _code(row["code"], where)
    where = f"{where} {code}"
    sites, polygon = row["sites"], row["polygon"]
    if not isinstance(sites, list) or not all(isinstance(site, str) and site.strip() for site in sites):
        raise RillbookError("sites must be a list of site codes in quote marks.", 'Write sites = ["N03", "N04"].', where)
    if not isinstance(polygon, list) or not all(_is_corner(corner) for corner in polygon):
        raise RillbookError(
            "polygon must be a list of corners, each [latitude, longitude] in degrees.", "West of Greenwich is negative.", where
        )
    if not sites and not polygon:
        raise RillbookError("a parcel needs sites or a polygon.", "Give it one of them, or both.", where)
    if polygon and len({tuple(corner) for corner in polygon}) < 3:
        raise RillbookError("a polygon needs three corners or more.", "List them in order around the parcel.", where)
    return Parcel(code, tuple(site.strip() for site in sites), tuple((float(corner[0]), float(corner[1])) for corner in polygon))


def _is_corner(corner: Any) -> bool:
    fine = isinstance(corner, list) and len(corner) == 2 and all(type(one) in (int, float) and math.isfinite(one) for one in corner)
    return fine and abs(corner[0]) <= 90 and abs(corner[1]) <= 180


def reach_of(entry: Mapping[str, Any], where: str) -> Reach:
    """Read [plan]; errors as in :func:`permit_of`. What is not stated is a judgement: a day a week, two sites a day."""
    where = f"{where}, [plan]"
    _refuse_unknown(entry, dict.fromkeys(REACH_WORDS), where)
    days = entry.get("days_a_month", Reach.days)
    visits = entry.get("visits_a_month", 2 * days if type(days) is int else 0)
    for word, number, most in zip(REACH_WORDS, (days, visits), (31, 300), strict=True):
        if type(number) is not int or not 1 <= number <= most:
            raise RillbookError(f"{word} must be a whole number from 1 to {most}.", "Write what you can do in a month.", where)
    if visits < days:
        raise RillbookError("visits_a_month is less than days_a_month.", "A day in the field has a visit at least.", where)
    return Reach(days, visits)


def common_name_of(value: Any, where: str) -> str:
    """Read the name of a taxon that people of the place use.

    Raises
    ------
    RillbookError
        It is no text.
    """
    if not isinstance(value, str) or not value.strip():
        raise RillbookError("common_name must be a text in quote marks.", "Mend it, or leave it out.", where)
    return " ".join(value.split())


def detection_of(value: Any, where: str) -> float:
    """Read the stated detection of a taxon: a share between 0 and 1, both excluded.

    Raises
    ------
    RillbookError
        It is no such share.
    """
    if type(value) not in (int, float) or not 0 < value < 1:
        raise RillbookError(
            "detection must lie between 0 and 1: no search finds every animal.", "Write the share of searches that find it.", where
        )
    return float(value)


def _code(code: Any, where: str) -> str:
    if not isinstance(code, str) or not code.strip():
        raise RillbookError("no code.", 'Give it one in quote marks, such as code = "A".', where)
    return code.strip()


def _refuse_unknown(entry: Mapping[str, Any], known: Any, where: str) -> None:
    for word in entry:
        if word not in known:
            raise RillbookError(f"unknown word {word!r}.", f"Known here: {', '.join(known)}.", where)
