"""Moments taken apart column by column against the regular expression of one moment, text by text."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.loggers.blocks import blocks_of
from pipeline.loggers.columns import Written
from pipeline.loggers.moments import Moments, clock_in, half_of, moments_in, moments_of_two, zone_of
from pipeline.loggers.text import MOMENT, clock_of

MOMENTS = [
    "", "Stopped", "7/9/19 1:00:00 PM", "7/10/19 11:00:00 AM", "12/10/19 1:00", "2020-05-06 10:00", "2020-05-06T10:00:00Z",
    "2020-05-06 10:00:00.250", "2020-05-06  10:00 -05:00", "6 May 2020, 10:00", "06-May-20 10:00:00,5", "2020-05-06 10:00 later",
    "x2020-05-06 10:00", "2020-05-06 25:61", "2020-05-06", "10:00", "1.2.20 3:04 p.m.", "2020/5/6 10:00:00+0530", "7/9/19 13:00:00 PM",
]  # fmt: skip


def hold_against(found: Moments, texts: list[str]) -> None:
    """Each text in its pieces is what the whole expression says of it."""
    for place, text in enumerate(texts):
        match = MOMENT.fullmatch(text)
        assert found.is_moment[place] == (match is not None)
        date, tail = found.date.text[found.date.code[place]], found.tail.text[found.tail.code[place]]
        if match is None:
            assert (date, tail, clock_in(tail)) == ("", "", None)
        else:
            assert (date, half_of(tail), zone_of(tail)) == (match[1], match[3] or "", match[4] or "")
            assert clock_in(tail) == clock_of(match[2], match[3])


@pytest.mark.parametrize("turn", range(len(MOMENTS)))
def test_moments_in_pieces_are_those_of_the_whole_expression(turn: int) -> None:
    texts = [*MOMENTS[turn:], *MOMENTS[:turn], *MOMENTS]
    hold_against(moments_in(Written(texts)), texts)


@pytest.mark.parametrize("turn", range(len(MOMENTS)))
def test_moments_in_bytes_are_those_of_the_whole_expression(turn: int, tmp_path: Path) -> None:
    """The same from a file, with signs beyond ASCII that a cut may part."""
    texts = [*MOMENTS[turn:], *MOMENTS[:turn], "2020-05-0渓 10:00", "渓流渓流渓流渓流 10:00"]
    path = tmp_path / "a.csv"
    path.write_text("".join(f"{text};x\n" for text in texts), encoding="utf-8")
    (block,) = blocks_of(path, "utf-8", ";")
    assert block.columns is not None
    hold_against(block.moments({"moment": 0}), texts)


DAYS = ["2020-05-06", "6 May 2020", "2020-05-06 10:00", "2020-05-06,", "2020-05-06T", "", "Stopped", "7/9/19"]
CLOCKS = ["10:00", "1:00:00 PM", "", "10:00Z", "later", "25:61", "10", "2020-05-06 10:00"]


def test_a_date_and_a_clock_time_in_two_columns_are_one_moment() -> None:
    pairs = [(day, clock) for day in DAYS for clock in CLOCKS]
    found = moments_of_two(Written([day for day, _ in pairs]), Written([clock for _, clock in pairs]))
    hold_against(found, [f"{day} {clock}".strip() for day, clock in pairs])
    assert found.is_moment.sum() == 18
