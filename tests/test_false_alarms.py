"""How often rules on content ask about rows of real surveys: who is asked too often answers without looking."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from real_data_tables import SHEETS, Loaded

from schemas.rules.rules import RULES

# Rules that compare readings, measures, marks and dates with their neighbours; those on form (codes, spans, places) are counted elsewhere.
CONTENT = {
    "date_last_year", "date_year_apart", "visit_air_water_gap", "visit_air_water_swapped", "water_off_season", "visit_reading_apart",
    "apart_from_visit", "water_reading_apart", "substrate_reading_apart", "reading_copied", "substrate_reading_copied",
    "air_reading_copied", "animal_twice", "animal_changed", "near_duplicate", "mass_out_of_line", "find_outside_visit",
    "find_air_water_gap",
}  # fmt: skip
MOST = 0.02


@pytest.mark.slow
@pytest.mark.parametrize("name", SHEETS)
def test_content_rules_ask_about_less_than_two_rows_in_a_hundred(
    name: str, real_sheet: Callable[[str], Loaded], capsys: pytest.CaptureFixture[str]
) -> None:
    """Judgement: 2 %. Whether a flag on a real sheet is false nobody knows, so each counts as if it were."""
    assert {rule.id for rule in RULES} >= CONTENT
    report = real_sheet(name).report
    assert report.account is not None
    rows = {table: counts["accepted"] for table, counts in report.account.tables.items()}
    flags = report.flags[report.flags["rule"].isin(CONTENT)]
    asked = {table: flags.loc[flags["table"] == table, "row_key"].nunique() / n for table, n in rows.items() if n}
    with capsys.disabled():
        print(f"\n{name}: rows asked about {asked} by {flags['rule'].value_counts().to_dict()}")
    assert all(share < MOST for share in asked.values())
