"""Months of a card from the rows of the targets."""

from __future__ import annotations

import pandas as pd
from care_study import study

from pipeline.care.card import card_page, months_of


def test_every_month_has_a_row_and_seasons_are_none() -> None:
    rows = pd.DataFrame({"month": ["warm", "7", "12"], "status": ["target", "target", "borrowed"], "n_readings": [50, 20, 3]})
    made = months_of(rows.to_dict("records"))
    assert list(made) == list(range(1, 13)) and (made[7]["status"], made[12]["n_readings"]) == ("target", 3)
    assert {made[month]["status"] for month in (1, 2, 3, 4, 5, 6, 8, 9, 10, 11)} == {"refused"}


def test_nothing_known_is_twelve_months_without_a_target() -> None:
    made = months_of([])
    assert len(made) == 12 and all(row == {"status": "refused", "n_readings": 0, "cut_by_ceiling": False} for row in made.values())


# The method: a group that lives at one temperature is unsafe on both sides.
def test_a_card_says_that_too_cold_is_as_unsafe_where_it_is() -> None:
    targets, readings, taxa, facts = study()
    said = {
        group: "Too cold is as unsafe as too warm" in card_page("INVA", None, targets, readings, taxa.assign(group=group), facts)
        for group in ("cave", "cool_stream")
    }
    assert said == {"cave": True, "cool_stream": False}
