"""What `rillbook permit` does, in order."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from pipeline.book.connection import open_book
from pipeline.book.current import known_rows
from pipeline.book.held_items import open_items
from pipeline.commands.reports.report_files import Written, chosen, file_name, write_reports
from pipeline.errors import RillbookError
from pipeline.intake.report import Progress, silent
from pipeline.intake.settings_changed import settled
from schemas.frames.reports import PERMIT_COLUMNS


def write_permits(folder: Path, code: str = "", year: int | None = None, progress: Progress = silent) -> Written:
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

    settings = settled(folder)
    permits = chosen(settings.permits, code, "permit", "docs/book.md shows a [[permit]].")
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
        name = f"permit_{file_name(permit.code, [one.code for one in settings.permits])}{f'_{year}' if year is not None else ''}"
        pages[folder / "out" / "private" / f"{name}.html"] = permit_page.page(permit, mine, rows, limits, every, settings, notes, name)
        frames |= {name: rows[list(PERMIT_COLUMNS)], f"{name}_limits": limits, f"{name}_summary": permit_report.summary(rows)}
    tables = {folder / "out" / "private" / f"{name}.csv": frame for name, frame in frames.items()}
    return Written(write_reports(pages, tables), frames)


def _held_notes(held: pd.DataFrame) -> list[str]:
    n = len(held[held["table"].isin(["visits", "finds"])])
    if not n:
        return []
    return [f"{n} items of visits and finds wait for a decision in this book; rows held back are not counted. Settle them before you sign."]
