"""Commands before and in the field: a new book, the form, sheets to type into."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.options import Book, Json
from pipeline.cli.printing import print_json, say
from pipeline.errors import RillbookError

if TYPE_CHECKING:
    pass


def init(
    folder: Annotated[Path, typer.Argument(help="New folder for the book.", show_default=False)],
    settings: Annotated[Path | None, typer.Option("--settings", help="A rillbook.toml to start from.", show_default=False)] = None,
) -> None:
    """Make a new book.

    Example: rillbook init my_study
    """
    from pipeline.commands import run

    try:
        text = settings.read_text(encoding="utf-8-sig") if settings is not None else None
    except (OSError, UnicodeDecodeError) as problem:
        raise RillbookError(f"the settings cannot be read ({problem}).", "Check the name.", str(settings)) from None
    path = run.init(folder, text)
    say(f"Made {path}. Open it and fill in the title, the time zone and the taxa.")


def enter(
    port: Annotated[
        int | None, typer.Option("--port", min=1024, max=65535, help="Port on this computer.", show_default="one that is free")
    ] = None,
    book: Book = Path(),
) -> None:
    """Serve the form on this computer alone: it checks while you type and loads the visit into the book.

    Example: rillbook enter --book my_study
    """
    from pipeline.intake.enter import serve

    serve(book, port, say)


def sheets(book: Book = Path(), json: Json = False) -> None:
    """Write what to record on: the form for phone and computer, a page to print, and a workbook, made from the schemas and the book.

    Example: rillbook sheets --book my_study
    """
    from pipeline.commands import run

    files = run.write_sheets(book)
    if json:
        print_json([str(path) for path in files])
        return
    say("Wrote " + ", ".join(str(path) for path in files) + ".")
    say("The form and the workbook know your sites, and a filled sheet holds exact places: keep them to yourself.")
