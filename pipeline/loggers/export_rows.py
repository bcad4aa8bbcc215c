"""Rows of a logger export, typed and brought to UTC, part by part."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from pipeline.errors import RillbookError
from pipeline.loggers.blocks import CHUNK, Block, blocks_of
from pipeline.loggers.columns import REMEMBERED
from pipeline.loggers.exports import Layout
from pipeline.loggers.layout import cell_of, moment_of
from pipeline.loggers.moments import NOT_READ
from pipeline.loggers.stream import LINE_END
from pipeline.loggers.text import DAY_US, MOMENT, clock_of, day_of, number_of, offset_us
from schemas.tables import fields

ROLES = ("temp_c", "rh_pct")
FATES = ("heading", "reading", "event", "blank", "held")
# Line, local moment and offset in µs, temperature, humidity
Reading = tuple[int, int, int, float | None, float | None]
# Reader of the cells of each role
Numbers = dict[str, Callable[[str], tuple[bool, float]]]
# Distinct held texts that are told apart in one chunk: memory stays small for any file
DISTINCT = 2000
# Rows whose texts are kept in one
TOGETHER = 128


@dataclass(frozen=True)
class Part:
    """One chunk of a file.

    Attributes
    ----------
    readings : DataFrame
        ``line``, ``read_at`` (UTC), ``temp_c``, ``rh_pct``, ``ambiguous`` and ``skipped`` (daylight saving).
    fates : Counter
        Rows by fate, each of ``FATES``.
    texts : DataFrame
        ``first`` in the chunk, from 0, its ``line``, ``n``, ``fate`` and ``cells`` (JSON, a line a row) of rows that follow one another
        with one fate.
    held : Counter
        ``(field, text, rule)`` to how often; the first line of each is in `held_line`.
    held_line : dict
        First line of each key of `held`.
    values : Counter
        Values by column and fate: ``temp_c``, ``rh_pct``, ``light``, each ``missing`` or ``held``.
    """

    readings: pd.DataFrame
    fates: Counter[str]
    texts: pd.DataFrame
    held: Counter[tuple[str, str, str]]
    held_line: dict[tuple[str, str, str], int]
    values: Counter[str]


def parts(layout: Layout, chunk: int = CHUNK) -> Iterator[Part]:
    """Read a file in chunks.

    Parameters
    ----------
    layout : Layout
        As :func:`inspect` found it.
    chunk : int
        Rows at a time.

    Yields
    ------
    Part

    Raises
    ------
    RillbookError
        The file changed since it was looked at.
    """
    seen, numbers = 0, {role: _numbers(layout, role) for role in ROLES}
    for block in blocks_of(layout.path, layout.encoding, layout.shape.delimiter, layout.shape.first, chunk):
        yield _above(layout, block) if seen < layout.shape.first else _part(layout, numbers, block)
        seen += len(block.lines)
    if seen != layout.rows:
        raise RillbookError("the file changed while it was read.", "Close it in other programs and try again.", str(layout.path))


def _above(layout: Layout, block: Block) -> Part:
    """The preamble and the headings."""
    none = np.zeros(0, dtype="int64")
    nothing = _typed(layout, none, none, none, {role: np.zeros(0) for role in ROLES})
    fates = np.full(len(block.lines), FATES.index("heading"), dtype="int8")
    return Part(nothing, *_texts(block, fates), Counter(), {}, Counter())


def _part(layout: Layout, read: Numbers, block: Block) -> Part:
    held: Counter[tuple[str, str, str]] = Counter()
    held_line: dict[tuple[str, str, str], int] = {}
    values: Counter[str] = Counter()

    def hold(line: int, name: str, text: str, rule: str) -> None:
        key = (name, text[:80], rule) if len(held) < DISTINCT else (name, "…", rule)
        held[key] += 1
        held_line.setdefault(key, line)

    at, offset, is_plain, numbers = _plain(layout, read, block, values)
    fates = np.full(len(is_plain), FATES.index("reading"), dtype="int8")
    is_reading = is_plain.copy()
    for place in np.flatnonzero(~is_plain):
        fate, reading = _read_row(layout, int(block.lines[place]), block.row(int(place)), hold, values)
        fates[place] = FATES.index(fate)
        if reading is not None:
            is_reading[place] = True
            _, at[place], offset[place], *both = reading
            for role, number in zip(ROLES, both, strict=True):
                numbers[role][place] = np.nan if number is None else number
    taken = {role: number[is_reading] for role, number in numbers.items()}
    readings = _typed(layout, block.lines[is_reading], at[is_reading], offset[is_reading], taken)
    return Part(readings, *_texts(block, fates), held, held_line, values)


def _texts(block: Block, fates: np.ndarray) -> tuple[Counter[str], pd.DataFrame]:
    """Rows by fate, and their texts, many in one: the database is handed a hundredth of them, and parts them itself."""
    rows, text = len(fates), block.as_json().encode()
    breaks = np.flatnonzero((np.diff(block.lines) != 1) | (np.diff(fates) != 0)) + 1
    first = np.union1d(np.arange(0, rows, TOGETHER), breaks)
    after = np.append(first[1:], rows)
    ends = np.append(np.flatnonzero(np.frombuffer(text, "uint8") == LINE_END), len(text))
    begins = np.append(0, ends[:-1] + 1)
    cells = [text[begin:end].decode() for begin, end in zip(begins[first].tolist(), ends[after - 1].tolist(), strict=True)]
    fate = np.array(FATES, dtype=object)[fates[first]]
    counted = dict(zip(FATES, np.bincount(fates, minlength=len(FATES)).tolist(), strict=True))
    frame = {"first": first, "line": block.lines[first], "n": after - first, "fate": fate, "cells": np.array(cells, dtype=object)}
    return Counter({name: n for name, n in counted.items() if n}), pd.DataFrame(frame, copy=False)


def _plain(
    layout: Layout, read: Numbers, block: Block, values: Counter[str]
) -> tuple[np.ndarray, np.ndarray, np.ndarray, dict[str, np.ndarray]]:
    """Local moments and offsets, µs, the rows in which all can be read, and the values of both roles; the rest is for row by row."""
    columns = layout.shape.columns
    moments = block.moments(columns)
    day, clock, offset = moments.days(layout.date_order, layout.pivot_year), moments.clocks(), moments.offsets()
    is_plain = moments.is_moment & (day != NOT_READ) & (clock != NOT_READ)
    at = np.where(is_plain, day, 0) * DAY_US + np.where(is_plain, clock, 0)
    numbers, missing, any_value = {}, {}, np.zeros(len(at), dtype=bool)
    for role in ROLES:
        cells = block.texts_in(columns.get(role))
        missing_number = cells.each(read[role], "float64")
        missing[role], numbers[role] = missing_number[:, 0].astype("bool"), missing_number[:, 1]
        is_plain &= missing[role] | ~np.isnan(numbers[role])
        any_value |= ~np.isnan(numbers[role])
    is_plain &= any_value
    for role in ROLES:
        values[role] += int((is_plain & ~missing[role]).sum())
        values[f"{role} missing"] += int((is_plain & missing[role]).sum()) * (role in columns)
    light = block.texts_in(columns.get("light")).each(lambda text: text.casefold() not in layout.missing, "bool")
    values["light"] += int((is_plain & light).sum())
    return at, offset, is_plain, numbers


def _numbers(layout: Layout, role: str) -> Callable[[str], tuple[bool, float]]:
    """How the cells of a column are read."""
    low, high = fields("logger_readings")[role].possible or (float("-inf"), float("inf"))

    @lru_cache(maxsize=REMEMBERED)
    def read(text: str) -> tuple[bool, float]:
        """Whether nothing is there, and the value in the book's unit; nan where it is missing, unreadable or not possible."""
        is_missing = text.casefold() in layout.missing
        number = None if is_missing else number_of(text, layout.decimal_comma)
        if number is not None and role == "temp_c" and layout.unit == "degF":
            number = (number - 32) / 1.8
        return is_missing, number if number is not None and low <= number <= high else float("nan")

    return read


def _read_row(
    layout: Layout, line: int, row: list[str], hold: Callable[[int, str, str, str], None], values: Counter[str]
) -> tuple[str, Reading | None]:
    """Fate of one row, and its reading."""
    columns = layout.shape.columns
    moment = moment_of(row, columns)
    numbers: dict[str, float] = {}
    faults = []
    for role in ROLES:
        text = cell_of(row, columns.get(role))
        if text.casefold() in layout.missing:
            values[f"{role} missing"] += role in columns
            continue
        number = number_of(text, layout.decimal_comma)
        if number is not None and role == "temp_c" and layout.unit == "degF":
            number = (number - 32) / 1.8
        low, high = fields("logger_readings")[role].possible or (float("-inf"), float("inf"))
        if number is not None and low <= number <= high:
            numbers[role] = number
        else:
            faults.append((role, text, "unreadable" if number is None else "not_possible"))
    match = MOMENT.fullmatch(moment)
    day = None if match is None else day_of(match[1], layout.date_order, layout.pivot_year)
    clock = None if match is None else clock_of(match[2], match[3])
    if numbers and (match is None or day is None or clock is None):
        faults.append(("read_at", moment, "unreadable"))
        values.update(f"{role} held" for role in numbers)
        numbers = {}
    for role, text, rule in faults:
        hold(line, role, text, rule)
        values[f"{role} held"] += role != "read_at"
    values["light"] += cell_of(row, columns.get("light")).casefold() not in layout.missing
    if numbers:
        values.update(numbers.keys())
        assert match is not None and day is not None and clock is not None
        offset = (offset_us(match[4]) or 0) if match[4] else 0
        return "reading", (line, day * DAY_US + clock, offset, numbers.get("temp_c"), numbers.get("rh_pct"))
    if faults:
        return "held", None
    if match is None and moment and not any(cell_of(row, place) for place in layout.shape.others):
        return "event", None
    return ("event" if any(cell_of(row, place) for place in layout.shape.others) else "blank"), None


def _typed(layout: Layout, line: np.ndarray, at: np.ndarray, offset: np.ndarray, numbers: dict[str, np.ndarray]) -> pd.DataFrame:
    local = pd.Series(at.astype("datetime64[us]"))
    none = np.zeros(len(local), dtype=bool)
    ambiguous, skipped = none, none
    if layout.time_zone:
        utc, ambiguous, skipped = to_utc(local, layout.time_zone)
    elif layout.offset is not None:
        utc = local - pd.Timedelta(layout.offset)
    else:
        utc = local - pd.to_timedelta(offset, unit="us")
    return pd.DataFrame({"line": line, "read_at": utc.astype("datetime64[us]"), **numbers, "ambiguous": ambiguous, "skipped": skipped})


def to_utc(local: pd.Series, time_zone: str) -> tuple[pd.Series, np.ndarray, np.ndarray]:
    """Instants of a clock that follows daylight saving.

    Parameters
    ----------
    local : Series of datetime64
        As the clock says.
    time_zone : str
        IANA zone.

    Returns
    -------
    utc : Series of datetime64
        A repeated hour is read as standard time, a skipped one moves forward.
    ambiguous, skipped : ndarray of bool
        Times in the hour that came twice, and in the hour that never was.
    """
    zone = ZoneInfo(time_zone)
    n = len(local)
    winter = (
        local.dt.tz_localize(zone, ambiguous=np.zeros(n, dtype=bool), nonexistent="shift_forward").dt.tz_convert("UTC").dt.tz_localize(None)
    )
    summer = (
        local.dt.tz_localize(zone, ambiguous=np.ones(n, dtype=bool), nonexistent="shift_forward").dt.tz_convert("UTC").dt.tz_localize(None)
    )
    there = local.dt.tz_localize(zone, ambiguous=np.zeros(n, dtype=bool), nonexistent="NaT")
    return winter, (winter != summer).to_numpy(), there.isna().to_numpy()


def resolve(layout: Layout, known: list[str]) -> Layout:
    """Give a layout its logger: the map's name, or the only logger of the book that the file calls itself by.

    Raises
    ------
    RillbookError
        The book has no such logger, or the file calls itself by two of them.
    """
    where = str(layout.path)
    shown = (
        f"The book has {', '.join(known[:8])}{' …' if len(known) > 8 else ''}."
        if known
        else "The book has no loggers yet: load loggers.csv first."
    )
    if layout.logger_id:
        if layout.logger_id in known:
            return layout
        raise RillbookError(f"logger {layout.logger_id} is not in the book.", shown, where)
    named = [one for one in layout.names if one in known]
    if len(named) == 1:
        return replace(layout, logger_id=named[0], found={**layout.found, "logger": "the file calls itself so"})
    if named:
        raise RillbookError(f"the file calls itself by two loggers: {' and '.join(named)}.", "State its name in a map.", where)
    raise RillbookError(
        f"which logger is this? The file calls itself {', '.join(layout.names)}.", f"{shown} State the name in a map.", where
    )
