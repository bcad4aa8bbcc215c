"""The maps: grid squares for everyone, exact places for the keeper of the book. The one door to folium."""

from __future__ import annotations

import base64
import re
import string
from collections.abc import Sequence
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pipeline.maps.calendars import dotted, in_view
from pipeline.maps.figures_table import as_csv, degrees, table, table_rows
from pipeline.maps.layers import document, embed, packed, safe
from pipeline.maps.legend import legend
from pipeline.maps.lines import BORDER, outline
from pipeline.maps.parts import MapParts, bounds_of
from pipeline.maps.pattern import pattern_plot
from pipeline.maps.stills import still_picture
from pipeline.writing.files import write_files

# drawings print sharply; with more places pictures open sooner
DRAWN_MOST = 150
GRATICULE_STEPS = (30.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001)


def page(parts: MapParts, panels: str = "") -> str:
    """Draw one map as one HTML file that needs no network; the same parts always give the same text.

    Parameters
    ----------
    parts : MapParts
    panels : str
        The panels of `pipeline.maps.stills` as an element; empty leaves them out.
    """
    cells, private, facts = parts.cells, parts.private, parts.facts
    some = len(cells) > 0
    rows, note = table_rows(cells, private)
    drawn = _document(parts) if some else {}
    # apart, because no browser needs to read the many figures before somebody asks for them
    figures = drawn.pop("cells", [])
    words = {
        "title": safe(facts["title"] or "Map of finds"),
        "subtitle": "Exact places of finds" if private else "Finds by grid square",
        "kind": "private" if private else "public",
        "banners": _banners(facts, private),
        "legend": legend(parts) if some else "",
        "map": _folium_map(cells, private) if some else '<p class="nothing">There is nothing to show yet.</p>',
        "panels": _panels_words(panels, cells, private),
        "pattern": _pattern_words(parts),
        "table": table(rows, private) if some else "",
        "table_note": f"<p>{_csv_words(private)} {note}</p>",
        "notes": "".join(f"<li>{safe(note)}</li>" for note in facts["notes"]),
        "credit": safe(". ".join(text for text in (facts["author"], facts["licence"]) if text)),
        "data": embed(drawn),
        "cells": packed(figures),
        "script": _template("map.js"),
        "vendor_css": _vendor_css() if some else "",
        "vendor_js": _vendor_js() if some else "",
    }
    return string.Template(_template("map.html")).substitute(words)


def _template(name: str) -> str:
    return resources.files("pipeline.maps").joinpath("templates", name).read_text(encoding="utf-8")


def _document(parts: MapParts) -> dict[str, Any]:
    steps = [] if parts.private else sorted({float(step) for step in parts.cells["step"].unique()})
    return {
        **document(parts.cells, parts.finds, parts.lines.drawn, parts.private),
        "view": _view(parts.cells, parts.private),
        "finest": steps[0] if steps else 0,
        "steps": steps[1:],
        "outline": _outline(parts),
        "tiles": [parts.tiles] if parts.tiles else [],
    }


def _outline(parts: MapParts) -> list[list[tuple[float, float]]]:
    """The rough outline of the states, where the book gives no borders of its own."""
    own = any(kind == BORDER for kind, _ in parts.lines.drawn)
    return [] if own else outline(bounds_of(parts.cells, parts.private))


def _banners(facts: dict[str, Any], private: bool) -> str:
    texts = [("invented", "Invented study. No animal, place or person in it is real.")] if facts["invented"] else []
    texts += [("private", "Exact places. Do not share.")] if private else []
    return "".join(f'<p class="banner {kind}" role="note">{text}</p>' for kind, text in texts)


def _pattern_words(parts: MapParts) -> str:
    drawn = pattern_plot(parts.pattern, "pattern-plot")
    if not drawn:
        return "<p>There are no animals to show yet.</p>" if parts.private else "<p>No month holds enough finds to be shown by itself.</p>"
    told = "" if parts.private else " Animals of months that the map puts together are not in it."
    return (
        "<p>All places of the map together. The larger a circle, the more animals; its colour is the median temperature where they were."
        f'{told}</p><div class="wide" tabindex="0" role="region" aria-label="Plot">{drawn}</div>'
    )


def _panels_words(panels: str, cells: pd.DataFrame, private: bool) -> str:
    if not panels:
        return ""
    told = "" if private else "Where in its square an animal was found is not shown."
    if private:
        told = "The black dots are the sites." if dotted(cells, private) else "There are too many sites to show each."
    return (
        '<details id="panels" open><summary>Where and in which months, stage by stage</summary><p>One panel a stage. A filled cell is a '
        "month in which it was found there; a row of three cells is a quarter of the year, so March stands at "
        "the end of the first row. "
        f'{told}</p><div class="wide" tabindex="0" role="region" aria-label="Panels">{panels}</div></details>'
    )


def _csv_words(private: bool) -> str:
    return f"All figures lie beside this page in <code>{'map_exact' if private else 'map'}.csv</code>."


def _folium_map(cells: pd.DataFrame, private: bool) -> str:
    """The empty map with its degrees, as folium's element and script without folium's own header; ids numbered in order."""
    import folium
    from branca.element import Element

    steps = [] if private else sorted({str(step) for step in cells["step"].unique()}, key=float)
    view = _view(cells, private)
    drawn = folium.Map(location=view[0], tiles=None, control_scale=True, zoom_control="bottomright", attribution_control=False,
                       min_zoom=3, max_zoom=18, zoom_snap=0.25, prefer_canvas=_places(cells, private) > DRAWN_MOST)  # fmt: skip
    frame = folium.FeatureGroup(name="Grid", control=False).add_to(drawn)
    _draw_graticule(frame, view, float(steps[0]) if steps else 0.0)
    figure = drawn.get_root()
    figure.render()
    figure.script.add_child(Element(f"window.rillbookMap = {drawn.get_name()};"))
    text = f"{figure.html.render()}<script>{figure.script.render()}</script>"
    numbers: dict[str, int] = {}
    return re.sub(r"(?<![0-9a-f])[0-9a-f]{32}(?![0-9a-f])", lambda found: str(numbers.setdefault(found.group(), len(numbers))), text)


def _places(cells: pd.DataFrame, private: bool) -> int:
    return len(cells[["site_id"] if private else ["step", "south", "west"]].drop_duplicates())


def _view(cells: pd.DataFrame, private: bool) -> list[list[float]]:
    """Corners of what the map shows when it opens."""
    south, west, north, east = bounds_of(cells[in_view(cells, private)], private)
    return [[south, west], [north, east]]


def _draw_graticule(layer: Any, bounds: Sequence[Sequence[float]], least: float) -> None:
    """Thin labelled lines, at most seven each way, so that a person can tell where on the globe the map is.

    They are never closer than the grid, so that the public page names no degrees finer than its squares.
    """
    import folium

    (south, west), (north, east) = bounds
    span = max(north - south, east - west)
    step = next((size for size in reversed(GRATICULE_STEPS) if size >= least and span / size <= 6), GRATICULE_STEPS[0])
    for low, high, letters in ((south, north, "NS"), (west, east, "EW")):
        for number in range(int(np.ceil(round(low / step, 6))), int(np.floor(round(high / step, 6))) + 1):
            value = round(number * step, 3)
            line = [(value, west), (value, east)] if letters == "NS" else [(south, value), (north, value)]
            folium.PolyLine(line, color="#777", weight=1, opacity=0.5, interactive=False).add_to(layer)
            anchor = (0, 14) if letters == "NS" else (8, -3)
            label = folium.DivIcon(f"<span>{degrees(value, letters)}</span>", icon_size=(60, 14), icon_anchor=anchor, class_name="degree")
            folium.Marker(line[0], icon=label, interactive=False, keyboard=False, z_index_offset=-1000).add_to(layer)


def _vendor(package: str, name: str) -> bytes:
    return resources.files(f"xstatic.pkg.{package}").joinpath("data", *name.split("/")).read_bytes()


def _vendor_css() -> str:
    """Leaflet's style with its pictures inside."""
    style = _vendor("leaflet", "leaflet.css").decode("utf-8")

    def picture(found: re.Match[str]) -> str:
        return f"url(data:image/png;base64,{base64.b64encode(_vendor('leaflet', found.group(1))).decode('ascii')})"

    return re.sub(r"url\((images/[\w.-]+\.png)\)", picture, style)


def _vendor_js() -> str:
    """Leaflet alone: folium's own popups would need jQuery too, and the map has none of them."""
    text = _vendor("leaflet", "leaflet.js").decode("utf-8")
    return f"<script>{re.sub(r'//# sourceMappingURL=.*', '', text)}</script>"


def write(parts: MapParts, out: Path) -> Path:
    """Write a map as a page, and beside it as a still picture, SVG and PNG, and its figures as CSV.

    Parameters
    ----------
    parts : MapParts
    out : Path
        Folder for what may be shared; exact maps go to its folder `private`.

    Returns
    -------
    Path
        The page. A map with nothing on it has no picture and no figures, and those of earlier days are removed.

    Raises
    ------
    RillbookError
        A file cannot be written.
    """
    stem = out / "private" / "map_exact" if parts.private else out / "map"
    files: dict[str, bytes | None] = {".html": None, ".svg": None, ".png": None, ".csv": None}
    panels = ""
    if len(parts.cells):
        svg, files[".png"], panels = still_picture(parts.cells, parts.lines.drawn, _outline(parts), parts.facts, parts.private)
        files |= {".svg": svg.encode("utf-8"), ".csv": as_csv(parts.cells).encode("utf-8")}
    files[".html"] = page(parts, panels).encode("utf-8")
    write_files({stem.with_suffix(ending): content for ending, content in files.items()}, "the map")
    return stem.with_suffix(".html")
