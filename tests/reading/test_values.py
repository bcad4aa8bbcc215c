"""Typing of text, cell by cell.

Spreadsheet day numbers: ECMA-376 part 1 §18.17.4 (1900 date base; 1900-01-01 is 1, and day 60 is the day that never was).
"""

from __future__ import annotations

import datetime as dt
import math
import re
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.reading.values import CLOCKS, Style, as_text, empty_column, number_of, possible_days, read_column
from schemas.fields import Field
from schemas.tables import LOADED, MODELS, fields
from schemas.vocabulary import codes

REAL, WHOLE, YES_NO = fields("visits")["air_temp_c"], fields("finds")["count"], fields("finds")["tail_whole"]
DAY, CLOCK, STAGE = fields("visits")["visit_date"], fields("visits")["start_time"], fields("finds")["life_stage"]


def _read(field: Field, text: str, **style: Any) -> Any:
    """Value of one cell, or the name of its fault."""
    typed = read_column(pd.Series([text], dtype="str"), field, Style(**style))
    faults = [name for name, mask in typed.faults.items() if mask.iloc[0]]
    assert len(faults) <= 1
    assert not faults or pd.isna(typed.values.iloc[0])
    return faults[0] if faults else typed.values.iloc[0]


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("12", 12), ("12.5", 12.5), ("12,5", 12.5), ("1,23", 1.23), ("0,125", 0.125), ("-0,125", -0.125), ("39,1234567", 39.1234567),
        ("1e3", 1000), ("2.5E-1", 0.25), ("+5", 5), (".5", 0.5), ("5.", 5), ("−3.5", -3.5), (" 12 ", 12), ("\u00a012", 12),
    ],
)  # fmt: skip
def test_numbers(text: str, number: float) -> None:
    assert _read(REAL, text) == number


@pytest.mark.parametrize(
    "text",
    [
        "nan", "NaN", "inf", "-inf", "Infinity", "1e400", "-1e400", "1_000", "0x10", "1,234", "12,345", "1,234,567", "1.234,5", "1,5e3",
        "1 234",
        "12°", "- 5", "–5", "--5", "12.5.", "e5", "1e", "½", "٣", "１２", "<5", "12?", "12-13", "#DIV/0!", "None", "True",
    ],
)  # fmt: skip
def test_what_is_no_number_or_may_be_two(text: str) -> None:
    assert _read(REAL, text) == "unreadable"
    assert number_of(text) is None


# °F = 1.8 °C + 32 and 1 inch = 25.4 mm by definition.
@pytest.mark.parametrize(
    ("name", "text", "value", "way"), [("water_temp_c", "59 °F", 15.0, "degF in the cell"), ("svl_mm", "2 in", 50.8, "in in the cell")]
)
def test_a_unit_in_the_cell_is_converted_and_said(name: str, text: str, value: float, way: str) -> None:
    read = read_column(pd.Series([text], dtype="str"), fields("finds")[name])
    assert read.values[0] == pytest.approx(value) and read.how[0] == way


def test_a_minus_zero_is_a_zero() -> None:
    assert math.copysign(1, _read(REAL, "-0.0")) == 1


@pytest.mark.parametrize(("text", "whole"), [("3", 3), ("3.0", 3), ("3,0", 3), ("1e3", 1000), ("-1", -1), ("9007199254740991", 2**53 - 1)])
def test_whole_numbers(text: str, whole: int) -> None:
    assert _read(WHOLE, text) == whole


@pytest.mark.parametrize("text", ["1.5", "1,5", "9007199254740993", "1e20", "1e308", "three", "1/2"])
def test_what_is_no_whole_number(text: str) -> None:
    assert _read(WHOLE, text) == "unreadable"


def test_yes_and_no() -> None:
    for text, value in {"yes": True, "Y": True, "TRUE": True, "1": True, "No ": False, "n": False, "false": False, "0": False}.items():
        assert _read(YES_NO, text) == value
    for text in ("ja", "2", "maybe", "x", "1.0"):
        assert _read(YES_NO, text) == "unreadable"


def test_codes_fold_case_spaces_and_hyphens() -> None:
    for text in ("egg_mass", "Egg Mass", "EGG-MASS", "egg  mass", " egg_mass "):
        assert _read(STAGE, text) == "egg_mass"
    for text in ("eggs", "adult.", "adult?", "1", "a"):
        assert _read(STAGE, text) == "code_unknown"


@pytest.mark.parametrize("table", LOADED)
def test_every_code_reads_as_itself_and_as_no_other(table: str) -> None:
    for field in fields(table).values():
        if field.kind == "code":
            folded = [code.casefold() for code in codes(field.vocabulary)]
            assert len(set(folded)) == len(folded)
            for code in codes(field.vocabulary):
                assert _read(field, code) == code
                assert _read(field, code.upper().replace("_", " ")) == code


def test_lists_of_codes() -> None:
    targets = fields("visits")["target_taxa"]
    for text in ("A|B", "A, B", "A;B", "A B", "|A||B|"):
        assert _read(targets, text) == "A|B"


CLOCK_CASES = {
    # text: 24h, ampm, night; None is unreadable
    "21:30": ("21:30", None, "21:30"),
    "9:52": ("09:52", None, "21:52"),
    "1:05": ("01:05", None, "01:05"),
    "12:15": ("12:15", None, "00:15"),
    "12:00": ("12:00", None, "00:00"),
    "0:30": ("00:30", None, "00:30"),
    "6:00": ("06:00", None, "18:00"),
    "5:59": ("05:59", None, "05:59"),
    "9:52 PM": ("21:52",) * 3,
    "9:52pm": ("21:52",) * 3,
    "9:52 p.m.": ("21:52",) * 3,
    "12:30 AM": ("00:30",) * 3,
    "12:30 pm": ("12:30",) * 3,
    "9:52:33": ("09:52", None, "21:52"),
    "21.30": ("21:30", None, "21:30"),
    "21h30": ("21:30", None, "21:30"),
    "13:05 pm": (None,) * 3,
    "0:05 am": (None,) * 3,
    "24:00": (None,) * 3,
    "9:60": (None,) * 3,
    "9:52:60": (None,) * 3,
    # a spreadsheet's six in the morning, as a fraction of the day
    "0.25": (None,) * 3,
    "0.9": (None,) * 3,
    "952": (None,) * 3,
    "9": (None,) * 3,
    "٩:٥٢": (None,) * 3,
    "2012-06-16 21:30:00": (None,) * 3,
    "9:52 xm": (None,) * 3,
}


@pytest.mark.parametrize("text", CLOCK_CASES)
@pytest.mark.parametrize("clock", CLOCKS)
def test_clocks(text: str, clock: str) -> None:
    assert _read(CLOCK, text, clock=clock) == (CLOCK_CASES[text][CLOCKS.index(clock)] or _why_not(text, clock))


def _why_not(text: str, clock: str) -> str:
    """A time that a clock of 24 hours reads lacks am or pm alone."""
    return "clock_half_missing" if clock == "ampm" and CLOCK_CASES[text][0] else "unreadable"


DAY_CASES = [
    ("2024-05-31", {}, "2024-05-31"),
    ("2024-5-1", {}, "2024-05-01"),
    ("2024/05/06", {}, "2024-05-06"),
    ("2024.05.06", {}, "2024-05-06"),
    ("31 May 2024", {}, "2024-05-31"),
    ("31-May-2024", {}, "2024-05-31"),
    ("May 31, 2024", {}, "2024-05-31"),
    ("Sept. 3 2024", {}, "2024-09-03"),
    ("13/01/2024", {}, "2024-01-13"),
    ("5/5/2024", {}, "2024-05-05"),
    ("5/6/2024", {}, "date_ambiguous"),
    ("5-6-2024", {}, "date_ambiguous"),
    ("5/31/24", {}, "date_ambiguous"),
    ("31-May-24", {}, "date_ambiguous"),
    ("31-May-24", {"pivot": 50}, "2024-05-31"),
    ("24/05/06", {"pivot": 50}, "date_ambiguous"),
    ("5/6/2024", {"date_order": "mdy"}, "2024-05-06"),
    ("5/6/2024", {"date_order": "dmy"}, "2024-06-05"),
    ("5/6/2024", {"date_order": "ymd"}, "unreadable"),
    ("31/5/2024", {"date_order": "mdy"}, "unreadable"),
    ("5/31/2024", {"date_order": "dmy"}, "unreadable"),
    ("24/05/06", {"date_order": "ymd"}, "date_ambiguous"),
    ("24/05/06", {"date_order": "ymd", "pivot": 50}, "2024-05-06"),
    ("5/6/24", {"date_order": "mdy"}, "date_ambiguous"),
    ("5/6/50", {"date_order": "mdy", "pivot": 50}, "2050-05-06"),
    ("5/6/51", {"date_order": "mdy", "pivot": 50}, "1951-05-06"),
    # only one of the two centuries has that day
    ("2/29/00", {"date_order": "mdy"}, "2000-02-29"),
    ("2024-05-06", {"date_order": "dmy"}, "2024-05-06"),
    ("41076", {"date_order": "serial"}, "2012-06-16"),
    ("41076.0", {"date_order": "serial"}, "2012-06-16"),
    ("41076.8958", {"date_order": "serial"}, "2012-06-16"),
    ("2012-06-16", {"date_order": "serial"}, "2012-06-16"),
    ("6/16/2012", {"date_order": "serial"}, "unreadable"),
    ("60", {"date_order": "serial"}, "unreadable"),
    ("410760", {"date_order": "serial"}, "unreadable"),
    ("41076", {}, "unreadable"),
    ("20240531", {}, "unreadable"),
    ("2024-05-31T21:30", {}, "2024-05-31"),
    ("2024-05-31 00:00:00", {}, "2024-05-31"),
    ("5/31/2024 9:30:00 PM", {"date_order": "mdy"}, "2024-05-31"),
    ("2024-05-31T21:30-05:00", {}, "2024-05-31"),
    # in UTC: the local date may be the day before
    ("2024-05-31T02:00Z", {}, "unreadable"),
    ("2024-05-31T24:00", {}, "unreadable"),
    ("2024-05-31T21:60", {}, "unreadable"),
    ("2024-05-31 13:30 PM", {}, "unreadable"),
    ("2024-02-30", {}, "unreadable"),
    ("2023-02-29", {}, "unreadable"),
    ("2/30/2024", {"date_order": "mdy"}, "unreadable"),
    ("0/5/2024", {"date_order": "mdy"}, "unreadable"),
    ("0024-05-31", {}, "unreadable"),
    ("5/31/0024", {"date_order": "mdy"}, "unreadable"),
    ("5/31-2024", {"date_order": "mdy"}, "unreadable"),
    ("1/2/3", {}, "unreadable"),
    ("31 mayhem 2024", {}, "unreadable"),
    ("31 Ma 2024", {}, "unreadable"),
    ("June 2024", {}, "unreadable"),
    ("2024", {}, "unreadable"),
    ("٢٠٢٤-٠٥-٣١", {}, "unreadable"),
    ("2024-05-31/2024-06-02", {}, "unreadable"),
]


@pytest.mark.parametrize(("text", "style", "expected"), DAY_CASES)
def test_dates(text: str, style: dict[str, Any], expected: str) -> None:
    found = _read(DAY, text, **style)
    assert (found if isinstance(found, str) else found.date().isoformat()) == expected


@given(st.dates(dt.date(1902, 9, 27), dt.date(2100, 12, 31)))
def test_a_spreadsheet_s_day_number_is_days_since_the_end_of_1899(day: dt.date) -> None:
    # ECMA-376: 1900-03-01 is day 61
    number = (day - dt.date(1900, 3, 1)).days + 61
    assert possible_days(str(number), Style(date_order="serial")) == {day}


@given(st.dates(dt.date(1950, 1, 1), dt.date(2049, 12, 31)), st.sampled_from(["mdy", "dmy", "ymd"]), st.sampled_from("/.-"), st.booleans())
def test_a_date_in_a_stated_order_is_read_back(day: dt.date, order: str, sign: str, short: bool) -> None:
    year = f"{day.year % 100:02d}" if short else f"{day.year:04d}"
    text = sign.join({"y": year, "m": f"{day.month:02d}", "d": f"{day.day:02d}"}[part] for part in order)
    assert possible_days(text, Style(date_order=order, pivot=49)) == {day}
    # without the order the right date is always among those that it can mean
    assert day in possible_days(text)


def test_one_unreadable_cell_hides_no_other() -> None:
    text = pd.Series(["12", "x", None, "y", "13,5", " ", "inf"], index=[3, 1, 4, 15, 9, 2, 6], dtype="str")
    typed = read_column(text, REAL)
    assert typed.values.index.tolist() == text.index.tolist()
    assert typed.values.dropna().to_dict() == {3: 12.0, 9: 13.5}
    assert typed.faults["unreadable"][typed.faults["unreadable"]].index.tolist() == [1, 15, 6]


def test_unreadable_and_ambiguous_stand_apart() -> None:
    typed = read_column(pd.Series(["2024-05-31", "5/6/2024", "soon", None], dtype="str"), DAY)
    assert {name: mask.tolist() for name, mask in typed.faults.items()} == {
        "date_ambiguous": [False, True, False, False],
        "unreadable": [False, False, True, False],
    }
    assert typed.values.notna().tolist() == [True, False, False, False]


KINDS = {field.kind: field for table in MODELS for field in fields(table).values()}
DTYPES = {"real": "float64", "whole": "Int64", "yes_no": "boolean", "day": "datetime64[us]", "instant": "datetime64[us]"}


@pytest.mark.parametrize("kind", KINDS)
def test_a_column_of_nothing_has_the_type_of_its_kind(kind: str) -> None:
    for text in (["", " ", None], []):
        typed = read_column(pd.Series(text, dtype="str"), KINDS[kind])
        assert str(typed.values.dtype) == DTYPES.get(kind, "str") == str(empty_column(kind, typed.values.index).dtype)
        assert typed.values.isna().all()
        assert not any(mask.any() for mask in typed.faults.values())


@pytest.mark.parametrize("kind", KINDS)
def test_a_column_of_rubbish_has_the_type_of_its_kind(kind: str) -> None:
    typed = read_column(pd.Series(["??", "!!"], dtype="str"), KINDS[kind])
    assert str(typed.values.dtype) == DTYPES.get(kind, "str")
    if kind not in ("text", "codes"):
        assert all(mask.all() for mask in typed.faults.values()) and typed.faults


WRITABLE: dict[str, Any] = {
    "real": st.floats(allow_nan=False, allow_infinity=False).map(lambda number: number + 0.0),
    "whole": st.integers(-(2**53) + 1, 2**53 - 1),
    "yes_no": st.booleans(),
    "day": st.datetimes(dt.datetime(1000, 1, 1), dt.datetime(9999, 12, 31)).map(lambda one: pd.Timestamp(one.date())),
    "instant": st.datetimes(dt.datetime(1000, 1, 1), dt.datetime(9999, 12, 31)).map(lambda one: one.replace(second=0, microsecond=0)),
    "clock": st.times().map(lambda one: one.strftime("%H:%M")),
    "code": st.sampled_from(codes(KINDS["code"].vocabulary)),
    "codes": st.lists(st.text(st.sampled_from("ABCxyz_.-"), min_size=1), min_size=1).map("|".join),
    # a key: a run of spaces in it is stored as one
    "text": st.text(st.characters(codec="utf-8")).map(lambda text: re.sub(r"\s+", " ", text.strip())).filter(bool),
}


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=60)
@given(data=st.data())
def test_what_is_written_is_read_back(kind: str, data: st.DataObject) -> None:
    listed = data.draw(st.lists(st.none() | WRITABLE[kind], max_size=5))
    values = pd.Series(listed, dtype="object")
    typed = values.where(values.notna(), pd.NA if kind in ("whole", "yes_no") else np.nan).astype(DTYPES.get(kind, "str"))
    written = as_text(typed, kind)
    assert str(written.dtype) == "str"
    read = read_column(written, KINDS[kind])
    assert not any(mask.any() for mask in read.faults.values())
    pd.testing.assert_series_equal(read.values, typed, check_names=False)
