"""The yearly course of a quantity: one harmonic, fitted by weighted least squares (cosinor)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

DAYS_A_YEAR = 365.25


@dataclass(frozen=True)
class Cosinor:
    """A fitted harmonic y = mesor + cosine·cos ωt + sine·sin ωt, ω = 2π/period.

    Attributes
    ----------
    mesor, cosine, sine, amplitude : float
        In the unit of the values; amplitude = √(cosine² + sine²).
    peak : float
        Time of the maximum, 0 to `period`; of no meaning outside the times that were read.
    amplitude_se, peak_se : float
        Standard errors by the delta method, as if the values were independent: too small for visits that share sites and days. nan where
        there are no more than three values or no amplitude.
    period : float
        In the unit of the times.
    """

    mesor: float
    cosine: float
    sine: float
    amplitude: float
    peak: float
    amplitude_se: float
    peak_se: float
    period: float


def cosinor(times: ArrayLike, values: ArrayLike, weights: ArrayLike, period: float = DAYS_A_YEAR) -> Cosinor:
    """Fit one harmonic by weighted least squares.

    Minimises Σ w·(y − M − β cos ωt − γ sin ωt)², ω = 2π/period.

    Parameters
    ----------
    times : array_like, shape (n,)
        Days of the year, or another time in the unit of `period`.
    values, weights : array_like, shape (n,)
        Any unit, none missing; weights not negative. Only the ratio of weights matters.
    period : float
        Length of the cycle.

    Returns
    -------
    Cosinor

    Raises
    ------
    ValueError
        The times with weight do not tell the three coefficients apart.

    References
    ----------
    Nelson et al. 1979, Chronobiologia 6:305; Cornelissen 2014 (both from memory).
    """
    y, root = np.asarray(values, dtype=float), np.sqrt(np.asarray(weights, dtype=float))
    design = _design(times, period)
    scaled = design * root[:, None]
    coefficients, _, rank, _ = np.linalg.lstsq(scaled, y * root, rcond=None)
    if rank < 3:
        raise ValueError("a yearly course needs values on three different days or more.")
    mesor, cosine, sine = (float(number) for number in coefficients)
    amplitude, omega = math.hypot(cosine, sine), 2 * math.pi / period
    free = int((root > 0).sum()) - 3
    amplitude_se = peak_se = math.nan
    if free > 0 and amplitude > 0:
        residual = (y - design @ coefficients) * root
        covariance = np.linalg.inv(scaled.T @ scaled)[1:, 1:] * float(residual @ residual) / free
        slopes = np.array([[cosine, sine], [-sine / amplitude / omega, cosine / amplitude / omega]]) / amplitude
        amplitude_se, peak_se = (math.sqrt(float(slope @ covariance @ slope)) for slope in slopes)
    peak = math.atan2(sine, cosine) / omega % period
    return Cosinor(mesor, cosine, sine, amplitude, peak, amplitude_se, peak_se, period)


def cosinor_at(fit: Cosinor, times: ArrayLike) -> Floats:
    """Value of a fitted harmonic at some times.

    Parameters
    ----------
    fit : Cosinor
    times : array_like, shape (n,)
        In the unit of its period. Far from the times that were read it is extrapolation.

    Returns
    -------
    ndarray, shape (n,)
        In the unit of the fitted values.
    """
    return np.asarray(_design(times, fit.period) @ np.array([fit.mesor, fit.cosine, fit.sine]), dtype=float)


def _design(times: ArrayLike, period: float) -> Floats:
    angle = 2 * np.pi * np.asarray(times, dtype=float) / period
    return np.stack([np.ones_like(angle), np.cos(angle), np.sin(angle)], axis=1)
