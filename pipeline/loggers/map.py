"""What a map says of logger files: a TOML file with a `[logger]` section. The words are explained in docs/loggers.md."""

from __future__ import annotations

import hashlib
import re
import string
import tomllib
from dataclasses import dataclass, field, replace
from datetime import timedelta
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from pipeline.errors import RillbookError
from pipeline.reading.patterns import pattern

ORDERS = ("ymd", "mdy", "dmy")
CLOCKS = ("24h", "ampm")
UNITS = ("degC", "degF")
ROLES = ("moment", "date", "clock", "temp_c", "rh_pct", "light", "unit")
WORDS = (
    "name", "name_from_file", "name_from_text", "utc_offset", "time_zone", "date_order", "pivot_year", "clock", "heading_line", "columns",
    "unit", "missing",
)  # fmt: skip


@dataclass(frozen=True)
class Words:
    """What is stated of one kind of file; empty or None where the file must say it itself.

    Attributes
    ----------
    match : str
        Pattern of file names, with ``*`` and ``?``.
    name : str
        Name of the logger, with groups of the two patterns in braces.
    name_from_file, name_from_text : compiled pattern or None
        Patterns with named groups, for the file's name and for a line of its preamble.
    utc_offset : timedelta or None
        Offset of the clock from UTC where the file does not say.
    time_zone : str
        IANA zone of a clock that changes with daylight saving.
    date_order, clock, unit : str
        One of ``ORDERS``, ``CLOCKS``, ``UNITS``.
    pivot_year : int or None
        Two-digit years above it belong to 19xx; without it all belong to 20xx.
    heading_line : int or None
        Line of the headings, from 1; 0 for a file without.
    columns : dict of str to (str or int)
        Heading, or number from 1, of each of ``ROLES``.
    missing : tuple of str
        Texts that mean that there is no value.
    """

    match: str = "*"
    name: str = ""
    name_from_file: Any = None
    name_from_text: Any = None
    utc_offset: timedelta | None = None
    time_zone: str = ""
    date_order: str = ""
    pivot_year: int | None = None
    clock: str = ""
    heading_line: int | None = None
    columns: dict[str, str | int] = field(default_factory=dict)
    unit: str = ""
    missing: tuple[str, ...] = ()


@dataclass(frozen=True)
class LoggerMap:
    """A whole map; `files` are looked through in order, `rest` is for files that none of them matches."""

    title: str = ""
    sha256: str = ""
    rest: Words = field(default_factory=Words)
    files: tuple[Words, ...] = ()

    def words_for(self, file: str) -> Words:
        """What the map says of a file, by its name without folder."""
        return next((one for one in self.files if fnmatchcase(file, one.match)), self.rest)


def is_logger_map(path: Path) -> bool:
    """Whether a map has a `[logger]` section; a map that cannot be read is somebody else's to name."""
    try:
        return "logger" in tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
        return False


def read_logger_map(path: Path) -> LoggerMap:
    """Read a map of logger files.

    Parameters
    ----------
    path : Path
        A TOML file with a `[logger]` section.

    Returns
    -------
    LoggerMap

    Raises
    ------
    RillbookError
        The map says something that it must not; the message names its line.
    """
    return parse_logger_map(path.read_text(encoding="utf-8-sig"), str(path))


def parse_logger_map(text: str, where: str) -> LoggerMap:
    """Read a map from its text; `where` names the file in errors."""
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise RillbookError(f"not valid TOML: {problem}.", "Mend that line.", where) from None
    place = _Place(text, where)
    place.known(document, ("title", "about", "logger"))
    section = document.get("logger")
    if not isinstance(section, dict):
        raise RillbookError("the map has no [logger] section.", "Add one.", where)
    place.known(section, (*WORDS, "file"))
    rest = _words({key: value for key, value in section.items() if key != "file"}, Words(), place)
    entries = section.get("file", [])
    if not isinstance(entries, list) or not all(isinstance(one, dict) for one in entries):
        raise RillbookError("logger.file must be written as [[logger.file]].", "Mend it.", place.at("file"))
    files = []
    for entry in entries:
        place.known(entry, (*WORDS, "match"))
        if not isinstance(entry.get("match"), str):
            raise RillbookError(
                "a [[logger.file]] has no match.", 'Say which files it is for, such as match = "air_*.csv".', place.at("file")
            )
        files.append(_words(entry, rest, place))
    return LoggerMap(str(document.get("title", "")), hashlib.sha256(text.encode()).hexdigest(), rest, tuple(files))


@dataclass(frozen=True)
class _Place:
    """Finds the line of a word, so that a map's own mistakes can be named."""

    text: str
    where: str

    def at(self, word: str) -> str:
        lines = enumerate(self.text.splitlines(), 1)
        return next((f"{self.where}, line {number}" for number, line in lines if re.search(rf"\b{re.escape(word)}\b", line)), self.where)

    def known(self, entry: dict[str, Any], words: tuple[str, ...]) -> None:
        for word in entry:
            if word not in words:
                raise RillbookError(f"unknown word {word!r}.", f"Known here: {', '.join(words)}.", self.at(word))


def _words(entry: dict[str, Any], rest: Words, place: _Place) -> Words:
    read = {
        "match": _text, "name": _text, "name_from_file": _pattern, "name_from_text": _pattern, "utc_offset": _offset, "time_zone": _zone,
        "date_order": _one_of(ORDERS), "pivot_year": _number, "clock": _one_of(CLOCKS), "heading_line": _number, "columns": _columns,
        "unit": _one_of(UNITS), "missing": _texts,
    }  # fmt: skip
    stated = {}
    for word, value in entry.items():
        try:
            stated[word] = read[word](value)
        except ValueError as problem:
            raise RillbookError(
                f"{word} = {value!r} cannot be used: {problem}.", "Mend it; docs/loggers.md explains the words.", place.at(word)
            ) from None
    words = replace(rest, **stated)
    # whoever states one of the two for some files means it in place of the other
    if "time_zone" in stated and "utc_offset" not in stated:
        words = replace(words, utc_offset=None)
    if "utc_offset" in stated and "time_zone" not in stated:
        words = replace(words, time_zone="")
    if words.time_zone and words.utc_offset is not None:
        raise RillbookError("utc_offset and time_zone are both stated.", "A clock has one or the other.", place.at("utc_offset"))
    _check_groups(words, place)
    return words


def _check_groups(words: Words, place: _Place) -> None:
    """Every group in the braces of a name must be in one of its patterns."""
    groups = {group for pattern in (words.name_from_file, words.name_from_text) if pattern is not None for group in pattern.groupindex}
    try:
        wanted = {name for _, name, _, _ in string.Formatter().parse(words.name) if name is not None}
    except ValueError as problem:
        raise RillbookError(f"name = {words.name!r} cannot be used: {problem}.", "Mend its braces.", place.at("name")) from None
    if wanted - groups:
        raise RillbookError(
            f"name has {{{sorted(wanted - groups)[0]}}}, which no pattern gives.", "Name a group so: (?P<plot>[0-9]+).", place.at("name")
        )


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError("it must be text in quote marks")
    return value


def _texts(value: Any) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(type(one) in (str, int, float) for one in value):
        raise ValueError("it must be a list in square brackets")
    return tuple(str(one) for one in value)


def _number(value: Any) -> int:
    if type(value) is not int or value < 0:
        raise ValueError("it must be a whole number")
    return value


def _pattern(value: Any) -> Any:
    try:
        return pattern(_text(value))
    except ValueError as problem:
        raise ValueError(f"it is no regular expression ({problem})") from None


def _offset(value: Any) -> timedelta:
    offset = offset_of(_text(value))
    if offset is None:
        raise ValueError('an offset is written as "-05:00"')
    return offset


def _zone(value: Any) -> str:
    try:
        ZoneInfo(_text(value))
    except (KeyError, ValueError, OSError):
        raise ValueError('a time zone is written as "America/New_York"') from None
    return str(value)


def _one_of(known: tuple[str, ...]) -> Any:
    def read(value: Any) -> str:
        if value not in known:
            raise ValueError(f"it must be one of {', '.join(known)}")
        return str(value)

    return read


def _columns(value: Any) -> dict[str, str | int]:
    if not isinstance(value, dict):
        raise ValueError("it must be a table of columns")
    for role, column in value.items():
        if role not in ROLES:
            raise ValueError(f"{role} is none of {', '.join(ROLES)}")
        if type(column) not in (str, int) or column == 0:
            raise ValueError(f"{role} needs a heading, or a number from 1")
    return dict(value)


def offset_of(text: str) -> timedelta | None:
    """Offset from UTC written as ``-05:00``, ``+0200``, ``-5`` or ``Z``; None for anything else or beyond 14 hours."""
    if text == "Z":
        return timedelta(0)
    match = re.fullmatch(r"([+\-−])(\d{1,2})(?::?([0-5]\d))?", text.strip(), re.ASCII)
    if not match:
        return None
    offset = timedelta(hours=int(match[2]), minutes=int(match[3] or 0))
    return None if offset > timedelta(hours=14) else offset if match[1] == "+" else -offset
