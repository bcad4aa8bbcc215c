"""What `rillbook gaps` does, in order: the list of gaps, the revisits, and their pages."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.book.connection import open_book
from pipeline.book.current import known_rows
from pipeline.commands.derive import Derived, refuse_empty
from pipeline.commands.report_files import Written, write_reports
from pipeline.intake.report import Progress, silent
from pipeline.publishing.public_book import public_title
from pipeline.settings import read_settings
from pipeline.statistics.detection import detections, searches


def write_gaps(folder: Path, today: date | None = None, progress: Progress = silent, derived: Derived | None = None) -> Written:
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
    return Written(write_reports(pages, tables), {**public, **private})


def _shared(readings: pd.DataFrame, distinct: Callable[[pd.DataFrame], pd.DataFrame]) -> dict[tuple[str, ...], Mapping[str, Any]]:
    """Years, distinct values and those at night of each taxon, population, stage and medium."""
    found: dict[tuple[str, ...], Mapping[str, Any]] = {}
    for key, rows in readings.groupby(["taxon", "population", "life_stage", "medium"], sort=True):
        values = distinct(rows)
        years = {int(year) for year in rows["year"].dropna()}
        found[tuple(str(part) for part in key)] = {"years": years, "values": len(values), "night_values": int(values["night"].sum())}
    return found
