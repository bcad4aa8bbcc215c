"""How an export is laid out: found in the file, said with its place, refused with a remedy."""

from __future__ import annotations

from pathlib import Path

import pytest
from logger_exports import (
    ISO_OFFSETS,
    NO_HEADING,
    PREAMBLE,
    THREE_TIMES,
    TWO_LINES_12H,
    TWO_LINES_24H,
    UNIT_COLUMN,
)  # fmt: skip
from logger_texts import OFFSET_ONLY, TODAY, stated, write

from pipeline.errors import RillbookError
from pipeline.loggers import exports as logger_files


def test_what_was_found_says_where_it_stands(tmp_path: Path) -> None:
    found = logger_files.inspect(write(tmp_path, TWO_LINES_12H), None, TODAY).found
    assert found["offset"] == "-05:00 (from the file)" and found["unit"] == "degC (from the file)" and found["clock"] == "12 h"
    assert found["dates"] == "month first (the only order that fits every row)"
    found = logger_files.inspect(write(tmp_path, NO_HEADING), OFFSET_ONLY, TODAY).found
    assert found["offset"] == "-05:00 (from the map)" and found["delimiter"] == "tab"


REFUSED = {
    "no offset": (THREE_TIMES, "", "how far its clock is from UTC"),
    "no unit": ("Date Time,Temp\n2020-05-06 10:00,12\n", 'utc_offset = "+00:00"', "°C or °F"),
    "other unit": (TWO_LINES_24H, 'unit = "degF"', "the map says degF, the file says degC"),
    "two temperatures": (
        "Date Time,Temp 1 °C,Temp 2 °C\n2020-05-06 10:00,12,13\n",
        "",
        "several columns could be the temp_c: Temp 1 °C, Temp 2 °C",
    ),
    "two times and no heading": (
        "2020-05-06 10:00,2020-05-06 15:00,12\n2020-05-06 11:00,2020-05-06 16:00,13\n",
        'utc_offset = "+00:00"\nunit = "degC"',
        "several columns could be the moment: 1, 2",
    ),
    "two units": (UNIT_COLUMN.replace("PM,C,19", "PM,F,66"), 'utc_offset = "+00:00"', "column of units holds C, F"),
    "a unit a row": (
        "Date Time,Unit,Value\n" + "".join(f"2020-05-06 10:{n // 60:02d}:{n % 60:02d},u{n},12\n" for n in range(3000)),
        'utc_offset = "+00:00"',
        "column of units holds U0, U1, U10, U100, U1000",
    ),
    "two offsets": (TWO_LINES_24H.replace("Plot Title: 1", "Plot Title: 1 GMT+02:00"), "", "two offsets"),
    "two clocks": (TWO_LINES_12H.replace("10:00:00 PM", "22:00:00"), "", "some clock times have AM or PM"),
    "clock of the map": (TWO_LINES_12H, 'clock = "24h"', "clock = '24h'"),
    "some offsets": (ISO_OFFSETS.replace("Z,", ","), "", "some times have an offset"),
    "no column": ("a,b\n1,2\n", "", "no column of times"),
    "numbers without headings": ("2020-05-06 10:00;4;9.8;-200\n", "", "no column of times"),
    "no dates": ("Date Time,Temp °C\nx,12\n", "", "no row has a date and a clock time"),
    "heading of the map": (THREE_TIMES, 'columns = { temp_c = "warmth" }', "no heading 'warmth'"),
    "stray quote": ('Date Time,Temp °C\n2020-05-06 10:00,"12\n', 'utc_offset = "+00:00"', "no column of times|stray quote"),
    "nothing": ("  \n", "", "the file is empty"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_found_is_refused_with_a_remedy(name: str, tmp_path: Path) -> None:
    text, words, message = REFUSED[name]
    with pytest.raises(RillbookError, match=message):
        logger_files.inspect(write(tmp_path, text), stated(words), TODAY)


NAMED = r"""
name = "{plot}-{depth}"
name_from_file = '_(?P<plot>\d)_(?P<depth>\d+)\.'
name_from_text = '^Location: (?P<plot>\d)[-_](?P<depth>\d+)$'
"""


def test_a_name_comes_from_the_file_and_a_contradiction_is_told(tmp_path: Path) -> None:
    same = logger_files.inspect(write(tmp_path, PREAMBLE, "X_6_30.csv"), stated(NAMED), TODAY)
    assert same.logger_id == "6-30" and not same.contradictions and same.found["logger"] == "from the file's name"
    other = logger_files.inspect(write(tmp_path, PREAMBLE, "X_6_20.csv"), stated(NAMED), TODAY)
    assert other.logger_id == "6-20" and other.contradictions[0][0] == "name_contradicts"
    assert "its name says logger 6-20, its preamble says 6-30" in other.contradictions[0][1]
    assert other.serial == "E30000002E81D921"


def test_what_the_name_lacks_the_preamble_gives(tmp_path: Path) -> None:
    layout = logger_files.inspect(write(tmp_path, PREAMBLE, "X.csv"), stated(NAMED), TODAY)
    assert layout.logger_id == "6-30" and layout.found["logger"] == "from the preamble"
    with pytest.raises(RillbookError, match="neither its name nor its preamble says 'plot'"):
        logger_files.inspect(write(tmp_path, PREAMBLE.replace("6-30", "x"), "X.csv"), stated(NAMED), TODAY)
