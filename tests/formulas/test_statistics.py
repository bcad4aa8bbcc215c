"""The statistics against published figures, other libraries and plain loops.

`check_values/statistics.csv` and `check_values/season.csv` hold the published or recomputed figures with their source,
`check_values/ids.csv` lists every figure that was collected, and LEFT_OUT says why some are
not met here. C101 is met by Monte Carlo, so within 0.02.
"""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pipeline.formulas import statistics as own

HERE = Path(__file__).parents[1] / "check_values"
CHECKS = HERE / "statistics.csv"
NOT_COMPUTED = {
    "normal tolerance limits": range(32, 45),
    "quantile types 5 to 9": range(58, 69),
    "Poisson and binomial intervals": range(69, 90),
    "a cluster-robust standard error of a mean": [100],
    "a two-stage bootstrap that resamples within clusters": [102],
    "circular statistics": range(109, 122),
    "rates": range(128, 132),
}
LEFT_OUT = {f"C{number:02d}": f"nothing here computes {what}" for what, numbers in NOT_COMPUTED.items() for number in numbers}


def _smallest_n(q: float, confidence: float) -> int:
    n = 1
    while True:
        lower, upper, _ = own.quantile_ranks(n, q, confidence)
        if lower >= 1 and upper <= n:
            return n
        n += 1


def _ranks_coverage(n: int, q: float, confidence: float, ranks: list[int]) -> float:
    lower, upper, coverage = own.quantile_ranks(n, q, confidence)
    assert [lower, upper] == ranks
    return coverage


def _draws_standard_error(values: list[list[float]]) -> float:
    table = np.asarray(values)
    sites, _ = own.crossed_draws(len(table), 1, 20_000, np.random.default_rng(20240501))
    return float((sites @ table.mean(axis=1) / len(table)).std())


COMPUTE: dict[str, Any] = {
    "smallest_n_with_finite_ranks": _smallest_n,
    "quantile_ranks": _ranks_coverage,
    "one_minus_wilks_content": lambda **given: 1 - own.wilks_content(**given),
    "n_over_design_effect": lambda **given: sum(given["cluster_sizes"]) / own.design_effect(**given),
    "crossed_draws_standard_error": _draws_standard_error,
    "weighted_quantile": lambda **given: own.weighted_quantile(**given)[0],
}


def _checks() -> list[dict[str, str]]:
    with CHECKS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_collected_figure_is_met_or_left_out_with_a_reason() -> None:
    with (HERE / "ids.csv").open(encoding="utf-8", newline="") as file:
        collected = {row["id"] for row in csv.DictReader(file) if row["id"].startswith("C")}
    with (HERE / "season.csv").open(encoding="utf-8", newline="") as file:
        of_season = {row["id"] for row in csv.DictReader(file)}
    met = {row["id"] for row in _checks()} | of_season
    assert met | set(LEFT_OUT) == collected and not met & set(LEFT_OUT)
    assert len(collected) == 131 and len(of_season) == 6


@pytest.mark.parametrize("row", _checks(), ids=lambda row: row["id"])
def test_published_value(row: dict[str, str]) -> None:
    compute = COMPUTE.get(row["function"]) or getattr(own, row["function"])
    assert compute(**json.loads(row["arguments"])) == pytest.approx(float(row["expected"]), rel=0, abs=float(row["tolerance"]))


weights = st.lists(st.integers(0, 5), min_size=1, max_size=30).filter(any)


@given(weights=weights, data=st.data(), p=st.integers(0, 20))
def test_weighted_quantile_is_numpys_inverted_cdf_and_that_of_repeated_values(weights: list[int], data: st.DataObject, p: int) -> None:
    """numpy.quantile(method="inverted_cdf", weights=) and, without any weights, the values written out as often as they weigh."""
    values = data.draw(st.lists(st.integers(-50, 300).map(lambda v: v / 10), min_size=len(weights), max_size=len(weights)))
    ours = own.weighted_quantile(values, weights, p / 20)[0]
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
    quantiles = own.weighted_quantile(values, given_weights, sorted(p))
    assert set(quantiles) <= set(values)
    assert (np.diff(quantiles) >= 0).all()
    order = np.random.default_rng(seed).permutation(len(values))
    again = own.weighted_quantile(np.asarray(values)[order], given_weights[order] * scale, sorted(p))
    reach = np.array([given_weights[np.asarray(values) <= q].sum() for q in quantiles]) / given_weights.sum()
    clear = np.abs(reach - sorted(p)) > 1e-9
    assert (again == quantiles)[clear].all()


@pytest.mark.parametrize(("n", "weight"), [(10, 1 / 3), (15, 0.1), (5, 0.7), (9, 1 / 3)])
def test_weighted_quantile_keeps_ties_that_rounding_would_lose(n: int, weight: float) -> None:
    """With n equal weights k/n of them are exactly k values; sums of 1/3 or 0.1 in floats fall short of that, or exceed it."""
    values = np.arange(1.0, n + 1)
    assert own.weighted_quantile(values, np.full(n, weight), np.arange(1, n + 1) / n).tolist() == values.tolist()


def test_weighted_quantile_passes_over_values_without_weight() -> None:
    assert own.weighted_quantile([1, 2, 3, 4], [0, 1, 1, 0], [0, 1]).tolist() == [2, 3]


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
        own.weighted_quantile(values, weights, p)


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
    ours = own.crossed_bootstrap(**full, probabilities=probabilities, replicates=300, seed=7)
    draws = own.crossed_draws(3, 3, 300, np.random.default_rng(7))
    assert ours.tolist() == _double_loop(full, *draws, probabilities)


def test_blocks_of_readings_are_the_double_loop_too() -> None:
    """More readings than a block, with ties, zero weights and a last block that is not full."""
    rng = np.random.default_rng(12)
    n, probabilities = 4 * own.BLOCK + 5, [0.0, 0.05, 0.5, 0.95, 1.0]
    many: dict[str, list[Any]] = {
        "values": rng.normal(14, 2, n).round().tolist(),
        "weights": rng.choice([0.0, 1 / 3, 0.1, 1.0], n).tolist(),
        "sites": rng.integers(0, 6, n).tolist(),
        "dates": rng.integers(0, 9, n).tolist(),
    }
    ours = own.crossed_bootstrap(**many, probabilities=probabilities, replicates=60, seed=4)
    assert ours.tolist() == _double_loop(many, *own.crossed_draws(6, 9, 60, np.random.default_rng(4)), probabilities)


def test_many_copies_of_one_reading_are_not_cut_short() -> None:
    """20 copies of a site times 20 of a date are 400, more than a byte holds: 400 of 1,000 at the lowest value."""
    values, place = np.array([1.0, 2.0]), np.array([0, 1])
    counts = np.array([[20, 20]]), np.array([[20, 30]])
    ours = own.replicate_quantiles(values, np.ones(2), place, place, *counts, np.array([0.39, 0.4, 0.41]))
    assert ours.tolist() == [[1.0, 1.0, 2.0]]


def test_draws_are_multinomial() -> None:
    """Each row sums to n; covariance as scipy.stats.multinomial has it, within five standard errors of 40,000 draws."""
    n, replicates = 4, 40_000
    sites, dates = own.crossed_draws(n, 7, replicates, np.random.default_rng(1))
    assert (sites.sum(axis=1) == n).all() and (dates.sum(axis=1) == 7).all() and dates.shape == (replicates, 7)
    expected = stats.multinomial.cov(n, np.full(n, 1 / n))
    assert np.abs(sites.mean(axis=0) - 1).max() < 5 * math.sqrt(expected[0, 0] / replicates)
    assert np.abs(np.cov(sites.T) - expected).max() < 5 * math.sqrt(2 / replicates)
    assert abs(np.corrcoef(sites[:, 0], dates[:, 0])[0, 1]) < 5 / math.sqrt(replicates)


def test_replicates_without_weight_are_drawn_again() -> None:
    """Two readings on a diagonal: a quarter or more of first draws hold neither."""
    diagonal = {"values": [1.0, 2.0], "weights": [1.0, 1.0], "sites": ["a", "b"], "dates": ["x", "y"]}
    sites, dates = own.crossed_draws(2, 2, 400, np.random.default_rng(3))
    empty = ((sites * dates).sum(axis=1)) == 0
    assert 0.05 < empty.mean() < 0.5
    ours = own.crossed_bootstrap(**diagonal, probabilities=[0, 1], replicates=400, seed=3)
    assert np.isin(ours, [1.0, 2.0]).all()
    kept = _double_loop(diagonal, sites[~empty], dates[~empty], [0, 1])
    assert ours[~empty].tolist() == kept
    assert abs(ours[:, 0].mean() - 1.5) + abs(ours[:, 1].mean() - 1.5) > 0.1


def test_chunks_do_not_change_the_replicates(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = own.crossed_bootstrap(**SMALL, probabilities=[0.5, 0.95], replicates=50, seed=1)
    monkeypatch.setattr(own, "CHUNK", 15)
    assert own.crossed_bootstrap(**SMALL, probabilities=[0.5, 0.95], replicates=50, seed=1).tolist() == whole.tolist()


def test_a_replicate_that_drew_no_reading_has_no_quantile() -> None:
    """Owen 2007: a reading counts as often as its site times its date was drawn; here the second draws site 0 and date 1 alone."""
    values, weights, place = np.array([10.0, 20.0]), np.array([1.0, 1.0]), np.array([0, 1])
    drawn = own.replicate_quantiles(values, weights, place, place, np.array([[2, 0], [2, 0]]), np.array([[2, 0], [0, 2]]), np.array([0.95]))
    assert drawn[0, 0] == 10.0 and np.isnan(drawn[1, 0])


def test_crossed_bootstrap_does_not_see_the_order_of_rows() -> None:
    turned = {name: column[::-1] for name, column in SMALL.items()}
    ours = own.crossed_bootstrap(**SMALL, probabilities=[0.1, 0.5, 0.9], replicates=200, seed=5)
    assert own.crossed_bootstrap(**turned, probabilities=[0.1, 0.5, 0.9], replicates=200, seed=5).tolist() == ours.tolist()


def test_shared_days_widen_the_crossed_bootstrap() -> None:
    """All variance between days: SE of P50 must be near that of resampled days and far above that of resampled sites alone."""
    rng = np.random.default_rng(11)
    day = rng.normal(15, 2, 12)
    date, site = np.meshgrid(np.arange(12), np.arange(15))
    values = (day[date] + rng.normal(0, 0.1, date.shape)).ravel()
    crossed = own.crossed_bootstrap(values, np.ones(values.size), site.ravel(), date.ravel(), [0.5], 1000, 2)
    sites_only = own.crossed_bootstrap(values, np.ones(values.size), site.ravel(), np.arange(values.size) * 0, [0.5], 1000, 2)
    assert crossed.std() > 5 * sites_only.std()


@pytest.mark.parametrize("probability", [0.025, 0.15, 0.5, 0.85, 0.975])
def test_bootstrap_percentile_is_numpys_inverted_cdf(probability: float) -> None:
    figures = np.random.default_rng(4).normal(20, 2, 1999)
    assert own.bootstrap_percentile(figures, 100 * probability) == np.quantile(figures, probability, method="inverted_cdf")


def test_interval_of_one_to_2000() -> None:
    """By counting: 2.5 % of 2,000 are 50, 97.5 % are 1,950, 15 % are 300."""
    figures = np.random.default_rng(0).permutation(np.arange(1.0, 2001))
    assert own.interval(figures, 2.5, 97.5) == (50, 1950)
    assert own.bootstrap_percentile(figures, 15) == 300


def test_icc_against_one_way_anova() -> None:
    """For equal groups ICC(1) = (F − 1)/(F + n − 1), F from scipy.stats.f_oneway (Shrout & Fleiss 1979)."""
    rng = np.random.default_rng(8)
    groups = rng.normal(0, 1, (6, 1)) + rng.normal(0, 1, (6, 5))
    f = stats.f_oneway(*groups).statistic
    assert own.icc_one_way(groups.ravel(), np.repeat(np.arange(6), 5)) == pytest.approx((f - 1) / (f + 4), abs=1e-12)


@pytest.mark.parametrize(
    ("values", "groups"), [([1.0, 2.0, 3.0], [1, 1, 1]), ([1.0, 2.0], [1, 2]), ([14.3] * 6, [1, 1, 2, 2, 3, 3]), ([0.0] * 4, [1, 1, 2, 2])]
)
def test_icc_is_undefined_without_variance_or_groups(values: list[float], groups: list[int]) -> None:
    assert math.isnan(own.icc_one_way(values, groups))


def test_effective_visits_by_hand() -> None:
    """Design effect of C97, ICC of C99: m = 3, 2, 4, 5, 1, Σm²/Σm = 55/15, ICC 0.97834, so 15 / (1 + 2.66667 × 0.97834) = 4.1569."""
    values = [12.1, 12.4, 12.0, 14.8, 15.1, 10.2, 10.9, 10.5, 10.4, 13.3, 13.0, 13.6, 13.1, 13.5, 11.0]
    sites = list("aaabbccccddddde")
    assert own.effective_visits(values, sites, 15) == pytest.approx(4.1569, abs=1e-3)
    assert own.effective_visits(values, sites, 3) == 3


def test_effective_visits_without_a_usable_icc() -> None:
    """Negative (sites alike, visits apart) or undefined ICC counts as 0: all visits, but never more than the dates."""
    assert own.icc_one_way([1, 9, 9, 1], list("aabb")) < 0
    assert own.effective_visits([1, 9, 9, 1], list("aabb"), 4) == 4
    assert own.effective_visits([5.0], ["a"], 1) == 1
    assert own.effective_visits([5.0, 6.0, 7.0], ["a", "a", "a"], 2) == 2
    assert own.effective_visits([], [], 0) == 0


@given(st.lists(st.tuples(st.floats(-5, 30), st.integers(0, 4)), min_size=1, max_size=40), st.integers(1, 40))
def test_effective_visits_never_exceed_visits_or_dates(visits: list[tuple[float, int]], dates: int) -> None:
    result = own.effective_visits([value for value, _ in visits], [site for _, site in visits], dates)
    assert 0 < result <= min(len(visits), dates)


@pytest.mark.parametrize(("n", "q", "confidence"), [(20, 0.5, 0.95), (25, 0.5, 0.95), (100, 0.1, 0.95), (60, 0.9, 0.9), (5, 0.5, 0.95)])
def test_quantile_ranks_are_those_of_scipys_quantile_test(n: int, q: float, confidence: float) -> None:
    """scipy.stats.quantile_test on 1 … n gives the ranks themselves as limits; nan where there is no finite bound."""
    limits = stats.quantile_test(np.arange(1, n + 1), p=q).confidence_interval(confidence)
    lower, upper, coverage = own.quantile_ranks(n, q, confidence)
    assert (lower if lower >= 1 else None) == (None if math.isnan(limits.low) else limits.low)
    assert (upper if upper <= n else None) == (None if math.isnan(limits.high) else limits.high)
    assert coverage >= confidence


def test_quantile_ranks_at_a_tie() -> None:
    """Lowest and highest of 6 miss the median with chance 2/64, exactly: at a confidence of 62/64 they are the ranks."""
    assert own.quantile_ranks(6, 0.5, 62 / 64) == (1, 6, 62 / 64)


@given(st.integers(1, 400), st.floats(0.01, 0.99), st.integers(1, 6))
def test_wilks_confidence_is_the_binomial_tail(n: int, content: float, m: int) -> None:
    assert own.wilks_confidence(n, content, m) == pytest.approx(stats.binom.sf(m - 1, n, 1 - content), abs=1e-9)


@given(st.floats(0.5, 0.999), st.floats(0.5, 0.99), st.integers(1, 6))
def test_wilks_minimum_n_is_the_least(confidence: float, content: float, m: int) -> None:
    n = own.wilks_minimum_n(confidence, content, m)
    assert own.wilks_confidence(n, content, m) >= confidence > own.wilks_confidence(n - 1, content, m)


@pytest.mark.parametrize(("confidence", "m"), [(0, 1), (1, 1), (0.95, 0)])
def test_wilks_refuses_nonsense(confidence: float, m: int) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        own.wilks_minimum_n(confidence, 0.95, m)
