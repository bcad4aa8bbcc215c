"""The part of a book that may be shown, and the memory of what was shown before."""

from __future__ import annotations

import json
import os
import re
import secrets
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from pipeline.book.absences import silent_visits
from pipeline.book.connection import is_empty, open_book
from pipeline.book.current import known_rows
from pipeline.errors import RillbookError
from pipeline.formulas.places import place_figures
from pipeline.publishing.protect import BookRows, Withheld, public_rows
from pipeline.settings import Settings

NAMES = {"sites": ("site_id", "site_name", "waterbody", "county"), "visits": ("observers",), "finds": ("identified_by",)}
SHORTEST_NAME = int(place_figures()["name_letters_least"])
PUBLISHED = Path("out", "publish")
MEMORY = "published.json"
ABOUT = (
    "Never share this file. It holds the secret behind the public codes, and in how large a grid square each site was published, so that "
    "no later publication shows a site more exactly. Keep it with the book."
)


@dataclass(frozen=True)
class PublicBook:
    """What may be shown of a book.

    Attributes
    ----------
    tables : dict of str to DataFrame
        From `protect.public_rows`.
    withheld : Withheld
        For the keeper of the book alone.
    rows : BookRows
        The rows that it was made of; private.
    key : bytes
        The secret behind public codes; private.
    """

    tables: dict[str, pd.DataFrame]
    withheld: Withheld
    rows: BookRows
    key: bytes


def public_book(folder: Path, settings: Settings) -> PublicBook:
    """Read a book and take from it what may be shown. Call :func:`open_to_all` before any of it is written.

    Parameters
    ----------
    folder : Path
        The book.
    settings : Settings

    Returns
    -------
    PublicBook

    Raises
    ------
    RillbookError
        The book is empty, or the memory of earlier publications is damaged or lost.
    """
    with open_book(folder) as connection:
        if is_empty(connection):
            raise RillbookError("the book is empty.", "Load some sheets first: `rillbook load FILE`.", str(folder))
        known, unsettled = known_rows(connection), silent_visits(connection)
    rows = BookRows(known["sites"], known["visits"], known["finds"], known["availability"], unsettled)
    key, steps = read_memory(folder)
    tables, withheld = public_rows(rows, settings, key, steps)
    return PublicBook(tables, withheld, rows, key)


def read_memory(folder: Path) -> tuple[bytes, dict[str, str]]:
    """The secret behind public codes and the steps of earlier publications; both new where the book was never published.

    Raises
    ------
    RillbookError
        The file is damaged or lost. It is never made anew in silence: that could show a site more exactly than before.
    """
    path = folder / MEMORY
    if not path.exists():
        if (folder / PUBLISHED).exists():
            what = "this book was published before, and the file that remembers in which squares is gone."
            remedy = f"Restore it from a copy. If nobody has seen that publication, remove {folder / PUBLISHED} and publish anew."
            raise RillbookError(what, remedy, str(path))
        return secrets.token_bytes(32), {}
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
        key, steps = bytes.fromhex(kept["key"]), {str(site): str(step) for site, step in kept["sites"].items()}
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        raise RillbookError("what was published before cannot be read.", "Restore this file from a copy.", str(path)) from None
    return key, steps


def open_to_all(folder: Path, settings: Settings, shown: PublicBook) -> None:
    """The gate of everything public: see that no free text gives a name away, and remember in which squares sites are shown.

    Parameters
    ----------
    folder : Path
        The book.
    settings : Settings
        Its title and taxa, the only free texts that are shown.
    shown : PublicBook
        What is about to be written.

    Raises
    ------
    RillbookError
        A text names what is never published, or the memory cannot be written. Nothing was shown.
    """
    _refuse_names(settings, shown.rows)
    remember(folder, shown.key, shown.withheld.steps)


def _refuse_names(settings: Settings, rows: BookRows) -> None:
    """The only free texts that are shown are those of rillbook.toml: they must not say what the tables withhold."""
    said = [("title", settings.title), *(("scientific_name", name) for name in settings.taxa["scientific_name"])]
    for name, where in _names({table: getattr(rows, table) for table in NAMES}):
        for word, text in said:
            if _says(text, name):
                what = f"{word} in rillbook.toml says {name!r}, which is {where} and is never published."
                raise RillbookError(what, "Word it without that name.", "rillbook.toml")


def _names(frames: Mapping[str, pd.DataFrame]) -> Iterator[tuple[str, str]]:
    """Each name of the book that is never published, and where the book has it."""
    for table, columns in NAMES.items():
        for column in columns:
            for name in sorted({str(one).strip() for one in frames[table][column].dropna().unique()}):
                if len(name) >= SHORTEST_NAME:
                    yield name, f"{column} in {table}"


def _says(text: str, name: str) -> bool:
    return re.search(rf"(?<!\w){re.escape(name)}(?!\w)", text, flags=re.IGNORECASE) is not None


def public_title(settings: Settings, frames: Mapping[str, pd.DataFrame]) -> str:
    """The title for pages that others copy.

    Parameters
    ----------
    settings : Settings
    frames : mapping of str to DataFrame
        The book's `sites`, `visits` and `finds`.

    Returns
    -------
    str
        Empty where the title says what is never published.
    """
    return "" if any(_says(settings.title, name) for name, _ in _names(frames)) else settings.title


def remember(folder: Path, key: bytes, steps: Mapping[str, str]) -> None:
    """Keep the secret and the steps, before anything is shown: no crash can make the book forget what others have seen.

    Raises
    ------
    RillbookError
        The file cannot be written.
    """
    text = json.dumps({"about": ABOUT, "key": key.hex(), "sites": dict(sorted(steps.items()))}, indent=1, ensure_ascii=False) + "\n"
    path = folder / MEMORY
    new = path.with_suffix(".new")
    try:
        new.write_text(text, encoding="utf-8", newline="\n")
        os.replace(new, path)
    except OSError as problem:
        raise RillbookError(f"the file cannot be written ({problem.strerror}).", "Check the folder's rights.", str(path)) from None
