"""Drawings of circles, crosses, lines and text: as SVG by this module's own few words, and as PNG. The door to Pillow's drawing.

A library for plots takes seconds to lay out what stands at known places here.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape
from io import BytesIO
from itertools import groupby, pairwise
from pathlib import Path
from typing import Any

FAMILY = "DejaVu Sans, Liberation Sans, Arial, sans-serif"
SIGN_WIDTH = 0.56
"""Width of a sign in sizes of the font, on average: enough to place text, and never to cut it."""
LEADING = 1.25
FINER = 2
"""Times finer that shapes of a PNG are drawn before they are made small, so that edges are smooth."""
POINTS_PER_INCH = 72
FONT = Path(__file__).parent / "fonts" / "DejaVuSans.ttf"
"""It has the signs of many languages (its licence lies beside it); Pillow's own lacks é and ×."""
BOLDER = 0.03
"""Edge round the signs of a bold word of a PNG, in sizes of the font."""
Point = tuple[float, float]


@dataclass(frozen=True)
class Shape:
    """Lines through points, or a circle round each; `more` are further courses of the same look. Lengths in points of 1/72 inch."""

    points: tuple[Point, ...]
    stroke: str = ""
    fill: str = ""
    width: float = 0.8
    radius: float = 0.0
    closed: bool = False
    dash: tuple[float, float] | None = None
    more: tuple[tuple[Point, ...], ...] = ()


@dataclass(frozen=True)
class Words:
    """A line of text; `anchor` is start, middle or end, `at` stands on its base line."""

    at: Point
    text: str
    size: float
    anchor: str = "start"
    colour: str = "black"
    bold: bool = False


@dataclass
class Drawing:
    """What is drawn, from back to front; words lie over all shapes. Width and height in points."""

    width: float
    height: float
    shapes: list[Shape] = field(default_factory=list)
    words: list[Words] = field(default_factory=list)

    def line(self, points: Sequence[Point], stroke: str, **look: Any) -> None:
        """Draw a line."""
        self.shapes.append(Shape(tuple(points), stroke=stroke, **look))

    def box(self, left: float, top: float, wide: float, high: float, **look: Any) -> None:
        """Draw a rectangle."""
        corners = ((left, top), (left + wide, top), (left + wide, top + high), (left, top + high))
        self.shapes.append(Shape(corners, closed=True, **look))

    def lines(self, courses: Sequence[Sequence[Point]], stroke: str, **look: Any) -> None:
        """Draw many lines of one look: one path, which a page opens sooner than an element for each."""
        first, *more = [tuple(course) for course in courses] or [()]
        if first:
            self.shapes.append(Shape(first, stroke=stroke, more=tuple(more), **look))

    def areas(self, courses: Sequence[Sequence[Point]], stroke: str = "", **look: Any) -> None:
        """Draw many closed shapes of one look that do not overlap, as one path."""
        self.lines(courses, stroke, closed=True, **look)

    def circles(self, places: Sequence[Point], radius: float, fill: str, stroke: str = "", width: float = 0.7) -> None:
        """Draw many circles of one look as one path."""
        if places:
            self.shapes.append(Shape(tuple(places), stroke=stroke, fill=fill, width=width, radius=radius))

    def circle(self, at: Point, radius: float, fill: str, width: float = 0.7) -> None:
        """Draw a filled circle with a black edge."""
        self.shapes.append(Shape((at,), stroke="black", fill=fill, width=width, radius=radius))

    def cross(self, at: Point, size: float, stroke: str, width: float = 0.9) -> None:
        """Draw a ×."""
        (x, y), half = at, size / 2
        self.line([(x - half, y - half), (x + half, y + half)], stroke, width=width)
        self.line([(x - half, y + half), (x + half, y - half)], stroke, width=width)

    def text(self, at: Point, text: str, size: float, anchor: str = "start", colour: str = "black", bold: bool = False) -> None:
        """Write a line of text; what no page may hold is left out."""
        self.words.append(Words(at, re.sub(r"[\x00-\x1f\x7f]", " ", text), size, anchor, colour, bold))


def text_width(text: str, size: float) -> float:
    """About how wide a text is, in points."""
    return len(text) * size * SIGN_WIDTH


def svg_text(drawing: Drawing, title: str) -> str:
    """A drawing as a file of its own; the same bytes for the same drawing."""
    size = f'width="{_n(drawing.width)}pt" height="{_n(drawing.height)}pt" viewBox="0 0 {_n(drawing.width)} {_n(drawing.height)}"'
    head = f'<?xml version="1.0" encoding="utf-8"?>\n<svg xmlns="http://www.w3.org/2000/svg" {size} font-family="{FAMILY}">'
    return f"{head}\n<title>{escape(title, quote=False)}</title>\n{_body(drawing, paper=True)}</svg>\n"


def for_inlining(drawing: Drawing, ident: str, what: str, description: str) -> str:
    """A drawing as an element of a page, with its text alternative; `ident` makes its ids the page's own."""
    opening = f'<svg viewBox="0 0 {_n(drawing.width)} {_n(drawing.height)}" role="img" aria-labelledby="{ident}-title {ident}-desc"'
    words = f'<title id="{ident}-title">{escape(what)}</title>\n<desc id="{ident}-desc">{escape(description)}</desc>'
    return f'{opening} font-family="{FAMILY}">\n{words}\n{_body(drawing, paper=False)}</svg>'


def png_bytes(drawing: Drawing, dots_per_inch: int) -> bytes:
    """A drawing as PNG, without date or maker."""
    from PIL import Image, ImageColor, ImageDraw, ImageFont

    scale = dots_per_inch / POINTS_PER_INCH
    size = math.ceil(drawing.width * scale), math.ceil(drawing.height * scale)
    fine = Image.new("RGB", (size[0] * FINER, size[1] * FINER), "white")
    pen, times = ImageDraw.Draw(fine, "RGBA"), scale * FINER
    for one in drawing.shapes:
        width = max(1, round(one.width * times)) if one.stroke else 0
        stroke, fill = (ImageColor.getrgb(colour) if colour else None for colour in (one.stroke, one.fill))
        courses = [[(x * times, y * times) for x, y in course] for course in (one.points, *one.more)]
        if one.radius:
            reach = one.radius * times + width / 2
            for x, y in courses[0]:
                pen.ellipse((x - reach, y - reach, x + reach, y + reach), fill=fill, outline=stroke, width=width)
            continue
        for ends in courses:
            if one.closed and fill:
                pen.polygon(ends, fill=fill)
            course = [*ends, ends[0]] if one.closed else ends
            if stroke:
                for part in _dashes(course, one.dash, times) if one.dash else [course]:
                    pen.line(part, fill=stroke, width=width, joint="curve")
    picture = fine.reduce(FINER)
    pen = ImageDraw.Draw(picture)
    fonts = {size: ImageFont.truetype(FONT, round(size * scale)) for size in {said.size for said in drawing.words}}
    for said in drawing.words:
        at = said.at[0] * scale, said.at[1] * scale
        anchor = {"start": "ls", "middle": "ms", "end": "rs"}[said.anchor]
        thick = BOLDER * said.size * scale if said.bold else 0
        pen.text(at, said.text, fill=said.colour, font=fonts[said.size], anchor=anchor, stroke_width=thick)
    out = BytesIO()
    picture.save(out, format="PNG", dpi=(dots_per_inch, dots_per_inch))
    return out.getvalue()


def _dashes(course: Sequence[Point], dash: tuple[float, float], scale: float) -> list[list[Point]]:
    """A course cut into dashes, which go on round its corners."""
    on, off = (length * scale for length in dash)
    parts = []
    at = 0.0
    for (x, y), (to_x, to_y) in pairwise(course):
        length = math.hypot(to_x - x, to_y - y)
        while at < length:
            ends = max(at, 0.0) / length, min(at + on, length) / length
            if ends[1] > ends[0]:
                parts.append([(x + (to_x - x) * share, y + (to_y - y) * share) for share in ends])
            if at + on > length:
                break
            at += on + off
        at -= length
    return parts


def _body(drawing: Drawing, paper: bool) -> str:
    ground = f'<path fill="white" d="M0 0H{_n(drawing.width)}V{_n(drawing.height)}H0Z"/>\n' if paper else ""
    # neighbours of one look share an element: a page with a thousand elements less opens in less time
    shapes = "".join(f'<path {look} d="{"".join(map(_course, like))}"/>\n' for look, like in groupby(drawing.shapes, _look))
    return ground + shapes + _all_words(drawing.words)


def _look(one: Shape) -> str:
    look = f'fill="{one.fill[:7] or "none"}"' + (f' fill-opacity="{int(one.fill[7:], 16) / 255:.2f}"' if len(one.fill) == 9 else "")
    look += f' stroke="{one.stroke}" stroke-width="{_n(one.width)}"' if one.stroke else ""
    return look + (f' stroke-dasharray="{_n(one.dash[0])} {_n(one.dash[1])}"' if one.dash else "")


def _course(one: Shape) -> str:
    if one.radius:
        return "".join(_round(x, y, one.radius) for x, y in one.points)
    courses = ("L".join(f"{_n(x)} {_n(y)}" for x, y in points) for points in (one.points, *one.more))
    return "".join(f"M{points}" + "Z" * one.closed for points in courses)


def _round(x: float, y: float, radius: float) -> str:
    """A circle as a path: its numbers are those of a drawing and nothing else, so that no test takes them for a place."""
    r = _n(radius)
    return f"M{_n(x - radius)} {_n(y)}a{r} {r} 0 1 0 {_n(2 * radius)} 0a{r} {r} 0 1 0 {_n(-2 * radius)} 0Z"


def _all_words(words: Sequence[Words]) -> str:
    """Lines of text, each an element; single letters of one look together in one, which gives each its place."""
    letters: dict[str, list[Words]] = {}
    said = []
    for one in words:
        if len(one.text) == 1 and one.text.isalpha():
            letters.setdefault(_type(one), []).append(one)
        else:
            said.append(_text([one]))
    return "".join((*said, *map(_text, letters.values())))


def _type(one: Words) -> str:
    look = "" if one.anchor == "start" else f' text-anchor="{one.anchor}"'
    look += "" if one.colour == "black" else f' fill="{one.colour}"'
    return f' font-size="{_n(one.size)}"{look}' + (' font-weight="bold"' if one.bold else "")


def _text(like: Sequence[Words]) -> str:
    across, down = (" ".join(_n(one.at[axis]) for one in like) for axis in (0, 1))
    return f'<text x="{across}" y="{down}"{_type(like[0])}>{escape("".join(one.text for one in like), quote=False)}</text>\n'


def _n(value: float) -> str:
    """A number to a tenth of a point, without a trailing zero."""
    return f"{value:.1f}".removesuffix(".0")
