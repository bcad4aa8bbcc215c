"""Logger exports: every layout is read right or refused; nothing is guessed, nothing is dropped, memory does not grow with the file.

The hand-made files follow the layouts of real exports: those of djhocking/sparcnetfsu @7b45907 (CC0) and ibot-geoecology/myClim @45e0bd6.
The counts of the real files (118 files, 210,873 temperatures, 8,846 light values; 20,881 readings in four layouts; -200 for no sensor) are
those of the README of the open data.
"""

from __future__ import annotations

import re
import tracemalloc
from collections import Counter
from datetime import date, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from logger_exports import (
    DECIMAL_COMMA,
    FAHRENHEIT,
    INDEXED,
    ISO_OFFSETS,
    MONTH_NAMES,
    NO_HEADING,
    PREAMBLE,
    THREE_TIMES,
    TWO_LINES_12H,
    TWO_LINES_24H,
    UNIT_COLUMN,
    UNITS_BELOW,
)  # fmt: skip

from pipeline.errors import RillbookError
from pipeline.loggers import dates as logger_dates
from pipeline.loggers import export_rows
from pipeline.loggers import exports as logger_files
from pipeline.loggers import text as logger_text
from pipeline.loggers.exports import Layout
from pipeline.loggers.map import LoggerMap, is_logger_map, offset_of, parse_logger_map, read_logger_map
from schemas.tables import fields

TODAY = date(2024, 1, 1)
MAPS = Path(__file__).resolve().parents[2] / "data" / "column_maps"
STATED = parse_logger_map('[logger]\nutc_offset = "-05:00"\nunit = "degC"\n', "map")


def write(folder: Path, text: str | bytes, name: str = "export.csv", encoding: str = "utf-8") -> Path:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
    return path


def stated(words: str) -> LoggerMap:
    return parse_logger_map(f"[logger]\n{words}\n", "map")


def read(layout: Layout, chunk: int = 20_000) -> tuple[pd.DataFrame, Counter[str], Counter[tuple[str, str, str]], Counter[str]]:
    """Readings, rows by fate, held texts and values of a whole file."""
    frames, fates, held, values = [], Counter[str](), Counter[tuple[str, str, str]](), Counter[str]()
    for part in export_rows.parts(layout, chunk):
        frames.append(part.readings)
        fates.update(part.rows["fate"])
        held.update(part.held)
        values.update(part.values)
    assert sum(fates.values()) == layout.rows
    return pd.concat(frames, ignore_index=True), fates, held, +values


def times(frame: pd.DataFrame) -> list[str]:
    return [str(moment) for moment in frame["read_at"]]


LAYOUTS = {
    "two lines, 24 h": (TWO_LINES_24H, {"heading": 2, "reading": 3, "event": 1}),
    "two lines, 12 h": (TWO_LINES_12H, {"heading": 2, "reading": 3, "event": 1}),
    "preamble": (PREAMBLE, {"heading": 7, "reading": 3, "event": 1}),
    "date_time, date, time": (THREE_TIMES, {"heading": 1, "reading": 3}),
    "index, date, time": (INDEXED, {"heading": 1, "reading": 3}),
    "unit column": (UNIT_COLUMN, {"heading": 5, "reading": 3}),
    "no heading": (NO_HEADING, {"reading": 3}),
    "decimal comma": (DECIMAL_COMMA, {"heading": 1, "reading": 3, "event": 1}),
    "fahrenheit": (FAHRENHEIT, {"heading": 1, "reading": 3}),
    "units below": (UNITS_BELOW, {"heading": 2, "reading": 3}),
    "offset in each row": (ISO_OFFSETS, {"heading": 1, "reading": 3}),
    "month names": (MONTH_NAMES, {"heading": 1, "reading": 3}),
}
OFFSET_ONLY = stated('utc_offset = "-05:00"')


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("name", LAYOUTS)
def test_each_layout_gives_the_same_readings(name: str, encoding: str, tmp_path: Path) -> None:
    text, fates = LAYOUTS[name]
    path = write(tmp_path, text, encoding=encoding)
    assert logger_files.is_export(path)
    frame, rows, held, _ = read(logger_files.inspect(path, OFFSET_ONLY, TODAY))
    assert times(frame) == ["2017-12-17 01:00:00", "2017-12-17 03:00:00", "2017-12-17 05:00:00"]
    np.testing.assert_allclose(frame["temp_c"], [20.5, 19, 18.5], atol=1e-9)
    assert rows == fates and not held


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends_do_not_matter(end: str, tmp_path: Path) -> None:
    frame, rows, _, _ = read(logger_files.inspect(write(tmp_path, PREAMBLE.replace("\n", end)), None, TODAY))
    assert len(frame) == 3 and rows["heading"] == 7


def test_what_was_found_says_where_it_stands(tmp_path: Path) -> None:
    found = logger_files.inspect(write(tmp_path, TWO_LINES_12H), None, TODAY).found
    assert found["offset"] == "-05:00 (from the file)" and found["unit"] == "degC (from the file)" and found["clock"] == "12 h"
    assert found["dates"] == "month first (the only order that fits every row)"
    found = logger_files.inspect(write(tmp_path, NO_HEADING), OFFSET_ONLY, TODAY).found
    assert found["offset"] == "-05:00 (from the map)" and found["delimiter"] == "tab"


def test_light_values_are_counted_and_are_no_readings(tmp_path: Path) -> None:
    frame, _, _, values = read(logger_files.inspect(write(tmp_path, TWO_LINES_24H), None, TODAY))
    assert values == {"temp_c": 3, "light": 3, "temp_c missing": 1} and list(frame["rh_pct"].isna()) == [True] * 3


def test_humidity_is_read_beside_the_temperature(tmp_path: Path) -> None:
    frame, _, _, values = read(logger_files.inspect(write(tmp_path, DECIMAL_COMMA), OFFSET_ONLY, TODAY))
    assert frame["rh_pct"].tolist()[:2] == [80.25, 81] and np.isnan(frame["rh_pct"][2])
    assert values["rh_pct missing"] == 2


# Two orders stay possible only while no change of the date tells them apart.
def test_dates_that_can_be_read_in_two_ways_are_refused_and_both_are_shown(tmp_path: Path) -> None:
    path = write(tmp_path, "Date Time,Temp °C\n03/04/2020 10:00,12\n03/04/2020 11:00,12.5\n03/04/2020 12:00,13\n")
    with pytest.raises(RillbookError, match="can be read in 2 ways") as refused:
        logger_files.inspect(path, OFFSET_ONLY, TODAY)
    assert "month first (mdy): 2020-03-04 10:00 to 2020-03-04 12:00" in str(refused.value)
    assert "day first (dmy): 2020-04-03 10:00 to 2020-04-03 12:00" in str(refused.value)
    assert 'date_order = "mdy" or "dmy"' in str(refused.value)
    layout = logger_files.inspect(path, stated('utc_offset = "+00:00"\ndate_order = "dmy"'), TODAY)
    assert times(read(layout)[0])[0] == "2020-04-03 10:00:00"


def test_the_step_tells_two_orders_apart(tmp_path: Path) -> None:
    rows = [datetime(2020, 4, 3) + timedelta(hours=n) for n in range(60)]
    path = write(tmp_path, "Date Time,Temp °C\n" + "\n".join(f"{at:%d/%m/%Y %H:%M},12" for at in rows))
    assert logger_files.inspect(path, OFFSET_ONLY, TODAY).date_order == "dmy"


def test_an_order_in_the_future_is_not_possible(tmp_path: Path) -> None:
    path = write(tmp_path, "Date Time,Temp °C\n03/04/2020 10:00,12\n03/04/2020 11:00,12.5\n")
    assert logger_files.inspect(path, OFFSET_ONLY, date(2020, 3, 20)).date_order == "mdy"


def test_one_row_that_does_not_fit_refuses_the_order(tmp_path: Path) -> None:
    text = "Date Time,Temp °C\n03/04/2020 10:00,12\n03/04/2020 11:00,12.5\n03/14/2020 12:00,13\n14/03/2020 13:00,13\n"
    with pytest.raises(RillbookError, match=r"fit no order.*month first: line 5, '14/03/2020 13:00' is no date; day first: line 4"):
        logger_files.inspect(write(tmp_path, text), OFFSET_ONLY, TODAY)


def test_a_12_hour_clock_without_am_and_pm_is_refused(tmp_path: Path) -> None:
    rows = [datetime(2020, 5, 20) + timedelta(hours=n) for n in range(72)]
    text = "Date Time,Temp °C\n" + "\n".join(f"{at:%m/%d/%Y %I:%M},12" for at in rows)
    with pytest.raises(RillbookError, match="the step of 60 min breaks at 2 of 2 changes of the date"):
        logger_files.inspect(write(tmp_path, text), OFFSET_ONLY, TODAY)


REFUSED = {
    "no offset": (THREE_TIMES, "", "how far its clock is from UTC"),
    "no unit": ("Date Time,Temp\n2020-05-06 10:00,12\n", 'utc_offset = "+00:00"', "°C or °F"),
    "other unit": (TWO_LINES_24H, 'unit = "degF"', "the map says degF, the file says degC"),
    "two temperatures": (
        "Date Time,Temp 1 °C,Temp 2 °C\n2020-05-06 10:00,12,13\n",
        "",
        "several columns could be the temp_c: Temp 1 °C, Temp 2 °C",
    ),
    "two units": (UNIT_COLUMN.replace("PM,C,19", "PM,F,66"), 'utc_offset = "+00:00"', "column of units holds C, F"),
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


def test_binary_and_half_utf8_files_are_refused(tmp_path: Path) -> None:
    with pytest.raises(RillbookError, match="not a text file"):
        logger_files.inspect(write(tmp_path, b"PK\x03\x04\x00\x00"), STATED, TODAY)
    with pytest.raises(RillbookError, match="some of it is not"):
        logger_files.inspect(write(tmp_path, "°°°°".encode() + b"\xb0\n"), STATED, TODAY)
    with pytest.raises(RillbookError, match="cannot be read"):
        logger_files.inspect(tmp_path / "none.csv", STATED, TODAY)


def test_a_cut_off_sign_at_the_end_is_windows_text(tmp_path: Path) -> None:
    path = write(tmp_path, b"Date Time,Temp C\n2020-05-06 10:00,12\n2020-05-06 11:00,12\n-end \xc3")
    assert logger_files.inspect(path, STATED, TODAY).encoding == "windows-1252"


def test_rows_have_a_fate_and_a_faulty_value_costs_no_other(tmp_path: Path) -> None:
    text = (
        "Date Time,Temp °C,RH %,Note\n2020-05-06 10:00,12,80,\n2020-05-06 11:00,-200,81,\n2020-05-06 12:00,warm,,\n2020-05-06 13:00,,,\n\n"
        "2020-05-06 14:00,,,Stopped\nlater,13,,\n2020-05-06 15:00,12.5,140,\n2020-05-06 16:00,nan,inf,\n"
    )
    frame, rows, held, values = read(logger_files.inspect(write(tmp_path, text), STATED, TODAY))
    assert rows == {"heading": 1, "reading": 3, "held": 3, "blank": 2, "event": 1}
    assert frame["line"].tolist() == [2, 3, 9] and frame["rh_pct"].tolist()[:2] == [80, 81]
    assert held == {
        ("temp_c", "-200", "not_possible"): 1, ("temp_c", "warm", "unreadable"): 1, ("read_at", "later", "unreadable"): 1,
        ("rh_pct", "140", "not_possible"): 1, ("rh_pct", "inf", "unreadable"): 1,
    }  # fmt: skip
    assert values["temp_c"] == 2 and values["temp_c held"] == 3 and values["rh_pct held"] == 2


def test_a_missing_token_of_the_map_is_no_temperature(tmp_path: Path) -> None:
    text = "Date Time,Temp °C\n2020-05-06 10:00,12\n2020-05-06 11:00,-200\n2020-05-06 12:00,--\n"
    words = stated('utc_offset = "+00:00"\nmissing = ["-200", "--"]')
    frame, rows, held, values = read(logger_files.inspect(write(tmp_path, text), words, TODAY))
    assert frame["temp_c"].tolist() == [12] and rows["blank"] == 2 and not held and values["temp_c missing"] == 2


def test_a_dot_and_a_comma_in_one_file_leave_commas_unreadable(tmp_path: Path) -> None:
    text = "Date Time;Temp °C\n2020-05-06 10:00;12.5\n2020-05-06 11:00;12,5\n"
    _, _, held, _ = read(logger_files.inspect(write(tmp_path, text), STATED, TODAY))
    assert held == {("temp_c", "12,5", "unreadable"): 1}


# Source: the United States changed their clocks on 11 March and 4 November 2018 (tz database).
def test_an_hour_that_comes_twice_is_standard_time_and_one_that_never_was_moves_on(tmp_path: Path) -> None:
    text = "Date Time,Temp °C\n2018-03-11 01:30,1\n2018-03-11 02:30,1\n2018-11-04 00:30,2\n2018-11-04 01:30,2\n2018-11-04 02:30,2\n"
    frame = read(logger_files.inspect(write(tmp_path, text), stated('time_zone = "America/New_York"'), TODAY))[0]
    assert times(frame) == [
        "2018-03-11 06:30:00", "2018-03-11 07:00:00", "2018-11-04 04:30:00", "2018-11-04 06:30:00", "2018-11-04 07:30:00",
    ]  # fmt: skip
    assert frame["ambiguous"].tolist() == [False, False, False, True, False]
    assert frame["skipped"].tolist() == [False, True, False, False, False]


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


def test_an_entry_for_some_files_goes_before_the_rest() -> None:
    known = parse_logger_map(
        '[logger]\ntime_zone = "America/New_York"\nname = "rest"\n[[logger.file]]\nmatch = "a*.csv"\nutc_offset = "+01:00"\n', "map"
    )
    assert known.words_for("a1.csv").utc_offset == timedelta(hours=1) and not known.words_for("a1.csv").time_zone
    assert known.words_for("a1.csv").name == "rest" and known.words_for("b.csv").time_zone == "America/New_York"


def test_the_offset_of_the_file_goes_before_that_of_the_map_and_is_told(tmp_path: Path) -> None:
    layout = logger_files.inspect(write(tmp_path, TWO_LINES_24H), stated('utc_offset = "+02:00"'), TODAY)
    assert layout.offset == timedelta(hours=-5) and layout.contradictions[0][0] == "offset_contradicts"


def test_the_logger_is_the_one_of_the_book_that_the_file_names(tmp_path: Path) -> None:
    layout = logger_files.inspect(write(tmp_path, TWO_LINES_24H, "tank1.csv"), None, TODAY)
    assert layout.names == ("tank1", "20153879", "1")
    assert export_rows.resolve(layout, ["tank1", "pool"]).logger_id == "tank1"
    assert export_rows.resolve(layout, ["20153879"]).logger_id == "20153879"
    with pytest.raises(RillbookError, match=r"which logger is this.*tank1, 20153879, 1.*The book has pool"):
        export_rows.resolve(layout, ["pool"])
    with pytest.raises(RillbookError, match="two loggers: tank1 and 20153879"):
        export_rows.resolve(layout, ["tank1", "20153879"])
    with pytest.raises(RillbookError, match=r"load loggers\.csv first"):
        export_rows.resolve(layout, [])
    named = logger_files.inspect(layout.path, stated('name = "brook"'), TODAY)
    assert export_rows.resolve(named, ["brook", "tank1"]).logger_id == "brook"
    with pytest.raises(RillbookError, match="logger brook is not in the book"):
        export_rows.resolve(named, ["tank1"])


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


@pytest.mark.parametrize(
    ("text", "order", "expected"),
    [
        ("21.04.08", "ymd", "2021-04-08"), ("21.04.08", "dmy", "2008-04-21"), ("21.04.08", "mdy", None), ("2021-4-8", "ymd", "2021-04-08"),
        ("2021-04-08", "dmy", None), ("7/11/2019", "mdy", "2019-07-11"), ("7/11/2019", "ymd", None), ("7/11-2019", "mdy", None),
        ("29/2/19", "dmy", None), ("29/2/20", "dmy", "2020-02-29"), ("7 Nov 2019", "dmy", "2019-11-07"), ("123/1/2", "ymd", None),
    ],
)  # fmt: skip
def test_dates(text: str, order: str, expected: str | None) -> None:
    days = logger_text.day_of(text, order)
    assert (None if days is None else str(np.datetime64(days, "D"))) == expected


def test_a_pivot_sends_years_to_the_last_century() -> None:
    assert str(np.datetime64(logger_text.day_of("3/4/97", "mdy", 50), "D")) == "1997-03-04"
    assert str(np.datetime64(logger_text.day_of("3/4/97", "mdy"), "D")) == "2097-03-04"


@pytest.mark.parametrize(
    ("text", "half", "hours"),
    [
        ("12:00", "AM", 0), ("12:30:00", "pm", 12.5), ("1:00", "P.M.", 13), ("13:00", "AM", None), ("24:00", None, None),
        ("0:07", None, 7 / 60),
    ],
)  # fmt: skip
def test_clock_times(text: str, half: str | None, hours: float | None) -> None:
    found = logger_text.clock_of(text, half)
    assert found is None if hours is None else found == pytest.approx(hours * 3.6e9)


FORMATS = {
    "ymd": "%y{0}%m{0}%d", "mdy": "%m{0}%d{0}%y", "dmy": "%d{0}%m{0}%y", "mdY": "%m{0}%d{0}%Y", "dmY": "%d{0}%m{0}%Y",
    "Ymd": "%Y{0}%m{0}%d",
}  # fmt: skip


Export = tuple[str, str, list[datetime], list[float], list[float], int]


@st.composite
def exports(draw: st.DrawFn) -> Export:
    """Text of an export, its encoding, and the true times (UTC), temperatures and humidities."""
    start = draw(st.datetimes(datetime(2003, 1, 1), datetime(2023, 6, 1))).replace(microsecond=0)
    step = timedelta(minutes=draw(st.sampled_from([1, 15, 60, 240, 1440])))
    local = [start + n * step for n in range(draw(st.integers(2, 120)))]
    gone = draw(st.sets(st.integers(1, len(local) - 1), max_size=len(local) // 3))
    local = [moment for n, moment in enumerate(local) if n not in gone]
    form, sign, half = draw(st.sampled_from(list(FORMATS))), draw(st.sampled_from("/.-")), draw(st.booleans())
    delimiter, comma, fahrenheit = draw(st.sampled_from("\t;|,")), draw(st.booleans()), draw(st.booleans())
    offset = draw(st.integers(-12, 14))
    temps = draw(st.lists(st.integers(-350, 800).map(lambda tenths: tenths / 10), min_size=len(local), max_size=len(local)))
    humid = draw(st.lists(st.integers(0, 1000).map(lambda tenths: tenths / 10), min_size=len(local), max_size=len(local)))

    def number(value: float, scale: bool = False) -> str:
        text = f"{value * 1.8 + 32 if scale else value:.4f}"
        return f'"{text.replace(".", ",")}"' if comma else text

    clock = "%I:%M:%S %p" if half else "%H:%M:%S"
    lines = [f'"Date Time, GMT{offset:+03d}:00"', f'"Temp, °{"F" if fahrenheit else "C"}"', '"RH, %"']
    rows = [delimiter.join(lines)]
    for moment, temp, rh in zip(local, temps, humid, strict=True):
        rows.append(delimiter.join([moment.strftime(f"{FORMATS[form].format(sign)} {clock}"), number(temp, fahrenheit), number(rh)]))
    true = [moment - timedelta(hours=offset) for moment in local]
    return "\n".join(rows), draw(st.sampled_from(["utf-8", "utf-8-sig", "cp1252", "utf-16"])), true, temps, humid, draw(st.integers(1, 50))


@given(exports())
def test_a_round_trip_is_right_or_refused_and_never_wrong(tmp_path_factory: pytest.TempPathFactory, export: Export) -> None:
    text, encoding, true, temps, humid, chunk = export
    path = write(tmp_path_factory.mktemp("export"), text, encoding=encoding)
    try:
        layout = logger_files.inspect(path, None, TODAY)
    except RillbookError as refused:
        assert "ways" in str(refused) or "fit no order" in str(refused)
        assume(False)
    frame, _, held, _ = read(layout, chunk)
    assert frame["read_at"].tolist() == [pd.Timestamp(moment) for moment in true]
    np.testing.assert_allclose(frame["temp_c"], temps, atol=1e-4)
    np.testing.assert_allclose(frame["rh_pct"], humid, atol=1e-9)
    assert not held


def long_file(folder: Path, n: int) -> Path:
    path = folder / f"long_{n}.csv"
    start = datetime(2010, 1, 1)
    with path.open("w", encoding="utf-8") as file:
        file.write('#,"Date Time, GMT+00:00","Temp, °C",Note\n')
        for place in range(n):
            file.write(f"{place},{start + timedelta(minutes=place):%m/%d/%y %H:%M},{10 + place % 7 / 10},\n")
    return path


def peak(path: Path) -> int:
    logger_text.day_of.cache_clear()
    tracemalloc.start()
    try:
        layout = logger_files.inspect(path, None, TODAY)
        assert sum(len(part.readings) for part in export_rows.parts(layout, 4000)) == layout.readings
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def test_memory_does_not_grow_with_the_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(logger_dates, "CHUNK", 4000)
    small, large = peak(long_file(tmp_path, 12_000)), peak(long_file(tmp_path, 72_000))
    assert large < 1.2 * small


# ---- real exports ---------------------------------------------------------------------------------------------------------------------

# How each family writes its times, said here by hand: pandas reads them by this format alone, as the other judge of the date order.
FAMILIES = {
    r"air_\d_Spring18\.csv": ("%m/%d/%y %H:%M", "Etc/GMT+5"),
    r"sparcnet_air_plot_\d\.csv": ("%m/%d/%y %I:%M:%S %p", "Etc/GMT+4"),
    r"12-1-17_Site.*": ("%m/%d/%y %H:%M", "America/New_York"),
    r"12_15_17Site.*": ("%m/%d/%y %H:%M:%S", "America/New_York"),
    r"5-25-18_Site1-(0|10|20)\..*": ("%m/%d/%y %H:%M", "America/New_York"),
    r"5-25-18_Site.*": ("%m/%d/%y %I:%M:%S %p", "America/New_York"),
    r"[0-9A-F]{16}_191116_.*": ("%Y-%m-%d %H:%M", "Etc/GMT+5"),
}
SOIL_ROW = re.compile(
    r'^"?(?:\d+,)?(\d+[/-]\d+[/-]\d+)[, ](\d+:\d+(?::\d+)?(?: [AP]M)?)"?(?:[,\t][^,\t]*)??[,\t]"?(-?\d+(?:\.\d+)?)"?(?:[,\t].*)?$'
)


def judged(path: Path) -> pd.Series:
    """Temperatures by UTC time of one export, through a pattern and pandas' own reading of dates."""
    form, zone = next(known for pattern, known in FAMILIES.items() if re.fullmatch(pattern, path.name))
    rows = []
    for line in path.read_text(encoding="latin-1").splitlines():
        if path.parent.name == "air":
            cells = line.replace('"', "").split(",")
            if cells[0].isdigit() and cells[2]:
                rows.append((cells[1], float(cells[2])))
        elif path.name.startswith("12-1-17"):
            cells = line.split(",")
            if cells[0][0].isdigit():
                rows.append((cells[0], float(cells[3])))
        elif match := SOIL_ROW.match(line):
            rows.append((f"{match[1]} {match[2]}", float(match[3])))
    local = pd.to_datetime(pd.Series([moment for moment, _ in rows]), format=form)
    utc = local.dt.tz_localize(zone, ambiguous=np.zeros(len(local), dtype=bool)).dt.tz_convert("UTC").dt.tz_localize(None)
    return pd.Series([value for _, value in rows], index=pd.DatetimeIndex(utc))


Exports = dict[str, tuple[Layout, pd.DataFrame, Counter[str], Counter[str]]]


@pytest.fixture(scope="module")
def sparcnet(open_data: Path) -> Exports:
    known = read_logger_map(MAPS / "sparcnet_fsu_loggers.toml")
    found = {}
    for path in sorted((open_data / "sparcnet_fsu" / "temperature").glob("*/*")):
        layout = logger_files.inspect(path, known, date(2026, 1, 1))
        frame, fates, held, values = read(layout)
        assert not held
        found[path.name] = (layout, frame, fates, values)
    return found


@pytest.mark.open_data
def test_all_118_exports_are_read_whole(sparcnet: Exports) -> None:
    fates, values = Counter[str](), Counter[str]()
    for _, _, rows, seen in sparcnet.values():
        fates.update(rows)
        values.update(seen)
    assert len(sparcnet) == 118
    assert values["temp_c"] == 210_873 and values["light"] == 8_846
    assert fates == {"reading": 210_873, "heading": 861, "event": 56}


@pytest.mark.open_data
def test_no_export_is_read_in_a_wrong_order(open_data: Path, sparcnet: Exports) -> None:
    for path in sorted((open_data / "sparcnet_fsu" / "temperature").glob("*/*")):
        expected, frame = judged(path), sparcnet[path.name][1]
        assert frame["read_at"].tolist() == expected.index.tolist(), path.name
        np.testing.assert_allclose(frame["temp_c"], expected.to_numpy(), err_msg=path.name)


@pytest.mark.open_data
def test_the_layouts_of_the_118_exports(sparcnet: Exports) -> None:
    layouts = [layout for layout, *_ in sparcnet.values()]
    assert Counter(layout.encoding for layout in layouts)["windows-1252"] == 41
    assert sum(layout.shape.delimiter == "\t" for layout in layouts) == 1
    assert Counter(layout.step_s / 60 for layout in layouts) == {60: 36, 120: 72, 240: 10}
    assert len({layout.logger_id for layout in layouts}) == 6 * 7
    contradicting = [layout.path.name for layout in layouts if layout.contradictions]
    assert len(contradicting) == 13 and all("_191116_" in name for name in contradicting)


@pytest.mark.open_data
def test_one_export_is_there_twice(sparcnet: Exports) -> None:
    one, other = sparcnet["5-25-18_Site1-0.csv"], sparcnet["5-25-18_Site1-0.txt"]
    assert one[0].logger_id == other[0].logger_id == "1-0" and len(one[1]) == 2005
    pd.testing.assert_frame_equal(one[1], other[1])


@pytest.mark.open_data
def test_four_layouts_of_one_logger_are_the_same_readings(open_data: Path) -> None:
    known = read_logger_map(MAPS / "logger_air_humidity.toml")
    frames = [
        read(logger_files.inspect(path, known, date(2026, 1, 1)))[0].drop(columns="line")
        for path in sorted((open_data / "logger_air_humidity").glob("station2_*"))
    ]
    assert len(frames) == 4 and len(frames[0]) == 20_881
    assert times(frames[0])[0] == "2021-04-08 21:00:00"
    for frame in frames[1:]:
        pd.testing.assert_frame_equal(frame, frames[0])


@pytest.mark.open_data
def test_minus_200_is_no_temperature(open_data: Path) -> None:
    path = open_data / "logger_soil" / "multi_depth.csv"
    frame, fates, held, _ = read(logger_files.inspect(path, read_logger_map(MAPS / "logger_soil.toml"), date(2026, 1, 1)))
    assert len(frame) == 16_508 and not held and frame["temp_c"].min() > -20
    words = '[logger]\nheading_line = 0\ncolumns = { moment = 2, temp_c = 5 }\nunit = "degC"\nutc_offset = "+00:00"\n'
    frame, fates, held, _ = read(logger_files.inspect(path, parse_logger_map(words, "map"), date(2026, 1, 1)))
    assert frame.empty and fates == {"held": 16_508} and held == {("temp_c", "-200", "not_possible"): 16_508}
    frame, fates, held, _ = read(logger_files.inspect(path, parse_logger_map(words + 'missing = ["-200"]\n', "map"), date(2026, 1, 1)))
    assert frame.empty and not held
    possible = fields("logger_readings")["temp_c"].possible
    assert possible and possible[0] > -200
