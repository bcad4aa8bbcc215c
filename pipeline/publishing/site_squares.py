"""The one grid square in which all that comes from a site is shown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from pipeline.formulas.grid_squares import WITHHELD, grid_step
from pipeline.formulas.places import place_figures, to_wgs84
from pipeline.publishing.shown import Shown, is_beside, shown_now, square_of
from pipeline.reading.coordinates import read_verbatim_coordinates
from pipeline.settings import Settings
from schemas.vocabulary import codes, codes_with

SECRET_HABITATS = codes_with("habitat", "secret")
SECRET_MICROHABITATS = codes_with("microhabitat", "secret")
SECRET_GROUPS = codes_with("taxon_group", "secret")
SECRET_STEP = place_figures()["secret_step_deg"]
NO_PLACE = "no place"
SIDES = ["south", "west", "north", "east"]


@dataclass(frozen=True)
class BookRows:
    """Current rows of a book.

    Attributes
    ----------
    sites, visits, finds, availability : DataFrame
        As `book.known_rows` gives them.
    unsettled : frozenset of str
        Visits of which a find of some unknown taxon was held back, whether dismissed or not: no complete list can be given there.
    """

    sites: pd.DataFrame
    visits: pd.DataFrame
    finds: pd.DataFrame
    availability: pd.DataFrame
    unsettled: frozenset[str] = frozenset()


def taxon_classes(taxa: pd.DataFrame) -> dict[str, str]:
    """Coarsest class of each taxon by its code: its sensitivity, and 1 degree for groups of springs and caves.

    Parameters
    ----------
    taxa : DataFrame
        The book's taxa.

    Returns
    -------
    dict of str to str
        Codes of the vocabulary ``public_precision``; the finest where nothing is stated.

    References
    ----------
    Chapman 2020, Current Best Practices for Generalizing Sensitive Species Occurrence Data, tables 6 and 7.
    """
    finest = codes("public_precision")[-1]
    secret = [SECRET_STEP if group in SECRET_GROUPS else finest for group in taxa["group"]]
    return dict(zip(taxa["code"], map(grid_step, taxa["sensitivity"], secret), strict=True))


def uncertainty_class_m(uncertainty_m: float) -> float:
    """Class of a site's own uncertainty, metres: the smallest that is no less; the exact figure would tell sites of one square apart.

    Parameters
    ----------
    uncertainty_m : float
        Metres; missing takes the class that holds an unknown datum.

    Returns
    -------
    float
        Metres.
    """
    classes = [float(text) for text in place_figures()["uncertainty_classes_m"].split("|")]
    known = float(place_figures()["datum_unknown_m"]) if pd.isna(uncertainty_m) else uncertainty_m
    return next((one for one in classes if known <= one), classes[-1])


def site_squares(
    rows: BookRows, settings: Settings, published: Mapping[str, Shown], joint: Mapping[str, str] | None = None
) -> pd.DataFrame:
    """The one grid square in which all that comes from a site is shown.

    Parameters
    ----------
    rows : BookRows
    settings : Settings
        Its public precision is the finest step of any square.
    published : mapping of str to Shown
        How sites were published before, by site code.
    joint : mapping of str to str, optional
        Coarsest class of other books of the same places, by site code.

    Returns
    -------
    DataFrame
        One row a site: `site_id`, `habitat`, `step`, `south`, `west`, `north`, `east` (degrees WGS 84), `uncertainty_m`,
        `left_out`, empty where the site is shown, and `shown`, how it is shown.

    Notes
    -----
    The step is the coarsest of the book's class, the site's, 1 degree for springs, seeps and caves, and the classes of the taxa found
    there before the site was first published. The first square stays (`shown.shown_now`). A site has one square for all taxa, because
    the readings of one visit would tie a record in a fine square to one in a coarse square. Later finds never change it: taxa of a
    coarser class are left out there instead.
    """
    places = wgs84_sites(rows.sites)
    of_finds = _coarsest_found(rows, taxon_classes(settings.taxa))
    steps = []
    for site, habitat, own in zip(places["site_id"], places["habitat"], places["public_precision_deg"], strict=True):
        stated = grid_step(settings.public_precision_deg, own, SECRET_STEP if habitat in SECRET_HABITATS else None)
        before = published[site].step if site in published else of_finds.get(site)
        steps.append(grid_step(stated, before, (joint or {}).get(site)))
    places["step"] = pd.Series(steps, index=places.index, dtype="str")
    placeless = places["latitude"].isna() | places["longitude"].isna()
    places["left_out"] = np.select([places["step"] == WITHHELD, placeless], [WITHHELD, NO_PLACE], "")
    last = pd.to_datetime(rows.visits["visit_date"]).dt.strftime("%Y-%m-%d").groupby(rows.visits["site_id"]).max()
    places["shown"] = [
        published.get(one.site_id, Shown(one.step))
        if one.left_out
        else shown_now(published.get(one.site_id), one.step, one.latitude, one.longitude, str(last.get(one.site_id, "")))
        for one in places.itertuples()
    ]
    squares = [square_of(one) if not why else None for one, why in zip(places["shown"], places["left_out"], strict=True)]
    sides = pd.DataFrame([one or (np.nan,) * 4 for one in squares], columns=SIDES, index=places.index, dtype=float)
    places["uncertainty_m"] = [uncertainty_class_m(value) for value in places["coordinate_uncertainty_m"]]
    return pd.concat([places[["site_id", "habitat", "step", "uncertainty_m", "left_out", "shown"]], sides], axis=1)


def known_again(rows: BookRows, published: Mapping[str, Shown], visits: Mapping[str, str]) -> dict[str, Shown]:
    """Sites that were published under another code, known again by a visit that was shown there.

    Parameters
    ----------
    rows : BookRows
    published : mapping of str to Shown
        How sites were published before, by site code.
    visits : mapping of str to str
        Site of each visit that was ever shown.

    Returns
    -------
    dict of str to Shown
        For a site without an entry that lies in or beside the square of the other: else its visits, which anyone knows again by what they
        hold, would stand in two squares that touch, and the site be known to lie at the line between them.
    """
    moved = rows.visits[rows.visits["visit_id"].isin(visits) & ~rows.visits["site_id"].isin(published)]
    if moved.empty:
        return {}
    pairs = pd.Series(list(zip(moved["site_id"], moved["visit_id"].map(visits), strict=True))).value_counts()
    places = wgs84_sites(rows.sites).set_index("site_id")
    found: dict[str, Shown] = {}
    for (site, other), _ in pairs.items():
        before = published.get(other)
        if site not in found and before and is_beside(before, *places.loc[site, ["latitude", "longitude"]].astype(float)):
            found[site] = before
    return found


def wgs84_sites(sites: pd.DataFrame) -> pd.DataFrame:
    """Sites with WGS 84 coordinates, taken from the coordinates as written where the numbers are missing."""
    places = sites.copy()
    written = [read_verbatim_coordinates(text) or (np.nan, np.nan) for text in places["verbatim_coordinates"]]
    read = pd.DataFrame(written, columns=["latitude", "longitude"], index=places.index, dtype=float)
    missing = places["latitude"].isna() | places["longitude"].isna()
    both = places[["latitude", "longitude"]].astype(float).mask(missing, read)
    latitude, longitude, added, _ = to_wgs84(both["latitude"], both["longitude"], places["datum"])
    return places.assign(latitude=latitude, longitude=longitude, coordinate_uncertainty_m=places["coordinate_uncertainty_m"] + added)


def _coarsest_found(rows: BookRows, classes: Mapping[str, str]) -> dict[str, str]:
    """Coarsest class by site of what was met and read there; taxa that are never shown do not count, for they say nothing anywhere."""
    site_of = dict(zip(rows.visits["visit_id"], rows.visits["site_id"], strict=True))
    parts = [rows.finds[["visit_id", "microhabitat", "taxon"]], rows.availability[["visit_id", "microhabitat"]]]
    found = pd.concat(parts, ignore_index=True)
    found = found.assign(site_id=found.pop("visit_id").map(site_of))
    coarsest: dict[str, str] = {}
    for microhabitat, taxon, site in found.drop_duplicates().itertuples(index=False):
        of_taxon = classes.get(taxon, WITHHELD) if isinstance(taxon, str) else None
        if of_taxon != WITHHELD:
            secret = SECRET_STEP if microhabitat in SECRET_MICROHABITATS else None
            coarsest[site] = grid_step(codes("public_precision")[-1], coarsest.get(site), of_taxon, secret)
    return coarsest


def is_finer(step: str, wanted: str) -> bool:
    """Whether a grid step shows more than a class allows."""
    return grid_step(step, wanted) != step
