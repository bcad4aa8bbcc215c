"""The order of day and month in an export: told by the file itself, or refused with both readings."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from logger_texts import OFFSET_ONLY, TODAY, read, stated, times, write

from pipeline.errors import RillbookError
from pipeline.loggers import exports as logger_files


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
