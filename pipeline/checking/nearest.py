"""Codes that may be meant: the nearest spelling of a key that nobody knows."""

from __future__ import annotations

import re
from collections.abc import Iterable
from difflib import get_close_matches

ALIKE = 0.75
"""Share of signs that two codes must have in common, by `difflib`'s ratio; a judgement."""


def folded(key: str) -> str:
    """A code without case, spaces and signs: ``kt-01`` and ``KT 01`` are one."""
    return re.sub(r"[\W_]+", "", key.casefold())


def nearest(key: str, known: Iterable[str], most: int = 3) -> list[str]:
    """Known codes that are spelled like one that is not known, nearest first.

    Parameters
    ----------
    key : str
        As written.
    known : iterable of str
        Codes that are there.
    most : int
        How many to give.

    Returns
    -------
    list of str
        Those alone that are the same but for case, spaces and signs, where there are any.
    """
    by_fold: dict[str, list[str]] = {}
    for one in sorted(set(known) - {key}):
        by_fold.setdefault(folded(one), []).append(one)
    if same := by_fold.get(folded(key), []):
        return same[:most]
    close = get_close_matches(folded(key), list(by_fold), n=most, cutoff=ALIKE)
    return [one for fold in close for one in by_fold[fold]][:most]
