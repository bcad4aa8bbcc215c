"""What the rules see: the rows under check, with their kin in the book, joined to what is known of each."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from pipeline.checking.animals import animal_marks
from pipeline.checking.completing import found_instant, start_is_ambiguous
from pipeline.checking.nearest import folded
from pipeline.checking.outcome import TableCheck
from pipeline.checking.seasons import days_since, season_apart, year_apart
from pipeline.checking.sheet import PARENTS, Sheet
from pipeline.formulas import places
from pipeline.settings import Settings
from schemas.rules.rules import COOL
from schemas.tables import key_of
from schemas.vocabulary import vocabulary


def context_of(sheet: Sheet, tables: dict[str, TableCheck], known: dict[str, pd.DataFrame], today: date) -> Callable[[], pd.DataFrame]:
    """How to make the frame that the rules see: the rows under check, with their kin in the book, joined to what is known of each."""
    kin = _kin(sheet, known)

    def make() -> pd.DataFrame:
        frame = pd.concat([sheet.typed, kin]) if len(kin) else sheet.typed
        joins = {
            "sites": _site_context, "visits": _visit_context, "finds": _find_context, "enclosures": _enclosure_context,
            "water_tests": _dated_context, "husbandry_events": _dated_context,
        }  # fmt: skip
        return joins[sheet.table](frame, sheet.settings, tables, known, today) if sheet.table in joins else frame

    return make


def _kin(sheet: Sheet, known: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Current rows of the book under the same parent, which group rules must see; their index cannot meet a candidate's."""
    book = known[sheet.table]
    if sheet.table not in PARENTS or book.empty:
        return book.iloc[:0]
    name = PARENTS[sheet.table][0]
    near = book[book[name].isin(sheet.typed[name]) & ~book[key_of(sheet.table)].isin(sheet.typed[key_of(sheet.table)])]
    near = near.reindex(columns=sheet.typed.columns).astype(sheet.typed.dtypes.to_dict())
    return near.set_axis(pd.RangeIndex(-len(near), 0))


def of_settings(table: str, frame: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """What the rules see of the settings of a book, row by row: its areas, its taxa, its clock.

    Parameters
    ----------
    table : str
        Table of the rows.
    frame : DataFrame
        Rows in their types.
    settings : Settings
        The book's.

    Returns
    -------
    DataFrame
        The rows with the columns of the rules that follow from the settings, and the ``medium`` of finds.
    """
    if table == "sites":
        return _in_areas(frame, settings)
    if table == "visits":
        return frame.assign(
            cool_stream_book=bool(settings.taxa["group"].isin(COOL).any()),
            start_ambiguous=start_is_ambiguous(frame["visit_date"], frame["start_time"], settings.time_zone),
        )
    if table == "enclosures":
        return frame.assign(taxon_known=frame["taxon"].isin(settings.taxa["code"]))
    taxa = settings.taxa.set_index("code")
    media = {code: row["medium"] for code, row in vocabulary("microhabitat").items()}
    return frame.assign(
        taxon_known=frame["taxon"].isin(taxa.index),
        taxon_group=_look_up(frame["taxon"], taxa["group"]),
        taxon_paedomorphic=_look_up(frame["taxon"], taxa["paedomorphic"]),
        taxon_overlap_low=_look_up(frame["taxon"], taxa["overlap_svl_low_mm"]),
        taxon_overlap_high=_look_up(frame["taxon"], taxa["overlap_svl_high_mm"]),
        medium=frame["microhabitat"].map(media),
    )


def _site_context(frame: pd.DataFrame, settings: Settings, tables: Any, known: dict[str, pd.DataFrame], today: date) -> pd.DataFrame:
    return of_settings("sites", frame.assign(code_alike=_codes_alike(frame["site_id"], known["sites"]["site_id"])), settings)


def _in_areas(frame: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    frame = frame.copy()
    for name in ("in_area", "in_area_swapped", "in_area_negated"):
        frame[name] = pd.Series(pd.NA, index=frame.index, dtype="boolean")
    placed = frame["latitude"].notna() & frame["longitude"].notna()
    for code in {area.code for area in settings.areas} | {""}:
        areas = [area for area in settings.areas if code in ("", area.code)]
        mine = placed & ((frame["study_area"] == code) if code else ~frame["study_area"].isin([area.code for area in settings.areas]))
        if not areas or not mine.any():
            continue
        lat, lon, _, _ = places.to_wgs84(frame.loc[mine, "latitude"], frame.loc[mine, "longitude"], frame.loc[mine, "datum"])
        frame.loc[mine, "in_area"] = places.inside_area(lat, lon, areas)
        swapped = np.abs(lon) <= 90
        frame.loc[mine, "in_area_swapped"] = places.inside_area(np.where(swapped, lon, np.nan), np.where(swapped, lat, np.nan), areas)
        frame.loc[mine, "in_area_negated"] = places.inside_area(lat, -lon, areas)
    return frame


def _codes_alike(mine: pd.Series, others: pd.Series) -> pd.Series:
    """Codes of which another is spelled but for case, spaces and signs."""
    codes = pd.Series(sorted({*mine.dropna(), *others.dropna()}), dtype="str")
    shared = codes[codes.map(folded).duplicated(keep=False)]
    return mine.isin(shared)


def _visit_context(frame: pd.DataFrame, settings: Settings, tables: Any, known: Any, today: date) -> pd.DataFrame:
    return of_settings("visits", frame, settings).assign(
        today=pd.Timestamp(today),
        days_ago=days_since(frame["visit_date"], frame.index >= 0, today),
        # the rows of the book that stand below are no part of the sheet
        year_apart=year_apart(frame.loc[frame.index >= 0, "visit_date"]).reindex(frame.index, fill_value=False),
        season_apart_c=season_apart(frame),
    )


def _enclosure_context(frame: pd.DataFrame, settings: Settings, *_: Any) -> pd.DataFrame:
    return of_settings("enclosures", frame, settings)


def _dated_context(frame: pd.DataFrame, settings: Settings, tables: Any, known: Any, today: date) -> pd.DataFrame:
    return frame.assign(today=pd.Timestamp(today))


def _find_context(
    frame: pd.DataFrame, settings: Settings, tables: dict[str, TableCheck], known: dict[str, pd.DataFrame], today: date
) -> pd.DataFrame:
    visits = _both("visits", ["visit_id", "site_id", "visit_date", "start_time", "end_time", "water_temp_c"], tables, known)
    sites = _both("sites", ["site_id", "latitude", "longitude"], tables, known)
    site = _look_up(frame["visit_id"], visits["site_id"])
    day = _look_up(frame["visit_id"], visits["visit_date"])
    return of_settings("finds", frame, settings).assign(
        visit_water_temp_c=_look_up(frame["visit_id"], visits["water_temp_c"]),
        water_others=frame.groupby("visit_id")["water_temp_c"].transform("count") - frame["water_temp_c"].notna(),
        visit_start=_look_up(frame["visit_id"], visits["start_time"]),
        visit_end=_look_up(frame["visit_id"], visits["end_time"]),
        site_distance_m=places.distance_m(
            frame["latitude"], frame["longitude"], _look_up(site, sites["latitude"]), _look_up(site, sites["longitude"])
        ),
        found_utc=_found_utc(frame, visits, settings.time_zone),
        **_marks(frame, day, site, known, tables).to_dict("series"),
    )


def _marks(
    frame: pd.DataFrame, day: pd.Series, site: pd.Series, known: dict[str, pd.DataFrame], tables: dict[str, TableCheck]
) -> pd.DataFrame:
    """What earlier finds of the same marks say, those of the book among them."""
    others = known["finds"]
    if len(others):
        keep = others["animal_id"].isin(frame["animal_id"].dropna()) & ~others["find_id"].isin(frame["find_id"])
        others = others[keep].set_axis(pd.RangeIndex(-int(keep.sum()) - 2**40, -(2**40)))
    if others.empty:
        return animal_marks(frame, day, site)
    visits = _both("visits", ["visit_id", "site_id", "visit_date"], tables, known)
    names = ["animal_id", "visit_id", "taxon", "sex", "svl_mm"]
    days = pd.concat([day, _look_up(others["visit_id"], visits["visit_date"])])
    sites = pd.concat([site, _look_up(others["visit_id"], visits["site_id"])])
    return animal_marks(pd.concat([frame[names], others[names]]), days, sites).loc[frame.index]


def _look_up(keys: pd.Series, values: pd.Series) -> pd.Series:
    """Value of each key, in the type of the values; missing where the key is."""
    return values.reindex(keys).set_axis(keys.index)


def _found_utc(frame: pd.DataFrame, visits: pd.DataFrame, time_zone: str) -> pd.Series:
    day, start = (_look_up(frame["visit_id"], visits[name]) for name in ("visit_date", "start_time"))
    return found_instant(day, start, frame["found_at"], time_zone)


def _both(table: str, names: list[str], tables: dict[str, TableCheck], known: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Rows of the load and of the book, by key; the load's row wins."""
    parts = [frame[names] for frame in (tables[table].accepted, known[table]) if len(frame)]
    together = pd.concat(parts) if parts else tables[table].accepted[names]
    return together.drop_duplicates(key_of(table)).set_index(key_of(table))
