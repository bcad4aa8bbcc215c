"""How a text is read where nobody said anything: nothing is guessed."""

from __future__ import annotations

import datetime as dt

import pandas as pd

from pipeline.reading.dates import possible_days
from pipeline.reading.style import CANONICAL, CLOCKS, DATE_ORDERS, Style
from pipeline.reading.values import read_column
from schemas.tables import fields


def test_every_order_and_clock_of_the_list_is_one_that_reading_knows() -> None:
    """3 February 2004 in each order; 9:52 in the evening in each clock. A word outside the lists would read nothing."""
    written = {"iso": "2004-02-03", "mdy": "2/3/2004", "dmy": "3/2/2004", "ymd": "2004/2/3", "serial": "38020"}
    assert set(written) == set(DATE_ORDERS)
    for order, text in written.items():
        assert possible_days(text, Style(date_order=order)) == {dt.date(2004, 2, 3)}
    clocks = {"24h": "21:52", "ampm": "9:52 pm", "night": "9:52"}
    assert set(clocks) == set(CLOCKS)
    for clock, text in clocks.items():
        read = read_column(pd.Series([text], dtype="str"), fields("visits")["start_time"], Style(clock=clock))
        assert read.values.tolist() == ["21:52"]


def test_what_nobody_stated_is_read_in_the_stored_unit_and_an_unclear_date_stays_unclear() -> None:
    assert (CANONICAL.unit, CANONICAL.pivot, CANONICAL.evening) == ("", None, False)
    assert len(possible_days("5/6/2024")) == 2 and len(possible_days("31 May 24")) == 2
