"""How the text of one field is to be read."""

from __future__ import annotations

from dataclasses import dataclass

DATE_ORDERS = ("iso", "mdy", "dmy", "ymd", "serial")
CLOCKS = ("24h", "ampm", "night")


@dataclass(frozen=True)
class Style:
    """How the text of one field is to be read.

    Attributes
    ----------
    unit : str
        Unit of the text, one of the names in `units.UNITS` for the field's stored unit; empty for the stored unit.
    date_order, clock : str
        One of ``DATE_ORDERS`` and ``CLOCKS``.
    pivot : int or None
        Two-digit years up to it belong to 20xx, above it to 19xx; without it they are ambiguous.
    evening : bool
        The date is the evening's: a start before noon belongs to the next civil day.
    """

    unit: str = ""
    date_order: str = "iso"
    clock: str = "24h"
    pivot: int | None = None
    evening: bool = False


CANONICAL = Style()
