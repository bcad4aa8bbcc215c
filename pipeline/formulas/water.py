"""Water: oxygen, conductivity, ammonia, nitrogen, and the blending of tap water with reverse-osmosis water.

The equations stand here with their source; limits and conversion constants stand in `data/reference/water_limits.csv`. Every unit is in
the name, and nitrogen is always as N: the same "10 mg/L" of nitrate differs fourfold.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from pipeline.settings import data_file

ATMOSPHERE_KPA = 101.325
KELVIN = 273.15
# Atoms of hydrogen and oxygen that stand beside each nitrogen.
IONS = {"nitrate": (0, 3), "nitrite": (0, 2), "ammonia": (3, 0), "ammonium": (4, 0)}
Floats = NDArray[np.float64]


@cache
def _limits() -> pd.DataFrame:
    with data_file("reference/water_limits.csv").open("r", encoding="utf-8") as file:
        frame = pd.read_csv(file, dtype=str, keep_default_na=False)
    frame["value"] = pd.to_numeric(frame["value"])
    frame["year"] = pd.to_numeric(frame["year"].replace("", None)).astype("Int64")
    return frame


def water_limits() -> pd.DataFrame:
    """Read the limits of water quality, each with its kind and source.

    Returns
    -------
    DataFrame
        Columns of `water_limits.csv`: taxon_or_group, life_stage, quantity, value, unit, kind, source, year, doi, note. A copy.
    """
    return _limits().copy()


@cache
def water_limit(quantity: str) -> float:
    """One number of `water_limits.csv` that holds for all taxa.

    Parameters
    ----------
    quantity : str
        Its name there, such as ``"nitrite_act"``.

    Returns
    -------
    float
        In the unit that the file states.

    Raises
    ------
    KeyError
        No such number.
    """
    frame = _limits()
    rows = frame[frame["quantity"].eq(quantity) & frame["taxon_or_group"].eq("all")]
    if len(rows) != 1:
        raise KeyError(f"water_limits.csv has {len(rows)} rows for {quantity!r} and all taxa, and needs one.")
    return float(rows["value"].iloc[0])


def _numbers(values: ArrayLike, low: float, high: float, what: str, unit: str) -> Floats:
    numbers = np.asarray(values, dtype=float)
    wrong = numbers[(numbers < low) | (numbers > high)]
    if wrong.size:
        raise ValueError(f"{what} of {wrong.flat[0]:g}{unit} is outside {low:g} to {high:g}{unit}.")
    return numbers


def oxygen_saturation_mg_l(temp_c: ArrayLike, pressure_kpa: ArrayLike) -> Floats:
    """Dissolved oxygen of fresh water in balance with moist air.

    ln C* = −139.34411 + 1.575701·10⁵/T − 6.642308·10⁷/T² + 1.243800·10¹⁰/T³ − 8.621949·10¹¹/T⁴ at one atmosphere (mg/L, T in kelvin); at
    another pressure C = C*·(P − u)(1 − θP)/((1 − u)(1 − θ)), P in atmospheres, θ = 0.000975 − 1.426·10⁻⁵ t + 6.436·10⁻⁸ t² (t in °C),
    ln u = 11.8571 − 3840.70/T − 216961/T². Salinity 0.

    Parameters
    ----------
    temp_c : array_like
        Water temperature, °C, 0 to 40.
    pressure_kpa : array_like
        Air pressure at the site, kPa, 50 to 112; not reduced to sea level.

    Returns
    -------
    ndarray of float, broadcast shape
        mg/L; missing where either is.

    Raises
    ------
    ValueError
        A temperature or pressure outside the range.

    References
    ----------
    Benson & Krause 1980 and 1984; USGS Office of Water Quality Technical Memorandum 2011.03 (its text from memory).
    """
    t = _numbers(temp_c, 0, 40, "a water temperature", " °C")
    p = _numbers(pressure_kpa, 50, 112, "an air pressure", " kPa") / ATMOSPHERE_KPA
    kelvin = t + KELVIN
    at_one = np.exp(-139.34411 + 1.575701e5 / kelvin - 6.642308e7 / kelvin**2 + 1.243800e10 / kelvin**3 - 8.621949e11 / kelvin**4)
    theta = oxygen_theta(t)
    vapour = np.exp(11.8571 - 3840.70 / kelvin - 216961 / kelvin**2)
    return np.asarray(at_one * (p - vapour) * (1 - theta * p) / ((1 - vapour) * (1 - theta)))


def oxygen_theta(temp_c: ArrayLike) -> Floats:
    """Second pressure coefficient of oxygen: θ = 0.000975 − 1.426·10⁻⁵ t + 6.436·10⁻⁸ t², t in °C.

    The same polynomial circulates in kelvin with other coefficients; never mix the two.

    Parameters
    ----------
    temp_c : array_like
        Water temperature, °C.

    Returns
    -------
    ndarray of float
        Per atmosphere.

    References
    ----------
    Benson & Krause 1984; USGS Office of Water Quality Technical Memorandum 2011.03 (its text from memory).
    """
    t = np.asarray(temp_c, dtype=float)
    return np.asarray(0.000975 - 1.426e-5 * t + 6.436e-8 * t**2)


def oxygen_saturation_pct(dissolved_oxygen_mg_l: ArrayLike, temp_c: ArrayLike, pressure_kpa: ArrayLike) -> Floats:
    """Dissolved oxygen as percent of saturation at the site's own pressure; above 100 % in water that bubbles or is lit.

    Parameters
    ----------
    dissolved_oxygen_mg_l : array_like
        mg/L, not negative.
    temp_c, pressure_kpa : array_like
        As for :func:`oxygen_saturation_mg_l`, with the same errors.

    Returns
    -------
    ndarray of float, broadcast shape
        %; missing where a value is.
    """
    oxygen = _numbers(dissolved_oxygen_mg_l, 0, np.inf, "dissolved oxygen", " mg/L")
    return np.asarray(100 * oxygen / oxygen_saturation_mg_l(temp_c, pressure_kpa))


def conductivity_at_25c(conductivity_us_cm: ArrayLike, temp_c: ArrayLike, at_25c: ArrayLike) -> Floats:
    """Conductivity at 25 °C: EC/(1 + α(t − 25)), unless the meter already did it.

    Parameters
    ----------
    conductivity_us_cm : array_like, shape (n,)
        As the meter showed, µS/cm, not negative.
    temp_c : array_like, shape (n,)
        Water temperature, °C, 0 to 40; not needed where the meter corrected.
    at_25c : array_like of bool, shape (n,)
        Whether the meter corrected; missing where it was not noted.

    Returns
    -------
    ndarray of float, shape (n,)
        µS/cm at 25 °C; missing where the value, the answer, or a temperature that is needed is missing: a reading corrected twice is wrong
        by as much as one not corrected.

    Raises
    ------
    ValueError
        A negative conductivity or a temperature outside 0 to 40 °C.

    References
    ----------
    ISO 7888:1985, linear form; α from `water_limits.csv`, with its range.
    """
    shown = _numbers(conductivity_us_cm, 0, np.inf, "a conductivity", " µS/cm")
    t = _numbers(temp_c, 0, 40, "a water temperature", " °C")
    answer = np.asarray(at_25c, dtype=object)
    known = ~pd.isna(answer)
    corrected = np.where(known, answer, False).astype(bool)
    computed = shown / (1 + water_limit("conductivity_alpha") * (t - 25))
    return np.where(known, np.where(corrected, shown, computed), np.nan)


def unionised_ammonia_fraction(ph: ArrayLike, temp_c: ArrayLike) -> Floats:
    """Share of total ammonia that is un-ionised, the poisonous form: 1/(1 + 10^(pKa − pH)), pKa = 0.09018 + 2729.92/T.

    Fresh water only. One pH unit is a factor of ten.

    Parameters
    ----------
    ph : array_like
        0 to 14.
    temp_c : array_like
        Water temperature, °C, 0 to 50.

    Returns
    -------
    ndarray of float, broadcast shape
        0 to 1; missing where either is.

    Raises
    ------
    ValueError
        A pH or temperature outside the range.

    References
    ----------
    Emerson et al. 1975, Journal of the Fisheries Research Board of Canada 32:2379, eq. 8 and 9.
    """
    acid = _numbers(ph, 0, 14, "a pH", "")
    t = _numbers(temp_c, 0, 50, "a water temperature", " °C")
    return np.asarray(1 / (1 + 10 ** (0.09018 + 2729.92 / (t + KELVIN) - acid)))


def unionised_ammonia_mg_l_n(total_ammonia_mg_l_n: ArrayLike, ph: ArrayLike, temp_c: ArrayLike) -> Floats:
    """Un-ionised ammonia as N from total ammonia as N.

    Parameters
    ----------
    total_ammonia_mg_l_n : array_like
        mg/L as N, not negative.
    ph, temp_c : array_like
        As for :func:`unionised_ammonia_fraction`, with the same errors and source.

    Returns
    -------
    ndarray of float, broadcast shape
        mg/L as N.
    """
    total = _numbers(total_ammonia_mg_l_n, 0, np.inf, "total ammonia", " mg/L")
    return np.asarray(total * unionised_ammonia_fraction(ph, temp_c))


def ion_per_nitrogen(ion: str) -> float:
    """Mass of an ion or molecule for each mass of its nitrogen, by which a result "as nitrate" is divided to be "as N".

    Parameters
    ----------
    ion : str
        nitrate, nitrite, ammonia or ammonium.

    Returns
    -------
    float
        4.43 for nitrate, 3.28 for nitrite.

    Raises
    ------
    ValueError
        Another name.

    References
    ----------
    IUPAC abridged atomic weights, from `water_limits.csv`.
    """
    if ion not in IONS:
        raise ValueError(f"{ion!r} is not known; say {', '.join(IONS)}.")
    hydrogen, oxygen = IONS[ion]
    nitrogen = water_limit("atomic_weight_n")
    return (nitrogen + hydrogen * water_limit("atomic_weight_h") + oxygen * water_limit("atomic_weight_o")) / nitrogen


def as_nitrogen_mg_l(value_mg_l: ArrayLike, ion: str) -> Floats:
    """Turn a result given as an ion into mg/L as N.

    Parameters
    ----------
    value_mg_l : array_like
        mg/L of the ion, not negative.
    ion : str
        As for :func:`ion_per_nitrogen`, with the same errors and source.

    Returns
    -------
    ndarray of float, shape of `value_mg_l`
        mg/L as N.
    """
    return np.asarray(_numbers(value_mg_l, 0, np.inf, f"{ion}", " mg/L") / ion_per_nitrogen(ion))
