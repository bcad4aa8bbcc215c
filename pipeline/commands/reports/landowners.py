"""What `rillbook landowner` does, in order."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pandas as pd

from pipeline.book.connection import open_book
from pipeline.book.current import known_rows
from pipeline.commands.reports.report_files import Written, chosen, file_name, sites_of, write_reports
from pipeline.intake.report import Progress, silent
from pipeline.intake.settings_changed import settled
from pipeline.publishing.public_book import public_title
from pipeline.settings.reports import Parcel

DOUBTED = "SELECT DISTINCT row_key, field FROM flags WHERE table_name = 'visits' AND coalesce(settled_by, '') = ''"


def write_landowner(folder: Path, code: str = "", sites: tuple[str, ...] = (), progress: Progress = silent) -> Written:
    """Write the report for the owner of one parcel.

    Parameters
    ----------
    folder : Path
        The book.
    code : str
        Parcel of ``rillbook.toml``, or a name for `sites`; if empty and no sites are given, every parcel.
    sites : tuple of str
        Sites of the parcel; then ``rillbook.toml`` is not asked.
    progress : callable
        Told each step.

    Returns
    -------
    Written
        For each parcel a page and its visits in ``out/private/``; notes name sites that lie too near a boundary. They are for you: the
        page says nothing of them.

    Raises
    ------
    RillbookError
        No such parcel or site, a polygon that is none, or a parcel without a site.
    """
    from pipeline.reports import landowner as landowner_report

    settings = settled(folder)
    parcels = (Parcel(code or "_".join(sites), sites, ()),) if sites else chosen(settings.parcels, code, "parcel", "Or name --site.")
    with open_book(folder) as connection:
        known = known_rows(connection)
        doubted = connection.execute(DOUBTED).df()
    # a title may name other places and people
    headed = replace(settings, title=public_title(settings, known))
    pages: dict[Path, str] = {}
    frames: dict[str, pd.DataFrame] = {}
    notes: list[str] = []
    for parcel in parcels:
        progress(f"parcel {parcel.code}")
        own, near = sites_of(parcel, known["sites"])
        if near:
            notes.append(
                f"Parcel {parcel.code}: too near the boundary to tell, left out: {', '.join(near)}. Add to sites what is on the parcel."
            )
        place = known["sites"][known["sites"]["site_id"].isin(own)]
        visits, n_doubted = _without(known["visits"][known["visits"]["site_id"].isin(own)], doubted)
        finds = known["finds"][known["finds"]["visit_id"].isin(visits["visit_id"])]
        name = f"landowner_{file_name(parcel.code, [one.code for one in parcels])}"
        pages[folder / "out" / "private" / f"{name}.html"] = landowner_report.page(parcel.code, place, visits, finds, headed, n_doubted)
        frames[name] = landowner_report.visit_rows(place, visits, finds, settings.taxa, settings.common_names)
    tables = {folder / "out" / "private" / f"{name}.csv": frame for name, frame in frames.items()}
    return Written(write_reports(pages, tables), frames, notes)


def _without(visits: pd.DataFrame, doubted: pd.DataFrame) -> tuple[pd.DataFrame, int]:
    """Visits without water readings that a flag doubts: an owner cannot judge them; and how many these are."""
    visits = visits.copy()
    n = 0
    for name in ("water_temp_c", "ph", "conductivity_us_cm", "dissolved_oxygen_mg_l"):
        rows = doubted.loc[doubted["field"].str.split(", ").map(lambda listed, name=name: name in listed), "row_key"]
        mask = visits["visit_id"].isin(rows) & visits[name].notna()
        n += int(mask.sum())
        visits[name] = visits[name].mask(mask)
    return visits, n
