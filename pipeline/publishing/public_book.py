"""The part of a book that may be shown, and the memory of what was shown before."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

import pandas as pd

from pipeline.book.absences import silent_visits
from pipeline.book.connection import is_empty, open_book
from pipeline.book.current import known_rows
from pipeline.errors import RillbookError
from pipeline.formulas.grid_squares import WITHHELD
from pipeline.formulas.places import place_figures
from pipeline.publishing.joint import joint_places
from pipeline.publishing.memory import MEMORY, Memory, narrowed, read_memory, remember
from pipeline.publishing.protect import BookRows, Withheld, public_rows
from pipeline.publishing.shown import Shown
from pipeline.publishing.site_squares import known_again, site_squares
from pipeline.settings import Settings

NAMES = {"sites": ("site_id", "site_name", "waterbody", "county"), "visits": ("observers",), "finds": ("identified_by",)}
SHORTEST_NAME = int(place_figures()["name_letters_least"])


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
    memory : Memory
        What was shown before; private.
    """

    tables: dict[str, pd.DataFrame]
    withheld: Withheld
    rows: BookRows
    memory: Memory


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
    memory = read_memory(folder)
    joint = joint_places(folder, rows, settings)
    before = {**joint.shown, **known_again(rows, memory.sites, memory.visits), **memory.sites}
    tables, withheld = public_rows(rows, settings, memory.key, before, joint.steps)
    return PublicBook(tables, withheld, rows, memory)


def withheld_sites(folder: Path, settings: Settings, known: Mapping[str, pd.DataFrame]) -> tuple[frozenset[str], dict[str, float]]:
    """What pages for others may not tell of sites, and what they may.

    Parameters
    ----------
    folder : Path
        The book.
    settings : Settings
    known : mapping of str to DataFrame
        Current rows of the book.

    Returns
    -------
    hidden : frozenset of str
        Codes of sites that are withheld from everyone; what was published before counts too, as far as it is remembered.
    latitudes : dict of str to float
        Latitude of the middle of the square of each other site, degrees.
    """
    rows = BookRows(known["sites"], known["visits"], known["finds"], known["availability"])
    before: Mapping[str, Shown] = {}
    with suppress(RillbookError):
        memory = read_memory(folder)
        before = {**known_again(rows, memory.sites, memory.visits), **memory.sites}
    squares = site_squares(rows, settings, before)
    shown = squares[squares["left_out"] == ""]
    middle = dict(zip(shown["site_id"], (shown["south"] + shown["north"]) / 2, strict=True))
    return frozenset(squares.loc[squares["left_out"] == WITHHELD, "site_id"]), middle


def open_to_all(folder: Path, settings: Settings, shown: PublicBook, anyway: tuple[str, str] | None = None) -> None:
    """The gate of everything public: see that no free text gives a name away, and remember in which squares sites are shown.

    Parameters
    ----------
    folder : Path
        The book.
    settings : Settings
        Its title and taxa, the only free texts that are shown.
    shown : PublicBook
        What is about to be written.
    anyway : tuple of str, optional
        Who takes it on, and why, that a site is known more exactly than before.

    Raises
    ------
    RillbookError
        A text names what is never published, all publications together tell more of a site than the earlier ones did, or the memory cannot
        be written. Nothing was shown.
    """
    _refuse_names(settings, shown.rows)
    memory, now = shown.memory, shown.withheld.shown
    known_better = narrowed(memory, now)
    if known_better and anyway is None:
        what = f"whoever has the earlier publications would know more exactly where {', '.join(known_better)} lies: nothing was written."
        raise RillbookError(
            what, "Put back its line in published.json, or say who takes that on: `rillbook publish --anyway NAME --reason WHY`.", MEMORY
        )
    if known_better and anyway is not None:
        who, why = anyway
        entry = {"on": date.today().isoformat(), "by": who, "reason": why, "sites": " ".join(known_better)}
        history = {site: every for site, every in memory.history.items() if site not in known_better}
        memory = replace(memory, history=history, allowed=[*memory.allowed, entry])
    codes = shown.withheld.codes
    visits = dict(zip(shown.rows.visits["visit_id"], shown.rows.visits["site_id"], strict=True))
    remember(folder, memory, now, {visit: visits[visit] for visit in codes.loc[codes["kind"] == "visit", "code"]})


def _refuse_names(settings: Settings, rows: BookRows) -> None:
    """The only free texts that are shown are those of rillbook.toml: they must not say what the tables withhold."""
    said = [("title", settings.title), *(("scientific_name", name) for name in settings.taxa["scientific_name"])]
    names = list(_names({table: getattr(rows, table) for table in NAMES}))
    # all names at once first, for a large book has thousands, and as a rule no text says any
    if not any(_says(text, *(name for name, _ in names)) for _, text in said):
        return
    for name, where in names:
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


def _says(text: str, *names: str) -> bool:
    """Whether a text says any of some names, as words of their own, in letters of any size."""
    any_of = "|".join(map(re.escape, names))
    return bool(names) and re.search(rf"(?<!\w)(?:{any_of})(?!\w)", text, flags=re.IGNORECASE) is not None


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
    return "" if _says(settings.title, *(name for name, _ in _names(frames))) else settings.title
