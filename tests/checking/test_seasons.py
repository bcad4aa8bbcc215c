"""A visit beside the others of its site and of its sheet. The dates and readings are invented."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd
import pytest

from pipeline.checking.seasons import days_since, season_apart, year_apart

JUNE = [("S1", "2021-06-10", 12.0), ("S1", "2022-06-20", 13.0), ("S1", "2022-07-01", 12.5)]


def apart(*visits: tuple[str, str, float]) -> list[float]:
    frame = pd.DataFrame(visits, columns=["site_id", "visit_date", "water_temp_c"]).assign(
        visit_date=lambda one: pd.to_datetime(one["visit_date"])
    )
    return season_apart(frame).tolist()


@pytest.mark.parametrize(
    ("visit", "away"),
    [
        (("S1", "2023-06-15", 21.0), 8.0), (("S1", "2023-06-15", 4.0), 8.0), (("S1", "2023-06-15", 12.6), 0.0),
        (("S1", "2023-09-15", 21.0), None), (("S2", "2023-06-15", 21.0), None), (("S1", "2023-06-15", np.nan), None),
    ],
)  # fmt: skip
def test_water_beside_the_season_of_its_site(visit: tuple[str, str, float], away: float | None) -> None:
    found = apart(*JUNE, visit)[-1]
    assert np.isnan(found) if away is None else found == away


def test_the_turn_of_the_year_is_one_season() -> None:
    winter = [("S1", "2021-12-28", 5.0), ("S1", "2022-01-04", 5.5), ("S1", "2022-12-20", 6.0)]
    assert apart(*winter, ("S1", "2024-01-02", 14.0))[-1] == 8.0


def test_a_season_of_all_temperatures_says_nothing() -> None:
    assert np.isnan(apart(("S1", "2021-06-10", 4.0), *JUNE, ("S1", "2023-06-15", 21.0))[-1])


@pytest.mark.parametrize(
    ("days", "odd"),
    [
        (["2023-05-01", "2023-05-20", "2023-06-11", "2022-05-12"], [3]),
        (["2023-05-01", "2023-05-20", "2023-06-11", "2024-05-12"], [3]),
        (["2023-05-01", "2023-05-20", "2023-06-11", "2022-10-12"], []),
        (["2023-05-01", "2023-05-20", "2022-05-12"], []),
        (["2023-05-01", "2023-05-20", "2023-06-11", "2022-05-12", "2022-05-20", "2022-06-09"], []),
    ],
)
def test_a_year_that_does_not_fit_its_sheet(days: list[str], odd: list[int]) -> None:
    assert np.flatnonzero(year_apart(pd.Series(pd.to_datetime(days)))).tolist() == odd


def test_a_sheet_of_many_years_is_not_asked_how_long_ago() -> None:
    days = pd.Series(pd.to_datetime(["2019-05-01", "2020-05-01", "2021-05-01", "2022-06-20"]))
    assert days_since(days, np.ones(4, dtype=bool), date(2023, 6, 25)).isna().all()
    assert days_since(days, np.array([False, False, False, True]), date(2023, 6, 25)).iloc[-1] == 370
