"""The public map and the exact one."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pipeline.book.connection import open_book
from pipeline.commands.derive import refuse_empty
from pipeline.intake.report import Progress, silent
from pipeline.intake.settings_changed import settled


def write_maps(folder: Path, lines: Path | None = None, tiles: str | None = None, progress: Progress = silent) -> list[Path]:
    """Write the public map and the exact one, each as a page with still pictures beside it; return the two pages.

    Parameters
    ----------
    folder : Path
        The book.
    lines : Path, optional
        Streams, lakes, ridges and borders to draw, GeoPackage or GeoJSON, in place of those that the book states.
    tiles : str, optional
        Address of background tiles, which a reader may switch on.
    progress : callable
        Told each step.
    """
    from pipeline.maps import lines as map_lines
    from pipeline.maps import page as map_page
    from pipeline.maps import parts as map_parts
    from pipeline.publishing.public_book import open_to_all, public_book

    settings = settled(folder)
    address = map_parts.tiles_address(tiles) if tiles else ""
    with open_book(folder) as connection:
        refuse_empty(connection, folder)
        doubts = _in_doubt(connection)
    wanted = lines if lines is not None else settings.landscape.lines
    shapes = map_lines.read_lines(wanted) if wanted is not None else None
    progress("drawing the maps")
    shown = public_book(folder, settings)
    open_to_all(folder, settings, shown)
    doubted = map_parts.public_doubts(doubts, shown.withheld.codes)
    known = shown.rows
    marked = {
        "sites": known.sites,
        "visits": known.visits.assign(in_doubt=known.visits["visit_id"].isin(doubts["visits"])),
        "finds": known.finds.assign(in_doubt=known.finds["find_id"].isin(doubts["finds"])),
        "availability": known.availability,
    }
    public = map_parts.public_parts(shown.tables, doubted, settings, shapes, address)
    exact = map_parts.exact_parts(marked, settings, shapes, address)
    return [map_page.write(one, folder / "out") for one in (public, exact)]


def _in_doubt(connection: Any) -> dict[str, set[str]]:
    """Visits and finds with an unsettled flag that keeps them out of targets."""
    asked = "SELECT DISTINCT table_name, row_key FROM flags WHERE effect = 'flag_exclude' AND coalesce(settled_by, '') = ''"
    found = connection.execute(asked).fetchall()
    return {table: {key for name, key in found if name == table} for table in ("visits", "finds")}
