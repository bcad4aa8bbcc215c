"""The few words that steps hand on to one another, each written once."""

from __future__ import annotations

from enum import StrEnum


class Effect(StrEnum):
    """What a rule does to the row that breaks it."""

    HOLD_VALUE = "hold_value"
    HOLD_ROW = "hold_row"
    FLAG = "flag"
    FLAG_EXCLUDE = "flag_exclude"


class Status(StrEnum):
    """What became of a cell of a table of targets."""

    TARGET = "target"
    BORROWED = "borrowed"
    REFUSED = "refused"
    FOUND = "found"
