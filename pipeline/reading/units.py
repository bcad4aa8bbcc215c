"""Units in which people write numbers: what each is in the unit that a field stores, and how it is spelt in a cell."""

from __future__ import annotations

import re

from pipeline.formulas.water import ion_per_nitrogen, water_limit

# factor and offset to the unit in which a field is stored: stored = (value - offset) * factor
UNITS: dict[str, dict[str, tuple[float, float]]] = {
    "°C": {"degC": (1, 0), "degF": (5 / 9, 32), "K": (1, 273.15)},
    "m": {"m": (1, 0), "km": (1000, 0), "cm": (0.01, 0), "ft": (0.3048, 0)},
    "cm": {"cm": (1, 0), "m": (100, 0), "mm": (0.1, 0), "in": (2.54, 0), "ft": (30.48, 0)},
    "mm": {"mm": (1, 0), "cm": (10, 0), "m": (1000, 0), "in": (25.4, 0)},
    "m2": {"m2": (1, 0), "ha": (10000, 0), "ft2": (0.3048**2, 0)},
    "min": {"min": (1, 0), "h": (60, 0), "s": (1 / 60, 0)},
    "g": {"g": (1, 0), "mg": (0.001, 0), "kg": (1000, 0)},
    "%": {"percent": (1, 0), "fraction": (100, 0)},
    "µS/cm": {"uS/cm": (1, 0), "mS/cm": (1000, 0), "mS/m": (10, 0)},
    "mg/L": {"mg/L": (1, 0), "ug/L": (0.001, 0)},
    **{
        f"mg/L {ion}-N": {f"mg/L {ion}-N": (1, 0), **{f"mg/L {as_ion}": (1 / ion_per_nitrogen(name), 0) for as_ion, name in given.items()}}
        for ion, given in {"NH3": {"NH3": "ammonia", "NH4": "ammonium"}, "NO2": {"NO2": "nitrite"}, "NO3": {"NO3": "nitrate"}}.items()
    },
    # the German degree is 10 mg/L CaO; the grain is that of the US gallon
    "mg/L CaCO3": {"mg/L CaCO3": (1, 0), "dGH": (water_limit("hardness_per_dgh"), 0), "gpg": (64.79891 / 3.785411784, 0)},
    "d": {"d": (1, 0), "h": (1 / 24, 0)},
    "L": {"L": (1, 0), "mL": (0.001, 0)},
}

# Folded spellings beside the unit's own name. A bare degree sign is none: it may be either scale.
SPELLINGS = {
    "degC": ("c", "°c", "deg c", "celsius"), "degF": ("f", "°f", "deg f", "fahrenheit"), "K": (),
    "m": ("meter", "meters", "metre", "metres"), "km": (), "cm": (), "mm": (), "in": ("inch", "inches"), "ft": ("foot", "feet"),
    "m2": ("m²", "sq m"), "ha": (), "ft2": ("ft²", "sq ft"), "min": ("mins", "minute", "minutes"), "h": ("hr", "hrs", "hour", "hours"),
    "s": ("sec", "secs", "second", "seconds"), "g": ("gram", "grams"), "mg": (), "kg": (), "percent": ("%", "pct"), "fraction": (),
    "uS/cm": ("µs/cm",), "mS/cm": (), "mS/m": (), "mg/L": (), "ug/L": ("µg/l",), "d": ("day", "days"),
    "L": ("litre", "litres", "liter", "liters"), "mL": (),
    "mg/L NH3-N": ("mg/l n", "mg/l as n", "ppm nh3-n", "ppm n"), "mg/L NH3": ("mg/l as nh3", "ppm nh3"),
    "mg/L NH4": ("mg/l as nh4", "ppm nh4"),
    "mg/L NO2-N": ("mg/l n", "mg/l as n", "ppm no2-n", "ppm n"), "mg/L NO2": ("mg/l as no2", "ppm no2"),
    "mg/L NO3-N": ("mg/l n", "mg/l as n", "ppm no3-n", "ppm n"), "mg/L NO3": ("mg/l as no3", "ppm no3"),
    "mg/L CaCO3": ("mg/l as caco3", "ppm caco3"), "dGH": ("°dgh", "dh", "°dh"), "gpg": ("grains per gallon",),
}  # fmt: skip
_SAME_SIGN = str.maketrans({"º": "°", "˚": "°", "\u03bc": "\u00b5"})
_NUMBER_AND_UNIT = re.compile(r"([+\-\u2212]?(?:\d[\d.,]*|\.\d+))\s*([^\s\d.,+\-\u2212].*)")


def parted(text: str) -> tuple[str, str] | None:
    """Part a text into a number and the unit beside it.

    Parameters
    ----------
    text : str
        Such as ``58F``, ``58 °F`` or ``4.5 cm``.

    Returns
    -------
    tuple of str or None
        Text of the number, and of the unit; None where it is not of this form.
    """
    found = _NUMBER_AND_UNIT.fullmatch(text)
    return None if found is None else (found[1], found[2])


def unit_named(spelt: str, stored: str) -> str | None:
    """Name of the unit that a spelling means where `stored` is the field's unit; None where it cannot be turned into that.

    Parameters
    ----------
    spelt : str
        Such as ``°F``; case does not count.
    stored : str
        Unit of the field, a key of `UNITS`.

    Returns
    -------
    str or None
    """
    folded = spelt.translate(_SAME_SIGN).casefold().translate(_SAME_SIGN)
    folded = re.sub(r"\s+", " ", folded.replace("° ", "°")).strip()
    for name in UNITS.get(stored, {}):
        if folded in (name.casefold(), *SPELLINGS[name]):
            return name
    return None


def to_stored(number: float, unit: str, stored: str) -> float:
    """Turn a number into the unit that a field stores, without the noise of binary fractions.

    Parameters
    ----------
    number : float
        In `unit`.
    unit, stored : str
        Names of `UNITS`.

    Returns
    -------
    float
        In `stored`, rounded to 10 decimals.

    References
    ----------
    NIST SP 811 (2008) appendix B.8.
    """
    factor, offset = UNITS[stored][unit]
    return round((number - offset) * factor, 10)
