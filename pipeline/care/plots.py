"""Plots of the care sheet: inline SVG that reads in greyscale and says the same in words. The one door to matplotlib."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor as round_down
from typing import TYPE_CHECKING, Any, Literal

from pipeline.formulas.year_days import MONTH_NAMES, STARTS, YEAR
from pipeline.writing.pictures import STYLE, for_inlining, svg_text
from pipeline.writing.words import number

if TYPE_CHECKING:
    from matplotlib.axes import Axes


DOTS_A_MONTH = 120
"""More dots in one month than this are a black smear on paper; the lowest and the highest are always drawn."""

GOLDEN = 0.618034
DOT: dict[str, Any] = {"linestyle": "", "marker": "o", "markerfacecolor": "white", "markeredgecolor": "#222222"}
EMPTY: dict[str, Any] = {"facecolor": "#f4f4f4", "edgecolor": "#b0b0b0", "hatch": "///", "linewidth": 0}
BANDS: dict[str, dict[str, Any]] = {
    "target": {"facecolor": "#cfcfcf", "edgecolor": "black"},
    "borrowed": {"facecolor": "white", "edgecolor": "black", "hatch": "|||", "linestyle": (0, (3, 1.5))},
}


@dataclass(frozen=True)
class Month:
    """What the plot shows of one month.

    Attributes
    ----------
    number : int
        1 to 12.
    kind : str
        ``target``, ``borrowed``, ``refused`` (readings, no target) or ``empty`` (no readings).
    low, high, act : float or None
        Band and act line [°C].
    values : tuple of float
        Readings [°C].
    why : str
        In a few words, why there is no target, or whence it is borrowed.
    """

    number: int
    kind: str
    low: float | None = None
    high: float | None = None
    act: float | None = None
    values: tuple[float, ...] = ()
    why: str = ""


def describe(what: str, months: Sequence[Month], ceiling: float | None, floor: float | None) -> str:
    """Say in words and numbers what :func:`cell_plot` shows.

    Parameters
    ----------
    what : str
        Whose temperatures, such as ``"Larvae, in water"``.
    months : sequence of Month
        Twelve months, in order.
    ceiling, floor : float or None
        °C.

    Returns
    -------
    str
        Plain text, not escaped.
    """
    parts = [f"{what}: temperatures by month in °C."]
    for month in months:
        name, n = MONTH_NAMES[month.number - 1], len(month.values)
        seen = f"{n} reading{'s' * (n != 1)} from {number(min(month.values), 1)} to {number(max(month.values), 1)}" if n else "no readings"
        if month.low is not None and month.high is not None:
            seen += f", band {number(month.low)} to {number(month.high)}"
            seen += f", act above {number(month.act)}" if month.act is not None else ""
            seen += f", {month.why}" if month.kind == "borrowed" and month.why else ""
        elif n:
            seen += ", no target"
        parts.append(f"{name}: {seen}.")
    parts.append("No ceiling." if ceiling is None else f"Ceiling {number(ceiling)}, not a temperature to keep.")
    parts.append("No floor known." if floor is None else f"Floor {number(floor)}.")
    return " ".join(parts)


def cell_plot(what: str, months: Sequence[Month], ceiling: float | None, floor: float | None, ident: str) -> str:
    """Draw readings, bands, act lines, ceiling and empty months of one stage in one medium.

    Parameters
    ----------
    what : str
        Whose temperatures; goes into the text alternative, never into the drawing.
    months : sequence of Month
        Twelve months, in order [°C].
    ceiling, floor : float or None
        °C; None where there is none.
    ident : str
        Prefix of every id in the drawing, unlike that of any other plot on the page; letters, digits and ``-``.

    Returns
    -------
    str
        An ``<svg>`` element for an HTML page, the same bytes for the same input. It has a title, a description and ``role="img"``.
    """
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=(7.4, 4.1), layout="constrained")
        canvas = FigureCanvasSVG(figure)
        axes = figure.add_subplot()
        bottom, top = _limits(months, ceiling, floor)
        axes.set_xlim(0.5, 12.5)
        axes.set_ylim(bottom, top)
        for month in months:
            _draw_month(axes, month)
        _draw_lines(axes, months, ceiling, floor)
        _dress(axes, months)
        return for_inlining(svg_text(canvas), ident, what, describe(what, months, ceiling, floor))


def _limits(months: Sequence[Month], ceiling: float | None, floor: float | None) -> tuple[float, float]:
    shown = [value for month in months for value in (*month.values, month.low, month.high, month.act)] + [ceiling, floor]
    known = [value for value in shown if value is not None] or [0.0, 20.0]
    low, high = min(known) - 1.5, max(known) + 2.0
    labelled = any(month.kind in ("refused", "borrowed") for month in months)
    return low - (high - low) * (0.22 if labelled else 0.0), high


def _draw_month(axes: Axes, month: Month) -> None:
    from matplotlib.patches import Rectangle

    bottom, top = axes.get_ylim()
    x = month.number
    if month.kind == "empty":
        axes.add_patch(Rectangle((x - 0.5, bottom), 1, top - bottom, zorder=0, **EMPTY))
    if month.low is not None and month.high is not None:
        height = max(month.high - month.low, (top - bottom) / 100)
        axes.add_patch(Rectangle((x - 0.4, month.low), 0.8, height, linewidth=1.3, zorder=2, **BANDS[month.kind]))
    if month.act is not None:
        axes.plot([x - 0.46, x + 0.46], [month.act] * 2, color="black", linewidth=2.2, solid_capstyle="butt", zorder=3)
    if month.values:
        values = _thinned(month.values)
        spread = [x + ((k * GOLDEN) % 1 - 0.5) * 0.62 for k in range(len(values))]
        axes.plot(spread, values, markersize=3.2, markeredgewidth=0.7, zorder=4, **DOT)
    label = {"empty": "no readings", "refused": "no target", "borrowed": "borrowed"}.get(month.kind, "")
    if label:
        paper = {"facecolor": "white", "edgecolor": "none", "pad": 1.2, "alpha": 0.9}
        lowest = min([value for value in (month.low, *month.values) if value is not None], default=(bottom + top) / 2)
        height, how = (bottom + (top - bottom) * 0.025, "bottom") if month.kind == "empty" else (lowest - (top - bottom) * 0.025, "top")
        axes.text(x, height, label, rotation=90, ha="center", va=how, bbox=paper, zorder=6)


def _thinned(values: Sequence[float]) -> list[float]:
    ordered = sorted(values)
    if len(ordered) <= DOTS_A_MONTH:
        return ordered
    step = (len(ordered) - 1) / (DOTS_A_MONTH - 1)
    return [ordered[round_down(k * step + 0.5)] for k in range(DOTS_A_MONTH)]


def _draw_lines(axes: Axes, months: Sequence[Month], ceiling: float | None, floor: float | None) -> None:
    paper = {"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.9}
    bottom, top = axes.get_ylim()
    room = (top - bottom) * 0.07
    if ceiling is not None:
        axes.axhline(ceiling, color="black", linewidth=2.0, linestyle=(0, (6, 3)), zorder=5)
        text = f"ceiling {number(ceiling)} °C: not a temperature to keep"
        x, side = _free_end(months, ceiling, ceiling + room)
        axes.annotate(text, (x, ceiling), xytext=(0, 4), textcoords="offset points", ha=side, va="bottom", bbox=paper, zorder=3.5)
    if floor is not None:
        axes.axhline(floor, color="black", linewidth=1.4, linestyle=(0, (1, 2)), zorder=5)
        x, side = _free_end(months, floor - room, floor, empty=True)
        text = f"floor {number(floor)} °C"
        axes.annotate(text, (x, floor), xytext=(0, -4), textcoords="offset points", ha=side, va="top", bbox=paper, zorder=3.5)


def _free_end(months: Sequence[Month], low: float, high: float, *, empty: bool = False) -> tuple[float, Literal["left", "right"]]:
    """The end of the year where a label covers fewer readings and, with `empty`, no word on an empty month."""
    ends = (months[:2], months[10:]) if empty else (months[:5], months[7:])
    covered = [sum((low <= value <= high) for month in part for value in month.values) for part in ends]
    if empty:
        covered = [n + 1000 * sum(month.kind == "empty" for month in part) for n, part in zip(covered, ends, strict=True)]
    return (0.6, "left") if covered[0] < covered[1] else (12.4, "right")


def _dress(axes: Axes, months: Sequence[Month]) -> None:
    axes.set_xticks(range(1, 13), [name[:3] for name in MONTH_NAMES])
    axes.tick_params(axis="x", length=0)
    axes.set_ylabel("°C")
    fahrenheit = axes.secondary_yaxis("right", functions=(lambda c: c * 1.8 + 32, lambda f: (f - 32) / 1.8))
    fahrenheit.set_ylabel("°F")
    axes.spines["top"].set_visible(False)
    axes.yaxis.get_major_locator().set_params(integer=True)
    axes.grid(axis="y", color="#dddddd", linewidth=0.6, zorder=-1)
    axes.set_axisbelow(True)
    handles = _key(months)
    if handles:
        axes.legend(handles=handles, loc="upper center", bbox_to_anchor=(0.5, -0.09), ncols=len(handles), frameon=False, handlelength=1.9)


def _key(months: Sequence[Month]) -> list[Any]:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    kinds = {month.kind for month in months}
    key: list[Any] = []
    if any(month.values for month in months):
        key.append(Line2D([], [], markersize=4, label="one reading", **DOT))
    if "target" in kinds:
        key.append(Patch(label="band to keep", **BANDS["target"]))
    if "borrowed" in kinds:
        key.append(Patch(label="borrowed band", **BANDS["borrowed"]))
    if any(month.act is not None for month in months):
        key.append(Line2D([], [], color="black", linewidth=2.2, label="act above"))
    if "empty" in kinds:
        key.append(Patch(label="no readings", **EMPTY))
    return key


@dataclass(frozen=True)
class ScheduleDay:
    """What the plot of a schedule shows of one day.

    Attributes
    ----------
    day : int
        1 to 365.
    fitted : float
        The field's yearly course [°C].
    set_point : float or None
        [°C]; None where the field is colder than the page allows.
    """

    day: int
    fitted: float
    set_point: float | None


def describe_schedule(what: str, readings: Sequence[tuple[int, float]], days: Sequence[ScheduleDay], ceiling: float | None) -> str:
    """Say in words and numbers what :func:`schedule_plot` shows.

    Parameters
    ----------
    what : str
        Whose schedule, such as ``"Larvae, in water"``.
    readings : sequence of (int, float)
        Day of the year, 1 to 365, and value [°C].
    days : sequence of ScheduleDay
        In any order.
    ceiling : float or None
        °C.

    Returns
    -------
    str
        Plain text, not escaped.
    """
    parts = [f"{what}: set point through the year in °C, with {len(readings)} reading{'s' * (len(readings) != 1)}."]
    for run in _day_runs(days):
        first, last = _date(run[0].day), _date(run[-1].day)
        known = [day for day in run if day.set_point is not None]
        if not known:
            parts.append(f"{first} to {last}: the field is colder than the page allows, no set point.")
            continue
        low, high = (choose(known, key=lambda day: day.set_point or 0.0) for choose in (min, max))
        seen = f"{first} to {last}: from {number(known[0].set_point or 0.0)} to {number(known[-1].set_point or 0.0)}"
        seen += f", lowest {number(low.set_point or 0.0)} on {_date(low.day)}, highest {number(high.set_point or 0.0)} on {_date(high.day)}"
        course = [day.fitted for day in run]
        seen += f"; the field's course lies between {number(min(course), 1)} and {number(max(course), 1)}"
        lost = len(run) - len(known)
        parts.append(seen + (f"; no set point on {lost} day{'s' * (lost != 1)}, colder than the page allows." if lost else "."))
    if len(days) < YEAR:
        parts.append("No schedule on other days: too little was read." if days else "No schedule: too little was read.")
    parts.append("No ceiling." if ceiling is None else f"Ceiling {number(ceiling)}, not a temperature to keep.")
    return " ".join(parts)


def schedule_plot(what: str, readings: Sequence[tuple[int, float]], days: Sequence[ScheduleDay], ceiling: float | None, ident: str) -> str:
    """Draw readings, the field's yearly course, the schedule and the ceiling; days without a schedule are hatched.

    Parameters
    ----------
    what : str
        Whose schedule; goes into the text alternative, never into the drawing.
    readings : sequence of (int, float)
        Day of the year, 1 to 365, and value [°C].
    days : sequence of ScheduleDay
        In any order.
    ceiling : float or None
        °C; None where there is none.
    ident : str
        Prefix of every id in the drawing, unlike that of any other plot on the page; letters, digits and ``-``.

    Returns
    -------
    str
        An ``<svg>`` element as from :func:`cell_plot`.
    """
    import matplotlib
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    shown = [value for _, value in readings] + [day.fitted for day in days] + [day.set_point for day in days] + [ceiling]
    known = [value for value in shown if value is not None] or [0.0, 20.0]
    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=(7.4, 3.6), layout="constrained")
        canvas = FigureCanvasSVG(figure)
        axes = figure.add_subplot()
        axes.set_xlim(0.5, YEAR + 0.5)
        axes.set_ylim(min(known) - 1.5, max(known) + 2.0)
        _draw_schedule(axes, readings, days, ceiling)
        _dress_year(axes, bool(readings), bool(days), len(days) < YEAR)
        return for_inlining(svg_text(canvas), ident, what, describe_schedule(what, readings, days, ceiling))


def _day_runs(days: Sequence[ScheduleDay]) -> list[list[ScheduleDay]]:
    """Stretches of consecutive days from 1 January on."""
    stretches: list[list[ScheduleDay]] = []
    for day in sorted(days, key=lambda day: day.day):
        if stretches and day.day == stretches[-1][-1].day + 1:
            stretches[-1].append(day)
        else:
            stretches.append([day])
    return stretches


def _date(day: int) -> str:
    month = max(place for place, start in enumerate(STARTS) if start < day)
    return f"{day - STARTS[month]} {MONTH_NAMES[month]}"


def _draw_schedule(axes: Axes, readings: Sequence[tuple[int, float]], days: Sequence[ScheduleDay], ceiling: float | None) -> None:
    from matplotlib.patches import Rectangle

    bottom, top = axes.get_ylim()
    stretches = _day_runs(days)
    edges = [0.5, *(edge for run in stretches for edge in (run[0].day - 0.5, run[-1].day + 0.5)), YEAR + 0.5]
    for left, right in zip(edges[::2], edges[1::2], strict=True):
        if right > left:
            axes.add_patch(Rectangle((left, bottom), right - left, top - bottom, zorder=0, **EMPTY))
    if readings:
        axes.plot([day for day, _ in readings], [value for _, value in readings], markersize=2.6, markeredgewidth=0.6, zorder=2, **DOT)
    for run in stretches:
        axes.plot([day.day for day in run], [day.fitted for day in run], color="#555555", linewidth=1.1, linestyle=(0, (2, 1.5)), zorder=4)
        points = [float("nan") if day.set_point is None else day.set_point for day in run]
        axes.step([day.day for day in run], points, where="mid", color="black", linewidth=2.4, solid_capstyle="butt", zorder=5)
    if ceiling is not None:
        axes.axhline(ceiling, color="black", linewidth=2.0, linestyle=(0, (6, 3)), zorder=5)
        paper = {"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.9}
        text = f"ceiling {number(ceiling)} °C: not a temperature to keep"
        axes.annotate(text, (4, ceiling), xytext=(0, 4), textcoords="offset points", ha="left", va="bottom", bbox=paper, zorder=3.5)


def _dress_year(axes: Axes, dots: bool, lines: bool, gaps: bool) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    middles = [(start + end) / 2 + 0.5 for start, end in zip(STARTS, (*STARTS[1:], YEAR), strict=True)]
    axes.set_xticks(middles, [name[:3] for name in MONTH_NAMES])
    axes.tick_params(axis="x", length=0)
    axes.set_ylabel("°C")
    fahrenheit = axes.secondary_yaxis("right", functions=(lambda c: c * 1.8 + 32, lambda f: (f - 32) / 1.8))
    fahrenheit.set_ylabel("°F")
    axes.spines["top"].set_visible(False)
    axes.yaxis.get_major_locator().set_params(integer=True)
    axes.grid(axis="y", color="#dddddd", linewidth=0.6, zorder=-1)
    axes.set_axisbelow(True)
    key: list[Any] = [Line2D([], [], markersize=4, label="one reading", **DOT)] if dots else []
    if lines:
        key.append(Line2D([], [], color="black", linewidth=2.4, label="set point of the day"))
        key.append(Line2D([], [], color="#555555", linewidth=1.1, linestyle=(0, (2, 1.5)), label="the field's course"))
    if gaps:
        key.append(Patch(label="no schedule", **EMPTY))
    axes.legend(handles=key, loc="upper center", bbox_to_anchor=(0.5, -0.09), ncols=len(key), frameon=False, handlelength=1.9)
