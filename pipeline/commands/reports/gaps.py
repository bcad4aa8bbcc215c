"""What `rillbook gaps` does, in order: the list of gaps, the revisits, and their pages."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.book.connection import open_book
from pipeline.book.current import known_rows
from pipeline.commands.derive import Derived, refuse_empty
from pipeline.commands.reports.report_files import Written, write_reports
from pipeline.formulas.grid_squares import WITHHELD
from pipeline.intake.report import Progress, silent
from pipeline.intake.settings_changed import settled
from pipeline.publishing.public_book import public_title, withheld_sites
from pipeline.publishing.site_squares import taxon_classes
from pipeline.settings import Settings
from pipeline.statistics.detection import detections, searches
from pipeline.writing.files import PRIVATE
from pipeline.writing.site_counts import coarse_sites, without_hidden

GROUP = ["taxon", "population", "life_stage", "medium"]


@dataclass(frozen=True)
class _Listed:
    """What a gap list is made of."""

    gaps: pd.DataFrame
    months: pd.DataFrame
    absence: pd.DataFrame
    unseen: pd.DataFrame
    n_cells: int

    def tables(self) -> dict[str, pd.DataFrame]:
        """The tables by the names of their files."""
        return {"gaps": self.gaps, "gaps_months": self.months, "gaps_absence": self.absence, "gaps_unseen": self.unseen}

    def page(self, settings: Settings, today: date, private: bool = False) -> str:
        """The page of the list."""
        from pipeline.reports import gaps_page

        return gaps_page.page(self.gaps, self.months, self.absence, self.unseen, self.n_cells, settings, today, private=private)


def write_gaps(folder: Path, today: date | None = None, progress: Progress = silent, derived: Derived | None = None) -> Written:
    """Write the gap list, as others may see it and whole for the keeper alone, and the private revisit plan.

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
        Tables ``gaps``, ``gaps_months``, ``gaps_absence``, ``gaps_unseen``, ``revisit`` and ``revisit_history``, whole, as they stand in
        ``out/private/``. Those in ``out/`` are made without the withheld sites and taxa.

    Raises
    ------
    RillbookError
        The book is empty or cannot be read, or a file cannot be written.
    """
    from pipeline.reports import gaps, revisit
    from pipeline.targets import derive, evidence

    settings, today = settled(folder), today or date.today()
    with open_book(folder) as connection:
        refuse_empty(connection, folder)
        progress("reading the evidence")
        known = known_rows(connection)
        hidden, _ = withheld_sites(folder, settings, known)
        if derived:
            open_readings, readings = derived.facts["open_readings"], derived.readings
        else:
            open_readings, readings, _ = evidence.readings_told(connection, settings, hidden)
    progress("grading")
    targets = derived.targets if derived else derive.targets(readings, settings.taxa, settings)
    looked = searches(known["visits"], known["finds"])
    whole = _listed(targets, readings, known, looked, settings, today)
    told = _told(targets, open_readings, known, looked, settings, today, hidden)
    past = revisit.history(looked, whole.absence, known["sites"]["site_id"].tolist())
    plan = revisit.plan(whole.gaps, readings, known["sites"], known["visits"], past, today, settings.reach)
    shown = replace(settings, title=public_title(settings, known))
    out, private = folder / "out", folder / "out" / PRIVATE
    pages = {
        out / "gaps.html": told.page(shown, today),
        private / "gaps.html": whole.page(settings, today, private=True),
        private / "revisit.html": revisit.page(plan, past, whole.absence, known["sites"], settings, today),
    }
    public = told.tables() | {"gaps": gaps.for_others(told.gaps), "gaps_absence": coarse_sites(told.absence)}
    own = {**whole.tables(), "revisit": plan, "revisit_history": past}
    tables = {out / f"{name}.csv": frame for name, frame in public.items()}
    tables |= {private / f"{name}.csv": frame for name, frame in own.items()}
    return Written(write_reports(pages, tables), own)


def _listed(
    targets: pd.DataFrame,
    readings: pd.DataFrame,
    known: Mapping[str, pd.DataFrame],
    looked: pd.DataFrame,
    settings: Settings,
    today: date,
) -> _Listed:
    from pipeline.reports import gaps
    from pipeline.targets.figures import distinct_values

    shared, taxa = _shared(readings, distinct_values), settings.taxa["code"].tolist()
    absence = detections(looked, taxa, settings.detection)
    listed = gaps.gap_list(targets, shared, gaps.searched(readings, looked, known["sites"], settings))
    months = gaps.best_months(listed, shared, today, settings.warm_months)
    n_cells = int((targets["month"].isin(gaps.MONTHS) & ~targets["life_stage"].isin(gaps.NEVER_ASKED)).sum())
    return _Listed(listed, months, absence, gaps.unseen(targets, known["finds"], taxa), n_cells)


def _told(
    targets: pd.DataFrame,
    open_readings: pd.DataFrame,
    known: Mapping[str, pd.DataFrame],
    looked: pd.DataFrame,
    settings: Settings,
    today: date,
    hidden: frozenset[str],
) -> _Listed:
    """The gap list without the sites and taxa that are withheld; its grades are those of the care sheets, which know them."""
    seasons = {"warm": settings.warm_months, "cold": settings.cold_months}
    classes = taxon_classes(settings.taxa)
    taxa = settings.taxa[settings.taxa["code"].map(classes).ne(WITHHELD)]
    sites = known["sites"][~known["sites"]["site_id"].isin(hidden)]
    visits = known["visits"][known["visits"]["site_id"].isin(sites["site_id"])]
    finds = known["finds"][known["finds"]["visit_id"].isin(visits["visit_id"]) & known["finds"]["taxon"].isin(taxa["code"])]
    # a search tells of its taxon only where the finds may
    open_looked = looked[looked["visit_id"].isin(visits["visit_id"])].reset_index(drop=True)
    open_looked = open_looked.assign(found=open_looked["found"].astype("bool") & open_looked["taxon"].isin(taxa["code"]))
    told = open_readings[open_readings["taxon"].isin(taxa["code"])]
    groups = pd.MultiIndex.from_frame(told[GROUP].drop_duplicates())
    # a stage or population that was read at withheld sites alone has no line
    rows = targets[pd.MultiIndex.from_frame(targets[GROUP]).isin(groups)]
    public = without_hidden(rows, told, seasons)
    return _listed(public, told, {"sites": sites, "visits": visits, "finds": finds}, open_looked, replace(settings, taxa=taxa), today)


def _shared(readings: pd.DataFrame, distinct: Callable[[pd.DataFrame], pd.DataFrame]) -> dict[tuple[str, ...], Mapping[str, Any]]:
    """Years, distinct values and those at night of each taxon, population, stage and medium."""
    found: dict[tuple[str, ...], Mapping[str, Any]] = {}
    for key, rows in readings.groupby(GROUP, sort=True):
        values = distinct(rows)
        years = {int(year) for year in rows["year"].dropna()}
        found[tuple(str(part) for part in key)] = {"years": years, "values": len(values), "night_values": int(values["night"].sum())}
    return found
