"""From a book to its reports: gap list, revisit plan, permit and landowner reports; each a page and a table."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.book.connection import open_book
from pipeline.book.current import known_rows
from pipeline.book.held_items import open_items
from pipeline.checking import held_list
from pipeline.commands.derive import Derived, refuse_empty
from pipeline.errors import RillbookError
from pipeline.formulas.detection import detections, searches
from pipeline.publishing.public_book import public_title
from pipeline.settings import read_settings
from pipeline.settings.reports import Parcel

Progress = Callable[[str], None]
DOUBTED = "SELECT DISTINCT row_key, field FROM flags WHERE table_name = 'visits' AND coalesce(settled_by, '') = ''"


def _silent(step: str) -> None:
    """Say nothing."""


@dataclass(frozen=True)
class Written:
    """Files of a report, its tables by name, and what else the person at the desk must know."""

    files: list[Path]
    tables: dict[str, pd.DataFrame]
    notes: list[str] = field(default_factory=list)


def write_gaps(folder: Path, today: date | None = None, progress: Progress = _silent, derived: Derived | None = None) -> Written:
    """Write the public gap list and the private revisit plan.

    Parameters
    ----------
    folder : Path
        The book.
    today : date, optional
        The plan begins on it.
    progress : callable
        Told each step.
    derived : Derived, optional
        Targets of this very book, so that they need not be derived again.

    Returns
    -------
    Written
        Tables ``gaps``, ``gaps_months``, ``gaps_absence``, ``gaps_unseen`` in ``out/``; ``revisit`` and ``revisit_history`` in
        ``out/private/``.

    Raises
    ------
    RillbookError
        The book is empty or cannot be read, or a file cannot be written.
    """
    from pipeline.reports import gaps, gaps_page, revisit
    from pipeline.targets import derive, evidence, figures

    settings, today = read_settings(folder), today or date.today()
    with open_book(folder) as connection:
        refuse_empty(connection, folder)
        progress("reading the evidence")
        readings = derived.readings if derived else evidence.readings(connection, settings)[0]
        known = known_rows(connection)
    progress("grading")
    targets = derived.targets if derived else derive.targets(readings, settings.taxa, settings)
    shared = _shared(readings, figures.distinct_values)
    looked = searches(known["visits"], known["finds"])
    taxa = settings.taxa["code"].tolist()
    absence = detections(looked, taxa, settings.detection)
    listed = gaps.gap_list(targets, shared, gaps.searched(readings, looked, known["sites"], settings))
    months, never = gaps.best_months(listed, shared, today), gaps.unseen(targets, known["finds"], taxa)
    past = revisit.history(looked, absence, known["sites"]["site_id"].tolist())
    plan = revisit.plan(listed, readings, known["sites"], known["visits"], past, today)
    n_cells = int((targets["month"].isin(gaps.MONTHS) & ~targets["life_stage"].isin(gaps.NEVER_ASKED)).sum())
    public = {"gaps": listed, "gaps_months": months, "gaps_absence": absence, "gaps_unseen": never}
    private = {"revisit": plan, "revisit_history": past}
    shown = replace(settings, title=public_title(settings, known))
    pages = {
        folder / "out" / "gaps.html": gaps_page.page(listed, months, absence, never, n_cells, shown, today),
        folder / "out" / "private" / "revisit.html": revisit.page(plan, past, absence, known["sites"], settings, today),
    }
    tables = {folder / "out" / f"{name}.csv": frame for name, frame in public.items()}
    tables |= {folder / "out" / "private" / f"{name}.csv": frame for name, frame in private.items()}
    return Written(_write(pages, tables), {**public, **private})


def _shared(readings: pd.DataFrame, distinct: Callable[[pd.DataFrame], pd.DataFrame]) -> dict[tuple[str, ...], Mapping[str, Any]]:
    """Years, distinct values and those at night of each taxon, population, stage and medium."""
    found: dict[tuple[str, ...], Mapping[str, Any]] = {}
    for key, rows in readings.groupby(["taxon", "population", "life_stage", "medium"], sort=True):
        values = distinct(rows)
        years = {int(year) for year in rows["year"].dropna()}
        found[tuple(str(part) for part in key)] = {"years": years, "values": len(values), "night_values": int(values["night"].sum())}
    return found


def write_permits(folder: Path, code: str = "", year: int | None = None, progress: Progress = _silent) -> Written:
    """Write the report of one permit, or of each.

    Parameters
    ----------
    folder : Path
        The book.
    code : str
        Permit of ``rillbook.toml``; all if empty.
    year : int, optional
        Report this year alone; all years of the permit if not given.
    progress : callable
        Told each step.

    Returns
    -------
    Written
        For each permit a page, its rows and its limits in ``out/private/``.

    Raises
    ------
    RillbookError
        The book states no permit, not this one, or not for this year.
    """
    from pipeline.reports import permit as permit_report
    from pipeline.reports import permit_page

    settings = read_settings(folder)
    permits = _chosen(settings.permits, code, "permit", "docs/book.md shows a [[permit]].")
    with open_book(folder) as connection:
        known, held = known_rows(connection), open_items(connection)
        more = connection.execute(
            "SELECT row_key FROM flags WHERE table_name = 'finds' AND rule = 'at_least' AND field = 'count'"
        ).fetchall()
    fewest = frozenset(str(row[0]) for row in more)
    pages: dict[Path, str] = {}
    frames: dict[str, pd.DataFrame] = {}
    for permit in permits:
        progress(f"permit {permit.code}")
        years = list(permit.years)
        if year is not None and year not in years:
            raise RillbookError(
                f"permit {permit.code!r} does not cover {year}.", f"It covers {', '.join(map(str, years))}; choose one of them."
            )
        years = [year] if year is not None else years
        mine = permit_report.visits_of(permit, settings.permits, known["visits"])
        mine = mine[mine["year"].isin(years) | (mine["outside"] & (year is None))]
        every = sorted({*years, *mine["year"].astype("int64")})
        rows = permit_report.rows_of(permit, mine, known["sites"], known["finds"], settings.taxa, every, fewest)
        limits = permit_report.against_limits(permit, rows, every)
        notes = _held_notes(held)
        name = f"permit_{_file_name(permit.code, [one.code for one in settings.permits])}{f'_{year}' if year is not None else ''}"
        pages[folder / "out" / "private" / f"{name}.html"] = permit_page.page(permit, mine, rows, limits, every, settings, notes)
        frames |= {name: rows[list(permit_report.ROW_COLUMNS)], f"{name}_limits": limits, f"{name}_summary": permit_report.summary(rows)}
    tables = {folder / "out" / "private" / f"{name}.csv": frame for name, frame in frames.items()}
    return Written(_write(pages, tables), frames)


def _held_notes(held: pd.DataFrame) -> list[str]:
    n = len(held[held["table"].isin(["visits", "finds"])])
    if not n:
        return []
    return [f"{n} items of visits and finds wait for a decision in this book; rows held back are not counted. Settle them before you sign."]


def write_landowner(folder: Path, code: str = "", sites: tuple[str, ...] = (), progress: Progress = _silent) -> Written:
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

    settings = read_settings(folder)
    parcels = (Parcel(code or "_".join(sites), sites, ()),) if sites else _chosen(settings.parcels, code, "parcel", "Or name --site.")
    with open_book(folder) as connection:
        known = known_rows(connection)
        doubted = connection.execute(DOUBTED).df()
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
        name = f"landowner_{_file_name(parcel.code, [one.code for one in parcels])}"
        pages[folder / "out" / "private" / f"{name}.html"] = landowner_report.page(parcel.code, place, visits, finds, settings, n_doubted)
        frames[name] = landowner_report.visit_rows(place, visits, finds, settings.taxa)
    tables = {folder / "out" / "private" / f"{name}.csv": frame for name, frame in frames.items()}
    return Written(_write(pages, tables), frames, notes)


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


def _chosen(entries: tuple[Any, ...], code: str, word: str, hint: str) -> tuple[Any, ...]:
    known = ", ".join(entry.code for entry in entries)
    if not entries:
        raise RillbookError(f"rillbook.toml states no {word}.", f"Add a [[{word}]]. {hint}")
    chosen = tuple(entry for entry in entries if not code or entry.code.casefold() == code.casefold())
    if not chosen:
        raise RillbookError(f"{word} {code!r} is not in rillbook.toml.", f"Known: {known}.")
    return chosen


def _file_name(code: str, every: list[str]) -> str:
    """A code as part of a file name; numbered where two codes would share one."""
    plain = [re.sub(r"[^A-Za-z0-9.-]+", "_", one).strip("._") or "x" for one in every]
    own = plain[every.index(code)]
    return own if plain.count(own) == 1 else f"{own}_{every.index(code) + 1}"


def _write(pages: Mapping[Path, str], tables: Mapping[Path, pd.DataFrame]) -> list[Path]:
    for path, content in {**pages, **tables}.items():
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            if isinstance(content, str):
                path.write_text(content, encoding="utf-8", newline="\n")
            else:
                held_list.for_spreadsheet(content).to_csv(path, index=False, encoding="utf-8", lineterminator="\n")
        except OSError as problem:
            raise RillbookError(
                f"the report cannot be written ({problem.strerror}).", "Close the file in other programs.", str(path)
            ) from None
    return [*pages, *tables]
