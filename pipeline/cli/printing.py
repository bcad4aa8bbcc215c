"""How the command line speaks: lines, JSON, and progress on a terminal."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import typer

if TYPE_CHECKING:
    pass


ALL_ACCEPTED = 0
SHOWN = 5


def say(text: str, err: bool = False) -> None:
    """Print, with control characters as their numbers: a cell of a sheet must not steer the terminal."""
    typer.echo("".join(sign if sign.isprintable() or sign == "\n" else sign.encode("unicode_escape").decode() for sign in text), err=err)


@contextmanager
def told_progress() -> Iterator[Callable[[str], None]]:
    """Tell each step on a terminal; say nothing in a pipe."""
    if not sys.stderr.isatty():
        yield lambda step: None
        return
    from rich.console import Console

    with Console(stderr=True).status("starting") as shown:
        yield lambda step: shown.update(step)


def plain(frame: Any) -> Any:
    """A frame as JSON can hold it, times in ISO 8601."""
    return json.loads(frame.to_json(orient="records", date_format="iso"))


def print_json(document: Any) -> None:
    """Print a document as JSON."""
    typer.echo(json.dumps(document, indent=1, ensure_ascii=False))


def rows_of(frame: Any) -> list[dict[str, Any]]:
    """A frame as rows that JSON can hold, letters as they are."""
    return json.loads(frame.to_json(orient="records", force_ascii=False, date_format="iso"))  # type: ignore[no-any-return]


def say_written(written: Any) -> None:
    """Say what was written, and that private files stay private."""
    for note in written.notes:
        say(note)
    say("Wrote " + ", ".join(str(path) for path in written.files) + ".")
    if any(path.parent.name == "private" for path in written.files):
        say("What lies in the folder private shows exact places: it goes to nobody but the one it is for.")
