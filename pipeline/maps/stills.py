"""The map as panels, one a stage, for the page, for paper and for talks. The door to matplotlib."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from html import escape
from io import BytesIO
from textwrap import wrap
from typing import Any

import numpy as np
import pandas as pd

from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.maps.calendars import Panels
from pipeline.maps.figures_table import degrees
from pipeline.maps.layers import HEAT, LAYER_WORDS, LIGHT_INK, SYMBOLS, heat_words
from pipeline.maps.pattern import heat

COLUMNS, WIDE_INCHES, HIGH_INCHES = (3, 4, 5, 2), 7.6, 9.4
WORDS: dict[str, Any] = {"parse_math": False}
LOOKS = {
    "outline": ("#999999", "-", 0.6), "stream": ("#2b7bba", "-", 0.9), "lake": ("#2b7bba", "-", 0.7),
    "ridge": ("#8a6d3b", (0, (1, 1.5)), 1.2), "border": ("#5b3a8c", (0, (5, 2)), 0.8),
}  # fmt: skip
VISITS, SITES = "Visits", "Sites"
NAMED_MOST = 40
Shape = list[tuple[float, float]]
STYLE = {
    "svg.fonttype": "none",
    "svg.hashsalt": "rillbook",
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans", "Liberation Sans", "Arial", "sans-serif"],
    "font.size": 9.0,
    "hatch.linewidth": 0.6,
    "axes.linewidth": 0.8,
}


def still_picture(
    cells: pd.DataFrame, lines: Sequence[Any], outline: Sequence[Any], facts: Mapping[str, Any], private: bool
) -> tuple[str, bytes, str]:
    """Draw the map as panels: one a stage; in each square the months in which it was found, coloured by temperature.

    Parameters
    ----------
    cells, lines, outline, private
        As for :class:`Panels`.
    facts : mapping
        `title`, `invented`, `licence`, `author`.

    Returns
    -------
    svg : str
        A file of its own.
    png : bytes
        The same at 200 dots an inch.
    inlined : str
        The same as an ``<svg>`` element for the page.
    """
    import matplotlib
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    panels = Panels(cells, lines, outline, private)
    with matplotlib.rc_context(STYLE):
        figure = _figure(panels, _still_words(facts, cells, private))
        svg = _svg_text(FigureCanvasSVG(figure))
        inlined = _for_inlining(svg, "panels-plot", "Panels of the map, one a stage", describe(panels))
        out = BytesIO()
        FigureCanvasAgg(figure).print_png(out, metadata={"Software": None})
    label = escape(f"{facts['title']}: map of finds", quote=False)
    opening = svg.index(">", svg.index("<svg")) + 1
    return f"{svg[:opening]}\n<title>{label}</title>{svg[opening:]}", out.getvalue(), inlined


def describe(panels: Panels) -> str:
    """Say in words in how many parts of the map each stage was found, and in which months."""
    said = []
    for layer in panels.layers:
        months = sorted({month for one in panels.found[layer] for month in one.months})
        when = f", in {', '.join(MONTH_NAMES[month - 1] for month in months)}" if months else ""
        said.append(f"{LAYER_WORDS[layer]}: found in {len(panels.found[layer])} of {len(panels.inside) + len(panels.below)} squares{when}.")
    return " ".join(said)


def _figure(panels: Panels, words: str) -> Any:
    """The panels below the words; their places are worked out here, because a layout that measures every letter takes long."""
    from matplotlib.figure import Figure

    named = panels.sites is not None and len(panels.sites) <= NAMED_MOST
    names = [*panels.layers, *([VISITS] if panels.visits else []), *([SITES] if named else [])] or [VISITS]
    south, west, north, east = panels.extent()
    tall = float(np.clip((north - south) / ((east - west) * np.cos(np.radians((south + north) / 2))), 0.4, 2.0))
    # the first that leaves room for the words on one sheet of A4 or Letter
    high = {columns: -(-len(names) // columns) * ((WIDE_INCHES / columns - 0.2) * tall + 0.4) + 0.8 for columns in COLUMNS}
    columns = next((one for one in COLUMNS if high[one] <= HIGH_INCHES), 4)
    rows = -(-len(names) // columns)
    above = 0.16 * (words.count("\n") + 1)
    whole = high[columns] + above
    figure = Figure(figsize=(WIDE_INCHES, whole), dpi=200)
    figure.text(0.01, 1 - 0.04 / whole, words, fontsize=8, va="top", **WORDS)
    sides = {"left": 0.055, "right": 0.99, "bottom": 0.85 / whole, "top": 1 - (above + 0.3) / whole}
    spaces = {"wspace": 0.08, "hspace": 0.33 * rows / (high[columns] - 1.15)}
    grid = figure.subplots(rows, columns, sharex=True, sharey=True, squeeze=False, gridspec_kw={**sides, **spaces})
    for axes, name in zip(grid.flat, names, strict=False):
        _base(axes, panels)
        if name == VISITS:
            _visits_panel(axes, panels)
        elif name == SITES:
            _sites_panel(axes, panels.sites)
        else:
            _stage_panel(axes, panels, name)
    for axes in grid.flat[len(names) :]:
        axes.set_axis_off()
    _key(figure, panels)
    return figure


def _box(south: float, west: float, height: float, width: float) -> Shape:
    return [(west, south), (west + width, south), (west + width, south + height), (west, south + height)]


def _polygons(axes: Any, shapes: list[Shape], **look: Any) -> None:
    """Many shapes as one path: a page opens that sooner than an element for each."""
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    if shapes:
        axes.add_patch(PathPatch(Path.make_compound_path(*(Path([*shape, shape[0]], closed=True) for shape in shapes)), **look))


def _base(axes: Any, panels: Panels) -> None:
    south, west, north, east = panels.extent()
    step = panels.inside[0].step
    squares = [_box(part.south, part.west, part.step, part.step) for part in panels.inside]
    _polygons(axes, squares, facecolor="#f0f1ea", edgecolor="none", zorder=0)
    floor = min(part.south for part in panels.inside) - 0.12 * step
    for kind, points in panels.lines:
        colour, dashes, width = LOOKS[kind]
        above = [(y, x) if y >= floor else (np.nan, np.nan) for y, x in points]
        axes.plot([x for _, x in above], [y for y, _ in above], color=colour, linestyle=dashes, linewidth=width, zorder=1, alpha=0.8)
    # a dashed edge where the square is no square of the survey but a part of the picture
    _polygons(
        axes, squares, facecolor="none", edgecolor="#555555", linewidth=0.6, linestyle=(0, (1, 2)) if panels.private else "-", zorder=2
    )
    for part in panels.below:
        at_south, at_west = panels.corner(part)
        _polygons(
            axes,
            [_box(at_south, at_west, step, step)],
            facecolor="white",
            edgecolor="#333333",
            linewidth=0.7,
            linestyle=(0, (4, 2)),
            zorder=2,
        )
        axes.text(at_west, at_south + 1.04 * step, f"{part.step:g}° square", fontsize=4.6, va="bottom", **WORDS)
    if panels.sites is not None:
        axes.scatter(panels.sites["longitude"], panels.sites["latitude"], s=6, c="#000000", linewidths=0.4, edgecolors="white", zorder=6)
    axes.set_xlim(west, east)
    axes.set_ylim(south, north)
    axes.set_aspect(1 / np.cos(np.radians((south + north) / 2)), adjustable="box")
    axes.locator_params(axis="y", nbins=4)
    axes.locator_params(axis="x", nbins=3)
    low = min(part.south for part in panels.inside)
    # a label at the right edge would run into the next panel's first
    last = east - 0.15 * (east - west)
    axes.xaxis.set_major_formatter(lambda value, _: degrees(round(value, 3), "EW") if value < last else "")
    axes.yaxis.set_major_formatter(lambda value, _: degrees(round(value, 3), "NS") if value >= low - 1e-6 else "")
    axes.tick_params(labelsize=5.5, length=2, pad=1.5)


def _stage_panel(axes: Any, panels: Panels, layer: str) -> None:
    step = panels.inside[0].step
    high, wide = 0.86 * step / 4, 0.86 * step / 3
    filled: dict[str, list[Shape]] = {}
    dots: list[tuple[float, float]] = []
    by_part = {one.part: one for one in panels.found[layer]}
    for part in [*panels.inside, *panels.below]:
        south, west = panels.corner(part)
        one = by_part.get(part)
        for month in range(1, 13):
            top, left = south + 0.93 * step - (month - 1) // 3 * high, west + 0.07 * step + (month - 1) % 3 * wide
            if one is not None and month in one.months:
                colour = heat(one.months[month])
                filled.setdefault(colour, []).append(_box(top - 0.94 * high, left, 0.94 * high, 0.95 * wide))
                if panels.lettered:
                    ink = "white" if colour in HEAT[:LIGHT_INK] else "black"
                    place = (left + 0.47 * wide, top - 0.5 * high)
                    axes.text(*place, MONTH_NAMES[month - 1][0], fontsize=4.6, color=ink, ha="center", va="center_baseline", zorder=5)
            elif not (one and one.undated) and month in panels.visits.get(part, (set(), 0, 0))[0]:
                dots.append((left + 0.47 * wide, top - 0.5 * high))
        if one is not None and one.undated and not one.months:
            # what it was found in is not shown, so nothing is said of months without it either
            axes.text(west + step / 2, south + step / 2, "×", fontsize=9, ha="center", va="center", zorder=5)
    for colour, shapes in filled.items():
        _polygons(axes, shapes, facecolor=colour, edgecolor="#000000", linewidth=0.3, zorder=4)
    axes.plot([x for x, _ in dots], [y for _, y in dots], linestyle="none", marker=".", markersize=1.6, color="#777777", zorder=3)
    letter, colour, _ = SYMBOLS[layer]
    counted = f": {panels.animals[layer]:.0f}" if panels.animals[layer] > 0 else ""
    look = {"boxstyle": "round,pad=0.25", "facecolor": colour, "edgecolor": "black", "linewidth": 0.7}
    above = {"xycoords": "axes fraction", "textcoords": "offset points", "va": "center", "annotation_clip": False}
    axes.annotate(letter, (0.0, 1.0), (4.5, 8), fontsize=7, fontweight="bold", ha="center", bbox=look, **above)
    axes.annotate(f"{LAYER_WORDS[layer]}{counted}", (0.0, 1.0), (13, 8), fontsize=8, **above)
    # keeps the room above the panel
    axes.set_title(" ", fontsize=8, pad=5)


def _visits_panel(axes: Any, panels: Panels) -> None:
    step = panels.inside[0].step
    for part, (_, visits, without) in panels.visits.items():
        if part not in panels.below and part not in panels.inside:
            continue
        south, west = panels.corner(part)
        middle = west + step / 2
        # published rows do not say on which visits nothing at all was found
        lift = 0.12 * step if panels.private else 0.0
        plain = {"facecolor": "#f0f1ea", "edgecolor": "none", "pad": 0.6}
        axes.text(
            middle, south + 0.5 * step + lift, f"{visits}", fontsize=7, fontweight="bold", ha="center", va="center", zorder=5, bbox=plain
        )
        if panels.private:
            axes.text(middle, south + 0.28 * step, f"{without} with\nnothing", fontsize=4.2, ha="center", va="center", zorder=5, bbox=plain)
    axes.set_title(f"{VISITS}: {sum(visits for _, visits, _ in panels.visits.values())}", fontsize=8, loc="left", pad=5)


def _sites_panel(axes: Any, sites: pd.DataFrame) -> None:
    for name, latitude, longitude in sites.itertuples(index=False, name=None):
        axes.annotate(str(name), (longitude, latitude), (2.5, 1.5), textcoords="offset points", fontsize=5, zorder=7, **WORDS)
    axes.set_title(SITES, fontsize=8, loc="left", pad=5)


def _key(figure: Any, panels: Panels) -> None:
    """Draw the key: the months by their place in a square, the shades, and what a dot and a cross say."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    key: list[Any] = [Patch(facecolor=colour, edgecolor="black", label=words) for colour, words in zip(HEAT, heat_words(), strict=True)]
    key.append(Patch(facecolor="white", edgecolor="black", label="no temperature"))
    key.append(Line2D([], [], linestyle="none", marker=".", markersize=3, color="#777777", label="visited in that month"))
    key.append(Line2D([], [], linestyle="none", marker="x", markersize=5, color="black", label="found, month not shown"))
    said = "Months in a square, row by row: J F M · A M J · J A S · O N D.  Colour: median temperature at the animal."
    if panels.left_out:
        said += f"\nLeft out: {panels.left_out} far from the others, or more than fit; the table has them."
    figure.legend(
        handles=key,
        loc="lower center",
        bbox_to_anchor=(0.5, 0.0),
        borderaxespad=0.1,
        ncols=4,
        frameon=False,
        fontsize=6.5,
        title=said,
        title_fontsize=7,
    )


def _still_words(facts: Mapping[str, Any], cells: pd.DataFrame, private: bool) -> str:
    said = [facts["title"] or "Map of finds"]
    if facts["invented"]:
        said.append("Invented study. No animal, place or person in it is real.")
    said.append(
        "EXACT PLACES. DO NOT SHARE." if private else "Places are grid squares; where in its square an animal was found is not shown."
    )
    taxa = ", ".join(sorted(set(cells["taxon"]) - {""}))
    credit = ". ".join(text for text in (taxa, facts["author"], facts["licence"]) if text)
    return "\n".join(part for text in (*said, credit) for part in wrap(text, 105))


def _svg_text(canvas: Any) -> str:
    """A drawn figure as SVG, without date or maker: the same bytes for the same figure."""
    from io import StringIO

    out = StringIO()
    canvas.figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    return out.getvalue()


def _for_inlining(svg: str, ident: str, what: str, description: str) -> str:
    """Cut what only a stand-alone file needs, make the ids the page's own, and add the text alternative."""
    body = svg[svg.index("<svg") :]
    body = re.sub(r"<metadata>.*?</metadata>\s*|<style[^>]*>.*?</style>\s*| xmlns(:xlink)?=\"[^\"]*\"", "", body, flags=re.DOTALL)
    # Matplotlib numbers its groups alike in every drawing (axes_1, patch_2), so two plots of one page would share ids.
    body = re.sub(r"(\bid=\"|href=\"#|url\(#)", rf"\g<1>{ident}-", body)
    opening, rest = body.split(">", 1)
    opening = re.sub(r"\s(width|height|version)=\"[^\"]*\"", "", opening)
    words = f'<title id="{ident}-title">{escape(what)}</title>\n<desc id="{ident}-desc">{escape(description)}</desc>'
    return f'{opening} role="img" aria-labelledby="{ident}-title {ident}-desc">\n{words}{rest}'.strip()
