"""The course of a sensor as SVG of our own: band, act line and ceiling behind it, gaps left open; black on white, and said in words too."""

from __future__ import annotations

import math
from html import escape
from typing import Any

import pandas as pd

from pipeline.tanks.stretch import Stretch
from pipeline.writing.words import number

WIDTH, HEIGHT = 360, 200
LEFT, RIGHT, TOP, BOTTOM = 26, 30, 8, 26
TICKS = 5


def course_svg(
    what: str, stretch: Stretch, days: pd.DataFrame, course: pd.DataFrame, spells: pd.DataFrame, gap_h: float, words: str, ident: str
) -> str:
    """Draw the readings of a stretch over the lines of its days.

    Parameters
    ----------
    what : str
        Title.
    stretch : Stretch
        The span of the horizontal axis.
    days : DataFrame
        ``starts``, ``ends`` (UTC), ``band_low``, ``band_high``, ``act_line``, ``ceiling`` (°C).
    course : DataFrame
        As `readings.shown_course`.
    spells : DataFrame
        As `verdict.Verdict.spells`; those that are unknown are hatched.
    gap_h : float
        Longest step that is drawn through, hours.
    words : str
        What it shows, as the text alternative.
    ident : str
        Prefix of every id.

    Returns
    -------
    str
        An ``<svg>`` element, the same bytes for the same input.
    """
    known = [*course["low"], *course["high"], *days[["band_low", "act_line", "ceiling"]].stack().dropna()]
    low, high = (min(known) - 1, max(known) + 1.5) if known else (0.0, 20.0)

    def y(value: float) -> float:
        return round(HEIGHT - BOTTOM - (value - low) * (HEIGHT - TOP - BOTTOM) / (high - low), 1)

    def x(at: pd.Timestamp) -> float:
        share = (min(max(at, stretch.start), stretch.end) - stretch.start) / (stretch.end - stretch.start)
        return round(LEFT + share * (WIDTH - LEFT - RIGHT), 1)

    parts = [f'<defs><pattern id="{ident}-hatch" width="5" height="5" patternUnits="userSpaceOnUse"><path d="M0 5L5 0"/></pattern></defs>']
    parts += _grid(low, high, y) + _dates(stretch, x)
    for spell in spells[spells["state"] == "unknown"].itertuples():
        width = max(x(spell.end) - x(spell.start), 1.0)
        box = f'x="{x(spell.start)}" y="{TOP}" width="{width:.1f}" height="{HEIGHT - TOP - BOTTOM}"'
        parts.append(f'<rect class="unknown" fill="url(#{ident}-hatch)" {box}/>')
    parts += _lines(days, x, y)
    parts.append(f'<path class="course" d="{_course(course, gap_h, x, y)}"/>')
    head = f'<title id="{ident}-title">{escape(what)}</title><desc id="{ident}-desc">{escape(words)}</desc>'
    labelled = f'role="img" aria-labelledby="{ident}-title {ident}-desc"'
    return f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" {labelled} class="course-plot">{head}{"".join(parts)}</svg>'


def _grid(low: float, high: float, y: Any) -> list[str]:
    step = 5 if high - low > 12 else 2
    parts = [f'<text x="2" y="{TOP + 4}">°C</text><text x="{WIDTH - 2}" y="{TOP + 4}" class="end">°F</text>']
    for value in range(math.ceil(low / step) * step, int(high) + 1, step):
        parts.append(f'<path class="grid" d="M{LEFT} {y(value)}H{WIDTH - RIGHT}"/>')
        parts.append(f'<text x="{LEFT - 3}" y="{y(value) + 3}" class="end">{number(value)}</text>')
        parts.append(f'<text x="{WIDTH - RIGHT + 3}" y="{y(value) + 3}">{number(round(value * 1.8 + 32))}</text>')
    return parts


def _dates(stretch: Stretch, x: Any) -> list[str]:
    length = (stretch.end - stretch.start) / pd.Timedelta(days=1)
    form = "%b %Y" if length > 400 else "%b" if length > 90 else "day"
    parts = []
    for tick in range(TICKS):
        at = stretch.start + (stretch.end - stretch.start) * (tick + 0.5) / TICKS
        local = stretch.local(at)
        text = f"{local.day} {local:%b}" if form == "day" else f"{local:{form}}"
        parts.append(f'<path class="grid" d="M{x(at)} {TOP}V{HEIGHT - BOTTOM}"/>')
        parts.append(f'<text x="{x(at)}" y="{HEIGHT - BOTTOM + 11}" class="middle">{escape(text)}</text>')
    return parts


def _lines(days: pd.DataFrame, x: Any, y: Any) -> list[str]:
    """Band, act line and ceiling, one piece a run of days that share them."""
    names = ["band_low", "band_high", "act_line", "ceiling"]
    block = (days[names].fillna(-999.0) != days[names].fillna(-999.0).shift()).any(axis=1).cumsum()
    parts = []
    for _, part in days.groupby(block, sort=True):
        first, left, right = part.iloc[0], x(part["starts"].iloc[0]), x(part["ends"].iloc[-1])
        if not math.isnan(first["band_high"]):
            top, height = y(first["band_high"]), max(y(first["band_low"]) - y(first["band_high"]), 1.0)
            parts.append(f'<rect class="band" x="{left}" y="{top}" width="{right - left:.1f}" height="{height:.1f}"/>')
        for name, kind in (("act_line", "act"), ("ceiling", "ceiling")):
            if not math.isnan(first[name]):
                parts.append(f'<path class="{kind}" d="M{left} {y(first[name])}H{right}"/>')
    return parts


def _course(course: pd.DataFrame, gap_h: float, x: Any, y: Any) -> str:
    """One line through the readings; parts of the stretch with many readings show their lowest and highest."""
    text, before = [], None
    for row in course.itertuples():
        broken = before is None or (row.since - before) / pd.Timedelta(hours=1) > gap_h * (1 + 1e-9)
        # in between the lowest and the highest stand for readings that lie too close to draw
        text.append(f"{'M' if broken else 'L'}{x(row.since)} {y(row.first)}")
        if row.high != row.low:
            text.append(f"V{y(row.low)}V{y(row.high)}")
        text.append(f"L{x(row.until)} {y(row.last)}")
        before = row.until
    return "".join(text)
