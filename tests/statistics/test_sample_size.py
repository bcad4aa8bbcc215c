"""Sample sizes and what values are worth, against scipy's tests and by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from pipeline.statistics import sample_size
from pipeline.statistics.sample_size import visits_for_absence, wilks_minimum_n


def test_icc_against_one_way_anova() -> None:
    """For equal groups ICC(1) = (F − 1)/(F + n − 1), F from scipy.stats.f_oneway (Shrout & Fleiss 1979)."""
    rng = np.random.default_rng(8)
    groups = rng.normal(0, 1, (6, 1)) + rng.normal(0, 1, (6, 5))
    f = stats.f_oneway(*groups).statistic
    assert sample_size.icc_one_way(groups.ravel(), np.repeat(np.arange(6), 5)) == pytest.approx((f - 1) / (f + 4), abs=1e-12)


@pytest.mark.parametrize(
    ("values", "groups"), [([1.0, 2.0, 3.0], [1, 1, 1]), ([1.0, 2.0], [1, 2]), ([14.3] * 6, [1, 1, 2, 2, 3, 3]), ([0.0] * 4, [1, 1, 2, 2])]
)
def test_icc_is_undefined_without_variance_or_groups(values: list[float], groups: list[int]) -> None:
    assert math.isnan(sample_size.icc_one_way(values, groups))


def test_effective_visits_by_hand() -> None:
    """Design effect of C97, ICC of C99: m = 3, 2, 4, 5, 1, Σm²/Σm = 55/15, ICC 0.97834, so 15 / (1 + 2.66667 × 0.97834) = 4.1569."""
    values = [12.1, 12.4, 12.0, 14.8, 15.1, 10.2, 10.9, 10.5, 10.4, 13.3, 13.0, 13.6, 13.1, 13.5, 11.0]
    sites = list("aaabbccccddddde")
    assert sample_size.effective_visits(values, sites, 15) == pytest.approx(4.1569, abs=1e-3)
    assert sample_size.effective_visits(values, sites, 3) == 3


def test_effective_visits_without_a_usable_icc() -> None:
    """Negative (sites alike, visits apart) or undefined ICC counts as 0: all visits, but never more than the dates."""
    assert sample_size.icc_one_way([1, 9, 9, 1], list("aabb")) < 0
    assert sample_size.effective_visits([1, 9, 9, 1], list("aabb"), 4) == 4
    assert sample_size.effective_visits([5.0], ["a"], 1) == 1
    assert sample_size.effective_visits([5.0, 6.0, 7.0], ["a", "a", "a"], 2) == 2
    assert sample_size.effective_visits([], [], 0) == 0


@given(st.lists(st.tuples(st.floats(-5, 30), st.integers(0, 4)), min_size=1, max_size=40), st.integers(1, 40))
def test_effective_visits_never_exceed_visits_or_dates(visits: list[tuple[float, int]], dates: int) -> None:
    result = sample_size.effective_visits([value for value, _ in visits], [site for _, site in visits], dates)
    assert 0 < result <= min(len(visits), dates)


@pytest.mark.parametrize(("n", "q", "confidence"), [(20, 0.5, 0.95), (25, 0.5, 0.95), (100, 0.1, 0.95), (60, 0.9, 0.9), (5, 0.5, 0.95)])
def test_quantile_ranks_are_those_of_scipys_quantile_test(n: int, q: float, confidence: float) -> None:
    """scipy.stats.quantile_test on 1 … n gives the ranks themselves as limits; nan where there is no finite bound."""
    limits = stats.quantile_test(np.arange(1, n + 1), p=q).confidence_interval(confidence)
    lower, upper, coverage = sample_size.quantile_ranks(n, q, confidence)
    assert (lower if lower >= 1 else None) == (None if math.isnan(limits.low) else limits.low)
    assert (upper if upper <= n else None) == (None if math.isnan(limits.high) else limits.high)
    assert coverage >= confidence


def test_quantile_ranks_at_a_tie() -> None:
    """Lowest and highest of 6 miss the median with chance 2/64, exactly: at a confidence of 62/64 they are the ranks."""
    assert sample_size.quantile_ranks(6, 0.5, 62 / 64) == (1, 6, 62 / 64)


@given(st.integers(1, 400), st.floats(0.01, 0.99), st.integers(1, 6))
def test_wilks_confidence_is_the_binomial_tail(n: int, content: float, m: int) -> None:
    assert sample_size.wilks_confidence(n, content, m) == pytest.approx(stats.binom.sf(m - 1, n, 1 - content), abs=1e-9)


@given(st.floats(0.5, 0.999), st.floats(0.5, 0.99), st.integers(1, 6))
def test_wilks_minimum_n_is_the_least(confidence: float, content: float, m: int) -> None:
    n = sample_size.wilks_minimum_n(confidence, content, m)
    assert sample_size.wilks_confidence(n, content, m) >= confidence > sample_size.wilks_confidence(n - 1, content, m)


@pytest.mark.parametrize(("confidence", "m"), [(0, 1), (1, 1), (0.95, 0)])
def test_wilks_refuses_nonsense(confidence: float, m: int) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        sample_size.wilks_minimum_n(confidence, 0.95, m)


@pytest.mark.parametrize(("detection", "visits"), [(0.2, 14), (0.3, 9), (0.5, 5), (0.67, 3), (0.85, 2)])
def test_visits_to_absence_by_hand(detection: float, visits: int) -> None:
    """n = ln 0.05 / ln(1 − p), McArdle 1990 (from memory); e.g. 0.8^13 = 0.055 and 0.8^14 = 0.044 by hand."""
    assert visits_for_absence(detection, 0.95) == visits
    assert (1 - detection) ** visits <= 0.05 < (1 - detection) ** (visits - 1)


@pytest.mark.parametrize(("confidence", "content", "n"), [(0.95, 0.95, 59), (0.95, 0.9, 29), (0.95, 0.99, 299), (0.9, 0.95, 45)])
def test_visits_to_absence_is_the_one_sided_figure_of_wilks(confidence: float, content: float, n: int) -> None:
    """Check values C01, C05, C07 and C09: Wilks 1941; Hahn & Meeker 1991. Content 1 − detection, one block cut off."""
    assert visits_for_absence(1 - content, confidence) == n


@given(st.floats(0.02, 0.98), st.floats(0.5, 0.99))
def test_visits_to_absence_agrees_with_wilks_everywhere(detection: float, confidence: float) -> None:
    own, other = visits_for_absence(detection, confidence), wilks_minimum_n(confidence, 1 - detection, 1)
    exact = math.log(1 - confidence) / math.log(1 - detection)
    assert own == other or abs(exact - round(exact)) < 1e-6


def test_a_quotient_that_is_whole_is_not_rounded_up() -> None:
    """(1 − 0.5)^3 is 0.125 exactly: three visits for a confidence of 0.875."""
    assert visits_for_absence(0.5, 0.875) == 3


@pytest.mark.parametrize(("detection", "confidence"), [(0, 0.95), (1, 0.95), (1.2, 0.95), (0.3, 0), (0.3, 1), (math.nan, 0.95)])
def test_no_search_is_sure(detection: float, confidence: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        visits_for_absence(detection, confidence)
