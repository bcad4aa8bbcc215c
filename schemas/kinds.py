"""The kinds of fields that tables are declared with."""

from __future__ import annotations

from typing import Any

from schemas.fields import declare


def as_text(title: str, meaning: str, **words: Any) -> Any:
    """A field of free text."""
    return declare(title, meaning, kind="text", **words)


def as_code(title: str, meaning: str, vocabulary: str, **words: Any) -> Any:
    """A field that draws on a code list."""
    return declare(title, meaning, kind="code", vocabulary=vocabulary, **words)


def as_real(
    title: str, meaning: str, unit: str, possible: tuple[float, float], expected: tuple[float, float] | None = None, **words: Any
) -> Any:
    """A number with its unit and its two spans."""
    return declare(title, meaning, kind="real", unit=unit, possible=possible, expected=expected, **words)


def as_whole(
    title: str, meaning: str, unit: str, possible: tuple[float, float], expected: tuple[float, float] | None = None, **words: Any
) -> Any:
    """A whole number with its unit and its two spans."""
    return declare(title, meaning, kind="whole", unit=unit, possible=possible, expected=expected, **words)


def as_yes_no(title: str, meaning: str, **words: Any) -> Any:
    """Yes, no or not noted."""
    return declare(title, meaning, kind="yes_no", **words)


def as_clock(title: str, meaning: str, **words: Any) -> Any:
    """A local clock time."""
    return declare(title, meaning, kind="clock", unit="HH:MM", **words)
