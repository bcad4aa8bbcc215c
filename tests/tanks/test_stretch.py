"""Local days of a stretch, and the stage of the animals on each."""

from __future__ import annotations

import pandas as pd
import pytest

from pipeline.errors import RillbookError
from pipeline.tanks.stretch import local_days, offsets, stage_after, stages, stretch_of

ZONE = "America/New_York"
NOW = pd.Timestamp("2025-08-01 12:00")


def test_a_day_alone_begins_at_its_midnight_and_ends_at_its_end() -> None:
    one = stretch_of("2025-07-01", "2025-07-02", NOW, 30, ZONE)
    # New York is four hours behind UTC in summer
    assert (one.start, one.end) == (pd.Timestamp("2025-07-01 04:00"), pd.Timestamp("2025-07-03 04:00"))
    assert local_days(one)["day"].dt.day.tolist() == [1, 2]


def test_without_words_it_is_the_last_days_until_now() -> None:
    one = stretch_of("", "", NOW, 2, ZONE)
    assert (one.start, one.end) == (NOW - pd.Timedelta(days=2), NOW)


@pytest.mark.parametrize(
    ("since", "until", "said"), [("yesterday", "", "no day or moment"), ("2025-07-02", "2025-07-01", "ends before it begins")]
)
def test_what_is_no_stretch_is_refused(since: str, until: str, said: str) -> None:
    with pytest.raises(RillbookError, match=said):
        stretch_of(since, until, NOW, 30, ZONE)


def test_days_on_which_the_clocks_change_have_23_and_25_hours() -> None:
    """Daylight saving of the United States: second Sunday of March, first Sunday of November (Energy Policy Act of 2005)."""
    for day, hours, shifts in (("2025-03-09", 23, [-5, -4]), ("2025-11-02", 25, [-4, -5])):
        one = stretch_of(day, day, NOW, 1, ZONE)
        (row,) = local_days(one).itertuples()
        assert (row.ends - row.starts) == pd.Timedelta(hours=hours)
        assert [shift // 3_600_000_000 for _, shift in offsets(one)] == shifts


def test_the_new_stage_holds_from_its_day_on() -> None:
    days = local_days(stretch_of("2025-07-01", "2025-07-04", NOW, 1, ZONE))
    events = pd.DataFrame(
        {
            "event_date": pd.to_datetime(["2025-07-03", "2025-07-02"]),
            "event": ["stage_reached", "fed"],
            "life_stage": ["metamorph", None],
        }
    )
    assert stages("larva", events, days).tolist() == ["larva", "larva", "metamorph", "metamorph"]
    assert stage_after("fed", "adult") == "" and stage_after("metamorphosed", float("nan")) != ""
