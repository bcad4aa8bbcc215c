"""The landscape that a book's maps draw, as the book states it under `[map]`."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline.errors import RillbookError

LINES, LINES_FROM = "lines", "lines_from"


@dataclass(frozen=True)
class Landscape:
    """What `[map]` states.

    Attributes
    ----------
    lines : Path or None
        File of streams, lakes, ridges and borders.
    lines_from : str
        Who published them. Without it they stay off the public map: lines that a surveyor drew may lead to the finds.
    """

    lines: Path | None = None
    lines_from: str = ""


def landscape_of(entry: dict[str, Any], where: str, folder: Path) -> Landscape:
    """Read what stands under `[map]`.

    Parameters
    ----------
    entry : dict
        Words and values.
    where : str
        Names the file in errors.
    folder : Path
        The book's folder, from which a path is read.

    Raises
    ------
    RillbookError
        Another word, or a value that is no text.
    """
    for word, text in entry.items():
        if word not in (LINES, LINES_FROM):
            raise RillbookError(f"unknown word {word!r}.", f"Known here: {LINES}, {LINES_FROM}.", f"{where}, [map]")
        if not isinstance(text, str) or not text.strip():
            raise RillbookError(f"{word} must be a text in quote marks.", "Mend it, or take the line out.", f"{where}, [map]")
    lines = folder / Path(entry[LINES].strip()).expanduser() if LINES in entry else None
    return Landscape(lines, " ".join(entry.get(LINES_FROM, "").split()))
