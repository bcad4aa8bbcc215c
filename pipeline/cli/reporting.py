"""Commands that write reports: gaps, permits, landowners."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.options import Book, Json
from pipeline.cli.printing import SHOWN, plain, print_json, say, say_written, told_progress

if TYPE_CHECKING:
    pass


def gaps(book: Book = Path(), json: Json = False) -> None:
    """List what evidence is missing and what would help most; plan the next visits. The plan names sites and is private.

    Example: rillbook gaps --book my_study
    """
    from pipeline.commands import run

    with told_progress() as progress:
        written = run.write_gaps(book, progress=progress)
    if json:
        print_json({name: plain(frame) for name, frame in written.tables.items()})
        return
    months = written.tables["gaps_months"]
    say(f"{len(written.tables['gaps'])} cells could have a better grade.")
    for row in months.head(SHOWN).itertuples():
        of = f" of {row.population}" if row.population else ""
        say(f"  {row.next}: {row.trips} days of search{of} may raise {row.cells_raised} cells")
    for row in written.tables["gaps_absence"].itertuples():
        known = row.visits_to_absence == row.visits_to_absence
        how = (
            f"{row.visits_to_absence:.0f} visits state absence (detection {row.detection:.2f}, {row.basis})"
            if known
            else f"not known: {row.why}"
        )
        say(f"  {row.taxon}: {how}")
    say_written(written)


def permit(
    code: Annotated[str, typer.Argument(help="Permit, as rillbook.toml names it; all of them if not given.", show_default=False)] = "",
    year: Annotated[int | None, typer.Option("--year", help="Report this year alone.", show_default="all years of the permit")] = None,
    book: Book = Path(),
    json: Json = False,
) -> None:
    """Write the report for a permit office: captures against the limits, or that there was no activity. It is private.

    Example: rillbook permit INVENTED-1 --year 2024 --book my_first_book
    """
    from pipeline.commands import run

    with told_progress() as progress:
        written = run.write_permits(book, code, year, progress)
    if json:
        print_json({name: plain(frame) for name, frame in written.tables.items()})
        return
    for name, frame in written.tables.items():
        for row in frame.itertuples() if name.endswith("_limits") else ():
            say(f"{row.permit} {row.year}, taxon {row.taxon}, county {row.county}: {row.words}")
    say_written(written)


def landowner(
    code: Annotated[str, typer.Argument(help="Parcel, as rillbook.toml names it; all of them if not given.", show_default=False)] = "",
    site: Annotated[
        list[str] | None, typer.Option("--site", help="A site of the parcel; say it again for each.", show_default=False)
    ] = None,
    book: Book = Path(),
    json: Json = False,
) -> None:
    """Write a page for the owner of a parcel: what lives there, the water, what helps; nothing of other land. It is private.

    Example: rillbook landowner A --book my_first_book
    """
    from pipeline.commands import run

    with told_progress() as progress:
        written = run.write_landowner(book, code, tuple(site or ()), progress)
    if json:
        print_json({name: plain(frame) for name, frame in written.tables.items()})
        return
    say_written(written)
