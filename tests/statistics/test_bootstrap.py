"""The bootstrap against plain loops with the same draws, and what must hold for any readings."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy import stats

from pipeline.statistics import bootstrap

SMALL: dict[str, list[Any]] = {
    "values": [9.5, 12.0, 12.0, 14.5, 8.0, 17.5, 11.0],
    "weights": [0.5, 0.25, 0.25, 1.0, 0.3, 0.7, 1.0],
    "sites": ["b", "a", "a", "c", "b", "c", "a"],
    "dates": ["d1", "d2", "d1", "d2", "d3", "d1", "d3"],
}


def _double_loop(small: dict[str, list[Any]], site_counts: Any, date_counts: Any, probabilities: list[float]) -> list[list[float]]:
    """Owen's replicate written out: every reading repeated in words, no arrays; quantile by the plain definition."""
    sites, dates = sorted(set(small["sites"])), sorted(set(small["dates"]))
    result = []
    for site_row, date_row in zip(site_counts, date_counts, strict=True):
        weighed = []
        for value, weight, site, date in zip(*small.values(), strict=True):
            weighed.append((value, weight * int(site_row[sites.index(site)]) * int(date_row[dates.index(date)])))
        weighed.sort()
        total = math.fsum(weight for _, weight in weighed)
        row = []
        for p in probabilities:
            so_far = [math.fsum(weight for _, weight in weighed[: i + 1]) for i in range(len(weighed))]
            row.append(next(value for (value, weight), c in zip(weighed, so_far, strict=True) if weight > 0 and c >= p * total - 1e-12))
        result.append(row)
    return result


def test_crossed_bootstrap_is_the_double_loop_with_the_same_draws() -> None:
    probabilities = [0.05, 0.25, 0.5, 0.75, 0.95]
    full = {**SMALL, "values": [*SMALL["values"], 10.0, 13.0], "weights": [*SMALL["weights"], 0.6, 0.9]}
    full["sites"], full["dates"] = [*SMALL["sites"], "b", "c"], [*SMALL["dates"], "d2", "d3"]
    ours = bootstrap.crossed_bootstrap(**full, probabilities=probabilities, replicates=300, seed=7)
    draws = bootstrap.crossed_draws(3, 3, 300, np.random.default_rng(7))
    assert ours.tolist() == _double_loop(full, *draws, probabilities)


def test_blocks_of_readings_are_the_double_loop_too() -> None:
    """More readings than a block, with ties, zero weights and a last block that is not full."""
    rng = np.random.default_rng(12)
    n, probabilities = 4 * bootstrap.BLOCK + 5, [0.0, 0.05, 0.5, 0.95, 1.0]
    many: dict[str, list[Any]] = {
        "values": rng.normal(14, 2, n).round().tolist(),
        "weights": rng.choice([0.0, 1 / 3, 0.1, 1.0], n).tolist(),
        "sites": rng.integers(0, 6, n).tolist(),
        "dates": rng.integers(0, 9, n).tolist(),
    }
    ours = bootstrap.crossed_bootstrap(**many, probabilities=probabilities, replicates=60, seed=4)
    assert ours.tolist() == _double_loop(many, *bootstrap.crossed_draws(6, 9, 60, np.random.default_rng(4)), probabilities)


def test_many_copies_of_one_reading_are_not_cut_short() -> None:
    """20 copies of a site times 20 of a date are 400, more than a byte holds: 400 of 1,000 at the lowest value."""
    values, place = np.array([1.0, 2.0]), np.array([0, 1])
    counts = np.array([[20, 20]]), np.array([[20, 30]])
    ours = bootstrap.replicate_quantiles(values, np.ones(2), place, place, *counts, np.array([0.39, 0.4, 0.41]))
    assert ours.tolist() == [[1.0, 1.0, 2.0]]


def test_draws_are_multinomial() -> None:
    """Each row sums to n; covariance as scipy.stats.multinomial has it, within five standard errors of 40,000 draws."""
    n, replicates = 4, 40_000
    sites, dates = bootstrap.crossed_draws(n, 7, replicates, np.random.default_rng(1))
    assert (sites.sum(axis=1) == n).all() and (dates.sum(axis=1) == 7).all() and dates.shape == (replicates, 7)
    expected = stats.multinomial.cov(n, np.full(n, 1 / n))
    assert np.abs(sites.mean(axis=0) - 1).max() < 5 * math.sqrt(expected[0, 0] / replicates)
    assert np.abs(np.cov(sites.T) - expected).max() < 5 * math.sqrt(2 / replicates)
    assert abs(np.corrcoef(sites[:, 0], dates[:, 0])[0, 1]) < 5 / math.sqrt(replicates)


def test_replicates_without_weight_are_drawn_again() -> None:
    """Two readings on a diagonal: a quarter or more of first draws hold neither."""
    diagonal = {"values": [1.0, 2.0], "weights": [1.0, 1.0], "sites": ["a", "b"], "dates": ["x", "y"]}
    sites, dates = bootstrap.crossed_draws(2, 2, 400, np.random.default_rng(3))
    empty = ((sites * dates).sum(axis=1)) == 0
    assert 0.05 < empty.mean() < 0.5
    ours = bootstrap.crossed_bootstrap(**diagonal, probabilities=[0, 1], replicates=400, seed=3)
    assert np.isin(ours, [1.0, 2.0]).all()
    kept = _double_loop(diagonal, sites[~empty], dates[~empty], [0, 1])
    assert ours[~empty].tolist() == kept
    assert abs(ours[:, 0].mean() - 1.5) + abs(ours[:, 1].mean() - 1.5) > 0.1


def test_chunks_do_not_change_the_replicates(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = bootstrap.crossed_bootstrap(**SMALL, probabilities=[0.5, 0.95], replicates=50, seed=1)
    monkeypatch.setattr(bootstrap, "CHUNK", 15)
    assert bootstrap.crossed_bootstrap(**SMALL, probabilities=[0.5, 0.95], replicates=50, seed=1).tolist() == whole.tolist()


def test_a_replicate_that_drew_no_reading_has_no_quantile() -> None:
    """Owen 2007: a reading counts as often as its site times its date was drawn; here the second draws site 0 and date 1 alone."""
    values, weights, place = np.array([10.0, 20.0]), np.array([1.0, 1.0]), np.array([0, 1])
    drawn = bootstrap.replicate_quantiles(
        values, weights, place, place, np.array([[2, 0], [2, 0]]), np.array([[2, 0], [0, 2]]), np.array([0.95])
    )
    assert drawn[0, 0] == 10.0 and np.isnan(drawn[1, 0])


def test_crossed_bootstrap_does_not_see_the_order_of_rows() -> None:
    turned = {name: column[::-1] for name, column in SMALL.items()}
    ours = bootstrap.crossed_bootstrap(**SMALL, probabilities=[0.1, 0.5, 0.9], replicates=200, seed=5)
    assert bootstrap.crossed_bootstrap(**turned, probabilities=[0.1, 0.5, 0.9], replicates=200, seed=5).tolist() == ours.tolist()


def test_shared_days_widen_the_crossed_bootstrap() -> None:
    """All variance between days: SE of P50 must be near that of resampled days and far above that of resampled sites alone."""
    rng = np.random.default_rng(11)
    day = rng.normal(15, 2, 12)
    date, site = np.meshgrid(np.arange(12), np.arange(15))
    values = (day[date] + rng.normal(0, 0.1, date.shape)).ravel()
    crossed = bootstrap.crossed_bootstrap(values, np.ones(values.size), site.ravel(), date.ravel(), [0.5], 1000, 2)
    sites_only = bootstrap.crossed_bootstrap(values, np.ones(values.size), site.ravel(), np.arange(values.size) * 0, [0.5], 1000, 2)
    assert crossed.std() > 5 * sites_only.std()


@pytest.mark.parametrize("probability", [0.025, 0.15, 0.5, 0.85, 0.975])
def test_bootstrap_percentile_is_numpys_inverted_cdf(probability: float) -> None:
    figures = np.random.default_rng(4).normal(20, 2, 1999)
    assert bootstrap.bootstrap_percentile(figures, 100 * probability) == np.quantile(figures, probability, method="inverted_cdf")


def test_interval_of_one_to_2000() -> None:
    """By counting: 2.5 % of 2,000 are 50, 97.5 % are 1,950, 15 % are 300."""
    figures = np.random.default_rng(0).permutation(np.arange(1.0, 2001))
    assert bootstrap.interval(figures, 2.5, 97.5) == (50, 1950)
    assert bootstrap.bootstrap_percentile(figures, 15) == 300
