"""The pattern of finds by place and month, as a table and a plot."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap

import numpy as np
import pandas as pd

from pipeline.formulas.places import place_figures
from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.maps.frames import STAGES, map_figures
from pipeline.maps.layers import HEAT, LAYER_WORDS, SYMBOLS, heat_breaks, heat_words
from pipeline.writing.pictures import Drawing, for_inlining, text_width
from schemas.vocabulary import codes, vocabulary

ROWS_MOST, COLUMNS = 10, 3
OTHER = "other places"
SIDES = (0.4, 12.6)
"""Left and right of a panel of the pattern, in months."""
MONTH_STEP, ROW_STEP = 13.0, 15.0
LATTICE = "#e4e4e4"


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
    if table.empty:
        return ""
    layers = [layer for layer in STAGES if layer in set(table["layer"].unique())]
    rows = list(dict.fromkeys(table.sort_values("microhabitat", key=lambda names: names.map(_row_order()))["microhabitat"]))
    names = [name.split(";")[0] for name in rows]
    columns = min(COLUMNS, len(layers))
    left = max(text_width(name, 8) for name in names) + 8
    wide, tall = 12.2 * MONTH_STEP, len(rows) * ROW_STEP
    panel_wide, panel_tall = wide + 14, tall + 40
    lines = -(-len(layers) // columns)
    drawing = Drawing(left + columns * panel_wide, lines * panel_tall)
    for number, layer in enumerate(layers):
        line, column = divmod(number, columns)
        at = left + column * panel_wide, line * panel_tall + 22
        _pattern_panel(drawing, at, layer, table[table["layer"] == layer], rows)
        if column == 0:
            for place, name in enumerate(names):
                drawing.text((left - 6, at[1] + (place + 0.5) * ROW_STEP + 3), name, 8, "end")
        if number + columns >= len(layers):
            for month, name in enumerate(MONTH_NAMES, 1):
                drawing.text((at[0] + (month - SIDES[0]) * MONTH_STEP, at[1] + tall + 12), name[0], 8, "middle")
    heat_key(drawing)
    return for_inlining(drawing, ident, "Stage by season and place of the animal", describe_pattern(table))


def _row_order() -> dict[str, int]:
    words = {row["definition"]: number for number, row in enumerate(vocabulary("microhabitat").values())}
    return words | {OTHER: len(words)}


def _pattern_panel(drawing: Drawing, at: tuple[float, float], layer: str, mine: pd.DataFrame, rows: Sequence[str]) -> None:
    """One stage: a lattice of months and places, its upper left corner at `at`."""
    left, top = at
    wide, tall = (SIDES[1] - SIDES[0]) * MONTH_STEP, len(rows) * ROW_STEP
    order = {name: number for number, name in enumerate(rows)}
    known = mine[mine["n_animals"].notna()]
    most = known["n_animals"].max()
    for place in range(len(rows)):
        y = top + (place + 0.5) * ROW_STEP
        drawing.line([(left, y), (left + wide, y)], LATTICE, width=0.5)
    for month in range(1, 13):
        x = left + (month - SIDES[0]) * MONTH_STEP
        drawing.line([(x, top), (x, top + tall)], LATTICE, width=0.5)
    drawing.box(left, top, wide, tall, stroke="black")
    # those of one shade one after the other, so that they share an element of the page
    for row in sorted(mine.to_dict("records"), key=lambda row: heat(row["temp_c"])):
        middle = left + (row["month"] - SIDES[0]) * MONTH_STEP, top + (order[row["microhabitat"]] + 0.5) * ROW_STEP
        if pd.isna(row["n_animals"]):
            drawing.cross(middle, 4, "#666666")
        else:
            drawing.circle(middle, radius_of(12 + 118 * row["n_animals"] / most), heat(row["temp_c"]))
    total = f"{known['n_animals'].sum():.0f} animals, most {most:.0f}" if len(known) else "too few to say more"
    for number, said in enumerate(reversed(wrap(f"{SYMBOLS[layer][0]}  {LAYER_WORDS[layer]}: {total}", int(wide / (8 * 0.56))))):
        drawing.text((left, top - 5 - 9 * number), said, 8)


def radius_of(area: float) -> float:
    """Radius of a circle, points, from the area of the square around it."""
    return float(np.sqrt(area)) / 2


def heat(celsius: float) -> str:
    """Shade of a temperature (°C); white where there is none."""
    return "white" if pd.isna(celsius) else HEAT[sum(celsius >= edge for edge in heat_breaks())]


def heat_key(drawing: Drawing) -> None:
    """Put the key of the shades under a drawing, as wide as it is."""
    entries = [*zip(HEAT, heat_words(), strict=True), ("white", "no temperature")]
    title = "median temperature at the animal; × too few to say more"
    middle, y = drawing.width / 2, drawing.height + 12
    drawing.text((middle, y), title, 8, "middle")
    step = max(text_width(words, 8) for _, words in entries) + 28
    columns = max(1, min(len(entries), int((drawing.width - 8) // step)))
    for number, (colour, words) in enumerate(entries):
        line, column = divmod(number, columns)
        in_line = min(columns, len(entries) - line * columns)
        x, base = middle + (column - in_line / 2) * step, y + 13 * (line + 1)
        drawing.box(x, base - 7, 16, 8, fill=colour, stroke="black", width=0.7)
        drawing.text((x + 20, base), words, 8)
    drawing.height = y + 13 * -(-len(entries) // columns) + 6
