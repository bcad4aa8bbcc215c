"""Weights of site-days by hand, and seeds that depend on nothing but their names."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.statistics.weights import named_seed, site_day_weights


def test_weights_by_hand() -> None:
    # Two sites: 1/2 each. Site a: two months, 1/4 each. Its June: two days, 1/8 each; the second day has two values, 1/16 each.
    frame = pd.DataFrame({"site": list("aaaab"), "month": [6, 6, 6, 7, 6], "date": [1, 2, 2, 3, 1]})
    weights = site_day_weights(frame["site"], frame["month"], frame["date"])
    assert weights.tolist() == [1 / 8, 1 / 16, 1 / 16, 1 / 4, 1 / 2]


def test_weights_are_those_of_the_targets() -> None:
    # One site read in June ten times and one once: the fit at June weighs them alike, so it passes through their middle.
    rows = [("a", 6, day, 12.0) for day in range(1, 11)] + [("b", 6, 5, 16.0)]
    rows += [(site, month, day, 10.0) for site in "ab" for month in (4, 9) for day in (5, 15)]
    frame = pd.DataFrame(rows, columns=["site", "month", "d", "value"])
    weights = site_day_weights(frame["site"], frame["month"], frame["d"])
    assert weights[:10].sum() == pytest.approx(weights[10]) == pytest.approx(1 / 6)


def test_labels_may_be_of_any_kind_and_one_value_has_all_the_weight() -> None:
    dates = pd.to_datetime(["2021-06-01", "2022-06-01"])
    assert site_day_weights(["a", "a"], [6, 6], dates).tolist() == [0.5, 0.5], "the same day of two years is two days"
    assert site_day_weights(["a"], [6], [1]).tolist() == [1.0]


@settings(max_examples=25)
@given(st.lists(st.tuples(st.sampled_from("abc"), st.integers(1, 3), st.integers(1, 4)), min_size=1, max_size=40))
def test_sites_weigh_alike_and_so_do_months_of_a_site_and_days_of_a_month(labels: list[tuple[str, int, int]]) -> None:
    """Method §2, held against pandas' own nested means of any value."""
    frame = pd.DataFrame(labels, columns=["site", "month", "day"]).assign(value=lambda rows: np.arange(len(rows)) ** 2.0)
    weights = site_day_weights(frame["site"], frame["month"], frame["day"])
    nested = frame.groupby(["site", "month", "day"])["value"].mean().groupby(["site", "month"]).mean().groupby("site").mean().mean()
    assert (weights * frame["value"]).sum() == pytest.approx(nested) and weights.sum() == pytest.approx(1)


def test_a_seed_follows_its_names_and_the_books_seed() -> None:
    cell = ("DFUS", "upper", "larva", "water", "7")
    seed = named_seed(cell, 1)
    assert seed == named_seed(list(cell), 1) and 0 <= seed < 2**64
    others = [named_seed(cell, 2), named_seed(cell[:-1], 1), named_seed((*cell[:-1], "8"), 1), named_seed(cell[::-1], 1)]
    assert len({seed, *others}) == 5
    # Two figures drawn from neighbouring names must not be one stream of numbers.
    first, second = (np.random.default_rng(named_seed((*cell[:-1], month), 1)).uniform(size=500) for month in ("7", "8"))
    assert abs(np.corrcoef(first, second)[0, 1]) < 0.2
