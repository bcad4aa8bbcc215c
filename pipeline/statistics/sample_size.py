"""How many independent values clustered or weighted ones are worth, and how many are needed for a statement.

Each function is named after its publication; where a source is quoted from memory the docstring says so.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pipeline.statistics.quantiles import values_and_weights


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
    _, w = values_and_weights(np.zeros(np.shape(weights)), weights)
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
