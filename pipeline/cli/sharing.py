"""Commands for what is shown to others: maps, data quality, publication."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.options import Book, Json
from pipeline.cli.printing import plain, print_json, say, say_written, told_progress
from pipeline.errors import RillbookError

if TYPE_CHECKING:
    pass


def map_command(
    lines: Annotated[
        Path | None,
        typer.Option(
            "--lines",
            help="Streams, lakes, ridges and borders to draw on the maps, in place of those of rillbook.toml: GeoPackage or GeoJSON.",
            show_default=False,
        ),
    ] = None,
    tiles: Annotated[
        str | None,
        typer.Option(
            "--tiles",
            help="https address of background tiles, with {z}, {x} and {y}; off until a reader switches it on, because whoever runs it "
            "then sees where one looks.",
            show_default=False,
        ),
    ] = None,
    book: Book = Path(),
) -> None:
    """Write the public map and the exact one that stays private, each as a page and as a still picture (SVG and PNG).

    Example: rillbook map --lines streams.gpkg
    """
    from pipeline.commands import run

    with told_progress() as progress:
        public, private = run.write_maps(book, lines, tiles, progress)
    say(f"Wrote {public} to share, and {private} for you alone: it shows exact places. Beside each lie its pictures and its figures.")


def quality(
    files: Annotated[
        list[Path] | None,
        typer.Argument(
            help="A Darwin Core archive or table, or sheets made for rillbook; the book's own rows if not given.", show_default=False
        ),
    ] = None,
    book: Book = Path(),
    json: Json = False,
) -> None:
    """Hold rows against the data-quality tests of TDWG: the book's own, as they would be published, or a file. Nothing is changed.

    Example: rillbook quality their_archive.zip --book my_study
    """
    from pipeline.commands import run

    with told_progress() as progress:
        progress("running the tests")
        written = run.write_quality(book, files or [])
    if json:
        print_json({name: plain(frame) for name, frame in written.tables.items()})
        return
    tests = written.tables["summary"]
    say(f"{len(written.tables['records'])} rows, {len(tests)} tests.")
    for row in tests[tests["not_compliant"] > 0].sort_values("not_compliant", ascending=False, kind="stable").itertuples():
        mended = f"; {row.not_compliant_after} if every proposal were taken" if row.not_compliant_after < row.not_compliant else ""
        say(f"  {row.test}: {row.not_compliant} rows fail{mended}")
    say_written(written)


def publish(
    anyway: Annotated[
        str, typer.Option("--anyway", help="Your name, if a site may be known more exactly than before; with --reason.", show_default=False)
    ] = "",
    reason: Annotated[str, typer.Option("--reason", help="Why that may be.", show_default=False)] = "",
    book: Book = Path(),
    json: Json = False,
) -> None:
    """Write what may be shared, at a precision that protects the sites: a Darwin Core Archive, a Data Package, GeoPackage and GeoJSON.

    Example: rillbook publish --book my_study
    """
    from pipeline.commands import run

    if bool(anyway.strip()) != bool(reason.strip()):
        raise RillbookError("--anyway and --reason go together.", "Give your name and the reason, or neither.")
    with told_progress() as progress:
        done = run.publish(book, anyway=(anyway, reason) if anyway.strip() else None, progress=progress)
    private = done.withheld
    if json:
        print_json(
            {
                "rows": done.rows,
                "withheld": private.counts,
                "coarser": private.coarser,
                "moved": private.moved,
                "alone": done.alone[0],
                "files": [str(path) for path in done.files],
            }
        )
        return
    say("To share: " + ", ".join(f"{n} {table}" for table, n in done.rows.items()) + ".")
    say(
        f"{done.alone[0]} of {done.alone[1]} visits are like no other in what is said of them. Publish no visit in two books: "
        "whoever has both could tie them, and the finer square would hold for both (published_with in rillbook.toml)."
    )
    say("Left out, which is for you alone to know:")
    for what, number in private.counts.items():
        say(f"  {number} {what}")
    if private.coarser:
        say(f"Shown in finer squares before, which nobody can take back: {', '.join(private.coarser)}.")
    if private.moved:
        say(
            f"Moved by more than a square since they were published: {', '.join(private.moved)}. They stand in a new square with new "
            "codes, and their visits up to now are left out: they could link it to the old one."
        )
    say(f"Wrote {', '.join(str(path) for path in done.files)}.")
    say("Keep published.json with the book, and share it with nobody: it remembers in which squares each site was shown.")
