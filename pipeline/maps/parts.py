"""What a map is drawn from: the public map from published rows alone, the exact one from the whole book."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

import pandas as pd

from pipeline.errors import RillbookError
from pipeline.maps.frames import doubt_notes, exact_cells, find_rows, no_place_notes, single_finds
from pipeline.maps.lines import Lines, exact_lines, public_lines
from pipeline.maps.pattern import pattern
from pipeline.maps.public import public_cells, public_notes, public_rows, rows_with_month
from pipeline.settings import Settings

Bounds = tuple[float, float, float, float]


@dataclass(frozen=True)
class MapParts:
    """What one map is drawn from.

    Attributes
    ----------
    cells : DataFrame
        From `pipeline.maps.public.public_cells` or `pipeline.maps.frames.exact_cells`.
    pattern : DataFrame
        From `pipeline.maps.stills.pattern`.
    finds : DataFrame or None
        Single finds; on the exact map alone, and only in a small book.
    facts : dict
        `title`, `invented`, `licence`, `author` and `notes`, sentences for the foot of the page.
    lines : Lines
        Streams, lakes, ridges and borders to draw.
    private : bool
        The places are exact.
    tiles : str
        Address of background tiles, or empty.
    """

    cells: pd.DataFrame
    pattern: pd.DataFrame
    finds: pd.DataFrame | None
    facts: dict[str, Any]
    lines: Lines
    private: bool
    tiles: str = ""


def public_parts(
    tables: Mapping[str, pd.DataFrame], in_doubt: Collection[str], settings: Settings, shapes: Any = None, tiles: str = ""
) -> MapParts:
    """Make the parts of the public map from published rows, and from nothing else.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        From `protect.public_rows`.
    in_doubt : collection of str
        Public codes of finds and visits with an unsettled flag that keeps them out of targets.
    settings : Settings
    shapes : GeoSeries, optional
        From `pipeline.maps.lines.read_lines`.
    tiles : str
        From :func:`tiles_address`.
    """
    rows = public_rows(tables, in_doubt)
    cells = public_cells(rows)
    finest = float(min(cells["step"], key=float)) if len(cells) else 1.0
    bounds, whose = bounds_of(cells, False), settings.landscape.lines_from
    lines = Lines([], []) if shapes is None or cells.empty else public_lines(shapes, bounds, finest, whose)
    notes = [*public_notes(cells), *doubt_notes(cells), *lines.notes]
    return MapParts(cells, pattern(rows_with_month(rows), False), None, _facts(settings, notes), lines, False, tiles)


def exact_parts(known: Mapping[str, pd.DataFrame], settings: Settings, shapes: Any = None, tiles: str = "") -> MapParts:
    """Make the parts of the exact map, never to be shared.

    Parameters
    ----------
    known : mapping of str to DataFrame
        Current views ``sites``, ``visits``, ``finds`` and ``availability``; a true `in_doubt` in visits and finds marks an unsettled flag.
    settings, shapes, tiles
        As for :func:`public_parts`.
    """
    cells = exact_cells(known, settings.taxa)
    lines = Lines([], []) if shapes is None or cells.empty else exact_lines(shapes, _around(bounds_of(cells, True)))
    notes = [*no_place_notes(known["sites"], known["visits"], known["finds"]), *doubt_notes(cells), *lines.notes]
    shown = pattern(find_rows(known["visits"], known["finds"], settings.taxa), True)
    return MapParts(cells, shown, single_finds(known, settings.taxa), _facts(settings, notes), lines, True, tiles)


def _facts(settings: Settings, notes: list[str]) -> dict[str, Any]:
    book = {"title": settings.title, "invented": settings.invented, "licence": settings.licence, "author": settings.author}
    return {**book, "notes": notes}


def public_doubts(in_doubt: Mapping[str, Collection[str]], public_codes: pd.DataFrame) -> set[str]:
    """Public codes of rows in doubt.

    Parameters
    ----------
    in_doubt : mapping of str to collection of str
        Codes of the book by table, ``visits`` and ``finds``.
    public_codes : DataFrame
        ``kind``, ``code`` and ``public_code``, from `protect.Withheld`.
    """
    in_any = {kind: public_codes["code"].isin(in_doubt[f"{kind}s"]) for kind in public_codes["kind"].unique()}
    doubted = [public_codes.loc[(public_codes["kind"] == kind) & found, "public_code"] for kind, found in in_any.items()]
    return {code for codes in doubted for code in codes}


def tiles_address(text: str) -> str:
    """Check the address of background tiles.

    Parameters
    ----------
    text : str
        With ``{z}``, ``{x}`` and ``{y}`` in it.

    Raises
    ------
    RillbookError
        It is no https address, or lacks one of the three.
    """
    parts = urlsplit(text)
    if parts.scheme != "https" or not parts.hostname or "@" in parts.netloc or not all(word in text for word in ("{z}", "{x}", "{y}")):
        raise RillbookError(
            f"{text!r} is no address of map tiles.", "Give an https address with {z}, {x} and {y} in it, or leave out --tiles."
        )
    return text


def _around(bounds: Bounds) -> Bounds:
    """Bounds with half of their longer side more on each side, so that no stream breaks off beside the last site."""
    south, west, north, east = bounds
    more = max(north - south, east - west) / 2
    return south - more, west - more, north + more, east + more


def bounds_of(cells: pd.DataFrame, private: bool) -> Bounds:
    """South, west, north and east of all squares, or of all sites and a little more."""
    if private:
        pad, sides = 0.01, (cells["latitude"], cells["longitude"], cells["latitude"], cells["longitude"])
    else:
        pad, sides = 0.0, (cells["south"], cells["west"], cells["north"], cells["east"])
    return float(sides[0].min()) - pad, float(sides[1].min()) - pad, float(sides[2].max()) + pad, float(sides[3].max()) + pad
