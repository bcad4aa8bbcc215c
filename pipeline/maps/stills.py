"""Still pictures of a map and of the pattern behind it, for reports and talks."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from textwrap import wrap
from typing import Any

import numpy as np
import pandas as pd

from pipeline.maps.figures_table import degrees
from pipeline.maps.frames import EFFORT, NOTHING, STAGES
from pipeline.maps.layers import HEAT, LAYER_WORDS, LIGHT_INK, SYMBOLS
from pipeline.maps.pattern import COLUMNS, heat, heat_key, radius_of
from pipeline.writing.pictures import Drawing, png_bytes, svg_text, text_width

LABELS_MOST = 24
"""Circles of a panel that bear their number; more would lie on one another."""
LONGEST, TITLE_WIDE = 216.0, 166.0
"""Longer side of a panel, and the room of its title, in points."""
DOTS_PER_INCH = 200


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
    places = still_places(cells)
    layers = [layer for layer in LAYER_WORDS if layer in set(places["layer"])]
    columns = min(COLUMNS, max(len(layers), 1))
    tall = _tallness(cells)
    wide, high = (LONGEST / tall, LONGEST) if tall > 1 else (LONGEST, LONGEST * tall)
    step_x, step_y = max(wide, TITLE_WIDE) + 22, high + 48
    drawing = Drawing(56 + columns * step_x, 0)
    top = _still_words(drawing, facts, cells, private) + 24
    for number, layer in enumerate(layers):
        line, column = divmod(number, columns)
        frame = Frame(48 + column * step_x, top + line * step_y, wide, high, _extent(cells))
        _base(drawing, frame, cells, lines, outline)
        _ticks(drawing, frame, column == 0, number + columns >= len(layers))
        _still_panel(drawing, frame, layer, places[places["layer"] == layer])
    drawing.height = top + -(-len(layers) // columns) * step_y - 14
    heat_key(drawing)
    return svg_text(drawing, f"{facts['title']}: map of finds"), png_bytes(drawing, DOTS_PER_INCH)


@dataclass(frozen=True)
class Frame:
    """Where a panel stands on the paper, in points, and what of the earth it shows, in degrees."""

    left: float
    top: float
    wide: float
    high: float
    extent: tuple[float, float, float, float]

    def at(self, latitude: float, longitude: float) -> tuple[float, float]:
        """Place on the paper."""
        south, west, north, east = self.extent
        return (
            self.left + (longitude - west) / (east - west) * self.wide,
            self.top + (north - latitude) / (north - south) * self.high,
        )


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


def _base(drawing: Drawing, frame: Frame, cells: pd.DataFrame, lines: Sequence[Any], outline: Sequence[Any]) -> None:
    if "south" in cells:
        sides = ("south", "west", "north", "east")
        for south, west, north, east in sorted(set(cells[list(sides)].itertuples(index=False, name=None))):
            (left, top), (right, bottom) = frame.at(north, west), frame.at(south, east)
            drawing.box(left, top, right - left, bottom - top, fill="#7a8a7022", stroke="#333333")
    for kind, points in [*(("outline", points) for points in outline), *lines]:
        colour, dash = {"outline": ("#777777", None), "stream": ("#1f6f9c", None), "boundary": ("#5b3a8c", (4.0, 1.6))}[kind]
        for part in _inside([frame.at(y, x) for y, x in points], frame):
            drawing.line(part, colour, dash=dash)
    drawing.box(frame.left, frame.top, frame.wide, frame.high, stroke="black")


def _inside(course: Sequence[tuple[float, float]], frame: Frame) -> Iterator[list[tuple[float, float]]]:
    """The parts of a course that lie in a frame, each piece cut at its edges (Liang & Barsky 1984, from memory)."""
    part: list[tuple[float, float]] = []
    for (x, y), (to_x, to_y) in pairwise(course):
        ends, dx, dy = [0.0, 1.0], to_x - x, to_y - y
        edges = ((-dx, x - frame.left), (dx, frame.left + frame.wide - x), (-dy, y - frame.top), (dy, frame.top + frame.high - y))
        for slope, room in edges:
            if slope < 0:
                ends[0] = max(ends[0], room / slope)
            elif slope > 0:
                ends[1] = min(ends[1], room / slope)
            elif room < 0:
                ends = [1.0, 0.0]
        if ends[0] > ends[1]:
            continue
        first, last = ((x + share * dx, y + share * dy) for share in ends)
        if part and part[-1] == first:
            part.append(last)
            continue
        if part:
            yield part
        part = [first, last]
    if part:
        yield part


def _ticks(drawing: Drawing, frame: Frame, at_left: bool, below: bool) -> None:
    """Degrees at the outer sides of the panels."""
    south, west, north, east = frame.extent
    for longitude in _round_degrees(west, east):
        x, foot = frame.at(south, longitude)[0], frame.top + frame.high
        drawing.line([(x, foot), (x, foot + 2)], "black")
        if below:
            drawing.text((x, foot + 10), degrees(round(longitude, 3), "EW"), 7, "middle")
    for latitude in _round_degrees(south, north):
        y = frame.at(latitude, west)[1]
        drawing.line([(frame.left - 2, y), (frame.left, y)], "black")
        if at_left:
            drawing.text((frame.left - 4, y + 2.5), degrees(round(latitude, 3), "NS"), 7, "end")


def _round_degrees(low: float, high: float) -> list[float]:
    """Round numbers in a span, two to four of them where there are some."""
    rough = (high - low) / 3
    power = 10.0 ** np.floor(np.log10(rough))
    step = next(power * times for times in (1, 2, 5, 10) if power * times >= rough)
    return [float(number * step) for number in range(int(np.ceil(low / step)), int(np.floor(high / step)) + 1)]


def _still_panel(drawing: Drawing, frame: Frame, layer: str, mine: pd.DataFrame) -> None:
    most, labelled = mine["n"].max(), len(mine) <= LABELS_MOST
    for one in mine.to_dict("records"):
        at = frame.at(one["latitude"], one["longitude"])
        if pd.isna(one["n"]):
            drawing.cross(at, 4.5, "#444444", 1.0)
            continue
        share = one["n"] / most
        colour = "white" if layer == NOTHING else heat(one["temp_c"])
        drawing.circle(at, radius_of(30 + 330 * share if labelled else 6 + 80 * share), colour, 0.8)
        if labelled:
            ink = "white" if colour in HEAT[:LIGHT_INK] else "black"
            drawing.text((at[0], at[1] + 2.3), f"{one['n']:.0f}", 6.5, "middle", ink)
    total = f"{mine['n'].sum():.0f}" if mine["n"].notna().any() else "too few to say more"
    said = wrap(f"{SYMBOLS[layer][0]}  {LAYER_WORDS[layer]}: {total}", 32)
    for number, line in enumerate(reversed(said)):
        drawing.text((frame.left, frame.top - 5 - 10 * number), line, 8.5)


def _still_words(drawing: Drawing, facts: Mapping[str, Any], cells: pd.DataFrame, private: bool) -> float:
    """Title, warnings and credit at the top; how far down they reach."""
    said = [facts["title"] or "Map of finds"]
    if facts["invented"]:
        said.append("Invented study. No animal, place or person in it is real.")
    said.append(
        "EXACT PLACES. DO NOT SHARE."
        if private
        else "Places are grid squares; a circle stands in the middle of its square, which means nothing."
    )
    taxa = ", ".join(sorted(set(cells["taxon"]) - {""}))
    said.append(". ".join(text for text in (taxa, facts["author"], facts["licence"]) if text))
    signs = max(20, int((drawing.width - 20) / text_width("n", 9)))
    lines = [line for text in said for line in wrap(text, signs) or [""]]
    for number, line in enumerate(lines):
        drawing.text((10, 16 + 12 * number), line, 9)
    return 16.0 + 12 * len(lines)
