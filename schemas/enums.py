"""The few words that steps hand on to one another, each written once."""

from __future__ import annotations

from enum import StrEnum


class Effect(StrEnum):
    """What a rule does to the row that breaks it."""

    HOLD_VALUE = "hold_value"
    HOLD_ROW = "hold_row"
    FLAG = "flag"
    FLAG_EXCLUDE = "flag_exclude"


EFFECTS = {
    Effect.HOLD_VALUE: "the values are held back, the row is kept without them",
    Effect.HOLD_ROW: "the row is held back, and the rows that hang on it",
    Effect.FLAG: "the row is kept and marked: look at it",
    Effect.FLAG_EXCLUDE: "the row is kept and marked, and left out of targets until someone settles it",
}


class Status(StrEnum):
    """What became of a cell of a table of targets."""

    TARGET = "target"
    BORROWED = "borrowed"
    REFUSED = "refused"
    FOUND = "found"
