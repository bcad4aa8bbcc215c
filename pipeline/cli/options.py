"""Options and arguments that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    pass


Book = Annotated[Path, typer.Option("--book", help="The book's folder.", show_default="this folder")]
Json = Annotated[bool, typer.Option("--json", help="Print JSON and nothing else.")]
Files = Annotated[
    list[Path],
    typer.Argument(
        help="Sheets: CSV, XLSX or ODS; surveys that the form saved; GPX with waypoints beside them; or logger exports.", show_default=False
    ),
]
Map = Annotated[Path | None, typer.Option("--map", help="Column map of a sheet that was not made for rillbook.", show_default=False)]
Reduced = Annotated[
    Path | None,
    typer.Option(
        "--reduced", help="Folder of `rillbook summaries`: loggers in it are taken from there, not from the book.", show_default=False
    ),
]
