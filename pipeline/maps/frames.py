"""What a map shows, as frames: finds, readings where no animals were, searches; and the exact map's figures by site."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from itertools import pairwise

import numpy as np
import pandas as pd

from pipeline.formulas.places import to_wgs84
from pipeline.reading.coordinates import read_verbatim_coordinates
from schemas.frames.frame import framed
from schemas.frames.maps import KINDS, SITE, ExactCells
from schemas.reference import figures
from schemas.rules.rules import EFFORT as EFFORT_NOTED
from schemas.vocabulary import codes, codes_with, codes_without, medium_of

IN_DOUBT, AVAILABLE, NOTHING, EFFORT = "in_doubt", "available", "nothing_found", "visits"
STAGES = tuple(codes("life_stage"))
LAYERS = (*STAGES, IN_DOUBT, NOTHING, EFFORT, AVAILABLE)

READINGS = ["water_temp_c", "substrate_temp_c", "air_temp_c"]
WHEN = ["months", "year_from", "year_to"]
FIGURES = [
    "n_finds", "n_animals", "n_visits", "n_without", "search_minutes", "n_readings", "temp_median_c", "temp_min_c", "temp_max_c",
    "microhabitats",
]  # fmt: skip
ROWS = [
    "site_id", "visit_id", "visit_date", "month", "year", *KINDS, "microhabitat", "n_finds", "n_animals", "n_without", "search_minutes",
    "temp_c", "own_latitude", "own_longitude", "find_id", "find_remarks",
]  # fmt: skip


@cache
def map_figures() -> dict[str, str]:
    """Judgements on maps by name, as text; units and reasons stand in data/reference/map.csv."""
    return figures("map")


def site_places(sites: pd.DataFrame) -> pd.DataFrame:
    """Put sites into WGS 84, from the coordinates as written where the numbers are missing.

    Parameters
    ----------
    sites : DataFrame, shape (n, …)
        Current view of the book.

    Returns
    -------
    DataFrame, shape (n, …)
        The same rows; `latitude` and `longitude` in degrees WGS 84, missing where the site has no place.
    """
    places = sites.copy()
    written = [read_verbatim_coordinates(text) for text in places["verbatim_coordinates"]]
    read = pd.DataFrame(
        [point or (np.nan, np.nan) for point in written], columns=["latitude", "longitude"], index=places.index, dtype=float
    )
    missing = places["latitude"].isna() | places["longitude"].isna()
    both = places[["latitude", "longitude"]].astype(float).mask(missing, read)
    places["latitude"], places["longitude"], _, _ = to_wgs84(both["latitude"], both["longitude"], places["datum"])
    return places


def _doubted(frame: pd.DataFrame) -> pd.Series:
    marked = frame["in_doubt"] if "in_doubt" in frame else pd.Series(False, index=frame.index)
    return marked.fillna(False).astype(bool)


def _with_visit(rows: pd.DataFrame, visits: pd.DataFrame) -> pd.DataFrame:
    of_visit = visits[["visit_id", "site_id", "visit_date"]].assign(visit_water_c=visits["water_temp_c"], visit_doubt=_doubted(visits))
    joined = rows.merge(of_visit, on="visit_id")
    day = pd.to_datetime(joined["visit_date"])
    return joined.assign(month=day.dt.month, year=day.dt.year, medium=_media(joined["microhabitat"]))


def _media(microhabitats: pd.Series) -> pd.Series:
    known = {code: medium_of(code) or "" for code in codes("microhabitat")}
    return microhabitats.map(known).fillna("")


def find_rows(visits: pd.DataFrame, finds: pd.DataFrame, taxa: pd.DataFrame) -> pd.DataFrame:
    """List finds with their site, layer, medium and temperature.

    Parameters
    ----------
    visits, finds : DataFrame
        Current views of the book; a true `in_doubt`, where there is such a column, marks a row with an unsettled flag that keeps it out of
        targets.
    taxa : DataFrame
        Taxa of the settings.

    Returns
    -------
    DataFrame
        One row a find, columns ``ROWS``: `layer` is the life stage, or ``in_doubt``; `taxon` the scientific name;
        `temp_c` in °C, missing for animals that are not well, for rows in doubt, and where nothing fit was read.
    """
    own = finds[["find_id", "visit_id", "taxon", "life_stage", "count", "microhabitat", "condition", "reading_place", *READINGS]]
    more = {"own_latitude": finds["latitude"], "own_longitude": finds["longitude"], "find_remarks": finds["remarks"]}
    joined = _with_visit(own.assign(**more, in_doubt=_doubted(finds)), visits)
    joined["visit_water_c"] = joined["visit_water_c"].mask(joined["visit_doubt"])
    names = dict(zip(taxa["code"], taxa["scientific_name"], strict=True))
    return joined.assign(
        layer=joined["life_stage"].mask(joined["in_doubt"], IN_DOUBT),
        temp_c=_temperature_c(joined).mask(joined["in_doubt"]),
        taxon=joined["taxon"].map(names).fillna(joined["taxon"]),
        n_finds=1,
        n_animals=joined["count"].astype("int64"),
        n_without=0,
        search_minutes=np.nan,
    )[ROWS]


def point_rows(visits: pd.DataFrame, availability: pd.DataFrame) -> pd.DataFrame:
    """List readings where animals were not, as :func:`find_rows` does finds; they have no taxon."""
    joined = _with_visit(availability, visits).assign(condition=None, reading_place=None, visit_water_c=np.nan)
    return joined.assign(
        layer=AVAILABLE, temp_c=_temperature_c(joined), taxon="", n_finds=1, n_animals=0, n_without=0, search_minutes=np.nan,
        own_latitude=np.nan, own_longitude=np.nan, find_id=joined["point_id"], find_remarks=None,
    ).reindex(columns=ROWS)  # fmt: skip


def _temperature_c(joined: pd.DataFrame) -> pd.Series:
    """Temperature read where the animal was, °C: the medium decides which reading may stand for it."""
    water, substrate, air, of_visit = (joined[name].astype(float) for name in [*READINGS, "visit_water_c"])
    channel = joined["microhabitat"].isin(codes_with("microhabitat", "in_channel"))
    elsewhere = joined["reading_place"].isin(codes_without("reading_place", "with_animal"))
    chosen = np.select(
        [joined["medium"] == medium for medium in ("water", "edge", "land", "surface")],
        [water.mask(elsewhere & ~channel), substrate.fillna(water).mask(elsewhere), substrate.mask(elsewhere), air],
        np.nan,
    )
    well = joined["condition"].isna() | joined["condition"].isin(codes_with("condition", "well"))
    return pd.Series(chosen, index=joined.index, dtype=float).fillna(of_visit.where(channel)).where(well)


def search_rows(visits: pd.DataFrame, finds: pd.DataFrame, taxa: pd.DataFrame) -> pd.DataFrame:
    """List searches: a row a visit (layer ``visits``), and a row a visit and taxon looked for (layer ``nothing_found``).

    Parameters
    ----------
    visits, finds, taxa : DataFrame
        As for :func:`find_rows`; a true `incomplete` marks a visit whose finds were all held, which says nothing of absence.

    Returns
    -------
    DataFrame
        Columns ``ROWS``. `n_without` is 1 where the taxon was not found, or nothing was; a visit that names no target says so with an
        empty taxon, and only where it found nothing at all and says that it searched, by its effort or by having counted all.
    """
    held = visits["incomplete"].fillna(False).astype(bool) if "incomplete" in visits else pd.Series(False, index=visits.index)
    whole = visits[~held]
    lists = [text.split("|") if isinstance(text, str) else [] for text in whole["target_taxa"]]
    searched = whole.reindex(columns=[*EFFORT_NOTED, "all_counted"]).notna().any(axis=1)
    targets = [sorted({code.strip() for code in several} - {""}) or [""] * said for several, said in zip(lists, searched, strict=True)]
    found: dict[str, set[str]] = {}
    for visit, taxon in finds[["visit_id", "taxon"]].drop_duplicates().to_numpy(dtype=object).tolist():
        found.setdefault(visit, set()).add(taxon)
    seen = [found.get(visit, set()) for visit in whole["visit_id"].to_numpy(dtype=object)]
    day = pd.to_datetime(whole["visit_date"])
    base = whole[["site_id", "visit_id", "visit_date", "search_minutes"]].assign(
        month=day.dt.month, year=day.dt.year, medium="", microhabitat=None, n_finds=0, n_animals=0, temp_c=np.nan,
        own_latitude=np.nan, own_longitude=np.nan, find_id=None, find_remarks=None, seen=seen,
    )  # fmt: skip
    effort = base.assign(layer=EFFORT, taxon="", n_without=[int(not met) for met in seen])
    names = dict(zip(taxa["code"], taxa["scientific_name"], strict=True))
    asked = base.assign(layer=NOTHING, code=targets, search_minutes=np.nan).explode("code").dropna(subset=["code"])
    absent = [not met if code == "" else code not in met for code, met in asked[["code", "seen"]].to_numpy(dtype=object)]
    asked = asked.assign(taxon=asked["code"].map(names).fillna(asked["code"]), n_without=np.array(absent, dtype="int64"))
    return pd.concat([effort, asked], ignore_index=True)[ROWS]


def summary(rows: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    """Count rows and summarise their readings by cell.

    Parameters
    ----------
    rows : DataFrame
        Columns ``ROWS`` and `keys`.
    keys : list of str
        What makes a cell; missing counts as a value.

    Returns
    -------
    DataFrame
        One row a cell: `keys`, `months` (numbers separated by ``|``), `year_from`, `year_to`, and ``FIGURES``: counts; minutes; °C.
        One value read on one visit counts once in a cell; `microhabitats` are codes separated by ``|``.
    """
    cell = rows.groupby(keys, dropna=False, sort=False).ngroup()
    numbered = rows.assign(cell=cell, temp_c=rows["temp_c"].mask(rows.assign(cell=cell).duplicated(["cell", "visit_id", "temp_c"])))
    grouped = numbered.groupby("cell", sort=True)
    table = rows[keys].set_axis(cell).loc[lambda frame: ~frame.index.duplicated()].sort_index()
    table = table.join(
        grouped.agg(
            year_from=("year", "min"),
            year_to=("year", "max"),
            n_finds=("n_finds", "sum"),
            n_animals=("n_animals", "sum"),
            n_visits=("visit_id", "nunique"),
            n_without=("n_without", "sum"),
            search_minutes=("search_minutes", "sum"),
            n_readings=("temp_c", "count"),
            temp_median_c=("temp_c", "median"),
            temp_min_c=("temp_c", "min"),
            temp_max_c=("temp_c", "max"),
        )
    )
    table["months"] = _joined(numbered, "month")
    table["microhabitats"] = _joined(numbered, "microhabitat").reindex(table.index).fillna("")
    return table.reset_index(drop=True)[[*keys, *WHEN, *FIGURES]]


def _joined(numbered: pd.DataFrame, name: str) -> pd.Series:
    """Distinct values of a column in each cell, in order, separated by a bar."""
    distinct = numbered[["cell", name]].dropna().drop_duplicates().sort_values(["cell", name])
    texts, numbers = distinct[name].astype("str").to_numpy(dtype=object).tolist(), distinct["cell"].to_numpy()
    starts = np.flatnonzero(np.diff(numbers, prepend=-1))
    # a call of Python's for each cell is all that this may take: pandas would make a frame of each
    joined = ["|".join(texts[start:end]) for start, end in pairwise([*starts, len(texts)])]
    return pd.Series(joined, index=pd.Index(numbers[starts], name="cell"), dtype="str")


def in_order(cells: pd.DataFrame, place: list[str]) -> pd.DataFrame:
    """Sort cells by place, then layer, taxon, medium and time: never by anything that the book or a file decides."""
    rank = {layer: number for number, layer in enumerate(LAYERS)}
    first_month = cells["months"].astype("object").fillna("").str.split("|").str[0]
    keyed = cells.assign(_layer=cells["layer"].map(rank), _month=pd.to_numeric(first_month, errors="coerce"))
    by = [*place, "_layer", "taxon", "medium", "year_from", "_month", "months", "year_to"]
    return keyed.sort_values(by, ignore_index=True, na_position="last").drop(columns=["_layer", "_month"])


def exact_cells(known: Mapping[str, pd.DataFrame], taxa: pd.DataFrame) -> pd.DataFrame:
    """Summarise the whole book by site, with the exact place; never to be shared.

    Parameters
    ----------
    known : mapping of str to DataFrame
        Current views ``sites``, ``visits``, ``finds`` and ``availability``.
    taxa : DataFrame
        Taxa of the settings.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.maps.ExactCells`, one row a site, layer, taxon, medium, month and year; `few` is false. Sites without
        coordinates are not in it.
    """
    rows = pd.concat(
        [
            find_rows(known["visits"], known["finds"], taxa),
            point_rows(known["visits"], known["availability"]),
            search_rows(known["visits"], known["finds"], taxa),
        ],
        ignore_index=True,
    )
    places = site_places(known["sites"])
    places = places.loc[places["latitude"].notna() & places["longitude"].notna(), SITE]
    cells = summary(rows[rows["site_id"].isin(places["site_id"])], ["site_id", *KINDS, "month", "year"])
    cells = cells[(cells["layer"] != NOTHING) | (cells["n_without"] > 0)]
    cells = cells.drop(columns=["month", "year"]).merge(places, on="site_id").assign(few=False)
    return framed(ExactCells, in_order(cells, ["latitude", "longitude", "site_id"]))


def single_finds(known: Mapping[str, pd.DataFrame], taxa: pd.DataFrame) -> pd.DataFrame:
    """List single finds for the exact map, where the book holds few enough.

    Returns
    -------
    DataFrame
        Columns ``ROWS``, by date; `own_latitude` and `own_longitude` in degrees as the book holds them. No row where the book
        holds as many finds as data/reference/map.csv allows, or more.
    """
    rows = find_rows(known["visits"], known["finds"], taxa)
    limit = int(map_figures()["single_finds_below"])
    return rows.sort_values(["visit_date", "find_id"], ignore_index=True) if len(rows) < limit else rows.iloc[:0]


def doubt_notes(cells: pd.DataFrame) -> list[str]:
    """Say that some finds are in doubt, where the map shows any, and what it does with them."""
    if IN_DOUBT not in set(cells["layer"].unique()):
        return []
    return ["Finds with a flag that nobody has settled (a stage or a reading in doubt) stand in a layer of their own, without temperature."]


def no_place_notes(sites: pd.DataFrame, visits: pd.DataFrame, finds: pd.DataFrame) -> list[str]:
    """Say how many sites the exact map lacks for want of coordinates, and how many finds were made there."""
    places = site_places(sites)
    lost = places.loc[places["latitude"].isna() | places["longitude"].isna(), "site_id"]
    n_finds = int(finds["visit_id"].isin(visits.loc[visits["site_id"].isin(lost), "visit_id"]).sum())
    there = f"not on the map for want of coordinates; {many(n_finds, 'find was', 'finds were')} made there"
    return [f"{many(len(lost), 'site is', 'sites are')} {there}."] if len(lost) else []


def many(number: int, one: str, several: str) -> str:
    """A number with its noun."""
    return f"{number} {one if number == 1 else several}"
