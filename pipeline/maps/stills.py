"""Still pictures of a map and of the pattern behind it, for reports and talks. With `plots` the door to matplotlib."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from io import BytesIO
from textwrap import wrap
from typing import Any

import numpy as np
import pandas as pd

from pipeline.maps.figures_table import degrees
from pipeline.maps.frames import EFFORT, NOTHING, STAGES
from pipeline.maps.layers import HEAT, LAYER_WORDS, LIGHT_INK, SYMBOLS
from pipeline.maps.pattern import COLUMNS, heat, heat_key
from pipeline.writing.pictures import STYLE, svg_text

LABELS_MOST = 24
"""Left and right of a panel of the pattern, in months."""
WORDS: dict[str, Any] = {"parse_math": False}


def still_places(cells: pd.DataFrame) -> pd.DataFrame:
    """Sum cells by place and layer for the still picture.

    Returns
    -------
    DataFrame
        `layer`, `latitude`, `longitude` (the site, or the square's centre), `n` (animals, or
        visits that did not find a taxon; missing where too few), `temp_c` (middle of the cells' medians, each weighing as its readings).
    """
    placed = cells[cells["layer"] != EFFORT]
    if "south" in placed:
        placed = placed.assign(latitude=(placed["south"] + placed["north"]) / 2, longitude=(placed["west"] + placed["east"]) / 2)
    count = placed["n_animals"].where(placed["layer"].isin([*STAGES, "in_doubt"]), placed["n_without"] + placed["n_finds"])
    placed = placed.assign(n=count).sort_values("temp_median_c", kind="stable")
    found = []
    for (layer, latitude, longitude), mine in placed.groupby(["layer", "latitude", "longitude"], sort=True):
        weight = mine["n_readings"].fillna(0).cumsum()
        middle = mine.loc[weight * 2 >= weight.iloc[-1], "temp_median_c"].iloc[0] if weight.iloc[-1] else np.nan
        found.append((layer, latitude, longitude, mine["n"].sum(min_count=1), middle))
    return pd.DataFrame(found, columns=["layer", "latitude", "longitude", "n", "temp_c"])


def still_picture(
    cells: pd.DataFrame, lines: Sequence[Any], outline: Sequence[Any], facts: Mapping[str, Any], private: bool
) -> tuple[str, bytes]:
    """Draw the map for paper: a panel a layer, circles by number, their colour the median temperature.

    Parameters
    ----------
    cells : DataFrame
        From `public_cells` or `exact_cells`.
    lines, outline : sequence
        As on the page.
    facts : mapping
        `title`, `invented`, `licence`, `author`.
    private : bool
        The picture shows exact places and says so.

    Returns
    -------
    svg : str
        A file of its own.
    png : bytes
        The same at 200 dots an inch.
    """
    import matplotlib
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    places = still_places(cells)
    layers = [layer for layer in LAYER_WORDS if layer in set(places["layer"])]
    columns = min(COLUMNS, max(len(layers), 1))
    panels = -(-max(len(layers), 1) // columns)
    with matplotlib.rc_context(STYLE):
        tall = _tallness(cells)
        figure = Figure(figsize=(max(3.0 / tall, 2.3) * columns + 0.6, (min(3.0, 2.3 * tall) + 0.35) * panels + 1.5), layout="constrained")
        vector = FigureCanvasSVG(figure)
        grid = figure.subplots(panels, columns, sharex=True, sharey=True, squeeze=False)
        for axes, layer in zip(grid.flat, layers, strict=False):
            _base(axes, cells, lines, outline)
            _still_panel(axes, layer, places[places["layer"] == layer])
        for axes in grid.flat[len(layers) :]:
            axes.set_axis_off()
        _still_words(figure, facts, cells, private)
        heat_key(figure)
        svg = svg_text(vector)
        # the places of everything stand; to lay it out again would only take time
        figure.set_layout_engine("none")
        out = BytesIO()
        FigureCanvasAgg(figure).print_png(out, metadata={"Software": None})
    label = escape(f"{facts['title']}: map of finds", quote=False)
    opening = svg.index(">", svg.index("<svg")) + 1
    return f"{svg[:opening]}\n<title>{label}</title>{svg[opening:]}", out.getvalue()


def _extent(cells: pd.DataFrame) -> tuple[float, float, float, float]:
    """South, west, north and east of a panel."""
    names = ("south", "west", "north", "east") if "south" in cells else ("latitude", "longitude", "latitude", "longitude")
    if cells.empty:
        return 0.0, 0.0, 1.0, 1.0
    south, west, north, east = (float(getattr(cells[name], how)()) for name, how in zip(names, ("min", "min", "max", "max"), strict=True))
    pad = max(north - south, east - west, 0.01) * 0.08
    return south - pad, west - pad, north + pad, east + pad


def _tallness(cells: pd.DataFrame) -> float:
    south, west, north, east = _extent(cells)
    return float(np.clip((north - south) / ((east - west) * np.cos(np.radians((south + north) / 2))), 0.5, 2.5))


def _base(axes: Any, cells: pd.DataFrame, lines: Sequence[Any], outline: Sequence[Any]) -> None:
    from matplotlib.patches import Rectangle

    if "south" in cells:
        sides = ("south", "west", "north", "east")
        for south, west, north, east in sorted(set(cells[list(sides)].itertuples(index=False, name=None))):
            axes.add_patch(Rectangle((west, south), east - west, north - south, facecolor="#7a8a7022", edgecolor="#333333", linewidth=0.8))
    south, west, north, east = _extent(cells)
    for kind, points in [*(("outline", points) for points in outline), *lines]:
        look = {"outline": ("#777777", "-"), "stream": ("#1f6f9c", "-"), "boundary": ("#5b3a8c", (0, (5, 2)))}[kind]
        axes.plot([x for _, x in points], [y for y, _ in points], color=look[0], linestyle=look[1], linewidth=0.8, zorder=1)
    axes.set_xlim(west, east)
    axes.set_ylim(south, north)
    axes.set_aspect(1 / np.cos(np.radians((south + north) / 2)), adjustable="box")
    axes.locator_params(nbins=3)
    axes.xaxis.set_major_formatter(lambda value, _: degrees(round(value, 3), "EW"))
    axes.yaxis.set_major_formatter(lambda value, _: degrees(round(value, 3), "NS"))
    axes.tick_params(labelsize=7, length=2)


def _still_panel(axes: Any, layer: str, mine: pd.DataFrame) -> None:
    most, known, few = mine["n"].max(), mine[mine["n"].notna()], mine[mine["n"].isna()]
    labelled = len(mine) <= LABELS_MOST
    colours = ["white" if layer == NOTHING else heat(celsius) for celsius in known["temp_c"]]
    sizes = (30 + 330 * known["n"] / most) if labelled else (6 + 80 * known["n"] / most)
    axes.scatter(known["longitude"], known["latitude"], s=sizes, c=colours, edgecolors="black", linewidths=0.8, zorder=3)
    axes.scatter(few["longitude"], few["latitude"], marker="x", s=20, c="#444444", linewidths=1.0, zorder=3)
    for one, colour in zip(known.itertuples(), colours, strict=True):
        if labelled:
            ink = "white" if colour in HEAT[:LIGHT_INK] else "black"
            axes.annotate(f"{one.n:.0f}", (one.longitude, one.latitude), ha="center", va="center", fontsize=6.5, color=ink, zorder=4)
    total = f"{mine['n'].sum():.0f}" if mine["n"].notna().any() else "too few to say more"
    axes.set_title("\n".join(wrap(f"{SYMBOLS[layer][0]}  {LAYER_WORDS[layer]}: {total}", 30)), fontsize=8.5, loc="left")


def _still_words(figure: Any, facts: Mapping[str, Any], cells: pd.DataFrame, private: bool) -> None:
    said = [facts["title"] or "Map of finds"]
    if facts["invented"]:
        said.append("Invented study. No animal, place or person in it is real.")
    said.append(
        "EXACT PLACES. DO NOT SHARE."
        if private
        else "Places are grid squares; a circle stands in the middle of its square, which means nothing."
    )
    taxa = ", ".join(sorted(set(cells["taxon"]) - {""}))
    credit = ". ".join(text for text in (taxa, facts["author"], facts["licence"]) if text)
    figure.suptitle("\n".join([*said, credit, ""]), fontsize=9, x=0.01, ha="left", wrap=True, **WORDS)
