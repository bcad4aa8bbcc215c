"""Relative humidity that gives a wanted deficit, and how it is printed."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pipeline.formulas.moist_air import ROUNDING, Floats, constant, saturation_vapour_pressure_kpa, within


def rh_for_deficit(temp_c: ArrayLike, deficit_kpa: ArrayLike) -> Floats:
    """Relative humidity at which air of a temperature has a vapour pressure deficit: 100·(1 − VPD/e_s(T)).

    So a deficit read at one temperature is carried to another. Cool air cannot hold a large deficit at all: at 10 °C none above 1.228 kPa.

    Parameters
    ----------
    temp_c : array_like
        Air temperature, °C.
    deficit_kpa : array_like
        Vapour pressure deficit, kPa, not negative.

    Returns
    -------
    ndarray of float, broadcast shape
        %, 0 to 100; nan where a value is missing or the deficit is larger than e_s(T) (:func:`why_not_attainable` says so).

    Raises
    ------
    ValueError
        A negative or infinite deficit, or a temperature outside −100 to 200 °C.

    References
    ----------
    Definition; e_s as :func:`saturation_vapour_pressure_kpa`.
    """
    deficit = np.asarray(deficit_kpa, dtype=float)
    if (deficit < 0).any() or np.isinf(deficit).any():
        raise ValueError("a vapour pressure deficit must be 0 or more, in kPa.")
    share = deficit / saturation_vapour_pressure_kpa(temp_c)
    share = np.where(np.abs(share - 1) <= ROUNDING, 1.0, share)
    return np.where(share > 1, np.nan, 100 * (1 - share))


def why_not_attainable(temp_c: float, deficit_kpa: float) -> str:
    """Say why no relative humidity gives one deficit at one temperature.

    Parameters
    ----------
    temp_c : float
        Air temperature, °C.
    deficit_kpa : float
        Vapour pressure deficit, kPa.

    Returns
    -------
    str
        Empty where :func:`rh_for_deficit` gives a humidity.
    """
    if not np.isnan(rh_for_deficit(temp_c, deficit_kpa)):
        return ""
    if np.isnan(temp_c) or np.isnan(deficit_kpa):
        return "not attainable: a value is missing."
    most = float(saturation_vapour_pressure_kpa(temp_c))
    return f"not attainable: bone-dry air of {temp_c:g} °C lacks {most:.3f} kPa, so it cannot lack {deficit_kpa:.3f} kPa."


def printed_rh(rh_pct: Any) -> str:
    """Humidity read in the field, in words no finer than the instruments: above 90 % they cannot tell, so it is 90–100 %.

    Parameters
    ----------
    rh_pct : float
        Relative humidity, %, 0 to 100; may be missing.

    Returns
    -------
    str
        Whole percent, ``"90–100 %"``, or an en dash where it is missing.

    Raises
    ------
    ValueError
        A humidity outside 0 to 100 %.
    """
    rh = np.asarray(rh_pct, dtype=float)
    within(rh, 0, 100, "a relative humidity", "%")
    top = constant("printed_rh_top")
    if np.isnan(rh):
        return "–"
    return f"{top:.0f}–100 %" if rh > top else f"{float(rh):.0f} %"
