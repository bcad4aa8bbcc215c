"""What a book has published: from fewer visits no warmer value is printed, until a named person accepts it (method §5)."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from pipeline.settings import Settings
from pipeline.settings.limits import judgement
from pipeline.targets.lines import least_set_point, two_sided
from schemas.enums import Status
from schemas.frames.frame import framed
from schemas.frames.ledger import KEPT_COLUMNS, PUBLISHED_COLUMNS, Kept, Published
from schemas.frames.targets import check_targets

Cell = tuple[str, str, str, str, str]

CELL = ["taxon", "population", "life_stage", "medium", "month"]
OF_ROW = ("set_point", "set_point_high", "band_high", "act_line")
OF_GROUP = ("ceiling", "floor")
OF_AIR = ("deficit", "rh_p25")
NEVER_LOWER = ("floor", "rh_p25")
"""Quantities that fewer visits must not lower; all others they must not raise."""

OPEN_PART = "open part"
METHOD_VERSION = "2"
"""Of the lines of temperature. Lines of another method mean another thing, and hold nothing down."""

AIR_METHOD = FIRST_METHOD = "1"
KEPT_AIR = "kept as damp as published from the same visits or more"


def visits_of_cells(readings: pd.DataFrame, taxa: pd.DataFrame, settings: Settings) -> dict[Cell, frozenset[str]]:
    """The visits behind each printed value.

    Parameters
    ----------
    readings : DataFrame
        As :class:`schemas.frames.targets.Readings`.
    taxa : DataFrame
        Columns ``code``, ``group``.
    settings : Settings
        Warm and cold months.

    Returns
    -------
    dict
        (taxon, population, stage, medium, month) to site-days, written ``site date``. Month is 1 to 12, ``warm``, ``cold``, or ``ceiling``
        and ``floor`` for the visits on which these rest. Site-days and not visit codes: several visits that share a reading are one
        reading under the first one's code, so taking that visit away would look like new evidence.
    """
    kind = taxa.set_index("code")["group"]
    days = readings.assign(day=_site_days(readings))
    every = tuple(range(1, 13))
    result: dict[Cell, frozenset[str]] = {}
    for key, group in days.groupby(CELL[:4], sort=True):
        constant = two_sided(str(key[2]), kind[key[0]])
        spans = {str(month): (month,) for month in every} | {"warm": settings.warm_months, "cold": settings.cold_months}
        spans["ceiling"] = every if constant else settings.warm_months
        spans["floor"] = every if constant else settings.cold_months
        day, month = group["day"].to_numpy(dtype=object), group["month"].to_numpy(dtype="int64")
        for name, months in spans.items():
            result[(*key, name)] = frozenset(day[np.isin(month, months)])
    return result


def _site_days(readings: pd.DataFrame) -> pd.Series[Any]:
    """Site and date of each reading in one text."""
    # each date is written once
    which, dates = pd.factorize(readings["date"])
    return readings["site"] + " " + pd.Series(dates.strftime("%Y-%m-%d").to_numpy()[which], index=readings.index, dtype="str")


def to_publish(targets: pd.DataFrame, visits: Mapping[Cell, frozenset[str]]) -> pd.DataFrame:
    """Values of a targets table as entries of the ledger.

    Returns
    -------
    DataFrame
        Columns taxon, population, life_stage, medium, month, quantity (set_point, set_point_high, band_high, act_line, ceiling,
        floor), value (°C), visits (frozenset of site-days), method. Ceiling and floor stand once a
        group, with ``ceiling`` and ``floor`` as month.
    """
    rows = []
    for row in targets.to_dict("records"):
        cell = tuple(row[name] for name in CELL)
        rows += [(*cell, name, row[name], visits.get(cell, frozenset()), METHOD_VERSION) for name in OF_ROW if not math.isnan(row[name])]
    for row in targets.drop_duplicates(CELL[:4]).to_dict("records"):
        cells = {name: (*(row[part] for part in CELL[:4]), name) for name in OF_GROUP}
        known = [name for name in OF_GROUP if not math.isnan(row[name])]
        rows += [(*cells[name], name, row[name], visits.get(cells[name], frozenset()), METHOD_VERSION) for name in known]
    return framed(Published, pd.DataFrame(rows, columns=list(PUBLISHED_COLUMNS)))


def hold_to_published(
    targets: pd.DataFrame, visits: Mapping[Cell, frozenset[str]], published: pd.DataFrame, accepted: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Print nothing warmer than was published from the same visits or from more.

    Parameters
    ----------
    targets : DataFrame
        As :func:`pipeline.targets.derive.targets` gives it.
    visits : mapping
        As :func:`visits_of_cells` gives it for the same readings.
    published : DataFrame
        As :func:`to_publish`, of every earlier run.
    accepted : DataFrame
        Columns taxon, population, life_stage, medium, month, quantity, value: a named person takes values up to this one (a floor: down to
        it). Cells as in `published`.

    Returns
    -------
    targets : DataFrame
        The same rows; a value that was kept says so in ``reason``. ``set_point_high`` is the highest that a day may have: give each month
        the span of its days again with :func:`pipeline.targets.season.with_set_points`.
    notes : DataFrame
        Columns of the cell, ``quantity``, ``derived``, ``kept`` (°C): each value that was not printed as derived.

    Notes
    -----
    An equal set of visits counts as a subset. A floor is held the other way: never lower. The values of a month are held to that month's
    visits, so that readings of other months cannot warm it; that is stricter than to hold them to all visits. Where new winter visits
    raise a floor past a set point that is held, the floor gives way. Lines of an earlier method hold nothing, see :func:`method_changed`.
    """
    bounds = _bounds(visits, published, accepted)
    notes: list[tuple[Any, ...]] = []
    floors = _floors(targets, bounds)
    rows = [_held_row(row, bounds, floors, notes) for row in targets.to_dict("records")]
    held = pd.DataFrame(rows, columns=targets.columns).astype(targets.dtypes.to_dict())
    return check_targets(held), _kept(notes)


def air_visits(damp: pd.DataFrame) -> dict[Cell, frozenset[str]]:
    """Site-days behind the humidity of each taxon, population and stage, by the cell of the ledger.

    Parameters
    ----------
    damp : DataFrame
        Columns of ``schemas.frames.targets.HUMIDITY_READING_COLUMNS``; rows with a ``reason`` feed no target.
    """
    used = damp[damp["reason"].fillna("") == ""]
    days = used.assign(day=_site_days(used))
    return {_air_cell(dict(zip(CELL[:3], key, strict=True))): frozenset(rows["day"]) for key, rows in days.groupby(CELL[:3], sort=True)}


def _air_cell(row: Mapping[str, Any]) -> Cell:
    return (row["taxon"], row["population"], row["life_stage"], OPEN_PART, OPEN_PART)


def air_to_publish(open_part: pd.DataFrame, visits: Mapping[Cell, frozenset[str]]) -> pd.DataFrame:
    """Humidity targets as entries of the ledger: ``deficit`` (kPa) and ``rh_p25`` (%), columns as :func:`to_publish`."""
    kept = open_part[open_part["status"] == Status.TARGET].to_dict("records")
    cells = [(_air_cell(row), row) for row in kept]
    rows = [(*cell, name, row[name], visits.get(cell, frozenset()), AIR_METHOD) for cell, row in cells for name in OF_AIR]
    return framed(Published, pd.DataFrame(rows, columns=list(PUBLISHED_COLUMNS)))


def hold_air(
    open_part: pd.DataFrame, visits: Mapping[Cell, frozenset[str]], published: pd.DataFrame, accepted: pd.DataFrame
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Print nothing drier than was published from the same visits or from more; arguments and notes as :func:`hold_to_published`.

    Parameters
    ----------
    open_part : DataFrame
        Columns of ``schemas.frames.targets.HUMIDITY_TARGET_COLUMNS``.
    visits, published, accepted
        As :func:`hold_to_published`, `visits` by :func:`air_visits`.

    Returns
    -------
    open_part, notes : DataFrame
        The same rows with ``deficit`` and ``rh_p25`` held, and each value that was not printed as derived.
    """
    bounds = _bounds(visits, published, accepted)
    notes: list[tuple[Any, ...]] = []
    rows = []
    for row in open_part.to_dict("records"):
        cell = _air_cell(row)
        for name in OF_AIR if row["status"] == Status.TARGET else ():
            bound = bounds.get((*cell, name), math.nan)
            if row[name] < bound if name in NEVER_LOWER else row[name] > bound:
                notes.append((*cell, name, row[name], bound))
                row = {**row, name: bound, "reason": "; ".join([*([row["reason"]] if row["reason"] else []), KEPT_AIR])}
        rows.append(row)
    held = pd.DataFrame(rows, columns=open_part.columns).astype(open_part.dtypes.to_dict())
    return held, _kept(notes)


def _kept(notes: list[tuple[Any, ...]]) -> pd.DataFrame:
    return framed(Kept, pd.DataFrame(notes, columns=list(KEPT_COLUMNS)).drop_duplicates(ignore_index=True))


def _bounds(visits: Mapping[Cell, frozenset[str]], published: pd.DataFrame, accepted: pd.DataFrame) -> dict[tuple[Any, ...], float]:
    """Cell and quantity to the value that must not be passed."""
    bounds: dict[tuple[Any, ...], float] = {}
    method = published["method"].fillna(FIRST_METHOD) if "method" in published else FIRST_METHOD
    now = published["quantity"].isin(OF_AIR).map({True: AIR_METHOD, False: METHOD_VERSION})
    for row in published[method == now].to_dict("records"):
        cell = tuple(row[name] for name in CELL)
        if visits.get(cell, frozenset()) <= row["visits"]:
            cautious = max if row["quantity"] in NEVER_LOWER else min
            key = (*cell, row["quantity"])
            bounds[key] = cautious(bounds.get(key, row["value"]), row["value"])
    for row in accepted.to_dict("records"):
        key = (*(row[name] for name in CELL), row["quantity"])
        if key in bounds:
            bounds[key] = (min if row["quantity"] in NEVER_LOWER else max)(bounds[key], row["value"])
    return bounds


def _floors(targets: pd.DataFrame, bounds: Mapping[tuple[Any, ...], float]) -> dict[tuple[Any, ...], float]:
    """Floor of each taxon, population, stage and medium: never below a published one, and under every set point that is held."""
    floors: dict[tuple[Any, ...], float] = {}
    groups: dict[tuple[Any, ...], list[dict[Any, Any]]] = {}
    for row in targets.to_dict("records"):
        groups.setdefault(tuple(row[name] for name in CELL[:4]), []).append(row)
    for key, rows in groups.items():
        floor = max((row["floor"] for row in rows if not math.isnan(row["floor"])), default=math.nan)
        bound = bounds.get((*key, "floor", "floor"), math.nan)
        floor = bound if floor < bound else floor
        for row in (row for row in rows if row["status"] != Status.REFUSED):
            held = min((bounds.get((*key, row["month"], name), math.inf) for name in OF_ROW[:3]), default=math.inf)
            if held < least_set_point(floor):
                floor = math.floor(held - judgement("thermostat_margin"))
        floors[key] = floor
    return floors


def _held_row(
    row: dict[str, Any], bounds: Mapping[tuple[Any, ...], float], floors: Mapping[tuple[Any, ...], float], notes: list[tuple[Any, ...]]
) -> dict[str, Any]:
    row = dict(row)
    group, said = tuple(row[name] for name in CELL[:4]), []
    for name in (*OF_GROUP, *OF_ROW):
        cell = (*group, name if name in OF_GROUP else row["month"])
        bound = floors[group] if name == "floor" else bounds.get((*cell, name), math.nan)
        if row[name] != bound if name == "floor" else row[name] > bound:
            if math.isnan(row[name]):
                continue
            notes.append((*cell, name, row[name], bound))
            row[name] = bound
            said.append(f"{name.replace('_', ' ')} {bound:g} °C")
    if not said:
        return row
    kept = f"kept as published from the same visits or more: {', '.join(said)}"
    return _ordered({**row, "reason": f"{row['reason']}; {kept}" if row["reason"] else kept})


def _ordered(row: dict[str, Any]) -> dict[str, Any]:
    """The lines of a row in their order again; one that was held brings the others down with it."""
    if row["status"] == Status.REFUSED:
        return row
    highest = row["ceiling"] - judgement("thermostat_margin")
    # A floor that is held lifts set points that no earlier line holds down.
    least = min(least_set_point(row["floor"]), highest)
    under = row["ceiling"] - judgement("act_under_ceiling")
    top = min(row["band_high"], highest, row["act_line"])
    band_high = max(top, least)
    act_line = min(max(row["act_line"], band_high + judgement("act_over_top") if band_high > top else row["act_line"]), under)
    # A set point that is held under every day of its month brings all of them down.
    held_under = row["set_point"] < row["set_point_low"]
    most = max(min(row["set_point"] if held_under else row["set_point_high"], band_high), least)
    set_point = max(min(row["set_point"], most), least)
    return {
        **row,
        "act_line": act_line,
        "band_high": band_high,
        "set_point_high": most,
        "set_point": set_point,
        "set_point_low": max(min(row["set_point_low"], set_point), least),
        "band_low": min(row["band_low"], max(min(row["set_point_low"], set_point), least)),
        "cut_by_ceiling": row["cut_by_ceiling"] or highest < row["band_high"],
    }


def method_changed(published: pd.DataFrame) -> bool:
    """Whether the book's published lines are all of an earlier method: the first time that the new ones are printed."""
    method = published["method"].fillna(FIRST_METHOD)[~published["quantity"].isin(OF_AIR)]
    return bool(len(method)) and not method.eq(METHOD_VERSION).any()
