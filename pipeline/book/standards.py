"""The settings that the rows of a book stand under: written down with the loads, and compared before anything is read or stored.

What rests on them is made anew when they change (`book.resting`), in every row that was ever stored, so that all rows of a book stand
under the same settings.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from pipeline.book.versions import facts_of, note_facts
from pipeline.errors import RillbookError
from pipeline.settings import Settings

if TYPE_CHECKING:
    from pipeline.book.engine import DuckDBPyConnection

NAME = "read_under"
OF_TAXA = ("code", "aliases", "group", "paedomorphic", "overlap_svl_low_mm", "overlap_svl_high_mm")
"""What the checks of a row ask of its taxon. Rank, names, sensitivity and detection are read where they are used."""

Standards = dict[str, Any]


def standards_of(settings: Settings) -> Standards:
    """What stored rows rest on: ``time_zone``, ``areas``, ``taxa``, in the order of their codes."""
    taxa = json.loads(settings.taxa[list(OF_TAXA)].to_json(orient="records", force_ascii=False))
    areas = [[one.code, one.kind, list(one.numbers)] for one in settings.areas]
    return {"time_zone": settings.time_zone, "areas": sorted(areas), "taxa": sorted(taxa, key=lambda one: str(one["code"]))}


def read_under(connection: DuckDBPyConnection) -> Standards | None:
    """What the rows of an open book stand under; None where it does not say, as books of earlier versions do not."""
    said = facts_of(connection).get(NAME)
    return None if said is None else dict(json.loads(said))


def note(connection: DuckDBPyConnection, settings: Settings) -> None:
    """Write down what the rows of a book stand under."""
    note_facts(connection, {NAME: json.dumps(standards_of(settings), ensure_ascii=False)})


def keep_to(connection: DuckDBPyConnection, settings: Settings) -> None:
    """Called before rows are stored: the first load writes down what it was read under, every later one must be read under the same.

    Raises
    ------
    RillbookError
        `rillbook.toml` was changed after the command read it.
    """
    known = read_under(connection)
    if known is None and not connection.execute("SELECT 1 FROM loads LIMIT 1").fetchall():
        note(connection, settings)
    elif known != standards_of(settings):
        what = "rillbook.toml was changed while this was read. Nothing was stored."
        raise RillbookError(what, "Run `rillbook status`, which takes the change over, and try again.")
