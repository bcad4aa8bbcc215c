"""Tap and reverse-osmosis water: how much of each, or why no figure is given."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.formulas.water import water_limit

BLENDED = ("conductivity", "hardness")
SILENT = "This says nothing of chloramine, copper or alkalinity, and never mixes pH: measure the blend itself before it goes to an animal."
TREAT_FIRST = "Treat and test first."


@dataclass(frozen=True)
class BlendAdvice:
    """What to mix, or why not.

    Parameters
    ----------
    tap_fraction : float or None
        Share of tap water by volume, 0 to 1; None where refused.
    reason : str
        Why refused; empty where not.
    words : tuple of str
        Sentences for the keeper, the first the most important.
    """

    tap_fraction: float | None
    reason: str
    words: tuple[str, ...]


def blend_fraction(target: float, tap: float, ro: float) -> float:
    """Share of tap water that brings a blend with reverse-osmosis water to a target: (target − RO)/(tap − RO).

    A balance of mass: for hardness and single ions, nearly so for conductivity. Never for pH, which does not mix in proportion.

    Parameters
    ----------
    target, tap, ro : float
        One quantity in one unit, not negative.

    Returns
    -------
    float
        0 to 1.

    Raises
    ------
    ValueError
        A value missing, negative or infinite; tap and RO water alike; or a target outside what the two can reach.

    References
    ----------
    Balance of mass.
    """
    for name, value in (("target", target), ("tap", tap), ("RO", ro)):
        if not (np.isfinite(value) and value >= 0):
            raise ValueError(f"the {name} value must be a number of 0 or more, not {value}.")
    if tap == ro:
        raise ValueError(f"tap and RO water both have {tap:g}: no blend of them changes anything.")
    low, high = sorted((tap, ro))
    if not low <= target <= high:
        raise ValueError(f"no blend reaches {target:g}: these two waters give {low:g} to {high:g}.")
    return (target - ro) / (tap - ro)


def blend_advice(target: float, tap: float, ro: float, chlorine_mg_l: float | None, quantity: str = "conductivity") -> BlendAdvice:
    """Say how much tap and reverse-osmosis water to mix, or why no figure is given.

    Parameters
    ----------
    target, tap, ro : float
        As for :func:`blend_fraction`.
    chlorine_mg_l : float or None
        Chlorine of the tap water, mg/L, after any treatment; None or nan where it was not tested.
    quantity : str
        What the three values are: conductivity or hardness.

    Returns
    -------
    BlendAdvice
        Refused where the quantity is another, the chlorine was not tested or is above 0, or no blend reaches the target. Always says
        what it does not cover.

    References
    ----------
    Balance of mass; any chlorine is refused by common practice (`chlorine_most` in `water_limits.csv`).
    """
    if quantity not in BLENDED:
        what = "pH" if quantity.lower() == "ph" else quantity
        return _refused(f"{what} does not mix in proportion; blend by {' or '.join(BLENDED)} and measure {what} afterwards.")
    if chlorine_mg_l is None or np.isnan(chlorine_mg_l):
        return _refused(f"{TREAT_FIRST} There is no chlorine result for this tap water.")
    if chlorine_mg_l < 0:
        return _refused(f"{chlorine_mg_l:g} mg/L of chlorine is no result; test again.")
    if chlorine_mg_l > water_limit("chlorine_most"):
        return _refused(f"{TREAT_FIRST} {chlorine_mg_l:g} mg/L of chlorine in the tap water; any is too much.")
    try:
        fraction = blend_fraction(target, tap, ro)
    except ValueError as error:
        text = str(error)
        return _refused(text[0].upper() + text[1:])
    tap_l = round(10 * fraction, 2)
    words = [f"Of every 10 L take {tap_l:.2f} L of tap water and {10 - tap_l:.2f} L of RO water, to {quantity} {target:g}."]
    if fraction == 0:
        words.append("That is RO water alone, which has next to no minerals: ask whether the target is right.")
    return BlendAdvice(fraction, "", (*words, SILENT))


def _refused(reason: str) -> BlendAdvice:
    return BlendAdvice(None, reason, (reason, SILENT))
