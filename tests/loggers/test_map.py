"""Column maps of loggers: which file they are for, and mistakes named by their line."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

import pytest
from logger_texts import write

from pipeline.errors import RillbookError
from pipeline.loggers.map import is_logger_map, offset_of, parse_logger_map


def test_an_entry_for_some_files_goes_before_the_rest() -> None:
    known = parse_logger_map(
        '[logger]\ntime_zone = "America/New_York"\nname = "rest"\n[[logger.file]]\nmatch = "a*.csv"\nutc_offset = "+01:00"\n', "map"
    )
    assert known.words_for("a1.csv").utc_offset == timedelta(hours=1) and not known.words_for("a1.csv").time_zone
    assert known.words_for("a1.csv").name == "rest" and known.words_for("b.csv").time_zone == "America/New_York"


WRONG_WORDS = {
    "unknown word": ('offset = "-05:00"', "unknown word 'offset'"),
    "offset": ('utc_offset = "EST"', "an offset is written as"),
    "zone": ('time_zone = "Nowhere/Else"', "a time zone is written as"),
    "both": ('utc_offset = "+00:00"\ntime_zone = "UTC"', "both stated"),
    "order": ('date_order = "us"', "one of ymd, mdy, dmy"),
    "pattern": ('name_from_file = "("', "no regular expression"),
    "group": ('name = "{plot}"', "which no pattern gives"),
    "brace": ('name = "{plot"', "Mend its braces"),
    "role": ("columns = { water = 3 }", "water is none of moment"),
    "column": ("columns = { temp_c = 0 }", "a number from 1"),
    "list": ('missing = "-200"', "list in square brackets"),
    "number": ("heading_line = -1", "whole number"),
    "file": ('file = "a"', r"\[\[logger.file\]\]"),
}


@pytest.mark.parametrize("name", WRONG_WORDS)
def test_a_mistake_of_the_map_is_named_with_its_line(name: str) -> None:
    words, message = WRONG_WORDS[name]
    with pytest.raises(RillbookError, match=message) as refused:
        parse_logger_map(f"title = 'x'\n[logger]\n{words}\n", "map.toml")
    assert re.search(r"map\.toml, line [234]", str(refused.value))


def test_a_map_is_for_loggers_by_its_section(tmp_path: Path) -> None:
    assert is_logger_map(write(tmp_path, "[logger]\n", "a.toml"))
    assert not is_logger_map(write(tmp_path, "[[source]]\n", "b.toml")) and not is_logger_map(tmp_path / "none.toml")


@pytest.mark.parametrize(
    ("text", "minutes"),
    [("-05:00", -300), ("+0530", 330), ("-5", -300), ("Z", 0), ("−3", -180), ("EST", None), ("+15:00", None), ("5", None)],
)
def test_offsets(text: str, minutes: int | None) -> None:
    assert offset_of(text) == (None if minutes is None else timedelta(minutes=minutes))
