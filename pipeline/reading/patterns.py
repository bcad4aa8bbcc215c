"""Regular expressions of maps, which come from people: one that would never end is stopped. The only door to that library."""

from __future__ import annotations

from functools import cache
from typing import Any

from pipeline.errors import RillbookError

LONGEST_S = 1.0
"""Seconds that one pattern may take at one text."""


@cache
def pattern(text: str) -> Any:
    """A compiled pattern in the words of Python's own.

    Raises
    ------
    ValueError
        It is none; the message says why.
    """
    import regex

    try:
        return regex.compile(text)
    except regex.error as problem:
        raise ValueError(str(problem)) from None


def search(wanted: Any, text: str) -> Any:
    """First match of a pattern in a text, or None.

    Raises
    ------
    RillbookError
        The search takes longer than `LONGEST_S`.
    """
    try:
        return wanted.search(text, timeout=LONGEST_S)
    except TimeoutError:
        what = f"the regular expression {wanted.pattern!r} finds no end at {text[:60]!r}."
        raise RillbookError(what, "Write it without a repeat inside a repeat, such as (a+)+.", "the map") from None
