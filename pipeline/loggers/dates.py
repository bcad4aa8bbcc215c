"""The dates of a logger's export: one pass over every row finds the order in which they can be read, or shows that there are two."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import lru_cache
from pathlib import Path

import numpy as np

from pipeline.errors import RillbookError
from pipeline.loggers.blocks import CHUNK, Block, blocks_of
from pipeline.loggers.columns import REMEMBERED
from pipeline.loggers.layout import MISSING, Shape, moment_of
from pipeline.loggers.map import ORDERS, Words
from pipeline.loggers.moments import NOT_READ, half_of, zone_of
from pipeline.loggers.text import DAY_US, orders_of

ORDER_WORDS = {"ymd": "year first", "mdy": "month first", "dmy": "day first"}
# Distinct steps that are counted before the rare ones are let go: memory stays small for any file
DISTINCT = 2000
# More units than these are not told of: a file of two is refused already
UNITS_NAMED = 5
AHEAD = timedelta(days=1)


def tokens_of(words: Words) -> tuple[str, ...]:
    """Texts that mean that there is no value, folded."""
    return (*MISSING, *(token.casefold() for token in words.missing))


@dataclass
class Tally:
    """How one order of the dates fares over the whole file; moments and steps in µs, `failed` and `future` name the first such row."""

    failed: str = ""
    future: str = ""
    first: int | None = None
    last: int | None = None
    steps: Counter[int] = field(default_factory=Counter)
    day_steps: Counter[int] = field(default_factory=Counter)
    day_changes: int = 0

    @property
    def step(self) -> int:
        """Commonest step, µs; 0 without any."""
        return max(self.steps.items(), key=lambda item: (item[1], -abs(item[0])), default=(0, 0))[0]

    @property
    def keeps_step(self) -> bool:
        """Whether most changes of the date go by the file's own step."""
        return not self.day_changes or (self.step > 0 and self.day_steps[self.step] * 2 > self.day_changes)


@dataclass
class Survey:
    """What one pass over all rows found: a tally an order, and counts of rows, readings, kinds of clock, offsets, commas and dots."""

    tallies: dict[str, Tally]
    rows: int = 0
    readings: int = 0
    marked: int = 0
    plain: int = 0
    offsets: int = 0
    without_offset: int = 0
    commas: int = 0
    dots: int = 0
    own_orders: set[str] = field(default_factory=set)
    units: set[str] = field(default_factory=set)
    first_text: str = ""
    last_text: str = ""


def survey_of(path: Path, encoding: str, shape: Shape, words: Words, today: date) -> Survey:
    """Go through every row of a file and try every order of its dates.

    Parameters
    ----------
    path, encoding, shape : Path, str, Shape
        The file, and where things stand in it.
    words : Words
        What a map states; with a date order only that one is tried.
    today : date
        Readings more than a day after it lie in the future.

    Returns
    -------
    Survey
    """
    survey = Survey({order: Tally() for order in ((words.date_order,) if words.date_order else ORDERS)})
    tokens = tokens_of(words)
    limit = ((today + AHEAD) - date(1970, 1, 1)).days * DAY_US + DAY_US
    texts: dict[str, str] = {}

    @lru_cache(maxsize=REMEMBERED)
    def signs_of(text: str) -> tuple[bool, bool, bool]:
        """Whether a cell holds a value, a comma, a dot."""
        there = text.casefold() not in tokens
        return there, there and "," in text, there and "." in text

    for block in blocks_of(path, encoding, shape.delimiter, shape.first, CHUNK):
        is_above = survey.rows < shape.first
        survey.rows += len(block.lines)
        if is_above:
            continue
        with_value = np.zeros(len(block.lines), dtype=bool)
        for role in ("temp_c", "rh_pct"):
            cells = block.texts_in(shape.columns.get(role))
            there, comma, dot = np.array(list(map(signs_of, cells.text)), dtype=bool).T
            with_value |= there[cells.code]
            rows_of = np.bincount(cells.code, minlength=len(cells.text))
            survey.commas += int(rows_of[comma].sum())
            survey.dots += int(rows_of[dot].sum())
        if "unit" in shape.columns:
            cells = block.texts_in(shape.columns["unit"])
            units = {cells.text[code].strip("°").upper() for code in np.unique(cells.code[with_value])}
            survey.units = set(sorted(survey.units | units)[:UNITS_NAMED])
        _tally(survey, block, with_value, shape.columns, words, limit, texts)
    survey.first_text, survey.last_text = texts.get("first", ""), texts.get("last", "")
    return survey


def _tally(
    survey: Survey,
    block: Block,
    with_value: np.ndarray,
    columns: dict[str, int],
    words: Words,
    limit: int,
    texts: dict[str, str],
) -> None:
    """Try every order of the dates on one block."""
    found = block.moments(columns)
    rows = np.flatnonzero(found.is_moment)
    if not len(rows):
        return
    tails = np.bincount(found.tail.code[rows], minlength=len(found.tail.text))
    marked = int(tails[[bool(half_of(text)) for text in found.tail.text]].sum())
    zoned = int(tails[[bool(zone_of(text)) for text in found.tail.text]].sum())
    survey.marked += marked
    survey.plain += len(rows) - marked
    survey.offsets += zoned
    survey.without_offset += len(rows) - zoned
    is_reading = with_value[rows]
    survey.readings += int(is_reading.sum())
    written = found.date.code[rows]
    codes = np.flatnonzero(np.bincount(written))
    for code in codes:
        orders = orders_of(found.date.text[code])
        survey.own_orders.add(orders[0] if len(orders) == 1 else "")
    texts.setdefault("first", moment_of(block.row(rows[0]), columns))
    changed = np.concatenate([[texts.get("date", "") != found.date.text[written[0]]], written[1:] != written[:-1]])
    texts["last"], texts["date"] = moment_of(block.row(rows[-1]), columns), found.date.text[written[-1]]
    clocks, shift = found.clocks()[rows], found.offsets()[rows]

    def told(row: int) -> str:
        return f"line {block.lines[row]}, {moment_of(block.row(row), columns)!r}"

    for order, tally in survey.tallies.items():
        day_of_code = found.days_by_code(order, words.pivot_year)
        if (day_of_code[codes] == NOT_READ).all():
            tally.failed = tally.failed or told(rows[0])
            continue
        days = day_of_code[written]
        good = (days != NOT_READ) & (clocks != NOT_READ)
        if not good.all() and not tally.failed:
            tally.failed = told(rows[np.argmin(good)])
        at = np.where(days == NOT_READ, 0, days) * DAY_US + np.where(clocks == NOT_READ, 0, clocks)
        late = good & (at - shift > limit)
        if late.any() and not tally.future:
            tally.future = told(rows[np.argmax(late)])
        _steps(tally, at[is_reading & good], changed[is_reading & good])


def _steps(tally: Tally, moments: np.ndarray, changed: np.ndarray) -> None:
    if not len(moments):
        return
    before = np.concatenate([[moments[0] if tally.last is None else tally.last], moments[:-1]])
    steps = moments - before
    if tally.last is None:
        tally.first, steps, changed = int(moments[0]), steps[1:], changed[1:]
    tally.last = int(moments[-1])
    tally.day_changes += int(changed.sum())
    for counter, some in ((tally.steps, steps), (tally.day_steps, steps[changed])):
        if len(some) and (some == some[0]).all():
            counter[int(some[0])] += len(some)
            continue
        for step, n in zip(*np.unique(some, return_counts=True), strict=True):
            counter[int(step)] += int(n)
        if len(counter) > DISTINCT:
            kept = counter.most_common(DISTINCT // 2)
            counter.clear()
            counter.update(dict(kept))


def date_order(survey: Survey, words: Words, where: str) -> tuple[str, str]:
    """The one order in which the dates can be read, and where it is known from.

    An order is possible if every row is a date in it, none lies in the future, and most changes of the date go by the file's commonest
    step: in a wrong order the day that follows is a month away.

    Raises
    ------
    RillbookError
        No order is possible, or more than one; each is shown.
    """
    if not survey.marked and not survey.plain:
        raise RillbookError(
            "no row has a date and a clock time.", "Write them as 2024-05-31 21:30, or look at the columns of the map.", where
        )
    if survey.marked and survey.plain:
        raise RillbookError("some clock times have AM or PM and some have not.", "Export it again with one kind of clock.", where)
    if words.clock and (words.clock == "ampm") != bool(survey.marked):
        raise RillbookError(f"the map says clock = {words.clock!r}, the file does not.", "Mend the map.", where)
    if words.date_order:
        return words.date_order, "from the map"
    # a year of four digits in front, or a month's name, leaves nothing to find out
    if (
        len(survey.own_orders) == 1
        and (own := next(iter(survey.own_orders)))
        and not survey.tallies[own].failed
        and not survey.tallies[own].future
    ):
        return own, "the dates say it themselves"
    possible = [order for order, one in survey.tallies.items() if not one.failed and not one.future and one.keeps_step]
    if len(possible) == 1:
        return possible[0], "the only order that fits every row"
    if possible:
        shown = "; ".join(f"{ORDER_WORDS[order]} ({order}): {_span(survey.tallies[order])}" for order in possible)
        raise RillbookError(
            f"its dates can be read in {len(possible)} ways, {shown}. Nothing is read.",
            f"State date_order = \"{possible[0]}\" or \"{possible[1]}\" in the [logger] section of a map.", where,
        )  # fmt: skip
    reasons = "; ".join(f"{ORDER_WORDS[order]}: {_reason(one)}" for order, one in survey.tallies.items())
    raise RillbookError(
        f"its dates fit no order: {reasons}.", "Look at those rows, or state date_order in the [logger] section of a map.", where
    )


def _span(tally: Tally) -> str:
    if tally.first is None or tally.last is None:
        return "no reading"
    first, last = (str(np.datetime64(moment, "us").astype("datetime64[m]")).replace("T", " ") for moment in (tally.first, tally.last))
    return f"{first} to {last}"


def _reason(tally: Tally) -> str:
    if tally.failed:
        return f"{tally.failed} is no date"
    if tally.future:
        return f"{tally.future} lies in the future"
    kept = tally.day_steps[tally.step]
    return f"the step of {tally.step / 6e7:g} min breaks at {tally.day_changes - kept} of {tally.day_changes} changes of the date"
