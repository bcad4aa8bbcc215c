"""The tests of the TDWG Biodiversity Data Quality standard on elevation and depth.

Source as in `pipeline.quality.responses`.
"""

from __future__ import annotations

import re
from decimal import Decimal

from pipeline.quality.responses import (
    FILLED_IN,
    Response,
    Value,
    empty,
    in_range,
    internal,
    no_proposal,
    number,
    parameter,
    proposal,
    verdict,
)

# Exact by definition: the international foot, and six of them
METRES = {"m": "1", "km": "1000", "ft": "0.3048", "fathom": "1.8288"}
_UNITS = {"m": r"m|met(?:re|er)s?", "km": r"km|kilomet(?:re|er)s?", "ft": r"ft|feet|foot", "fathom": r"ftm|fm|fathoms?"}
_UNIT = "|".join(f"(?P<{{0}}{name}>{words})" for name, words in _UNITS.items())
_FIGURE = r"(?P<{0}>-?\d+(?:\.\d+)?)\s*(?:(?:{1})\b\.?)?"
_LOW = r"(?P<low>min(?:imum)?\.?\s*(?:elevation|depth|altitude)?\s*[:=]?\s*)?"
_HIGH = r"(?P<high>max(?:imum)?\.?\s*(?:elevation|depth|altitude)?\s*[:=]?\s*)?"
_ONE, _TWO = (_FIGURE.format(name, _UNIT.format(name)) for name in "ab")
_SPAN = re.compile(rf"{_LOW}{_ONE}(?:\s*(?:-|–|to|,)\s*{_HIGH}{_TWO})?", re.ASCII)


def _elevation(value: Value, term: str) -> Response:
    return in_range(value, term, float(parameter("minimumValidElevationInMeters")), float(parameter("maximumValidElevationInMeters")))


def validation_minelevation_inrange(low: Value) -> Response:
    """Cannot run where minimumElevationInMeters is empty or no number; fails outside -430 to 8850 m."""
    return _elevation(low, "minimumElevationInMeters")


def validation_maxelevation_inrange(high: Value) -> Response:
    """Cannot run where maximumElevationInMeters is empty or no number; fails outside -430 to 8850 m."""
    return _elevation(high, "maximumElevationInMeters")


def _in_order(low: float | None, high: float | None, what: str) -> Response:
    if low is None or high is None:
        return internal(f"a {what} is empty or no number that may stand there")
    return verdict(low <= high, f"the least {what} is not above the greatest", f"the least {what} is above the greatest")


def validation_minelevation_lessthan_maxelevation(low: Value, high: Value) -> Response:
    """Cannot run where either is empty or no number; fails where the least elevation is above the greatest."""
    return _in_order(number(low), number(high), "elevation")


def _depth(value: Value) -> float | None:
    given = number(value)
    return None if given is None or given < 0 else given


def _depth_in_range(value: Value, term: str) -> Response:
    if _depth(value) is None:
        return internal(f"{term} is empty, no number, or below zero")
    return in_range(value, term, float(parameter("minimumValidDepthInMeters")), float(parameter("maximumValidDepthInMeters")))


def validation_mindepth_inrange(low: Value) -> Response:
    """Cannot run where minimumDepthInMeters is empty, no number or below zero; fails above 11000 m."""
    return _depth_in_range(low, "minimumDepthInMeters")


def validation_maxdepth_inrange(high: Value) -> Response:
    """Cannot run where maximumDepthInMeters is empty, no number or below zero; fails above 11000 m."""
    return _depth_in_range(high, "maximumDepthInMeters")


def validation_mindepth_lessthan_maxdepth(low: Value, high: Value) -> Response:
    """Cannot run where either is empty, no number or below zero; fails where the least depth is above the greatest."""
    return _in_order(_depth(low), _depth(high), "depth")


def read_span(text: str) -> tuple[str, str, bool] | None:
    """Read a height or depth as written, with its unit.

    Parameters
    ----------
    text : str
        Such as ``1500 - 2000 Ft``, ``Mindepth 10m, maxdepth=100m``.

    Returns
    -------
    (str, str, bool) or None
        Least and greatest in metres, all digits of the conversion kept, and whether one figure alone was written. None where the unit is
        missing, the order is wrong, or the text is anything else.
    """
    found = _SPAN.fullmatch(text.strip().casefold())
    if found is None:
        return None
    units = {side: next((unit for unit in METRES if found[side + unit]), "") for side in "ab"}
    last = units["b"] if found["b"] else units["a"]
    if not last:
        return None
    low = Decimal(found["a"]) * Decimal(METRES[units["a"] or last])
    high = Decimal(found["b"]) * Decimal(METRES[last]) if found["b"] else low
    return (_plain(low), _plain(high), not found["b"]) if low <= high else None


def _plain(value: Decimal) -> str:
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def amendment_minelevationmaxelevation_from_verbatim(low: Value, high: Value, written: Value) -> Response:
    """Cannot run where a least or greatest elevation is there or verbatimElevation is empty; proposes both in metres where the unit is
    stated and the meaning clear. One figure fills both; published row 482 asks for that also where it is called the minimum.
    """
    if not empty(low) or not empty(high) or empty(written):
        return internal("an elevation has a value, or verbatimElevation is empty")
    span = read_span(written or "")
    if span is None:
        return no_proposal("verbatimElevation cannot be read in one way only")
    return proposal(FILLED_IN, "read from verbatimElevation", minimumElevationInMeters=span[0], maximumElevationInMeters=span[1])


def amendment_mindepthmaxdepth_from_verbatim(low: Value, high: Value, written: Value) -> Response:
    """Cannot run where a least or greatest depth is there or verbatimDepth is empty; proposes both in metres where the unit is stated
    and the meaning clear; depths are never negative.
    """
    if not empty(low) or not empty(high) or empty(written):
        return internal("a depth has a value, or verbatimDepth is empty")
    span = read_span(written or "")
    if span is None or span[0].startswith("-") or (span[2] and "min" in (written or "").casefold()):
        return no_proposal("verbatimDepth cannot be read in one way only")
    return proposal(FILLED_IN, "read from verbatimDepth", minimumDepthInMeters=span[0], maximumDepthInMeters=span[1])


ELEVATION = ("minimumElevationInMeters", "maximumElevationInMeters")
DEPTH = ("minimumDepthInMeters", "maximumDepthInMeters")
