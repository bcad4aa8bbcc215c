"""Other books of the same places: what they show coarsely, this one does too, and in the square in which they showed it first."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.book.connection import open_book
from pipeline.book.current import known_rows
from pipeline.errors import RillbookError
from pipeline.formulas.grid_squares import grid_step
from pipeline.formulas.places import distance_m, place_figures
from pipeline.publishing.memory import read_memory
from pipeline.publishing.shown import Shown, is_beside
from pipeline.publishing.site_squares import BookRows, site_squares, wgs84_sites
from pipeline.settings import Settings, read_settings


@dataclass(frozen=True)
class Joint:
    """What other books ask of this one's sites, by site code.

    Attributes
    ----------
    steps : dict of str to str
        Coarsest class of the others' sites that may be the same place.
    shown : dict of str to Shown
        How another book showed the same place.
    """

    steps: dict[str, str] = field(default_factory=dict)
    shown: dict[str, Shown] = field(default_factory=dict)


def joint_places(folder: Path, rows: BookRows, settings: Settings) -> Joint:
    """What the books of ``published_with`` ask of this one.

    Parameters
    ----------
    folder : Path
        The book; the paths of the others start from it.
    rows : BookRows
        Its rows.
    settings : Settings
        Its ``published_with`` names the others.

    Returns
    -------
    Joint

    Raises
    ------
    RillbookError
        Another book cannot be read: what it protects is not known then.
    """
    found = Joint()
    for name in settings.published_with:
        other = (folder / name).resolve()
        if other == folder.resolve():
            raise RillbookError(f"published_with names this book itself, {name!r}.", "Name the other one.", "rillbook.toml")
        with open_book(other) as connection:
            known = known_rows(connection)
        theirs = BookRows(known["sites"], known["visits"], known["finds"], known["availability"])
        asked = beside(rows, theirs, read_settings(other), read_memory(other).sites)
        found.steps.update({site: grid_step(found.steps.get(site), step) for site, step in asked.steps.items()})
        found.shown.update({site: one for site, one in asked.shown.items() if site not in found.shown})
    return found


def beside(ours: BookRows, theirs: BookRows, their_settings: Settings, their_shown: Mapping[str, Shown]) -> Joint:
    """What one other book asks of this one.

    Parameters
    ----------
    ours, theirs : BookRows
    their_settings : Settings
    their_shown : mapping of str to Shown
        How the other book's sites were published.

    Returns
    -------
    Joint
        Only sites of which something is asked.

    Notes
    -----
    Two sites may be the same place where they bear one code or lie no further apart than `same_place_m` (places.csv, a judgement). The
    visits of one survey in two books are alike in all that is published, so whoever has both publications knows the finer square of each,
    and of two squares that touch, the line between them. Hence a site keeps the square in which the other book showed it, if it bears the
    same code, or lies near and was visited on a common day.
    """
    squares = site_squares(theirs, their_settings, their_shown).set_index("site_id")["step"]
    their_places, our_places = wgs84_sites(theirs.sites), wgs84_sites(ours.sites)
    codes, where = their_places["site_id"].to_numpy(), their_places[["latitude", "longitude"]].to_numpy(float)
    reach, days = float(place_figures()["same_place_m"]), (_days(ours.visits), _days(theirs.visits))
    found = Joint()
    for site, latitude, longitude in our_places[["site_id", "latitude", "longitude"]].itertuples(index=False):
        alike, apart = codes == site, np.full(len(codes), np.inf)
        if not (pd.isna(latitude) or pd.isna(longitude)) and len(codes):
            apart = np.nan_to_num(distance_m(latitude, longitude, where[:, 0], where[:, 1]), nan=np.inf)
        near = np.flatnonzero(alike | (apart <= reach))
        if not len(near):
            continue
        found.steps[site] = grid_step(*squares[codes[near]])
        for other in sorted(near, key=lambda place: (not alike[place], apart[place])):
            before = their_shown.get(codes[other])
            common = days[0].get(site, set()) & days[1].get(codes[other], set())
            if before and (alike[other] or (common and is_beside(before, latitude, longitude))):
                found.shown[site] = before
                break
    return found


def _days(visits: pd.DataFrame) -> dict[str, set[object]]:
    return {str(site): set(days) for site, days in visits.groupby("site_id")["visit_date"]}
