"""Months of a card from the rows of the targets."""

from __future__ import annotations

import pandas as pd

from pipeline.care.card import months_of


def test_every_month_has_a_row_and_seasons_are_none() -> None:
    rows = pd.DataFrame({"month": ["warm", "7", "12"], "status": ["target", "target", "borrowed"], "n_readings": [50, 20, 3]})
    made = months_of(rows)
    assert list(made) == list(range(1, 13)) and (made[7]["status"], made[12]["n_readings"]) == ("target", 3)
    assert {made[month]["status"] for month in (1, 2, 3, 4, 5, 6, 8, 9, 10, 11)} == {"refused"}


def test_nothing_known_is_twelve_months_without_a_target() -> None:
    made = months_of(pd.DataFrame({"month": [], "status": []}))
    assert len(made) == 12 and all(row == {"status": "refused", "n_readings": 0, "cut_by_ceiling": False} for row in made.values())
