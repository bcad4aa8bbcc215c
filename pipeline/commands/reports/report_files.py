"""What reports for others have in common: which entries are asked for, the names of files, and writing them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.errors import RillbookError
from pipeline.settings.reports import Parcel
from pipeline.writing.files import write_files
from pipeline.writing.spreadsheet import csv_text


@dataclass(frozen=True)
class Written:
    """Files of a report, its tables by name, and what else the person at the desk must know."""

    files: list[Path]
    tables: dict[str, pd.DataFrame]
    notes: list[str] = field(default_factory=list)


def sites_of(parcel: Parcel, sites: pd.DataFrame) -> tuple[list[str], list[str]]:
    """Sites of a parcel, and those too near its boundary to tell.

    Parameters
    ----------
    parcel : Parcel
        Codes, a polygon, or both.
    sites : DataFrame
        Columns of ``schemas.tables.Sites``.

    Returns
    -------
    own, near : list of str
        A site that is named is never in `near`.

    Raises
    ------
    RillbookError
        A site that the book does not know, a polygon that crosses itself, or no site at all.
    """
    from pipeline.reports.parcel_sites import INSIDE, NEAR, on_parcel

    known, where = sites["site_id"].tolist(), f"parcel {parcel.code}"
    for site in parcel.sites:
        if site not in known:
            raise RillbookError(f"site {site!r} is not in the book.", "Write its code as the sheets do.", where)
    own, near = list(parcel.sites), []
    if parcel.polygon:
        try:
            lies = on_parcel(sites["latitude"], sites["longitude"], sites["datum"], sites["coordinate_uncertainty_m"], parcel.polygon)
        except ValueError as problem:
            raise RillbookError(f"{problem}.", "List the corners in order around the parcel.", where) from None
        own += [site for site, word in zip(known, lies, strict=True) if word == INSIDE and site not in own]
        near = [site for site, word in zip(known, lies, strict=True) if word == NEAR and site not in own]
    if not own:
        raise RillbookError("no site of the book surely lies on it.", "Name its sites, or check the corners: latitude first.", where)
    return own, near


def chosen(entries: tuple[Any, ...], code: str, word: str, hint: str) -> tuple[Any, ...]:
    """The entries of rillbook.toml with a code, or all; an error that lists the codes where there is none."""
    known = ", ".join(entry.code for entry in entries)
    if not entries:
        raise RillbookError(f"rillbook.toml states no {word}.", f"Add a [[{word}]]. {hint}")
    chosen = tuple(entry for entry in entries if not code or entry.code.casefold() == code.casefold())
    if not chosen:
        raise RillbookError(f"{word} {code!r} is not in rillbook.toml.", f"Known: {known}.")
    return chosen


def file_name(code: str, every: list[str]) -> str:
    """A code as part of a file name; numbered where two codes would share one."""
    plain = [re.sub(r"[^A-Za-z0-9.-]+", "_", one).strip("._") or "x" for one in every]
    own = plain[every.index(code)]
    return own if plain.count(own) == 1 else f"{own}_{every.index(code) + 1}"


def write_reports(pages: Mapping[Path, str], tables: Mapping[Path, pd.DataFrame]) -> list[Path]:
    """Write pages and tables; their paths."""
    return write_files({**pages, **{path: csv_text(frame) for path, frame in tables.items()}}, "the report")
