"""Dates and clock times of exports, text by text."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.loggers import text as logger_text


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
