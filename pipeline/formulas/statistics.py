"""The statistics of the method: plain functions on arrays that know nothing of salamanders.

Each is named after its publication; where a source is quoted from memory the docstring says so.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

TIE = 1e-12
CHUNK = 500_000
BLOCK = 16
Floats = NDArray[np.float64]
Counts = NDArray[np.int64]


def weighted_quantile(values: ArrayLike, weights: ArrayLike, probabilities: ArrayLike) -> Floats:
    """Quantile by the inverse of the weighted empirical distribution function.

    Q(p) = the smallest x whose cumulative weight reaches p·W, W = sum of the weights; so every quantile is a value that was read. With
    equal weights this is type 1 of Hyndman & Fan. p·W is compared with a relative tolerance of 1e-12, so that a tie such as 5 of 10 is not
    lost to rounding.

    Parameters
    ----------
    values, weights : array_like, shape (n,)
        n >= 1, any unit; weights >= 0 with a positive sum. Values of weight 0 do not exist.
    probabilities : array_like, shape (k,)
        0 to 1. At 0 and 1 the lowest and highest value with weight.

    Returns
    -------
    ndarray, shape (k,)
        In the unit of `values`.

    Raises
    ------
    ValueError
        Nothing to summarise, a missing value, a bad weight, or a probability outside 0–1.

    References
    ----------
    Hyndman & Fan 1996, The American Statistician 50:361, type 1.
    """
    x, w = _values_and_weights(values, weights)
    p = _probabilities(probabilities)
    order = np.argsort(x, kind="stable")
    return x[order][_inverse_ecdf(np.cumsum(w[order]), p)]


def _values_and_weights(values: ArrayLike, weights: ArrayLike) -> tuple[Floats, Floats]:
    x, w = np.asarray(values, dtype=float), np.asarray(weights, dtype=float)
    if x.ndim != 1 or x.shape != w.shape or x.size == 0:
        raise ValueError(f"values and weights must be two lists of one length, not empty; got {x.shape} and {w.shape}.")
    if np.isnan(x).any():
        raise ValueError("a value is missing; leave such rows out first.")
    if not np.isfinite(w).all() or (w < 0).any() or not w.sum() > 0:
        raise ValueError("weights must be finite, not negative, and not all zero.")
    return x, w


def _probabilities(probabilities: ArrayLike) -> Floats:
    p = np.atleast_1d(np.asarray(probabilities, dtype=float))
    if not ((p >= 0) & (p <= 1)).all():
        raise ValueError("probabilities must lie in 0 to 1.")
    return p


def _inverse_ecdf(cumulative: Floats, probabilities: Floats) -> NDArray[np.intp]:
    return np.searchsorted(cumulative, _thresholds(probabilities, cumulative[-1]), side="left")


def _thresholds(probabilities: Floats, total: Any) -> Floats:
    # At p = 0 the threshold is the least positive number, so that leading values without weight are passed over.
    return np.maximum(probabilities * total * (1 - TIE), np.nextafter(0.0, 1.0))


def crossed_draws(n_sites: int, n_dates: int, replicates: int, rng: np.random.Generator) -> tuple[Counts, Counts]:
    """Draw sites and, independently, dates with replacement.

    Parameters
    ----------
    n_sites, n_dates : int
        Distinct sites and dates, >= 1.
    replicates : int
        Number of draws, >= 1.
    rng : numpy Generator

    Returns
    -------
    site_counts : ndarray of int, shape (replicates, n_sites)
        How often each site was drawn; each row sums to `n_sites` (multinomial, equal chances).
    date_counts : ndarray of int, shape (replicates, n_dates)
        The same for dates.

    References
    ----------
    Owen 2007, The pigeonhole bootstrap, Annals of Applied Statistics 1:386 (from memory).
    """
    return _copies(n_sites, replicates, rng), _copies(n_dates, replicates, rng)


def _copies(n: int, replicates: int, rng: np.random.Generator) -> Counts:
    # Drawing and counting is several times faster than numpy's multinomial, which draws a binomial for each member.
    drawn = rng.integers(n, size=(replicates, n))
    drawn += np.arange(replicates)[:, None] * n
    return np.bincount(drawn.ravel(), minlength=replicates * n).reshape(replicates, n)


def crossed_bootstrap(
    values: ArrayLike, weights: ArrayLike, sites: ArrayLike, dates: ArrayLike, probabilities: ArrayLike, replicates: int, seed: int
) -> Floats:
    """Bootstrap weighted quantiles when sites and dates are both clusters (pigeonhole bootstrap).

    In a replicate a reading weighs copies of its site × copies of its date × its own weight; replicates in which nothing weighs anything
    are drawn again. Two readings of one site, or of one date on two sites, so stay together as they are in the field.

    Parameters
    ----------
    values, weights : array_like, shape (n,)
        Readings, any unit, and their weights as for :func:`weighted_quantile`.
    sites, dates : array_like, shape (n,)
        Label of the site and of the date of each reading; anything that sorts, none missing.
    probabilities : array_like, shape (k,)
        0 to 1.
    replicates : int
        Number of replicates, >= 1.
    seed : int
        The same seed and readings give the same replicates.

    Returns
    -------
    ndarray, shape (replicates, k)
        In the unit of `values`.

    Raises
    ------
    ValueError
        As :func:`weighted_quantile`, or lists of different length, or replicates below 1.

    References
    ----------
    Owen 2007, The pigeonhole bootstrap, Annals of Applied Statistics 1:386 (from memory).
    """
    x, w = _values_and_weights(values, weights)
    p = _probabilities(probabilities)
    site_names, site = np.unique(np.asarray(sites), return_inverse=True)
    date_names, date = np.unique(np.asarray(dates), return_inverse=True)
    if site.shape != x.shape or date.shape != x.shape or replicates < 1:
        raise ValueError("values, sites and dates must have one length, and replicates must be 1 or more.")
    rng = np.random.default_rng(seed)
    site_counts, date_counts = crossed_draws(len(site_names), len(date_names), replicates, rng)
    result = replicate_quantiles(x, w, site, date, site_counts, date_counts, p)
    empty = np.flatnonzero(np.isnan(result).any(axis=1))
    while empty.size:
        site_counts, date_counts = crossed_draws(len(site_names), len(date_names), empty.size, rng)
        result[empty] = replicate_quantiles(x, w, site, date, site_counts, date_counts, p)
        empty = empty[np.isnan(result[empty]).any(axis=1)]
    return result


def replicate_quantiles(
    values: Floats,
    weights: Floats,
    site: NDArray[np.intp],
    date: NDArray[np.intp],
    site_counts: Counts,
    date_counts: Counts,
    probabilities: Floats,
) -> Floats:
    """Weighted quantiles of given crossed draws; values are sorted once.

    Parameters
    ----------
    values, weights : ndarray, shape (n,)
        Readings and weights.
    site, date : ndarray of int, shape (n,)
        Column of the counts that belongs to each reading.
    site_counts, date_counts : ndarray of int, shapes (replicates, sites) and (replicates, dates)
        As drawn by :func:`crossed_draws`.
    probabilities : ndarray, shape (k,)
        0 to 1.

    Returns
    -------
    ndarray, shape (replicates, k)
        nan in a replicate in which nothing weighs anything.
    """
    # Copies of a site times copies of a date are small whole numbers: in bytes a book's replicates stay in the processor's cache, and a
    # row a reading (not a row a replicate) lets whole rows be copied.
    kind = np.min_scalar_type(int(site_counts.max()) * int(date_counts.max()))
    by_site, by_date = (np.ascontiguousarray(counts.T, dtype=kind) for counts in (site_counts, date_counts))
    order = np.argsort(values, kind="stable")
    x, w, site, date = (_whole_blocks(column[order]) for column in (values, weights, site, date))
    w[len(values) :] = 0
    result = np.empty((len(site_counts), len(probabilities)))
    # A few replicates at a time, so that 100,000 readings need tens of megabytes and not gigabytes.
    step = max(1, CHUNK // x.size)
    for start in range(0, len(result), step):
        part = slice(start, start + step)
        result[part] = _weighted_quantiles(x, w, by_site[:, part][site] * by_date[:, part][date], probabilities).T
    return result


def _whole_blocks(column: NDArray[Any]) -> NDArray[Any]:
    return np.pad(column, (0, -len(column) % BLOCK), mode="edge")


def _weighted_quantiles(values: Floats, weights: Floats, copies: NDArray[Any], probabilities: Floats) -> Floats:
    """Quantiles of sorted values that stand in each replicate so many times, shape (probabilities, replicates).

    `copies` has the shape (readings, replicates), the number of readings a multiple of ``BLOCK``. First the block of readings in which a
    quantile lies, from the sums of whole blocks, then its place in that block alone.
    """
    replicates = copies.shape[1]
    blocks = copies.astype(float).reshape(-1, BLOCK, replicates)
    # Not matmul: its sums depend on the processor and on threads.
    reached = _running_sums(np.einsum("bi,bir->br", weights.reshape(-1, BLOCK), blocks))
    threshold = _thresholds(probabilities[:, None], reached[-1])
    block = np.minimum([(reached < one).sum(axis=0) for one in threshold], len(reached) - 1)
    rows = np.arange(BLOCK)[:, None, None] + block * BLOCK
    inside = copies[rows, np.arange(replicates)] * weights[rows]
    inside[0] += np.where(block > 0, np.take_along_axis(reached, np.maximum(block - 1, 0), axis=0), 0.0)
    _running_sums(inside)
    # Sums in another order may end a hair lower than the block's: the last reading that has weight then reaches it.
    place = (inside < np.minimum(threshold, inside[-1])).sum(axis=0)
    return np.where(reached[-1] > 0, values[block * BLOCK + place], np.nan)


def _running_sums(rows: Floats) -> Floats:
    # numpy's cumsum over the first axis walks through memory in the wrong direction: several times slower.
    for before, row in pairwise(rows):
        row += before
    return rows


def bootstrap_percentile(replicates: ArrayLike, percent: float) -> float:
    """Percentile of a bootstrap distribution: the inverse of its empirical distribution function (type 1).

    The same definition as :func:`weighted_quantile` with equal weights, so a bound is always a value that a replicate gave.

    Parameters
    ----------
    replicates : array_like, shape (replicates,)
        One figure a replicate, none missing.
    percent : float
        0 to 100.

    Returns
    -------
    float
        In the unit of the replicates.
    """
    figures = np.asarray(replicates, dtype=float)
    return float(weighted_quantile(figures, np.ones(figures.shape), percent / 100)[0])


def interval(replicates_1d: ArrayLike, low: float, high: float) -> tuple[float, float]:
    """Percentile interval of a bootstrap distribution.

    Parameters
    ----------
    replicates_1d : array_like, shape (replicates,)
        One figure a replicate, none missing.
    low, high : float
        Percentiles, 0 to 100, such as 2.5 and 97.5; type 1 as :func:`bootstrap_percentile`.

    Returns
    -------
    tuple of float
        Lower and upper end, in the unit of the replicates.

    References
    ----------
    Efron & Tibshirani 1993, An Introduction to the Bootstrap, ch. 13 (from memory).
    """
    return bootstrap_percentile(replicates_1d, low), bootstrap_percentile(replicates_1d, high)


def icc_one_way(values: ArrayLike, groups: ArrayLike) -> float:
    """Intraclass correlation ICC(1) of a one-way layout with unequal groups.

    ICC = (MSB − MSW) / (MSB + (n0 − 1)·MSW), n0 = (N − Σn²/N)/(k − 1). Negative where groups differ less than chance would have it.

    Parameters
    ----------
    values : array_like, shape (N,)
        None missing.
    groups : array_like, shape (N,)
        Label of the group of each value.

    Returns
    -------
    float
        At most 1; nan where it is undefined: one group only, no group with two values, or all values equal.

    References
    ----------
    Shrout & Fleiss 1979, Psychological Bulletin 86:420; n0 as in Snedecor & Cochran, Statistical Methods.
    """
    x = np.asarray(values, dtype=float)
    if np.isnan(x).any():
        raise ValueError("a value is missing; leave such rows out first.")
    _, group, size = np.unique(np.asarray(groups), return_inverse=True, return_counts=True)
    total, k = x.size, len(size)
    if k < 2 or total == k:
        return math.nan
    means = np.bincount(group, weights=x) / size
    between = float((size * (means - x.mean()) ** 2).sum() / (k - 1))
    within = float(((x - means[group]) ** 2).sum() / (total - k))
    n0 = (total - (size**2).sum() / total) / (k - 1)
    bottom = between + (n0 - 1) * within
    # What is left of equal values after rounding is no variance.
    if bottom <= (np.abs(x).max() * 1e-14) ** 2:
        return math.nan
    return float((between - within) / bottom)


def kish_effective_n(weights: ArrayLike) -> float:
    """Number of equally weighted values that unequal weights are worth: (Σw)²/Σw².

    Parameters
    ----------
    weights : array_like, shape (n,)
        Not negative, with a positive sum.

    Returns
    -------
    float
        1 to n.

    References
    ----------
    Kish 1965, Survey Sampling, §11.7.
    """
    _, w = _values_and_weights(np.zeros(np.shape(weights)), weights)
    w = w / w.max()
    return float(w.sum() ** 2 / (w**2).sum())


def design_effect(cluster_sizes: ArrayLike, icc: float) -> float:
    """Factor by which clusters inflate the variance of a mean: 1 + (Σm²/Σm − 1)·ICC.

    With equal clusters this is Kish's 1 + (m − 1)·ICC.

    Parameters
    ----------
    cluster_sizes : array_like, shape (k,)
        Members of each cluster, with a positive sum.
    icc : float
        Intraclass correlation, at most 1.

    Returns
    -------
    float

    References
    ----------
    Kish 1965, Survey Sampling; Donner & Klar 2000, Design and Analysis of Cluster Randomization Trials (from memory).
    """
    m = np.asarray(cluster_sizes, dtype=float)
    if m.size == 0 or (m < 0).any() or not m.sum() > 0:
        raise ValueError("cluster sizes must not be negative, and not all zero.")
    return float(1 + ((m**2).sum() / m.sum() - 1) * icc)


def effective_visits(visit_values: ArrayLike, sites: ArrayLike, n_dates: int) -> float:
    """Number of independent visits that visits clustered in sites and dates are worth.

    n_eff = n / (1 + (Σm²/Σm − 1)·ICC), m = visits a site, ICC(1) between sites; a negative or undefined ICC counts as 0. Never more than
    the visits, never more than the dates.

    Parameters
    ----------
    visit_values : array_like, shape (n,)
        One value a visit.
    sites : array_like, shape (n,)
        Site of each visit.
    n_dates : int
        Distinct dates among the visits.

    Returns
    -------
    float
        0 without visits. Statements on tolerance use its whole part.

    References
    ----------
    Kish 1965, Survey Sampling; the two caps are this project's judgement.
    """
    x = np.asarray(visit_values, dtype=float)
    if x.size == 0:
        return 0.0
    _, visits = np.unique(np.asarray(sites), return_counts=True)
    icc = icc_one_way(x, sites)
    effect = design_effect(visits, icc if icc > 0 else 0.0)
    return float(min(x.size / effect, x.size, n_dates))


def wilks_confidence(n: int, content: float, m: int) -> float:
    """Confidence that the range left when m blocks are cut off holds the stated share of the population.

    P[Bin(n, 1 − content) >= m] = 1 − I_content(n − m + 1, m). m = 1: one-sided at the extreme value; m = 2: lowest to highest.

    Parameters
    ----------
    n : int
        Independent values, >= 0; of clustered ones the whole part of their effective number.
    content : float
        Share of the population, between 0 and 1.
    m : int
        Blocks left out, >= 1.

    Returns
    -------
    float
        0 to 1; 0 where n < m.

    References
    ----------
    Wilks 1941, Annals of Mathematical Statistics 12:91; Hahn & Meeker 1991, Statistical Intervals.
    """
    from scipy.special import betainc

    _check_wilks(content, m)
    return 0.0 if n < m else float(betainc(m, n - m + 1, 1 - content))


def wilks_minimum_n(confidence: float, content: float, m: int) -> int:
    """Least number of independent values for which :func:`wilks_confidence` reaches the stated confidence.

    Parameters
    ----------
    confidence, content : float
        Between 0 and 1.
    m : int
        Blocks left out, >= 1.

    Returns
    -------
    int

    References
    ----------
    Wilks 1941, Annals of Mathematical Statistics 12:91.
    """
    _check_wilks(confidence, m)
    high = m
    while wilks_confidence(high, content, m) < confidence:
        high *= 2
    low = m - 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if wilks_confidence(middle, content, m) >= confidence else (middle, high)
    return high


def wilks_content(n: int, confidence: float, m: int) -> float:
    """Share of the population that the range left when m blocks are cut off holds, with the stated confidence.

    content = the 1 − confidence quantile of Beta(n − m + 1, m).

    Parameters
    ----------
    n : int
        Independent values, >= m.
    confidence : float
        Between 0 and 1.
    m : int
        Blocks left out, >= 1.

    Returns
    -------
    float
        0 to 1; 0 where n < m.

    References
    ----------
    Wilks 1941, Annals of Mathematical Statistics 12:91; Hahn & Meeker 1991, Statistical Intervals.
    """
    from scipy.special import betaincinv

    _check_wilks(confidence, m)
    return 0.0 if n < m else float(betaincinv(n - m + 1, m, 1 - confidence))


def _check_wilks(share: float, m: int) -> None:
    if not 0 < share < 1 or m < 1:
        raise ValueError(f"confidence and content must lie between 0 and 1, and m must be 1 or more; got {share} and {m}.")


def visits_for_absence(detection: float, confidence: float) -> int:
    """Least number of independent visits without a find after which absence is stated with this confidence.

    n = ln(1 − confidence)/ln(1 − detection), rounded up: the first n with 1 − (1 − detection)^n >= confidence.

    Parameters
    ----------
    detection : float
        Chance that one visit finds the animal where it lives, between 0 and 1, both excluded: it is never certain.
    confidence : float
        Between 0 and 1, both excluded.

    Returns
    -------
    int

    Raises
    ------
    ValueError
        A share outside 0 to 1.

    Notes
    -----
    It holds for visits that are independent and alike; it is the one-sided :func:`wilks_minimum_n` with content 1 − detection.

    References
    ----------
    McArdle 1990, Oikos 57:276; Kéry 2002, Journal of Wildlife Management 66:330 (both from memory).
    """
    if not (0 < detection < 1 and 0 < confidence < 1):
        raise ValueError(f"detection and confidence must lie between 0 and 1; got {detection} and {confidence}.")
    # a quotient that is whole comes out a hair beside it
    return max(1, math.ceil(math.log1p(-confidence) / math.log1p(-detection) - 1e-9))


def quantile_ranks(n: int, q: float, confidence: float) -> tuple[int, int, float]:
    """Ranks of the order statistics that enclose a quantile with at least the stated confidence.

    l = max{j: F(j − 1) <= α/2}, u = min{j: 1 − F(j − 1) <= α/2}, F of Bin(n, q), α = 1 − confidence; coverage F(u − 1) − F(l − 1).

    Parameters
    ----------
    n : int
        Independent values, >= 1.
    q : float
        Probability of the quantile, between 0 and 1.
    confidence : float
        Between 0 and 1.

    Returns
    -------
    lower, upper : int
        Ranks counted from 1; 0 or n + 1 means that there is no finite bound on that side.
    coverage : float
        Confidence that these ranks truly have.

    References
    ----------
    Conover 1999, Practical Nonparametric Statistics; Hahn & Meeker 1991, Statistical Intervals.
    """
    from scipy.stats import binom

    if n < 1 or not 0 < q < 1 or not 0 < confidence < 1:
        raise ValueError(f"n must be 1 or more, q and confidence between 0 and 1; got {n}, {q} and {confidence}.")
    tail = (1 - confidence) / 2
    ranks = np.arange(0, n + 2)
    below: Any = binom.cdf(ranks - 1, n, q)
    above: Any = binom.sf(ranks - 1, n, q)
    lower = int(ranks[below <= tail].max())
    upper = int(ranks[above <= tail].min())
    return lower, upper, float(below[upper] - below[lower])
