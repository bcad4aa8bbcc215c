"""Still pictures of a map and of the pattern behind it, for reports and talks. With `plots` the door to matplotlib."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from io import BytesIO
from textwrap import wrap
from typing import Any

import numpy as np
import pandas as pd

from pipeline.formulas.places import place_figures
from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.maps.figures_table import degrees
from pipeline.maps.frames import EFFORT, NOTHING, STAGES, map_figures
from pipeline.maps.layers import HEAT, LAYER_WORDS, LIGHT_INK, SYMBOLS, heat_breaks, heat_words
from pipeline.writing.pictures import STYLE, for_inlining, svg_text
from schemas.vocabulary import codes, vocabulary

ROWS_MOST, LABELS_MOST, COLUMNS = 10, 24, 3
OTHER = "other places"
SIDES = (0.4, 12.6)
"""Left and right of a panel of the pattern, in months."""
WORDS: dict[str, Any] = {"parse_math": False}


def pattern(rows: pd.DataFrame, private: bool) -> pd.DataFrame:
    """Count animals by stage, month and microhabitat, with their median temperature.

    Parameters
    ----------
    rows : DataFrame
        Finds, columns ``ROWS`` of the map's data.
    private : bool
        All figures may be shown; else those of few finds or visits are blanked.

    Returns
    -------
    DataFrame
        `layer`, `microhabitat` (the words of the list, or ``other places`` beyond the ten with most animals), `month`, `n_animals` (missing
        where too few), `temp_c` (median, °C).
    """
    staged = rows[rows["layer"].isin(STAGES)]
    animals = staged.groupby("microhabitat")["n_animals"].sum().sort_values(ascending=False, kind="stable")
    kept = set(animals.index[:ROWS_MOST])
    words = {code: vocabulary("microhabitat").get(code, {}).get("definition", code) for code in kept}
    order = {words.get(code, OTHER): number for number, code in enumerate(codes("microhabitat"))} | {OTHER: len(codes("microhabitat"))}
    named = staged.assign(microhabitat=staged["microhabitat"].map(words).fillna(OTHER))
    grouped = named.groupby(["layer", "microhabitat", "month"], sort=True)
    table = grouped.agg(n_animals=("n_animals", "sum"), temp_c=("temp_c", "median"), n=("n_finds", "sum"), visits=("visit_id", "nunique"))
    if not private:
        few = (table["n"] < int(place_figures()["few_finds"])) | (table["visits"] < int(map_figures()["public_visits_least"]))
        table = table.assign(n_animals=table["n_animals"].astype(float).mask(few), temp_c=table["temp_c"].mask(few))
    rank = {stage: number for number, stage in enumerate(STAGES)}
    table = table.reset_index()
    by = [table["layer"].map(rank), table["microhabitat"].map(order), table["month"]]
    return table.iloc[np.lexsort(by[::-1])][["layer", "microhabitat", "month", "n_animals", "temp_c"]].reset_index(drop=True)


def describe_pattern(table: pd.DataFrame) -> str:
    """Say in words what :func:`pattern_plot` shows."""
    said = []
    for layer, mine in table.groupby("layer", sort=False):
        known = mine[mine["n_animals"].notna()]
        if known.empty:
            said.append(f"{LAYER_WORDS[layer]}: too few to say more.")
            continue
        months = sorted(set(known["month"]))
        places = known.groupby("microhabitat")["n_animals"].sum().sort_values(ascending=False, kind="stable")
        said.append(
            f"{LAYER_WORDS[layer]}: {known['n_animals'].sum():.0f} animals, in {', '.join(MONTH_NAMES[month - 1] for month in months)}; "
            f"most of them: {places.index[0].lower()} ({places.iloc[0]:.0f})."
        )
    return " ".join(said)


def pattern_plot(table: pd.DataFrame, ident: str) -> str:
    """Draw animals by stage, month and microhabitat: the larger the circle the more; its colour the median temperature.

    Parameters
    ----------
    table : DataFrame
        From :func:`pattern`.
    ident : str
        Prefix of every id in the drawing.

    Returns
    -------
    str
        An ``<svg>`` element; empty without animals. It has a title, a description and ``role="img"``.
    """
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    if table.empty:
        return ""
    layers = [layer for layer in STAGES if layer in set(table["layer"])]
    rows = list(dict.fromkeys(table.sort_values("microhabitat", key=lambda names: names.map(_row_order()))["microhabitat"]))
    columns = min(COLUMNS, len(layers))
    lines = -(-len(layers) // columns)
    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=(3.2 + 2.2 * columns, lines * (0.7 + 0.21 * len(rows)) + 0.7), layout="constrained")
        canvas = FigureCanvasSVG(figure)
        grid = figure.subplots(lines, columns, sharex=True, sharey=True, squeeze=False)
        for axes, layer in zip(grid.flat, layers, strict=False):
            _pattern_panel(axes, layer, table[table["layer"] == layer], rows)
        for axes in grid.flat[len(layers) :]:
            axes.set_axis_off()
        _heat_key(figure)
        return for_inlining(svg_text(canvas), ident, "Stage by season and place of the animal", describe_pattern(table))


def _row_order() -> dict[str, int]:
    words = {row["definition"]: number for number, row in enumerate(vocabulary("microhabitat").values())}
    return words | {OTHER: len(words)}


def _pattern_panel(axes: Any, layer: str, mine: pd.DataFrame, rows: Sequence[str]) -> None:
    at = {name: number for number, name in enumerate(rows)}
    most = mine["n_animals"].max()
    known = mine[mine["n_animals"].notna()]
    few = mine[mine["n_animals"].isna()]
    colours = [_heat(celsius) for celsius in known["temp_c"]]
    sizes = 12 + 118 * known["n_animals"] / most
    marked = {"zorder": 2, "clip_on": False}
    axes.plot(*_lattice(len(rows)), color="#e4e4e4", linewidth=0.5, zorder=1, clip_on=False)
    axes.scatter(known["month"], known["microhabitat"].map(at), s=sizes, c=colours, edgecolors="black", linewidths=0.7, **marked)
    axes.scatter(few["month"], few["microhabitat"].map(at), s=9, marker="x", c="#666666", linewidths=0.8, **marked)
    total = f"{known['n_animals'].sum():.0f} animals, most {most:.0f}" if len(known) else "too few to say more"
    axes.set_title(f"{SYMBOLS[layer][0]}  {LAYER_WORDS[layer]}: {total}", fontsize=8.5, loc="left")
    axes.set_xlim(*SIDES)
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_xticks(range(1, 13), [name[0] for name in MONTH_NAMES])
    axes.set_yticks(range(len(rows)), [name.split(";")[0] for name in rows], fontsize=8)
    axes.tick_params(left=False, bottom=False)


def _lattice(n_rows: int) -> tuple[list[float], list[float]]:
    """Every line of a panel as one: a browser opens one path sooner than a group for each line."""
    across = [(x, y) for y in range(n_rows) for x in (*SIDES, np.nan)]
    down = [(x, y) for x in range(1, 13) for y in (-0.5, n_rows - 0.5, np.nan)]
    xs, ys = zip(*across, *down, strict=True)
    return list(xs), list(ys)


def _heat(celsius: float) -> str:
    return "white" if pd.isna(celsius) else HEAT[sum(celsius >= edge for edge in heat_breaks())]


def _heat_key(figure: Any) -> None:
    from matplotlib.patches import Patch

    key = [Patch(facecolor=colour, edgecolor="black", label=words) for colour, words in zip(HEAT, heat_words(), strict=True)]
    key.append(Patch(facecolor="white", edgecolor="black", label="no temperature"))
    figure.legend(
        handles=key,
        loc="outside lower center",
        ncols=6,
        frameon=False,
        fontsize=8,
        title="median temperature at the animal; × too few to say more",
        title_fontsize=8,
    )


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
        _heat_key(figure)
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
    colours = ["white" if layer == NOTHING else _heat(celsius) for celsius in known["temp_c"]]
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
