"""When clocks change, against published dates."""

from __future__ import annotations

import pandas as pd
import pytest

from pipeline.formulas.local_clock import offsets

HOUR_US = 3_600_000_000


@pytest.mark.parametrize(
    ("zone", "year", "changes"),
    [
        # Energy Policy Act of 2005: second Sunday of March and first Sunday of November, at 2:00 by the clock
        ("America/New_York", 2025, [("2025-03-09 07:00", -4), ("2025-11-02 06:00", -5)]),
        # Lord Howe Island moves by half an hour, at 2:00 by the clock, on the first Sundays of April and October (Standard Time Act of NSW)
        ("Australia/Lord_Howe", 2025, [("2025-04-05 15:00", 10.5), ("2025-10-04 15:30", 11)]),
        # Newfoundland changed a minute after midnight until 2011 (tz database)
        ("America/St_Johns", 2010, [("2010-03-14 03:31", -2.5), ("2010-11-07 02:31", -3.5)]),
        ("UTC", 2025, []),
    ],
)
def test_the_moments_of_change(zone: str, year: int, changes: list[tuple[str, float]]) -> None:
    first, *later = offsets(pd.Timestamp(f"{year}-01-02"), pd.Timestamp(f"{year}-12-30"), zone)
    assert later == [(pd.Timestamp(at), round(hours * HOUR_US)) for at, hours in changes]
    assert first[0] < pd.Timestamp(f"{year}-01-02") and first[1] == (later[-1][1] if later else 0)
