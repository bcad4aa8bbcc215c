"""Logger exports: how a file is written is found from the file or stated in a map, never guessed; then it is read in a stream.

A file is gone through three times, block by block: for its encoding, for its dates (every row must fit), and for its readings.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import islice
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from pipeline.errors import RillbookError
from pipeline.loggers.dates import CHUNK, ORDER_WORDS, Survey, date_order, survey_of, tokens_of
from pipeline.loggers.layout import Shape, cell_of, find_shape, moment_of, sample
from pipeline.loggers.map import LoggerMap, Words, offset_of
from pipeline.loggers.text import DAY_US, MOMENT, clock_of, day_of, encoding_of, number_of, offset_us, rows_of
from schemas.tables import fields

FATES = ("heading", "reading", "event", "blank", "held")
SERIAL = re.compile(r"(?:S/N|Serial(?: No\.?| Number)?|Registration Number)\W*([0-9A-Za-z]{5,})", re.I)
TITLE = re.compile(r"(?:Plot Title|Title|Location|Name|Logger)\W+(\w.*?)\s*$", re.I)
OFFSET = re.compile(
    r"\b(?:GMT|UTC)\s*([+\-−]\d{1,2}(?::?\d{2})?)|\btime ?zone\W*?([+\-−]?\d{1,2}(?::?\d{2})?)\b|\b(UTC)\b(?!\s*[+\-−\d])", re.I
)
# Line, local moment and offset in µs, temperature, humidity
Reading = tuple[int, int, int, float | None, float | None]
# Distinct held texts that are told apart in one chunk: memory stays small for any file
DISTINCT = 2000


@dataclass(frozen=True)
class Layout:
    """How one file is written, and where each piece of that is known from.

    Attributes
    ----------
    path, encoding, sha256 : Path, str, str
        The file.
    shape : Shape
        Delimiter, headings, columns.
    date_order : str
        ymd, mdy or dmy.
    pivot_year : int or None
        As in the map.
    decimal_comma : bool
        Commas stand before the fractions of its numbers.
    unit : str
        degC or degF.
    offset : timedelta or None
        Offset of its clock from UTC; None where `time_zone` is set or every row states its own.
    time_zone : str
        Zone of a clock that changes with daylight saving.
    step_s : float
        Commonest step between readings, s; nan for fewer than two readings.
    missing : tuple of str
        Texts that mean no value, folded.
    logger_id : str
        Name by the map; empty where the map gives none.
    names : tuple of str
        What the file calls itself: its stem, serial number and title.
    serial : str
        Serial number, empty where the file states none.
    contradictions : tuple of tuple of str
        Rule, message and remedy of what disagrees.
    found : dict of str to str
        What was found, with where it stands.
    rows : int
        Rows counted.
    readings : int
        Rows with a reading.
    """

    path: Path
    encoding: str
    sha256: str
    shape: Shape
    date_order: str
    pivot_year: int | None
    decimal_comma: bool
    unit: str
    offset: timedelta | None
    time_zone: str
    step_s: float
    missing: tuple[str, ...]
    logger_id: str
    names: tuple[str, ...]
    serial: str
    contradictions: tuple[tuple[str, str, str], ...]
    found: dict[str, str]
    rows: int
    readings: int


@dataclass(frozen=True)
class Part:
    """One chunk of a file.

    Attributes
    ----------
    readings : DataFrame
        ``line``, ``read_at`` (UTC), ``temp_c``, ``rh_pct``, ``ambiguous`` and ``skipped`` (daylight saving).
    rows : DataFrame
        ``line``, ``fate`` (one of ``FATES``) and ``cells`` (JSON) of every row.
    held : Counter
        ``(field, text, rule)`` to how often; the first line of each is in `held_line`.
    held_line : dict
        First line of each key of `held`.
    values : Counter
        Values by column and fate: ``temp_c``, ``rh_pct``, ``light``, each ``missing`` or ``held``.
    """

    readings: pd.DataFrame
    rows: pd.DataFrame
    held: Counter[tuple[str, str, str]]
    held_line: dict[tuple[str, str, str], int]
    values: Counter[str]


def is_export(path: Path) -> bool:
    """Whether a file looks like a logger's: its headings name a time and a temperature or humidity, and no field of rillbook's own keys."""
    try:
        encoding, _ = encoding_of(path)
        shape = find_shape(path, encoding, Words())
    except (RillbookError, UnicodeError):
        return False
    headings = {heading.casefold() for heading in shape.headings}
    own = {"visit_id", "find_id", "point_id", "site_id", "logger_id", "enclosure_id"}
    dated = sum(MOMENT.fullmatch(moment_of(row, shape.columns)) is not None for row in sample(path, encoding, shape))
    return not headings & own and dated > 0


def inspect(path: Path, known: LoggerMap | None = None, today: date | None = None) -> Layout:
    """Find out how a file is written.

    Parameters
    ----------
    path : Path
        A logger's export.
    known : LoggerMap, optional
        What a map states.
    today : date, optional
        Readings more than a day after it lie in the future.

    Returns
    -------
    Layout

    Raises
    ------
    RillbookError
        Something cannot be found and is not stated, or can be read in two ways; both are shown.
    """
    words = (known or LoggerMap()).words_for(path.name)
    encoding, sha256 = encoding_of(path)
    shape = find_shape(path, encoding, words)
    survey = survey_of(path, encoding, shape, words, today or date.today())
    order, order_from = date_order(survey, words, str(path))
    unit, unit_from = _unit(shape, survey, words, str(path))
    offset, zone, offset_from, contradictions = _offset(shape, survey, words, str(path))
    logger_id, name_from, named = _name(path, shape, words)
    serial = next((match[1] for text in (*shape.preamble, *shape.headings) if (match := SERIAL.search(text))), "")
    titles = [match[1] for text in shape.preamble if (match := TITLE.search(text))]
    tally = survey.tallies[order]
    found = {
        "encoding": encoding, "delimiter": {"\t": "tab"}.get(shape.delimiter, shape.delimiter), "first row": str(shape.first + 1),
        "dates": f"{ORDER_WORDS[order]} ({order_from})", "clock": "12 h" if survey.marked else "24 h", "unit": f"{unit} ({unit_from})",
        "offset": f"{zone or ('in each row' if offset is None else offset_text(offset))} ({offset_from})", "logger": name_from,
    }  # fmt: skip
    return Layout(
        path=path, encoding=encoding, sha256=sha256, shape=shape, date_order=order, pivot_year=words.pivot_year,
        decimal_comma=survey.commas > 0 and not survey.dots, unit=unit, offset=offset, time_zone=zone,
        step_s=tally.step / 1e6 if tally.step else float("nan"), missing=tokens_of(words), logger_id=logger_id,
        names=tuple(dict.fromkeys(name for name in (path.stem, serial, *titles) if name)), serial=serial,
        contradictions=(*contradictions, *named), found=found, rows=survey.rows, readings=survey.readings,
    )  # fmt: skip


def offset_text(offset: timedelta) -> str:
    """An offset as ``-05:00``."""
    minutes = round(offset.total_seconds() / 60)
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def _unit(shape: Shape, survey: Survey, words: Words, where: str) -> tuple[str, str]:
    if "temp_c" not in shape.columns:
        return "degC", "no temperature"
    stated = shape.unit
    if not stated and "unit" in shape.columns:
        if len(survey.units) > 1 or not survey.units <= {"C", "F"}:
            raise RillbookError(f"its column of units holds {', '.join(sorted(survey.units))}.", "One of C and F is needed.", where)
        stated = "deg" + next(iter(survey.units), "C")
    if stated and words.unit and stated != words.unit:
        raise RillbookError(f"the map says {words.unit}, the file says {stated}.", "Mend the map; the file knows its unit.", where)
    if not stated and not words.unit:
        raise RillbookError(
            "the file does not say whether it holds °C or °F.", 'State unit = "degC" or "degF" in the [logger] section of a map.', where
        )
    return stated or words.unit, "from the file" if stated else "from the map"


def _offset(shape: Shape, survey: Survey, words: Words, where: str) -> tuple[timedelta | None, str, str, list[tuple[str, str, str]]]:
    """Offset or zone of the clock, where it is known from, and what disagrees."""
    if survey.offsets:
        if survey.without_offset:
            raise RillbookError("some times have an offset from UTC and some have not.", "Export it again.", where)
        return None, "", "from the file", []
    stated: dict[timedelta, str] = {}
    for text in (*shape.headings, *shape.preamble):
        for match in OFFSET.finditer(text):
            sign = match[1] or match[2] or "+0"
            offset = offset_of(sign if sign[0] in "+-−" else f"+{sign}")
            if offset is not None:
                stated.setdefault(offset, text)
    if len(stated) > 1:
        raise RillbookError(
            f"it states two offsets from UTC: {' and '.join(offset_text(one) for one in stated)}.",
            "Export it again with one of them.",
            where,
        )
    if stated:
        (offset,) = stated
        if words.utc_offset is not None and words.utc_offset != offset:
            message = f"the file says UTC{offset_text(offset)}, the map {offset_text(words.utc_offset)}; the file's is taken."
            return offset, "", "from the file", [("offset_contradicts", message, "Mend the map, or give this file an entry of its own.")]
        return offset, "", "from the file", []
    if words.time_zone or words.utc_offset is not None:
        return words.utc_offset, words.time_zone, "from the map", []
    raise RillbookError(
        "the file does not say how far its clock is from UTC.",
        'In the [logger] section of a map state utc_offset = "-05:00" for a clock that never changes, or time_zone = "America/New_York" '
        "for one that follows daylight saving.", where,
    )  # fmt: skip


def _name(path: Path, shape: Shape, words: Words) -> tuple[str, str, list[tuple[str, str, str]]]:
    """Name of the logger by the map, where it is from, and what contradicts it."""
    if not words.name:
        return "", "not named by a map", []
    by_file = _groups(words.name_from_file, [path.name])
    by_text = _groups(words.name_from_text, list(shape.preamble))
    try:
        name = words.name.format(**{**by_text, **by_file})
    except KeyError as problem:
        raise RillbookError(
            f"neither its name nor its preamble says {problem.args[0]!r} of the logger.",
            "Mend the patterns, or give this file an entry of its own.",
            str(path),
        ) from None
    whole = by_file and all(group in by_file for group in re.findall(r"{(\w+)}", words.name))
    name_from = "from the file's name" if whole else "from the map" if not re.search(r"{\w+}", words.name) else "from the preamble"
    differing = [group for group in by_text if by_file.get(group, by_text[group]) != by_text[group]]
    said = words.name.format(**{**by_file, **by_text}) if by_text else name
    if not differing and said == name:
        return name, name_from, []
    message = f"its name says logger {name}, its preamble says {said}; {name} is taken."
    return (
        name,
        name_from,
        [("name_contradicts", message, "Find out which is right; if the preamble is, give this file an entry in the map.")],
    )


def _groups(pattern: re.Pattern[str] | None, texts: list[str]) -> dict[str, str]:
    match = next((found for text in texts if (found := pattern.search(text))), None) if pattern is not None else None
    return {group: text for group, text in match.groupdict().items() if text} if match is not None else {}


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
    rows = rows_of(layout.path, layout.encoding, layout.shape.delimiter)
    seen, readings = 0, 0
    while some := list(islice(rows, chunk)):
        part = _part(layout, some, max(0, layout.shape.first - seen))
        seen += len(some)
        readings += len(part.readings)
        yield part
    if seen != layout.rows:
        raise RillbookError("the file changed while it was read.", "Close it in other programs and try again.", str(layout.path))


def _part(layout: Layout, rows: list[tuple[int, list[str]]], heading: int) -> Part:
    held: Counter[tuple[str, str, str]] = Counter()
    held_line: dict[tuple[str, str, str], int] = {}
    values: Counter[str] = Counter()
    fates, taken = ["heading"] * heading, []

    def hold(line: int, name: str, text: str, rule: str) -> None:
        key = (name, text[:80], rule) if len(held) < DISTINCT else (name, "…", rule)
        held[key] += 1
        held_line.setdefault(key, line)

    for line, row in rows[heading:]:
        fate, reading = _read_row(layout, line, row, hold, values)
        fates.append(fate)
        if reading is not None:
            taken.append(reading)
    texts = [json.dumps(row, ensure_ascii=False) for _, row in rows]
    source = pd.DataFrame({"line": [line for line, _ in rows], "fate": fates, "cells": texts})
    return Part(_typed(layout, taken), source, held, held_line, values)


def _read_row(
    layout: Layout, line: int, row: list[str], hold: Callable[[int, str, str, str], None], values: Counter[str]
) -> tuple[str, Reading | None]:
    """Fate of one row, and its reading."""
    columns = layout.shape.columns
    moment = moment_of(row, columns)
    numbers: dict[str, float] = {}
    faults = []
    for role in ("temp_c", "rh_pct"):
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


def _typed(layout: Layout, taken: list[Reading]) -> pd.DataFrame:
    columns = list(zip(*taken, strict=True)) or [()] * 5
    local = pd.Series(np.array(columns[1], dtype="int64").astype("datetime64[us]"))
    none = np.zeros(len(local), dtype=bool)
    ambiguous, skipped = none, none
    if layout.time_zone:
        utc, ambiguous, skipped = to_utc(local, layout.time_zone)
    elif layout.offset is not None:
        utc = local - pd.Timedelta(layout.offset)
    else:
        utc = local - pd.to_timedelta(np.array(columns[2], dtype="int64"), unit="us")
    return pd.DataFrame({
        "line": np.array(columns[0], dtype="int64"), "read_at": utc.astype("datetime64[us]"),
        "temp_c": np.array(columns[3], dtype="float64"), "rh_pct": np.array(columns[4], dtype="float64"),
        "ambiguous": ambiguous, "skipped": skipped,
    })  # fmt: skip


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
