"""Moist air: vapour pressure, deficit and relative humidity; the one door to psychrolib.

One formula of saturation vapour pressure throughout: Hyland & Wexler's as printed in ASHRAE 2017. Published formulas differ by up to 0.3 %
at 20 °C, which cancels only where one is used for everything, so each page that shows a humidity names it (:data:`FORMULA`).
A value that cannot be had is nan and a sentence says why; nothing is clipped to 0 or 100.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from functools import cache
from types import ModuleType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.settings import data_file

FORMULA = "saturation vapour pressure after ASHRAE Handbook Fundamentals 2017, ch. 1, eq. 5 and 6"
NO_WET_BULB = "electronic"
TRIPLE_POINT_C = 0.01
PA_PER_KPA = 1000.0
# Rounding of the division by e_s must not turn a deficit of exactly e_s into "not attainable".
ROUNDING = 1e-9
Floats = NDArray[np.float64]


@cache
def _reference() -> dict[str, float]:
    text = data_file("reference/moist_air.csv").read_text(encoding="utf-8")
    return {row["quantity"]: float(row["value"]) for row in csv.DictReader(text.splitlines())}


def constant(quantity: str) -> float:
    """One number of `data/reference/moist_air.csv`.

    Parameters
    ----------
    quantity : str
        Its name there, such as ``"psychrometer_still"`` (per °C) or ``"deficit_cap"`` (kPa).

    Returns
    -------
    float
        In the unit that the file states.

    Raises
    ------
    KeyError
        No such number.
    """
    return _reference()[quantity]


def _psychrolib() -> ModuleType:
    import psychrolib

    psychrolib.SetUnitSystem(psychrolib.SI)
    return psychrolib


def _each(function: Callable[..., float], *columns: Floats) -> Floats:
    # The library takes one number at a time, and instruments repeat themselves: each combination is computed once.
    shaped = np.broadcast_arrays(*columns)
    stacked = np.stack([column.ravel() for column in shaped], axis=1)
    result = np.full(len(stacked), np.nan)
    known = ~np.isnan(stacked).any(axis=1)
    if known.any():
        rows, back = np.unique(stacked[known], axis=0, return_inverse=True)
        result[known] = np.array([function(*row) for row in rows.tolist()])[back.ravel()]
    return result.reshape(shaped[0].shape)


def saturation_vapour_pressure_kpa(temp_c: ArrayLike) -> Floats:
    """Vapour pressure of air that can take up no more water.

    ln p(Pa) = −5800.2206/T + 1.3914993 − 0.048640239 T + 4.1764768·10⁻⁵ T² − 1.4452093·10⁻⁸ T³ + 6.5459673 ln T, T in kelvin, above
    0.01 °C; at 0.01 °C and below the library takes the formula over ice, which at −10 °C lies 9 % under that over water.

    Parameters
    ----------
    temp_c : array_like
        Air temperature, °C, −100 to 200; missing stays missing.

    Returns
    -------
    ndarray of float, shape of `temp_c`
        kPa.

    Raises
    ------
    ValueError
        A temperature outside −100 to 200 °C.

    References
    ----------
    ASHRAE Handbook Fundamentals 2017, ch. 1, eq. 5 and 6 (Hyland & Wexler 1983), as computed by psychrolib.
    """
    t = np.asarray(temp_c, dtype=float)
    within(t, -100, 200, "a temperature", "°C")
    return _each(_psychrolib().GetSatVapPres, t) / PA_PER_KPA


def within(values: Floats, low: float, high: float, what: str, unit: str) -> None:
    """Refuse values outside a span, by a ValueError that names the first of them."""
    wrong = values[(values < low) | (values > high)]
    if wrong.size:
        raise ValueError(f"{what} of {wrong.flat[0]:g} {unit} is outside {low:g} to {high:g} {unit}.")


def vapour_pressure_deficit_kpa(temp_c: ArrayLike, rh_pct: ArrayLike) -> Floats:
    """What the air still lacks to saturation: e_s(T)·(1 − RH/100), the drying demand on a wet skin at air temperature.

    Take the mean of the deficits of a series, never the deficit of its mean temperature: that is too low.

    Parameters
    ----------
    temp_c : array_like
        Air temperature, °C.
    rh_pct : array_like
        Relative humidity, %, 0 to 100; a fraction must be multiplied by 100 first.

    Returns
    -------
    ndarray of float, broadcast shape
        kPa; missing where either is.

    Raises
    ------
    ValueError
        A humidity outside 0 to 100 %, or a temperature outside −100 to 200 °C.

    References
    ----------
    Definition; e_s as :func:`saturation_vapour_pressure_kpa`.
    """
    rh = np.asarray(rh_pct, dtype=float)
    within(rh, 0, 100, "a relative humidity", "%")
    return np.asarray(saturation_vapour_pressure_kpa(temp_c) * (1 - rh / 100))


def pressure_kpa(elevation_m: ArrayLike) -> Floats:
    """Air pressure of the standard atmosphere at an elevation: 101.325·(1 − 2.25577·10⁻⁵ z)^5.2559.

    The weather moves the true pressure by some 2 % about it.

    Parameters
    ----------
    elevation_m : array_like
        Metres above sea level, −500 to 9000; missing stays missing.

    Returns
    -------
    ndarray of float, shape of `elevation_m`
        kPa.

    Raises
    ------
    ValueError
        An elevation outside −500 to 9000 m.

    References
    ----------
    US Standard Atmosphere 1976; ASHRAE Handbook Fundamentals 2017, ch. 1, eq. 3.
    """
    z = np.asarray(elevation_m, dtype=float)
    within(z, -500, 9000, "an elevation", "m")
    return _each(_psychrolib().GetStandardAtmPressure, z) / PA_PER_KPA


def rh_from_wet_bulb(temp_c: ArrayLike, wet_bulb_c: ArrayLike, pressure_kpa: ArrayLike, psychrometer: str) -> Floats:
    """Relative humidity from a dry and a wet thermometer.

    e = e_s(wet) − A·p·(dry − wet), RH = 100·e/e_s(dry). A is that of the instrument: the same pair of readings gives 58 % with a fan and
    49 % in still air. 0.2 °C of error in the wet bulb moves RH by 2 points near saturation.

    Parameters
    ----------
    temp_c, wet_bulb_c : array_like
        Dry and wet bulb, °C.
    pressure_kpa : array_like
        Air pressure at the site, kPa; in the mountains not that of sea level (see :func:`pressure_kpa`).
    psychrometer : str
        Code of the vocabulary `psychrometer`: aspirated, sling, natural or still.

    Returns
    -------
    ndarray of float, broadcast shape
        %, 0 to 100; nan where a reading is missing or the pair gives no humidity (:func:`why_no_rh` says why).

    Raises
    ------
    ValueError
        An instrument without a wet bulb or an unknown one, a temperature outside −100 to 200 °C, or a pressure outside 30 to 110 kPa.

    References
    ----------
    Allen et al. 1998, FAO Irrigation and Drainage Paper 56, eq. 15 and 16 (coefficients); e_s as
    :func:`saturation_vapour_pressure_kpa`.
    """
    rh = _raw_rh(temp_c, wet_bulb_c, pressure_kpa, psychrometer)
    frozen = np.asarray(wet_bulb_c, dtype=float) <= TRIPLE_POINT_C
    return np.where(frozen | (rh < 0) | (rh > 100), np.nan, rh)


def _raw_rh(temp_c: ArrayLike, wet_bulb_c: ArrayLike, pressure_kpa: ArrayLike, psychrometer: str) -> Floats:
    if psychrometer == NO_WET_BULB:
        raise ValueError("an electronic sensor has no wet bulb; use the humidity that it shows, or correct the instrument.")
    coefficient = _reference().get(f"psychrometer_{psychrometer}")
    if coefficient is None:
        raise ValueError(f"psychrometer {psychrometer!r} is not known; say aspirated, sling, natural or still.")
    dry, wet, pressure = (np.asarray(column, dtype=float) for column in (temp_c, wet_bulb_c, pressure_kpa))
    within(pressure, 30, 110, "an air pressure", "kPa")
    vapour = saturation_vapour_pressure_kpa(wet) - coefficient * pressure * (dry - wet)
    # The ratio first: 100·e/e can exceed 100 by rounding, 100·(e/e) cannot.
    return np.asarray(100 * (vapour / saturation_vapour_pressure_kpa(dry)))


def why_no_rh(temp_c: float, wet_bulb_c: float, pressure_kpa: float, psychrometer: str) -> str:
    """Say why :func:`rh_from_wet_bulb` gives no humidity for one pair of readings.

    Parameters
    ----------
    temp_c, wet_bulb_c : float
        Dry and wet bulb, °C.
    pressure_kpa : float
        Air pressure, kPa.
    psychrometer : str
        As for :func:`rh_from_wet_bulb`, with the same errors.

    Returns
    -------
    str
        Empty where there is a humidity.
    """
    rh = float(_raw_rh(temp_c, wet_bulb_c, pressure_kpa, psychrometer))
    if np.isnan(rh):
        return "a reading is missing."
    if wet_bulb_c <= TRIPLE_POINT_C:
        return f"wet bulb {wet_bulb_c:g} °C: at freezing nobody can tell ice from water on the wick."
    if rh > 100:
        return f"wet bulb {wet_bulb_c:g} °C above dry bulb {temp_c:g} °C: were they swapped?"
    if rh < 0:
        return f"wet bulb {wet_bulb_c:g} °C is too far below dry bulb {temp_c:g} °C: look for a slip of the pen or the wrong instrument."
    return ""


def dew_point_c(temp_c: ArrayLike, rh_pct: ArrayLike) -> Floats:
    """Temperature to which air must cool before water falls out of it: the T with e_s(T) = e_s(air)·RH/100.

    Parameters
    ----------
    temp_c : array_like
        Air temperature, °C.
    rh_pct : array_like
        Relative humidity, %, above 0 to 100.

    Returns
    -------
    ndarray of float, broadcast shape
        °C, within 0.001; at 0.01 °C and below it is the frost point. Missing where either is.

    Raises
    ------
    ValueError
        A humidity outside 0 to 100 %, or so low that the dew point lies below −100 °C.

    References
    ----------
    ASHRAE Handbook Fundamentals 2017, ch. 1, eq. 5 and 6, inverted by psychrolib.
    """
    t, rh = np.asarray(temp_c, dtype=float), np.asarray(rh_pct, dtype=float)
    within(t, -100, 200, "a temperature", "°C")
    within(rh, 0, 100, "a relative humidity", "%")
    if (rh == 0).any():
        raise ValueError("air of 0 % has no dew point.")
    return _each(_psychrolib().GetTDewPointFromRelHum, t, rh / 100)
