"""The map as panels, one a stage, for the page, for paper and for talks: which panels, where they stand, the words and the key."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from textwrap import wrap
from typing import Any

import numpy as np
import pandas as pd

from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.maps.calendars import Panels
from pipeline.maps.layers import HEAT, LAYER_WORDS, heat_words
from pipeline.maps.panel import MIDDLE, SITES, VISITS, Panel
from pipeline.writing.pictures import POINTS_PER_INCH, Drawing, for_inlining, png_bytes, svg_text, text_width

COLUMNS, WIDE, HIGH = (3, 4, 5), 7.6 * POINTS_PER_INCH, 9.4 * POINTS_PER_INCH
LEFT, RIGHT, BETWEEN = 30.0, 6.0, 9.6
NAME_ROOM = 24.0
"""Above each panel, points: its name, and the ticks of the panel over it."""
WORD_LINE = 11.0
DOTS_PER_INCH = 200
NAMED_MOST = 40
KEY_SIZE, KEY_LINE, KEY_SAID = 6.5, 9.5, 7.0


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
    panels = Panels(cells, lines, outline, private)
    drawing = _drawn(panels, _still_words(facts, cells, private))
    inlined = for_inlining(drawing, "panels-plot", "Panels of the map, one a stage", describe(panels))
    return svg_text(drawing, f"{facts['title']}: map of finds"), png_bytes(drawing, DOTS_PER_INCH), inlined


def describe(panels: Panels) -> str:
    """Say in words in how many parts of the map each stage was found, and in which months."""
    said = []
    for layer in panels.layers:
        months = sorted({month for one in panels.found[layer] for month in one.months})
        when = f", in {', '.join(MONTH_NAMES[month - 1] for month in months)}" if months else ""
        said.append(f"{LAYER_WORDS[layer]}: found in {len(panels.found[layer])} of {len(panels.inside) + len(panels.below)} squares{when}.")
    return " ".join(said)


def _drawn(panels: Panels, words: Sequence[str]) -> Drawing:
    named = panels.sites is not None and len(panels.sites) <= NAMED_MOST
    names = [*panels.layers, *([VISITS] if panels.visits else []), *([SITES] if named else [])] or [VISITS]
    south, west, north, east = panels.extent()
    tall = float(np.clip((north - south) / ((east - west) * np.cos(np.radians((south + north) / 2))), 0.4, 2.0))
    key = _key_words(panels)
    above, below = 5 + WORD_LINE * len(words), 18 + KEY_LINE * (len(key) + 2) + 5
    # the first that leaves room for the words on one sheet of A4 or Letter
    wide = {columns: (WIDE - LEFT - RIGHT - (columns - 1) * BETWEEN) / columns for columns in COLUMNS}
    whole = {columns: above + -(-len(names) // columns) * (wide[columns] * tall + NAME_ROOM) + below for columns in COLUMNS}
    columns = next((one for one in COLUMNS if whole[one] <= HIGH), COLUMNS[-1])
    rows = -(-len(names) // columns)
    height = min(whole[columns], HIGH)
    high = (height - above - below) / rows - NAME_ROOM
    drawing = Drawing(WIDE, height)
    for number, line in enumerate(words, start=1):
        drawing.text((5, WORD_LINE * number), line, 8)
    for number, name in enumerate(names):
        row, column = divmod(number, columns)
        left, top = LEFT + column * (wide[columns] + BETWEEN), above + row * (high + NAME_ROOM) + NAME_ROOM
        panel = Panel(drawing, panels, left, top, wide[columns], high)
        panel.draw(name)
        if number + columns >= len(names):
            panel.degrees_below(BETWEEN)
        if column == 0:
            panel.degrees_left()
    _key(drawing, key, height - below + 18)
    return drawing


def _key_words(panels: Panels) -> list[str]:
    said = ["Months in a square, row by row: J F M · A M J · J A S · O N D.  Colour: median temperature at the animal."]
    if panels.left_out:
        said.append(f"Left out: {panels.left_out} far from the others, or more than fit; the table has them.")
    return said


def _key(drawing: Drawing, said: Sequence[str], top: float) -> None:
    """Draw the key: the months by their place in a square, the shades, and what a dot and a cross say."""
    for number, line in enumerate(said):
        drawing.text((WIDE / 2, top + number * KEY_LINE + KEY_SAID), line, KEY_SAID, "middle")
    dot, cross = "visited in that month", "found, month not shown"
    shades = [*zip(HEAT, heat_words(), strict=True), ("white", "no temperature")]
    entries = [*shades, ("", dot), ("", cross)]
    columns = [entries[at : at + 2] for at in range(0, len(entries), 2)]
    widths = [18 + max(text_width(text, KEY_SIZE) for _, text in column) + 10 for column in columns]
    left = (WIDE - sum(widths) + 10) / 2
    for column, wide in zip(columns, widths, strict=True):
        for row, (colour, text) in enumerate(column):
            middle = top + (len(said) + row) * KEY_LINE + 5.5
            if colour:
                drawing.box(left, middle - 2.3, 13, 4.6, fill=colour, stroke="black", width=0.8)
            elif text == dot:
                drawing.circles([(left + 6.5, middle)], 1.2, fill="#777777")
            else:
                drawing.cross((left + 6.5, middle), 5, "black")
            drawing.text((left + 18, middle + MIDDLE * KEY_SIZE), text, KEY_SIZE)
        left += wide


def _still_words(facts: Mapping[str, Any], cells: pd.DataFrame, private: bool) -> list[str]:
    said = [facts["title"] or "Map of finds"]
    if facts["invented"]:
        said.append("Invented study. No animal, place or person in it is real.")
    said.append(
        "EXACT PLACES. DO NOT SHARE." if private else "Places are grid squares; where in its square an animal was found is not shown."
    )
    taxa = ", ".join(sorted(set(cells["taxon"].unique()) - {""}))
    credit = ". ".join(text for text in (taxa, facts["author"], facts["licence"]) if text)
    return [part for text in (*said, credit) for part in wrap(text, 105)]
