"""Quantiles of weighted values, each of them a value that was read.

Plain functions on arrays that know nothing of salamanders.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

TIE = 1e-12
Floats = NDArray[np.float64]


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
    x, w = values_and_weights(values, weights)
    p = checked_probabilities(probabilities)
    order = np.argsort(x, kind="stable")
    return x[order][_inverse_ecdf(np.cumsum(w[order]), p)]


def values_and_weights(values: ArrayLike, weights: ArrayLike) -> tuple[Floats, Floats]:
    """Both as arrays of one length, checked as :func:`weighted_quantile` says.

    Raises
    ------
    ValueError
        Nothing to summarise, a missing value, or a bad weight.
    """
    x, w = np.asarray(values, dtype=float), np.asarray(weights, dtype=float)
    if x.ndim != 1 or x.shape != w.shape or x.size == 0:
        raise ValueError(f"values and weights must be two lists of one length, not empty; got {x.shape} and {w.shape}.")
    if np.isnan(x).any():
        raise ValueError("a value is missing; leave such rows out first.")
    if not np.isfinite(w).all() or (w < 0).any() or not w.sum() > 0:
        raise ValueError("weights must be finite, not negative, and not all zero.")
    return x, w


def checked_probabilities(probabilities: ArrayLike) -> Floats:
    """Probabilities as an array of one dimension.

    Raises
    ------
    ValueError
        One lies outside 0 to 1.
    """
    p = np.atleast_1d(np.asarray(probabilities, dtype=float))
    if not ((p >= 0) & (p <= 1)).all():
        raise ValueError("probabilities must lie in 0 to 1.")
    return p


def _inverse_ecdf(cumulative: Floats, probabilities: Floats) -> NDArray[np.intp]:
    return np.searchsorted(cumulative, thresholds(probabilities, cumulative[-1]), side="left")


def thresholds(probabilities: Floats, total: Any) -> Floats:
    """Cumulative weight, of `total`, that the quantile of each probability must reach: ties count as reached."""
    # At p = 0 the threshold is the least positive number, so that leading values without weight are passed over.
    return np.maximum(probabilities * total * (1 - TIE), np.nextafter(0.0, 1.0))
