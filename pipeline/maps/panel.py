"""One panel of the map: its squares and lines, and in them the months of a stage, the visits or the sites. It clips with shapely."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

import numpy as np
import pandas as pd
import shapely

from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.maps.calendars import FACTORS, Panels, Part
from pipeline.maps.figures_table import degrees
from pipeline.maps.layers import HEAT, LAYER_WORDS, LIGHT_INK, SYMBOLS
from pipeline.maps.pattern import heat
from pipeline.writing.pictures import Drawing, Point, text_width

GROUND = "#f0f1ea"
LOOKS = {
    "outline": ("#adadad", None, 0.6), "stream": ("#5595c8", None, 0.9), "lake": ("#5595c8", None, 0.7),
    "ridge": ("#a18a62", (1.2, 1.8), 1.2), "border": ("#7c61a3", (4.0, 1.6), 0.8),
}  # fmt: skip
VISITS, SITES = "Visits", "Sites"
MIDDLE = 0.36
"""From the middle of a capital letter down to its base line, in sizes of the font."""
DEGREES = 5.5


class Panel:
    """A panel at its place in a drawing.

    Parameters
    ----------
    drawing : Drawing
        What it is drawn into.
    panels : Panels
        What is drawn.
    left, top, wide, high : float
        The room for it, in points; the panel keeps the shape of the land, in the middle of it.
    """

    def __init__(self, drawing: Drawing, panels: Panels, left: float, top: float, wide: float, high: float) -> None:
        self.drawing, self.panels = drawing, panels
        self.south, self.west, self.north, self.east = panels.extent()
        narrow = float(np.cos(np.radians((self.south + self.north) / 2)))
        self.tall = min(high / (self.north - self.south), wide / ((self.east - self.west) * narrow))
        self.broad = self.tall * narrow
        self.wide, self.high = (self.east - self.west) * self.broad, (self.north - self.south) * self.tall
        self.left, self.top = left + (wide - self.wide) / 2, top + (high - self.high) / 2

    def at(self, latitude: float, longitude: float) -> Point:
        """Where a place lies in the drawing."""
        return self.left + (longitude - self.west) * self.broad, self.top + (self.north - latitude) * self.tall

    def draw(self, name: str) -> None:
        """Draw the panel of a stage, of the visits or of the sites, with its name above."""
        self._ground()
        if name == VISITS:
            self._visits()
        elif name != SITES:
            self._months(name)
        sites = self.panels.sites
        if sites is not None:
            places = [self.at(latitude, longitude) for _, latitude, longitude in sites.itertuples(index=False, name=None)]
            self.drawing.circles(places, 1.2, fill="black", stroke="white", width=0.4)
            if name == SITES:
                self._site_names(sites, places)
        self.drawing.box(self.left, self.top, self.wide, self.high, stroke="black", width=0.8)

    def degrees_below(self, room: float) -> None:
        """Write the degrees east and west below; `room` is the free space to the next panel."""
        for value in ticks(self.west, self.east, 3):
            x, _ = self.at(self.south, value)
            # a label at the right edge would run into the next panel's first
            if value < self.east - 0.15 * (self.east - self.west):
                text = degrees(value, "EW")
                half = text_width(text, DEGREES) / 2
                middle = min(max(x, self.left - room / 2 + half), self.left + self.wide + room / 2 - half)
                self.drawing.text((middle, self.top + self.high + 8.5), text, DEGREES, "middle")

    def degrees_left(self) -> None:
        """Write the degrees north and south at the left."""
        low = self._floor()
        for value in ticks(self.south, self.north, 4):
            if value >= low - 1e-6:
                _, y = self.at(value, self.west)
                self.drawing.text((self.left - 3.5, y + MIDDLE * DEGREES), degrees(value, "NS"), DEGREES, "end")

    def _floor(self) -> float:
        return min(part.south for part in self.panels.inside)

    def _square(self, part: Part) -> list[Point]:
        south, west = self.panels.corner(part)
        step = self.panels.inside[0].step
        return [self.at(y, x) for y, x in ((south, west), (south, west + step), (south + step, west + step), (south + step, west))]

    def _ground(self) -> None:
        panels, drawing = self.panels, self.drawing
        squares = [self._square(part) for part in panels.inside]
        drawing.areas(squares, fill=GROUND)
        floor = self._floor() - 0.12 * panels.inside[0].step
        for kind, lines in groupby(panels.lines, key=lambda line: line[0]):
            colour, dash, width = LOOKS[kind]
            courses = [course for _, points in lines for course in self._clipped(points, floor)]
            drawing.lines(courses, colour, dash=dash, width=width)
        # a dashed edge where the square is no square of the survey but a part of the picture
        drawing.areas(squares, stroke="#555555", width=0.6, dash=(0.6, 1.2) if panels.private else None)
        below = [self._square(part) for part in panels.below]
        drawing.areas(below, fill="white", stroke="#333333", width=0.7, dash=(2.8, 1.4))
        for part in panels.below:
            x, y = self._square(part)[3]
            drawing.text((x, y - 1.5), f"{part.step:g}° square", 4.6)
        bottom = self.top + self.high
        marks = [[(x, bottom), (x, bottom + 2)] for value in ticks(self.west, self.east, 3) for x, _ in [self.at(self.south, value)]]
        marks += [
            [(self.left - 2, y), (self.left, y)]
            for value in ticks(self.south, self.north, 4)
            if value >= self._floor() - 1e-6
            for _, y in [self.at(value, self.west)]
        ]
        drawing.lines(marks, "black", width=0.8)

    def _clipped(self, points: Sequence[tuple[float, float]], floor: float) -> list[list[Point]]:
        """The parts of a line that lie in the panel and above its row of larger squares."""
        if len(points) < 2:
            return []
        seen = shapely.clip_by_rect(shapely.LineString([(x, y) for y, x in points]), self.west, floor, self.east, self.north)
        parts = [part for part in shapely.get_parts(seen) if part.geom_type == "LineString" and not part.is_empty]
        return [[self.at(y, x) for x, y in part.coords] for part in parts]

    def _months(self, layer: str) -> None:
        panels, drawing = self.panels, self.drawing
        filled: dict[str, list[list[Point]]] = {}
        dots: list[Point] = []
        by_part = {one.part: one for one in panels.found[layer]}
        for part in [*panels.inside, *panels.below]:
            (left, bottom), (right, _), _, (_, top) = self._square(part)
            wide, high = 0.86 * (right - left) / 3, 0.86 * (bottom - top) / 4
            one = by_part.get(part)
            for month in range(1, 13):
                row, column = divmod(month - 1, 3)
                x, y = left + 0.07 * (right - left) + column * wide, top + 0.07 * (bottom - top) + row * high
                middle = x + 0.475 * wide, y + 0.47 * high
                if one is not None and month in one.months:
                    colour = heat(one.months[month])
                    ends = x + 0.95 * wide, y + 0.94 * high
                    filled.setdefault(colour, []).append([(x, y), (ends[0], y), ends, (x, ends[1])])
                    if panels.lettered:
                        ink = "white" if colour in HEAT[:LIGHT_INK] else "black"
                        drawing.text((middle[0], middle[1] + MIDDLE * 4.6), MONTH_NAMES[month - 1][0], 4.6, "middle", ink)
                elif not (one and one.undated) and month in panels.visits.get(part, (set(), 0, 0))[0]:
                    dots.append(middle)
            if one is not None and one.undated and not one.months:
                # what it was found in is not shown, so nothing is said of months without it either
                drawing.text(((left + right) / 2, (top + bottom) / 2 + 0.31 * 9), "×", 9, "middle")
        drawing.circles(dots, 0.8, fill="#777777")
        for colour, shapes in filled.items():
            drawing.areas(shapes, fill=colour, stroke="black", width=0.3)
        letter, colour, _ = SYMBOLS[layer]
        counted = f": {panels.animals[layer]:.0f}" if panels.animals[layer] > 0 else ""
        drawing.areas([_rounded(self.left, self.top - 13, 9, 10.5)], fill=colour, stroke="black", width=0.7)
        drawing.text((self.left + 4.5, self.top - 7.8 + MIDDLE * 7), letter, 7, "middle", bold=True)
        drawing.text((self.left + 13, self.top - 7.8 + MIDDLE * 8), f"{LAYER_WORDS[layer]}{counted}", 8)

    def _visits(self) -> None:
        panels, drawing = self.panels, self.drawing
        for part, (_, visits, without) in panels.visits.items():
            if part not in panels.below and part not in panels.inside:
                continue
            (left, bottom), (right, _), _, (_, top) = self._square(part)
            middle, high = (left + right) / 2, bottom - top
            # published rows do not say on which visits nothing at all was found
            said = [(f"{visits}", 7.0, (0.38 if panels.private else 0.5) * high)]
            if panels.private:
                said += [(f"{without} with", 4.2, 0.72 * high - 2.6), ("nothing", 4.2, 0.72 * high + 2.6)]
            for text, size, down in said:
                half = text_width(text, size) * 0.55
                drawing.box(middle - half, top + down - 0.55 * size, 2 * half, 1.1 * size, fill="white" if part in panels.below else GROUND)
                drawing.text((middle, top + down + MIDDLE * size), text, size, "middle", bold=size == 7.0)
        self._name(f"{VISITS}: {sum(visits for _, visits, _ in panels.visits.values())}")

    def _site_names(self, sites: pd.DataFrame, places: Sequence[Point]) -> None:
        for name, (x, y) in zip(sites["site_id"].astype(str), places, strict=True):
            over = x + 2.5 + text_width(name, 5) > self.left + self.wide
            base = max(y - 1.5, self.top + 5)
            self.drawing.text((x - 2.5 if over else x + 2.5, base), name, 5, "end" if over else "start")
        self._name(SITES)

    def _name(self, name: str) -> None:
        self.drawing.text((self.left, self.top - 7.8 + MIDDLE * 8), name, 8)


def ticks(low: float, high: float, most: int) -> list[float]:
    """Round degrees between two, at so few places that no more than `most` spans of them lie between."""
    step = next((one for one in FACTORS if (high - low) / one <= most), FACTORS[-1])
    return [round(number * step, 6) for number in range(int(np.ceil(low / step - 1e-9)), int(np.floor(high / step + 1e-9)) + 1)]


def _rounded(left: float, top: float, wide: float, high: float, radius: float = 1.8) -> list[Point]:
    """A rectangle with round corners."""
    course = []
    for at, (x, y) in enumerate(((left + wide, top + high), (left, top + high), (left, top), (left + wide, top))):
        inward = x + (radius if x == left else -radius), y + (radius if y == top else -radius)
        turns = np.radians(90 * at + np.array([0, 30, 60, 90]))
        course += [(inward[0] + radius * float(np.cos(turn)), inward[1] + radius * float(np.sin(turn))) for turn in turns]
    return course
