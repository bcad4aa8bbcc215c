"""Shapes of the ledger: what a book has published, what a person accepted, and what was kept for it."""

from __future__ import annotations

from schemas.fields import Real, Text
from schemas.frames.frame import Stage, columns_of, maybe, said
from schemas.pandera_alone import Series


class LedgerCell(Stage):
    """The cell and quantity of a published value."""

    medium: Text = said("medium", "water, edge, land or surface; open part for the air")
    month: Text = said("month", "1 to 12, warm or cold; ceiling, floor or open part where one value holds for a group")
    quantity: Text = said("quantity", "name of the column that holds the value in its table")


class Published(LedgerCell):
    """Values that were published, with the visits behind each."""

    value: Real = said("value", "as printed, °C, kPa or %")
    visits: Series[object] = said("visits", "site-days behind it, as a frozenset of texts")
    method: Text = maybe("method", "version of the method; missing in a book of the first")


class Accepted(LedgerCell):
    """Warmer or drier values that a named person takes."""

    value: Real = said("value", "the value taken: up to it, a floor down to it")


class Kept(LedgerCell):
    """Values that were not printed as derived."""

    derived: Real = said("derived", "what the records alone say")
    kept: Real = said("kept", "what was published, and is printed")


PUBLISHED_COLUMNS = columns_of(Published)
KEPT_COLUMNS = columns_of(Kept)
