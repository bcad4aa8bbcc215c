"""Other books of the same places: what they show coarsely, this one does too."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.book.connection import open_book
from pipeline.book.current import known_rows
from pipeline.errors import RillbookError
from pipeline.formulas.grid_squares import grid_step
from pipeline.formulas.places import distance_m, place_figures
from pipeline.publishing.memory import read_memory
from pipeline.publishing.site_squares import BookRows, site_squares, wgs84_sites
from pipeline.settings import Settings, read_settings


def joint_classes(folder: Path, rows: BookRows, settings: Settings) -> dict[str, str]:
    """Coarsest class of the other books' sites that may be the same place, by site code of this one.

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
    dict of str to str
        Only sites that have one.

    Raises
    ------
    RillbookError
        Another book cannot be read: what it protects is not known then.

    Notes
    -----
    Two sites may be the same place where they bear one code or lie no further apart than `same_place_m` (places.csv, a judgement). The
    visits of one survey in two books are alike in all that is published, so whoever has both publications knows the finer square of each.
    """
    found: dict[str, str] = {}
    for name in settings.published_with:
        other = (folder / name).resolve()
        if other == folder.resolve():
            raise RillbookError(f"published_with names this book itself, {name!r}.", "Name the other one.", "rillbook.toml")
        for site, step in _classes_beside(other, rows).items():
            found[site] = grid_step(found.get(site), step)
    return found


def _classes_beside(other: Path, rows: BookRows) -> Mapping[str, str]:
    with open_book(other) as connection:
        known = known_rows(connection)
    theirs = BookRows(known["sites"], known["visits"], known["finds"], known["availability"])
    squares = site_squares(theirs, read_settings(other), read_memory(other).sites).set_index("site_id")["step"]
    their_places, our_places = wgs84_sites(theirs.sites), wgs84_sites(rows.sites)
    reach = float(place_figures()["same_place_m"])
    found: dict[str, str] = {}
    for site, latitude, longitude in our_places[["site_id", "latitude", "longitude"]].itertuples(index=False):
        near = np.asarray(their_places["site_id"] == site)
        if not (pd.isna(latitude) or pd.isna(longitude)) and len(their_places):
            apart = distance_m(latitude, longitude, their_places["latitude"].to_numpy(float), their_places["longitude"].to_numpy(float))
            near = near | (np.nan_to_num(apart, nan=np.inf) <= reach)
        if near.any():
            found[site] = grid_step(*squares[their_places.loc[near, "site_id"]])
    return found
