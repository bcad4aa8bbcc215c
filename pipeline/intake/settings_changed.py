"""A change of `rillbook.toml` that stored rows rest on: what rests on it is made anew, in one transaction, and said."""

from __future__ import annotations

import logging
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.book.connection import FILE_NAME, has_rows, open_book
from pipeline.book.recoding import known_by_now, new_taxa
from pipeline.book.resting import PLACES, new_instants, new_marks, new_places
from pipeline.book.standards import Standards, note, read_under, standards_of
from pipeline.errors import RillbookError
from pipeline.settings import Settings, read_settings

if TYPE_CHECKING:
    from pipeline.book.engine import DuckDBPyConnection

COPY = "under_other_settings"
WORDS = {"time_zone": "time_zone", "areas": "the study area", "taxa": "the taxa"}
log = logging.getLogger("rillbook")


def settled(folder: Path, *, go_on: bool = False) -> Settings:
    """Read the settings of a book, and bring the rows of the book to them where they stand under others.

    Parameters
    ----------
    folder : Path
        The book.
    go_on : bool
        For commands that a person needs when a change cannot be carried through: that is said, and they go on.

    Returns
    -------
    Settings
        What every row of the book stands under now.

    Raises
    ------
    RillbookError
        The book cannot be opened, the settings say something wrong, or a change of them cannot be carried through; the book is as it was,
        and the message says what to do.
    """
    settings = read_settings(folder)
    if not (folder / FILE_NAME).exists():
        return settings
    with open_book(folder) as connection:
        if read_under(connection) == standards_of(settings) or not has_rows(connection, "loads"):
            return settings
    with open_book(folder, trial=True) as connection:
        try:
            changes = _made_anew(connection, settings)
        except RillbookError as problem:
            if not go_on:
                raise
            log.warning("%s", problem)
            return settings
    with open_book(folder, write=True, copy=COPY if changes else "") as connection:
        old = read_under(connection)
        said = _made_anew(connection, settings)
        notes = _to_load_again(connection, settings, old)
        note(connection, settings)
    if said:
        log.warning("rillbook.toml was changed since the book was read (%s): %s.", _what(old, settings), "; ".join(said))
    for one in notes:
        log.warning("%s", one)
    return settings


def _made_anew(connection: DuckDBPyConnection, settings: Settings) -> list[str]:
    """Bring the rows of an open book to its settings; what changed, in words, and nothing where nothing rests on the change."""
    from pipeline.loggers.marks_again import marks_again, move_days_to_the_local_clock

    old = read_under(connection)
    said: list[str] = []
    instants = new_instants(connection, settings.time_zone)
    moved = bool(instants) if old is None else old["time_zone"] != settings.time_zone
    if instants:
        _refuse_tracks(connection)
        said.append(f"{_listed(instants)} got new instants")
    if old is None and not moved and (late := move_days_to_the_local_clock(connection, settings.time_zone)):
        said.append(f"{late} marks of days out of the water begin at local midnight now")
    files, marked = marks_again(connection, settings.time_zone) if moved else (0, 0)
    if files:
        said.append(
            f"the readings of {files} logger files keep their instants, which rest on the files, and {marked} have other marks of days"
        )
    if taxa := new_taxa(connection, settings, old):
        said.append(f"{_listed(taxa)} have another code of their taxon")
    held, given = new_places(connection, settings)
    came, gone = new_marks(connection, settings)
    said += [f"{held} places are held back (`rillbook held`)"] if held else []
    said += [f"{given} places are no longer held back"] if given else []
    said += [f"{came} marks came and {gone} fell away"] if came or gone else []
    return said


def _what(old: Standards | None, settings: Settings) -> str:
    """What changed, in words."""
    new = standards_of(settings)
    if old is None:
        return f"the book does not say when; time_zone is {new['time_zone']}"
    parts = [word for name, word in WORDS.items() if name != "time_zone" and old[name] != new[name]]
    if old["time_zone"] != new["time_zone"]:
        parts.insert(0, f"time_zone was {old['time_zone']}, is {new['time_zone']}")
    return ", ".join(parts)


def _listed(rows: dict[str, int]) -> str:
    return " and ".join(f"{number} {table.replace('_', ' ')}" for table, number in rows.items())


def _refuse_tracks(connection: DuckDBPyConnection) -> None:
    """Refuse where a find got its place from a waypoint of the same time: another waypoint may be the right one, and it is not kept."""
    row = connection.execute("""
        SELECT r.load_id, count(*), any_value(o.file)
        FROM source_rows r JOIN source_files o USING (load_id, source) JOIN loads l USING (load_id)
        WHERE l.undone_at IS NULL AND o.sheet = 'waypoints of finds' AND r.cells LIKE '%by time, %' GROUP BY ALL ORDER BY ALL""").fetchone()
    if row is not None:
        what = (
            f"the time zone in rillbook.toml was changed, and {row[1]} finds of load {row[0]} got their places from waypoints of {row[2]} "
            "by their time. Nothing was changed."
        )
        raise RillbookError(what, f"Put time_zone back; or `rillbook undo {row[0]}`, and load its files again after the change.")


def _to_load_again(connection: DuckDBPyConnection, settings: Settings, old: Standards | None) -> list[str]:
    """What was held back for the old settings and can come in now, where its sheet is loaded again."""
    if old is None:
        return []
    number, files = known_by_now(connection, settings, old)
    notes = [f"{number} items that were held back name a taxon that is known now: load {', '.join(files)} again."] if number else []
    if old["areas"] != standards_of(settings)["areas"]:
        rows = connection.execute(
            f"SELECT file, count(*) FROM held WHERE rule IN {PLACES} AND column_name <> '' GROUP BY file ORDER BY file"
        ).fetchall()
        listed, numbers = ", ".join(row[0] for row in rows), sum(row[1] for row in rows)
        if rows:
            notes.append(f"{numbers} numbers of places were held back by the old study area: load {listed} again if it was wrong.")
    return notes
