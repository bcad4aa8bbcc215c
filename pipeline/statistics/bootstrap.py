"""The bootstrap of readings whose sites and dates are both clusters, and what is read from its replicates.

Plain functions on arrays. Each is named after its publication; where a source is quoted from memory the docstring says so.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.statistics.quantiles import Floats, checked_probabilities, thresholds, values_and_weights, weighted_quantile

CHUNK = 500_000
"""Figures that are worked on at once, so that a large book needs no more memory than a small one."""

ABREAST = 256
"""Least number of replicates side by side."""

BLOCK = 16
Counts = NDArray[Any]
Drawn = tuple[NDArray[np.intp], Counts]


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
    counts = np.empty((replicates, n), dtype=np.min_scalar_type(n))
    # Drawing and counting is several times faster than numpy's multinomial, which draws a binomial for each member. Some replicates at a
    # time stay in the processor's cache, and draw what all at once would.
    step = max(1, CHUNK // n)
    for start in range(0, replicates, step):
        part = counts[start : start + step]
        drawn = rng.integers(n, size=part.shape)
        drawn += np.arange(len(part))[:, None] * n
        part[:] = np.bincount(drawn.ravel(), minlength=part.size).reshape(part.shape)
    return counts


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
    x, w = values_and_weights(values, weights)
    p = checked_probabilities(probabilities)
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
    order = np.argsort(values, kind="stable")
    x, w, site, date = (_whole_blocks(column[order]) for column in (values, weights, site, date))
    w[len(values) :] = 0
    result = np.empty((len(site_counts), len(probabilities)))
    step = max(ABREAST, CHUNK // x.size)
    for start in range(0, len(result), step):
        part = slice(start, start + step)
        of_site, of_date = (np.ascontiguousarray(counts[part].T, dtype=kind) for counts in (site_counts, date_counts))
        result[part] = _weighted_quantiles(x, w, (site, of_site), (date, of_date), probabilities).T
    return result


def _whole_blocks(column: NDArray[Any]) -> NDArray[Any]:
    return np.pad(column, (0, -len(column) % BLOCK), mode="edge")


def _weighted_quantiles(values: Floats, weights: Floats, sites: Drawn, dates: Drawn, probabilities: Floats) -> Floats:
    """Quantiles of sorted values in each replicate, shape (probabilities, replicates).

    `sites` and `dates` are the row of each reading and, a row a site or date and a column a replicate, how often that was drawn. The number
    of readings is a multiple of ``BLOCK``. First the block of readings in which a quantile lies, from the sums of whole blocks, then its
    place in that block alone.
    """
    (site, of_site), (date, of_date) = sites, dates
    replicates = of_site.shape[1]
    reached = np.empty((len(values) // BLOCK, replicates))
    step = max(1, CHUNK // (BLOCK * replicates))
    for start in range(0, len(reached), step):
        inside = slice(start * BLOCK, (start + step) * BLOCK)
        copies = (of_site[site[inside]] * of_date[date[inside]]).astype(float).reshape(-1, BLOCK, replicates)
        # Not matmul: its sums depend on the processor and on threads.
        np.einsum("bi,bir->br", weights[inside].reshape(-1, BLOCK), copies, out=reached[start : start + step])
    _running_sums(reached)
    threshold = thresholds(probabilities[:, None], reached[-1])
    block = _first_reached(reached, threshold)
    rows, column = np.arange(BLOCK)[:, None, None] + block * BLOCK, np.arange(replicates)
    so_far = of_site[site[rows], column] * of_date[date[rows], column] * weights[rows]
    so_far[0] += np.where(block > 0, np.take_along_axis(reached, np.maximum(block - 1, 0), axis=0), 0.0)
    _running_sums(so_far)
    # Sums in another order may end a hair lower than the block's: the last reading that has weight then reaches it.
    place = (so_far < np.minimum(threshold, so_far[-1])).sum(axis=0)
    return np.where(reached[-1] > 0, values[block * BLOCK + place], np.nan)


def _first_reached(rising: Floats, threshold: Floats) -> NDArray[np.intp]:
    """Row of each column at which it reaches its thresholds, the last where none does; `threshold` and result (thresholds, columns)."""
    low, high = np.zeros(threshold.shape, dtype=np.intp), np.full(threshold.shape, len(rising) - 1)
    while (low < high).any():
        middle = (low + high) // 2
        below = np.take_along_axis(rising, middle, axis=0) < threshold
        low, high = np.where(below, np.minimum(middle + 1, high), low), np.where(below, high, middle)
    return low


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
