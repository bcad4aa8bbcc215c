"""Commands at the tank: audit an enclosure, plan its year."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from pipeline.cli.options import Book, Json, Map, Reduced
from pipeline.cli.printing import ALL_ACCEPTED, plain, print_json, say, say_written, told_progress


def audit(
    enclosure: Annotated[str, typer.Argument(help="Its code; every enclosure in use if not given.", show_default=False)] = "",
    since: Annotated[str, typer.Option("--from", help="First local day or moment.", show_default="30 days before the end")] = "",
    until: Annotated[str, typer.Option("--to", help="Last local day or moment.", show_default="now")] = "",
    targets: Annotated[
        Path | None, typer.Option("--targets", help="A targets.json that someone else published.", show_default="the book's own")
    ] = None,
    watch: Annotated[
        Path | None, typer.Option("--watch", help="Folder of arriving logger files: take each in, and audit again.", show_default=False)
    ] = None,
    map: Map = None,
    every: Annotated[float, typer.Option("--every", help="Minutes between two looks, with --watch.", min=0.1)] = 5.0,
    reduced: Reduced = None,
    book: Book = Path(),
    json: Json = False,
) -> None:
    """Say whether enclosures are inside what the wild shows, since when not, and what to do. Exit code 1 unless inside all the time.

    Example: rillbook audit T2 --from 2025-07-01 --to 2025-07-31 --book my_first_book
    """
    from pipeline.commands import run
    from pipeline.commands.tanks.audit import as_document

    if watch is not None:
        _watch(book, watch, map, every, enclosure, targets, reduced)
        return
    with told_progress() as progress:
        found = run.audit(book, enclosure, targets=targets, since=since, until=until, reduced=reduced, progress=progress)
    if json:
        print_json([as_document(one) for one in found.audits])
    else:
        for one in found.audits:
            say(one.sentence)
            if one.water_acts:
                say(f"{one.enclosure['enclosure_id']}: water: act on {', '.join(one.water_acts)}.")
        for note in found.notes:
            say(note)
        say("Wrote " + ", ".join(str(path) for path in found.files if path.suffix == ".html") + ", and the figures beside it as CSV.")
    raise typer.Exit(ALL_ACCEPTED if found.all_inside else 1)


def _watch(
    book: Path, watched: Path, map_path: Path | None, every: float, enclosure: str, targets: Path | None, reduced: Path | None
) -> None:
    """Take in what arrives and say how the enclosures are, until someone stops it; what was said once and still holds is not said again."""
    from pipeline.commands import run
    from pipeline.commands.tanks.watch import watch
    from pipeline.errors import RillbookError

    say(f"Watching {watched}. Control and C end it; what is in the book stays.")
    before: dict[str, str] = {}
    for arrivals in watch(book, watched, map_path, 60 * every):
        for arrival in arrivals:
            say(f"{arrival.file}: {arrival.words}")
        try:
            found = run.audit(book, enclosure, targets=targets, reduced=reduced)
        except RillbookError as problem:
            say(f"not audited, tried again later: {problem}", err=True)
            continue
        for one in found.audits:
            code, said = str(one.enclosure["enclosure_id"]), f"{one.state} {one.since}"
            if arrivals or before.get(code) != said:
                say(one.sentence)
            before[code] = said


def schedule(
    enclosure: Annotated[str, typer.Argument(help="Its code.", show_default=False)],
    year: Annotated[int | None, typer.Option("--year", help="Year of the plan.", show_default="this year")] = None,
    book: Book = Path(),
    json: Json = False,
) -> None:
    """Write an enclosure's set points by week, for a chiller and a calendar, with the day length where the animals live.

    Example: rillbook schedule T1 --year 2026 --book my_first_book
    """
    from pipeline.commands import run

    with told_progress():
        written = run.write_year_plan(book, enclosure, year)
    if json:
        print_json({name: plain(frame) for name, frame in written.tables.items()})
        return
    say_written(written)


def guide(
    taxon: Annotated[str, typer.Argument(help="Taxon code.", show_default=False)],
    book: Book = Path(),
    json: Json = False,
) -> None:
    """Write a guide to hand on: your own words from the folder notes beside the derived numbers. Nothing is filled in.

    Example: rillbook guide EWIL --book my_first_book
    """
    from pipeline.commands import run

    written = run.write_guide(book, taxon)
    if json:
        print_json({"files": [str(path) for path in written.files], "notes": written.notes})
        return
    say_written(written)
