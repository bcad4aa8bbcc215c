"""What the public map shows: published rows put into cells that so many finds and visits share that none of them stands alone."""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np
import pandas as pd

from pipeline.formulas.grid_squares import grid_square
from pipeline.formulas.places import place_figures
from pipeline.maps.frames import (
    AVAILABLE,
    EFFORT,
    FIGURES,
    NOTHING,
    ROWS,
    WHEN,
    find_rows,
    in_order,
    map_figures,
    point_rows,
    search_rows,
    summary,
)
from schemas.frames.frame import framed
from schemas.frames.maps import SQUARE, PublicCells

SEASONS = (1, 1, 2, 2, 2, 3, 3, 3, 4, 4, 4, 1)
# What stays apart, from the finest cell to the coarsest; a row goes into the first that enough of its like share.
LADDER: tuple[list[str], ...] = (["medium", "month", "year"], ["medium", "month"], ["medium", "season"], ["medium"], [])
APART = ("medium", "month", "season", "year")
FEW = len(LADDER)
SEVERAL = "several"


def public_rows(tables: Mapping[str, pd.DataFrame], in_doubt: Collection[str]) -> pd.DataFrame:
    """List published finds, points and searches with their square.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        From `protect.public_rows`: what may be shown, and nothing else.
    in_doubt : collection of str
        Public codes of finds and visits that have an unsettled flag which keeps them out of targets.

    Returns
    -------
    DataFrame
        ``ROWS`` of the map's data with the columns of ``SQUARE`` (`step` as text, degrees WGS 84). `site_id` is the square, `visit_date`
        the first day of the month.
    """
    doubted = set(in_doubt)
    visits = tables["visits"].rename(columns={"event_id": "visit_id"})
    sides = _squares(visits)
    visits = visits.assign(
        site_id=sides["site_id"],
        visit_date=pd.to_datetime(visits["month"] + "-01"),
        in_doubt=visits["visit_id"].isin(doubted),
        # what was looked for counts only where the search was complete
        target_taxa=visits["target_taxa"].where(visits["all_counted"].fillna(False).astype(bool)),
    ).drop(columns=["month", "latitude", "longitude"])
    finds = tables["finds"].rename(columns={"event_id": "visit_id", "occurrence_id": "find_id"})
    finds = finds.assign(latitude=np.nan, longitude=np.nan, remarks=None, in_doubt=finds["find_id"].isin(doubted))
    parts = [
        find_rows(visits, finds, tables["taxa"])[ROWS],
        point_rows(visits, tables["availability"].rename(columns={"event_id": "visit_id"})),
        _searches(visits, finds, tables),
    ]
    rows = pd.concat([part for part in parts if len(part)] or parts[:1], ignore_index=True)
    return rows.merge(sides.drop_duplicates("site_id"), on="site_id")


def _squares(visits: pd.DataFrame) -> pd.DataFrame:
    places = list(zip(visits["latitude"], visits["longitude"], visits["grid_step_deg"].to_numpy(dtype=object), strict=True))
    found = {place: grid_square(*place) for place in set(places)}
    sides = pd.DataFrame([found[place] for place in places], columns=SQUARE[1:], index=visits.index, dtype=float)
    named = [f"{place[2]} {found[place][0]} {found[place][1]}" for place in places]
    return sides.assign(step=visits["grid_step_deg"], site_id=pd.Series(named, index=visits.index, dtype="str"))


def _searches(visits: pd.DataFrame, finds: pd.DataFrame, tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Visits, and what complete ones looked for; a taxon is absent only where the publication says so."""
    searches = search_rows(visits, finds, tables["taxa"])[ROWS]
    searches = searches[(searches["layer"] == EFFORT) | (searches["taxon"] != "")]
    code_of = dict(zip(tables["taxa"]["scientific_name"], tables["taxa"]["code"], strict=True))
    absent = set(zip(tables["absences"]["event_id"], tables["absences"]["taxon"], strict=True))
    pairs = searches[["visit_id", "taxon"]].to_numpy(dtype=object).tolist()
    stated = [(visit, code_of.get(name, name)) in absent for visit, name in pairs]
    return searches.assign(n_without=np.array(stated, dtype="int64"))


def public_cells(rows: pd.DataFrame) -> pd.DataFrame:
    """Summarise what may be shown, each row in exactly one cell, so that no two cells can be taken from one another.

    Parameters
    ----------
    rows : DataFrame
        As :func:`public_rows`.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.maps.PublicCells`, one row a cell, ordered by square from south and west. A cell rests on as
        many finds and visits as data/reference asks for at least; with fewer, years are put together, then months to a season, then all
        months, then places of the animal. Where even that is too little, `few` is true, and all figures are missing.
    """
    placed = _laddered(rows.assign(season=rows["month"].map(dict(zip(range(1, 13), SEASONS, strict=True)))))
    cells = summary(placed, [*SQUARE, "layer", "taxon", *(f"{name}_key" for name in APART), "rung"])
    cells = cells[(cells["layer"] != NOTHING) | (cells["n_without"] > 0)].copy()
    few = cells["rung"] == FEW
    cells["medium"] = cells["medium_key"].mask(cells["rung"] == FEW - 1, SEVERAL).fillna("")
    hidden = [*WHEN, *(name for name in FIGURES if name != "microhabitats")]
    cells[hidden] = cells[hidden].astype("object").mask(few).infer_objects()
    cells = cells.assign(few=few, microhabitats=cells["microhabitats"].mask(few, ""))
    return framed(PublicCells, in_order(cells, ["south", "west", "step"]))


def _laddered(rows: pd.DataFrame) -> pd.DataFrame:
    """Give each row the finest rung on which its cell rests on enough, and blank what that rung puts together."""
    least_visits, least_finds = int(map_figures()["public_visits_least"]), int(place_figures()["few_finds"])
    rung = pd.Series(FEW, index=rows.index)
    left = rows
    for number, apart in enumerate(LADDER):
        cells = left.groupby([*SQUARE, "layer", "taxon", *apart], dropna=False, sort=False)
        enough = cells["visit_id"].transform("nunique") >= least_visits
        enough &= (cells["visit_id"].transform("size") >= least_finds) | left["layer"].isin([NOTHING, EFFORT])
        rung[left.index[enough]] = number
        left = left[~enough]
    keys = {f"{name}_key": rows[name].where(rung.isin([n for n, apart in enumerate(LADDER) if name in apart])) for name in APART}
    return rows.assign(rung=rung, **keys)


def rows_with_month(rows: pd.DataFrame) -> pd.DataFrame:
    """Rows whose cell keeps its month; a figure by month made of any others would undo what the cells put together."""
    placed = _laddered(rows.assign(season=0))
    return rows[placed["rung"] < LADDER.index(["medium", "season"])]


def public_notes(cells: pd.DataFrame) -> list[str]:
    """Say in sentences what the public map withholds and puts together; how much of it, and where, is said to nobody.

    Parameters
    ----------
    cells : DataFrame
        As :func:`public_cells`.
    """
    notes = [
        "Each find stands in the grid square of the site where it was met: one square a site, as coarse as the most sensitive taxon that "
        "was found there asks for. Where a symbol stands inside its square means nothing.",
        "Seeps, springs and caves stand in squares of 1° or are not shown. Eggs and nests are not shown, always.",
        "Withheld: names, codes and remarks of sites, visits and finds, days and clock times, elevations, photos, and who searched.",
        f"What rests on fewer than {place_figures()['few_finds']} finds or {map_figures()['public_visits_least']} visits is put together "
        "with other years, then with other months, then with other places of the animal; where that is still too little, nothing but the "
        "square is shown.",
        "Not found is stated only where what was looked for, and that all was counted, had been noted.",
    ]
    if AVAILABLE in set(cells["layer"].unique()):
        notes.append("Readings where no animal was were taken on the same visits, for comparison.")
    return notes
