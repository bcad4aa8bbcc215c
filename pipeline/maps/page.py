"""The maps: grid squares for everyone, exact places for the keeper of the book. The one door to folium."""

from __future__ import annotations

import base64
import re
import string
from collections.abc import Sequence
from importlib import resources
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import numpy as np
import pandas as pd

from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.maps.figures_table import degrees, table, table_rows
from pipeline.maps.frames import map_figures
from pipeline.maps.layers import FEW_WORDS, HEAT, HIDDEN_AT_FIRST, LAYER_WORDS, MEDIA, SYMBOLS, document, embed, heat_words, safe, symbol
from pipeline.maps.lines import outline
from pipeline.maps.parts import MapParts, bounds_of
from pipeline.maps.pattern import pattern_plot
from pipeline.maps.stills import still_picture
from pipeline.writing.files import write_files

GRATICULE_STEPS = (30.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001)


def page(parts: MapParts) -> str:
    """Draw one map as one HTML file that needs no network; the same parts always give the same text."""
    cells, private, facts = parts.cells, parts.private, parts.facts
    some = len(cells) > 0
    rows, note = table_rows(cells, private)
    drawn = _document(parts) if some else {}
    # apart, because no browser needs to read the many figures before somebody asks for them
    figures = drawn.pop("cells", [])
    words = {
        "title": safe(facts["title"] or "Map of finds"),
        "subtitle": "Exact places of finds" if private else "Finds by grid square",
        "banners": _banners(facts, private),
        "legend": _legend(parts) if some else "",
        "map": _folium_map(cells, private) if some else '<p class="nothing">There is nothing to show yet.</p>',
        "pattern": _pattern_words(parts),
        "table": table(rows, private) if some else "",
        "table_note": f"<p>{note}</p>" if note else "",
        "notes": "".join(f"<li>{safe(note)}</li>" for note in facts["notes"]),
        "credit": safe(". ".join(text for text in (facts["author"], facts["licence"]) if text)),
        "data": embed(drawn),
        "cells": embed(figures),
        "script": _template("map.js"),
        "vendor_css": _vendor_css() if some else "",
        "vendor_js": _vendor_js() if some else "",
    }
    return string.Template(_template("map.html")).substitute(words)


def _template(name: str) -> str:
    return resources.files("pipeline.maps").joinpath("templates", name).read_text(encoding="utf-8")


def _document(parts: MapParts) -> dict[str, Any]:
    steps = [] if parts.private else sorted({float(step) for step in parts.cells["step"]})
    return {
        **document(parts.cells, parts.finds, parts.lines.drawn, parts.private),
        "view": _view(parts.cells, parts.private),
        "finest": steps[0] if steps else 0,
        "steps": steps[1:],
        "outline": outline(bounds_of(parts.cells, parts.private)),
        "tiles": [parts.tiles] if parts.tiles else [],
    }


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


def _choice(name: str, words: str, options: Sequence[tuple[Any, str]], every: tuple[int, str]) -> str:
    listed = "".join(f'<option value="{value}">{safe(text)}</option>' for value, text in [every, *options])
    return f'<label for="{name}">{words}</label><select id="{name}">{listed}</select>'


def _box(name: str, words: str, checked: bool = False) -> str:
    return f'<label><input type="checkbox" id="{name}"{" checked" if checked else ""}>{words}</label>'


def _legend(parts: MapParts) -> str:
    cells, private = parts.cells, parts.private
    years = range(int(cells["year_from"].min()), int(cells["year_to"].max()) + 1) if cells["year_from"].notna().any() else range(0)
    taxa = [(number, name) for number, name in enumerate(sorted(set(cells["taxon"]))) if name]
    present = set(cells["layer"])
    media = [(number, words) for number, (medium, words) in enumerate(MEDIA.items()) if medium in set(cells.loc[~cells["few"], "medium"])]
    asked = [
        _choice("month", "Month", list(enumerate(MONTH_NAMES, 1)), (0, "all months")),
        _choice("year", "Year", [(year, str(year)) for year in years], (0, "all years")),
        _choice("taxon", "Taxon", taxa, (-1, "all taxa")),
        _choice("medium", "Where", media, (-1, "everywhere")),
    ]
    boxes = "".join(
        _box(f"layer-{one}", f"{symbol(one)} {LAYER_WORDS[one]}", one not in HIDDEN_AT_FIRST) for one in SYMBOLS if one in present
    )
    swatches = "".join(
        f'<li><span style="background:{colour}"></span>{words}</li>' for colour, words in zip(HEAT, heat_words(), strict=True)
    )
    return (
        f'<div class="asked">{"".join(asked)}</div><fieldset id="layers"><legend>Layers</legend>{boxes}</fieldset>'
        f'<fieldset class="more"><legend>Beside them</legend>{_box("heat", "Colour by temperature where the animal was")}'
        f'<ul class="heat" id="heat-key" hidden>{swatches}'
        f"<li>The number under a symbol is the median in °C; – means no temperature.</li></ul>"
        f"{_more(parts)}</fieldset>{_legend_words(cells, private)}"
    )


def _more(parts: MapParts) -> str:
    boxes = [_box("outline", "State borders, roughly", True)]
    if parts.lines.drawn:
        boxes.append(_box("lines", "Streams and boundaries that were given", True))
    if parts.private and parts.cells["coordinate_uncertainty_m"].notna().any():
        boxes.append(_box("circles", "How surely the place is known: the circle holds the site"))
    if parts.finds is not None and parts.finds["own_latitude"].notna().any():
        boxes.append(_box("own", "Single finds where they were made"))
    if parts.tiles:
        host = safe(urlsplit(parts.tiles).hostname)
        boxes.append(_box("tiles", f"Background map from {host}"))
        boxes.append(
            f'<p class="warning">Switched on, the background is asked of {host}: whoever runs it sees which places you look at, '
            "and from where. Off, this page asks nobody for anything.</p>"
        )
    return "".join(boxes)


def _legend_words(cells: pd.DataFrame, private: bool) -> str:
    steps = [] if private else sorted({str(step) for step in cells["step"]}, key=float)
    edges = map_figures()["count_breaks"].split("|")
    said = [
        f"{symbol('adult', [6, 7])} The twelve ticks under a symbol are January to December. Tall ticks: the months in which it was seen "
        "(here June and July).",
        f"A symbol grows with the number of animals, or of visits: a size larger from {', '.join(edges[:-1])} and {edges[-1]} on. "
        "Symbols that would lie on one another are drawn as one; zoom in to part them.",
    ]
    if private:
        said.append("A dot is a site.")
    else:
        said.append(
            f"Sides of the squares: {' and '.join(f'{step}°' for step in steps)}. "
            f"“{FEW_WORDS.capitalize()}” means: it was found, and no more is shown."
        )
    if len(steps) > 1:
        said.append("The larger squares have a dashed edge. Their symbols have one too, and may belong anywhere in the square.")
    said.append(
        "Temperatures are those read where the animals were: in water the water, on land under cover the ground, "
        "at the water's edge the ground or the water, in the open the air. With several cells together, a colour "
        "is the middle of their medians."
    )
    return "".join(f"<p>{text}</p>" for text in said)


def _folium_map(cells: pd.DataFrame, private: bool) -> str:
    """The empty map with its degrees, as folium's element and script without folium's own header; ids numbered in order."""
    import folium
    from branca.element import Element

    steps = [] if private else sorted({str(step) for step in cells["step"]}, key=float)
    view = _view(cells, private)
    drawn = folium.Map(location=view[0], tiles=None, control_scale=True, zoom_control="bottomright", attribution_control=False,
                       min_zoom=3, max_zoom=18, zoom_snap=0.25, prefer_canvas=True)  # fmt: skip
    frame = folium.FeatureGroup(name="Grid", control=False).add_to(drawn)
    _draw_graticule(frame, view, float(steps[0]) if steps else 0.0)
    figure = drawn.get_root()
    figure.render()
    figure.script.add_child(Element(f"window.rillbookMap = {drawn.get_name()};"))
    text = f"{figure.html.render()}<script>{figure.script.render()}</script>"
    numbers: dict[str, int] = {}
    return re.sub(r"(?<![0-9a-f])[0-9a-f]{32}(?![0-9a-f])", lambda found: str(numbers.setdefault(found.group(), len(numbers))), text)


def _view(cells: pd.DataFrame, private: bool) -> list[list[float]]:
    """Corners of what the map shows when it opens: the finest squares where they hold most of the finds, else all."""
    shown = cells
    if not private:
        fine = cells[cells["step"] == min(cells["step"], key=float)]
        shown = fine if 2 * fine["n_finds"].sum() >= cells["n_finds"].sum() else cells
    south, west, north, east = bounds_of(shown, private)
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
    """Write a map as a page, and beside it as a still picture, SVG and PNG.

    Parameters
    ----------
    parts : MapParts
    out : Path
        Folder for what may be shared; exact maps go to its folder `private`.

    Returns
    -------
    Path
        The page. A map with nothing on it has no picture, and one of earlier days is removed.

    Raises
    ------
    RillbookError
        A file cannot be written.
    """
    stem = out / "private" / "map_exact" if parts.private else out / "map"
    files: dict[str, bytes | None] = {".html": page(parts).encode("utf-8"), ".svg": None, ".png": None}
    if len(parts.cells):
        around = outline(bounds_of(parts.cells, parts.private))
        svg, files[".png"] = still_picture(parts.cells, parts.lines.drawn, around, parts.facts, parts.private)
        files[".svg"] = svg.encode("utf-8")
    write_files({stem.with_suffix(ending): content for ending, content in files.items()}, "the map")
    return stem.with_suffix(".html")
