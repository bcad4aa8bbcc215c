"""What stands beside the tank: the last reading with its age, in words that a glance can take."""

from __future__ import annotations

import pandas as pd
import pytest
from tanks.tank_book import audited, steady

from pipeline.tanks.pages.beside import last_words


@pytest.mark.parametrize(
    ("end", "age"), [("2025-07-07 23:40", "40 minutes"), ("2025-07-08 03:00", "4 hours"), ("2025-07-10 23:30", "3 days")]
)
def test_the_age_is_that_of_the_last_reading(end: str, age: str) -> None:
    found = audited(steady("2025-07-07", "2025-07-08").iloc[:-1], start="2025-07-07", end=end)
    at, value = found.sensors[0].last or (pd.NaT, 0.0)
    assert at == pd.Timestamp("2025-07-07 23:00") and f"{age} old" in last_words(found)
    assert f"{value:.1f}" in last_words(found)


def test_no_logger_has_no_reading() -> None:
    assert last_words(audited(None)) == "No reading."
