"""The pattern of finds by place and month, as a table and a plot."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from pipeline.formulas.places import place_figures
from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.maps.frames import STAGES, map_figures
from pipeline.maps.layers import HEAT, LAYER_WORDS, SYMBOLS, heat_breaks, heat_words
from pipeline.writing.pictures import STYLE, for_inlining, svg_text
from schemas.vocabulary import codes, vocabulary

ROWS_MOST, COLUMNS = 10, 3
OTHER = "other places"
SIDES = (0.4, 12.6)


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
        heat_key(figure)
        return for_inlining(svg_text(canvas), ident, "Stage by season and place of the animal", describe_pattern(table))


def _row_order() -> dict[str, int]:
    words = {row["definition"]: number for number, row in enumerate(vocabulary("microhabitat").values())}
    return words | {OTHER: len(words)}


def _pattern_panel(axes: Any, layer: str, mine: pd.DataFrame, rows: Sequence[str]) -> None:
    at = {name: number for number, name in enumerate(rows)}
    most = mine["n_animals"].max()
    known = mine[mine["n_animals"].notna()]
    few = mine[mine["n_animals"].isna()]
    colours = [heat(celsius) for celsius in known["temp_c"]]
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


def heat(celsius: float) -> str:
    """Shade of a temperature (°C); white where there is none."""
    return "white" if pd.isna(celsius) else HEAT[sum(celsius >= edge for edge in heat_breaks())]


def heat_key(figure: Any) -> None:
    """Draw the key of the shades."""
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
