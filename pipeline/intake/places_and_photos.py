"""Places that come with waypoints, and photos that are offered for finds: what `run` hands from step to step for them."""

from __future__ import annotations

import hashlib
from datetime import date
from pathlib import Path

import pandas as pd

from pipeline.book.connection import open_book
from pipeline.book.current import known_rows
from pipeline.checking import check
from pipeline.checking.typed_rows import gather
from pipeline.errors import RillbookError
from pipeline.intake.settings_changed import settled
from pipeline.reading import photos, waypoints
from pipeline.reading.odd_files import refuse_odd
from pipeline.reading.rows import MappedSource
from pipeline.settings import Settings
from pipeline.writing.files import write_files
from pipeline.writing.spreadsheet import csv_text


def split_waypoints(paths: list[Path]) -> tuple[list[Path], list[Path]]:
    """Part the files of a load into sheets and GPX files.

    Raises
    ------
    RillbookError
        One is no plain file, or there is no sheet: waypoints place what a sheet names.
    """
    refuse_odd(paths)
    gpx = [path for path in paths if path.suffix.lower() == ".gpx"]
    others = [path for path in paths if path not in gpx]
    if gpx and not others:
        raise RillbookError(
            "waypoints alone are no records.", "Name the sheet with the sites or finds that they place beside them.", str(gpx[0])
        )
    return others, gpx


def file_hash(path: Path) -> str:
    """Hash of a file's bytes."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as problem:
        raise RillbookError(f"the file cannot be read ({problem.strerror}).", "Check the name.", str(path)) from None


def add_waypoints(
    sources: list[MappedSource], paths: list[Path], settings: Settings, known: dict[str, pd.DataFrame], today: date
) -> tuple[list[MappedSource], list[str]]:
    """Put the places of waypoints beside the sheets of a load.

    Parameters
    ----------
    sources : list of MappedSource
        The sheets.
    paths : list of Path
        GPX files.
    settings, known, today
        As `check.check`.

    Returns
    -------
    list of MappedSource
        The sheets, and one a table and file that has a place for some of their rows.
    list of str
        Waypoints that were not used, and why.
    """
    notes: list[str] = []
    for path in paths:
        found = waypoints.read_waypoints(path)
        finds = check.check(sources, settings, known, today).tables["finds"].accepted
        sites = gather("sites", sources).typed
        chosen, said = waypoints.place_by_waypoints(found, sites, finds)
        lacking = known["sites"].loc[known["sites"]["latitude"].isna(), "site_id"]
        absent = [one for one in lacking if one not in set(sites["site_id"]) and one.casefold() in set(found["name"].str.casefold())]
        notes += [f"{path.name}: {one}" for one in said]
        notes += [f"{path.name}: site {one} is in the book without a place; load its row together with the waypoints." for one in absent]
        sources = [*sources, *waypoints.as_sources(path.name, file_hash(path), found, chosen)]
    return sources, notes


def write_photo_offers(folder: Path, pictures: Path) -> tuple[Path, pd.DataFrame]:
    """Write what the photos of a folder say, and the finds that they may show, under ``out/private`` of the book.

    Parameters
    ----------
    folder : Path
        The book.
    pictures : Path
        The photos.

    Returns
    -------
    Path, DataFrame
        ``out/private/photos.csv``, and the offers as `photos.offer_photos` gives them.

    Raises
    ------
    RillbookError
        There is no photo, or the list cannot be written.
    """
    settings = settled(folder)
    found = photos.read_photos(pictures, settings.time_zone)
    with open_book(folder) as connection:
        finds = known_rows(connection)["finds"]
    offers = photos.offer_photos(found, finds)
    path = folder / "out" / "private" / "photos.csv"
    # the mark by which spreadsheet programs know UTF-8
    write_files({path: "\ufeff" + csv_text(offers)}, "the list")
    return path, offers
