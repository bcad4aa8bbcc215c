"""Small plots as SVG of our own: a year of one stage with its readings, bands and lines; black on white, and said in words too."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.writing.words import number
from schemas.enums import Status

WIDTH, HEIGHT = 360, 170
LEFT, RIGHT, TOP, BOTTOM = 30, 34, 8, 18
GOLDEN = 0.618034
MOST_DOTS = 160
"""More dots in one month than this are a black smear on paper; equal readings fall on one dot, the lowest and highest are always drawn."""


def year_panel(
    what: str, months: Mapping[int, Mapping[str, Any]], values: Mapping[int, Sequence[float]], ceiling: float | None, ident: str
) -> str:
    """Draw one stage in one place over the year.

    Parameters
    ----------
    what : str
        Whose temperatures; goes into the title and the text alternative.
    months : mapping
        Month, 1 to 12, to its row of the targets (band, set points, act line, status; °C).
    values : mapping
        Month to its readings, °C.
    ceiling : float or None
        °C.
    ident : str
        Prefix of every id in the drawing.

    Returns
    -------
    str
        An ``<svg>`` element for an HTML page, the same bytes for the same input.
    """
    every = [value for part in values.values() for value in part]
    lines = [float(row[name]) for row in months.values() if row["status"] != Status.REFUSED for name in ("band_low", "act_line")]
    known = [*every, *lines, *([ceiling] if ceiling is not None else [])] or [0.0, 20.0]
    low, high = min(known) - 1.0, max(known) + 1.5
    scale = (HEIGHT - TOP - BOTTOM) / (high - low)

    def y(value: float) -> float:
        return round(HEIGHT - BOTTOM - (value - low) * scale, 1)

    parts = [*_grid(low, high, y)]
    for month in range(1, 13):
        parts += _month(month, months[month], values.get(month, ()), y)
    if ceiling is not None:
        parts.append(f'<path class="ceiling" d="M{LEFT} {y(ceiling)}H{WIDTH - RIGHT}"/>')
        parts.append(f'<text x="{WIDTH - RIGHT - 2}" y="{y(ceiling) - 3}" class="end">never above {number(ceiling)} °C</text>')
    words = (
        f'<title id="{ident}-title">{escape(what)}</title><desc id="{ident}-desc">{escape(describe(what, months, values, ceiling))}</desc>'
    )
    body = "".join(parts)
    return f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-labelledby="{ident}-title {ident}-desc" class="panel">{words}{body}</svg>'


def describe(what: str, months: Mapping[int, Mapping[str, Any]], values: Mapping[int, Sequence[float]], ceiling: float | None) -> str:
    """Say in words what :func:`year_panel` shows; plain text, not escaped."""
    parts = [f"{what}: temperatures by month in °C."]
    for month in range(1, 13):
        row, read = months[month], values.get(month, ())
        if not len(read) and row["status"] == Status.REFUSED:
            continue
        seen = (
            f"{len(read)} reading{'s' * (len(read) != 1)} from {number(min(read), 1)} to {number(max(read), 1)}"
            if len(read)
            else "no readings"
        )
        if row["status"] != Status.REFUSED:
            seen += f", band {number(row['band_low'])} to {number(row['band_high'])}, act above {number(row['act_line'])}"
        parts.append(f"{MONTH_NAMES[month - 1]}: {seen}.")
    parts.append("No ceiling." if ceiling is None else f"Never above {number(ceiling)}, not a temperature to keep.")
    return " ".join(parts)


def _x(month: int, share: float = 0.5) -> float:
    return round(LEFT + (month - 1 + share) * (WIDTH - LEFT - RIGHT) / 12, 1)


def _grid(low: float, high: float, y: Any) -> list[str]:
    step = 5 if high - low > 8 else 2
    parts = []
    for value in range(int(low // step + 1) * step, int(high) + 1, step):
        parts.append(f'<path class="grid" d="M{LEFT} {y(value)}H{WIDTH - RIGHT}"/>')
        parts.append(f'<text x="{LEFT - 3}" y="{y(value) + 3}" class="end">{number(value)}</text>')
        parts.append(f'<text x="{WIDTH - RIGHT + 3}" y="{y(value) + 3}">{number(round(value * 1.8 + 32))}</text>')
    parts.append(f'<text x="2" y="{TOP + 4}">°C</text><text x="{WIDTH - 2}" y="{TOP + 4}" class="end">°F</text>')
    return parts + [f'<text x="{_x(month)}" y="{HEIGHT - 5}" class="middle">{MONTH_NAMES[month - 1][0]}</text>' for month in range(1, 13)]


def _month(month: int, row: Mapping[str, Any], values: Sequence[float], y: Any) -> list[str]:
    parts = []
    left, right = _x(month, 0.06), _x(month, 0.94)
    if row["status"] != Status.REFUSED:
        kind = "band" if row["status"] == Status.TARGET else "band borrowed"
        high, low = y(float(row["band_high"])), y(float(row["band_low"]))
        parts.append(f'<rect class="{kind}" x="{left}" y="{high}" width="{right - left:.1f}" height="{max(low - high, 1):.1f}"/>')
    distinct = sorted({round(value, 1) for value in set(values)})
    if len(distinct) > MOST_DOTS:
        every = len(distinct) / MOST_DOTS
        distinct = sorted({distinct[0], distinct[-1], *(distinct[int(place * every)] for place in range(MOST_DOTS))})
    dots = (f"M{_x(month, 0.15 + 0.7 * (place * GOLDEN % 1))} {y(value)}h0" for place, value in enumerate(distinct))
    if distinct:
        parts.append(f'<path class="dots" d="{"".join(dots)}"/>')
    if row["status"] != Status.REFUSED:
        parts.append(f'<path class="act" d="M{left} {y(float(row["act_line"]))}H{right}"/>')
    return parts
