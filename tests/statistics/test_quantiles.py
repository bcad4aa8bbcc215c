"""Weighted quantiles against numpy and the plain definition."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics import quantiles

weights = st.lists(st.integers(0, 5), min_size=1, max_size=30).filter(any)


@given(weights=weights, data=st.data(), p=st.integers(0, 20))
def test_weighted_quantile_is_numpys_inverted_cdf_and_that_of_repeated_values(weights: list[int], data: st.DataObject, p: int) -> None:
    """numpy.quantile(method="inverted_cdf", weights=) and, without any weights, the values written out as often as they weigh."""
    values = data.draw(st.lists(st.integers(-50, 300).map(lambda v: v / 10), min_size=len(weights), max_size=len(weights)))
    ours = quantiles.weighted_quantile(values, weights, p / 20)[0]
    repeated = np.sort(np.repeat(values, weights))
    rank = max(1, -(-p * len(repeated) // 20))
    assert ours == repeated[rank - 1]
    kept = np.asarray(weights) > 0
    if p not in (0, 20) and (p * len(repeated)) % 20:
        assert ours == np.quantile(np.asarray(values)[kept], p / 20, weights=np.asarray(weights)[kept], method="inverted_cdf")


@given(
    values=st.lists(st.floats(-20, 45), min_size=1, max_size=40),
    seed=st.integers(0, 2**16),
    scale=st.floats(0.001, 1000),
    p=st.lists(st.floats(0, 1), min_size=2, max_size=5),
)
def test_weighted_quantile_is_read_ordered_and_free_of_the_scale_of_weights(
    values: list[float], seed: int, scale: float, p: list[float]
) -> None:
    given_weights = np.random.default_rng(seed).integers(1, 9, len(values))
    found = quantiles.weighted_quantile(values, given_weights, sorted(p))
    assert set(found) <= set(values)
    assert (np.diff(found) >= 0).all()
    order = np.random.default_rng(seed).permutation(len(values))
    again = quantiles.weighted_quantile(np.asarray(values)[order], given_weights[order] * scale, sorted(p))
    reach = np.array([given_weights[np.asarray(values) <= q].sum() for q in found]) / given_weights.sum()
    clear = np.abs(reach - sorted(p)) > 1e-9
    assert (again == found)[clear].all()


@pytest.mark.parametrize(("n", "weight"), [(10, 1 / 3), (15, 0.1), (5, 0.7), (9, 1 / 3)])
def test_weighted_quantile_keeps_ties_that_rounding_would_lose(n: int, weight: float) -> None:
    """With n equal weights k/n of them are exactly k values; sums of 1/3 or 0.1 in floats fall short of that, or exceed it."""
    values = np.arange(1.0, n + 1)
    assert quantiles.weighted_quantile(values, np.full(n, weight), np.arange(1, n + 1) / n).tolist() == values.tolist()


def test_weighted_quantile_passes_over_values_without_weight() -> None:
    assert quantiles.weighted_quantile([1, 2, 3, 4], [0, 1, 1, 0], [0, 1]).tolist() == [2, 3]


@pytest.mark.parametrize(
    ("values", "weights", "p", "message"),
    [
        ([], [], 0.5, "not empty"),
        ([1, 2], [1], 0.5, "one length"),
        ([1, math.nan], [1, 1], 0.5, "value is missing"),
        ([1, 2], [1, -1], 0.5, "not negative"),
        ([1, 2], [0, 0], 0.5, "not all zero"),
        ([1, 2], [1, math.inf], 0.5, "finite"),
        ([1, 2], [1, 1], 1.1, "0 to 1"),
        ([1, 2], [1, 1], math.nan, "0 to 1"),
    ],
)
def test_weighted_quantile_refuses(values: list[float], weights: list[float], p: float, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        quantiles.weighted_quantile(values, weights, p)


@pytest.mark.parametrize(("n", "weight", "p"), [(10, 1 / 3, 0.5), (15, 0.1, 0.8), (5, 0.7, 0.4)])
def test_numpys_weighted_quantile_loses_ties_to_the_warmer_side(n: int, weight: float, p: float) -> None:
    """Why the quantile is our own: with equal weights p·n values reach p exactly, and numpy takes the next higher one."""
    values = np.arange(1.0, n + 1)
    theirs = np.quantile(values, p, weights=np.full(n, weight), method="inverted_cdf")
    assert theirs == quantiles.weighted_quantile(values, np.full(n, weight), p)[0] + 1
    assert np.quantile(values, p, method="inverted_cdf") == quantiles.weighted_quantile(values, np.full(n, weight), p)[0]
