"""Logger exports: how a file is written is found from the file or stated in a map, never guessed; then it is read in a stream.

A file is gone through three times, block by block: for its encoding, for its dates (every row must fit), and for its readings.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from pipeline.errors import RillbookError
from pipeline.loggers.dates import ORDER_WORDS, Survey, date_order, survey_of, tokens_of
from pipeline.loggers.layout import Shape, find_shape, moment_of, sample
from pipeline.loggers.map import LoggerMap, Words, offset_of
from pipeline.loggers.text import MOMENT, encoding_of
from pipeline.reading.patterns import search

SERIAL = re.compile(r"(?:S/N|Serial(?: No\.?| Number)?|Registration Number)\W*([0-9A-Za-z]{5,})", re.I)
TITLE = re.compile(r"(?:Plot Title|Title|Location|Name|Logger)\W+(\w.*?)\s*$", re.I)
OFFSET = re.compile(
    r"\b(?:GMT|UTC)\s*([+\-−]\d{1,2}(?::?\d{2})?)|\btime ?zone\W*?([+\-−]?\d{1,2}(?::?\d{2})?)\b|\b(UTC)\b(?!\s*[+\-−\d])", re.I
)


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


def is_export(path: Path) -> bool:
    """Whether a file looks like a logger's: its headings name a time and a temperature or humidity, and no field of rillbook's own keys."""
    try:
        encoding, _ = encoding_of(path)
        shape = find_shape(path, encoding, Words())
    except (RillbookError, UnicodeError):
        return False
    headings = {heading.casefold() for heading in shape.headings}
    own = {"visit_id", "find_id", "point_id", "site_id", "logger_id", "enclosure_id", "test_id", "event_id"}
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


def _groups(pattern: Any, texts: list[str]) -> dict[str, str]:
    match = next((found for text in texts if (found := search(pattern, text))), None) if pattern is not None else None
    return {group: text for group, text in match.groupdict().items() if text} if match is not None else {}
