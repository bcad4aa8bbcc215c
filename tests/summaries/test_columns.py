"""Columns that come in are refused in words, and those that go out are as declared."""

from __future__ import annotations

import pytest

from pipeline.errors import RillbookError
from pipeline.summaries.columns import INSTANT, OTHER, REAL, TEXT, WHOLE, raw_columns, refuse_unfit, shown_sql

GOOD = {"logger_id": TEXT, "read_at": INSTANT, "temp_c": REAL}


def test_readings_with_the_three_columns_pass() -> None:
    refuse_unfit({**GOOD, "rh_pct": REAL, "logger_id": WHOLE}, "here")


@pytest.mark.parametrize(
    ("kinds", "said"),
    [
        (
            {"logger_id": TEXT, "when": INSTANT},
            "here: .* no column read_at and no column temp_c. Wanted are .*: logger_id, when",
        ),
        ({}, "there are: none"),
        ({**GOOD, "temp_c": TEXT}, "the column temp_c is no number. Write it as number or whole number"),
        ({**GOOD, "read_at": TEXT}, "the column read_at is no date and time"),
        ({**GOOD, "logger_id": OTHER}, "the column logger_id is no text"),
    ],
)
def test_what_is_missing_or_of_another_kind_is_told(kinds: dict[str, str], said: str) -> None:
    with pytest.raises(RillbookError, match=said):
        refuse_unfit(kinds, "here")


def test_moments_and_the_year_are_made_of_microseconds() -> None:
    assert raw_columns("daily")["day_us"] == "int64" and raw_columns("excursions")["line_c"] == "float64"
    sql = shown_sql("excursions", "SELECT 1", lambda us: f"moment({us})", lambda us: f"day({us})", '"')
    assert 'moment("start_us") AS "start_at"' in sql and 'CAST("line_c" AS DOUBLE) AS "line_c"' in sql
    assert sql.endswith('CAST(EXTRACT(YEAR FROM moment("start_us")) AS INT) AS "year" FROM (SELECT 1) AS reduced')
    assert 'day("day_us") AS "day"' in shown_sql("nights", "SELECT 1", lambda us: f"moment({us})", lambda us: f"day({us})", '"')
