"""A table of targets whose lines are out of order never leaves the room."""

from __future__ import annotations

import pandas as pd
import pytest
from worked_fields import WARM, derived, field

from schemas.frames.targets import TARGET_COLUMNS, check_targets

RISING = ("band_low", "set_point_low", "set_point", "set_point_high", "band_high", "act_line", "ceiling")


@pytest.fixture(scope="module")
def rows() -> pd.DataFrame:
    return derived(field(WARM, [8.0, 10.0, 14.0], sites=3, dates=3), replicates=20).reset_index()[list(TARGET_COLUMNS)]


def test_lines_in_order_pass_unchanged(rows: pd.DataFrame) -> None:
    pd.testing.assert_frame_equal(check_targets(rows), rows)
    assert check_targets(rows.iloc[:0]).empty


@pytest.mark.parametrize("name", RISING[:-1])
def test_a_line_above_the_one_that_bounds_it_is_refused(rows: pd.DataFrame, name: str) -> None:
    with pytest.raises(AssertionError, match=f"{name} stands above"):
        check_targets(rows.assign(**{name: rows["ceiling"] + 5}))


def test_a_missing_column_is_refused(rows: pd.DataFrame) -> None:
    with pytest.raises(AssertionError, match="columns of a targets table"):
        check_targets(rows.drop(columns="ceiling"))
