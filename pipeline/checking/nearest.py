"""Codes that may be meant: the nearest spelling of a key that nobody knows."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from difflib import get_close_matches

import numpy as np

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
    return nearest_among(set(known) - {key})(key, most)


def nearest_among(known: Iterable[str]) -> Callable[..., list[str]]:
    """As :func:`nearest`, for many keys that are none of the known ones: these are looked through once."""
    by_fold: dict[str, list[str]] = {}
    for one in sorted(set(known)):
        by_fold.setdefault(folded(one), []).append(one)
    # codes are numbers for the most part: far fewer sets of signs than codes
    by_set: dict[str, list[str]] = {}
    for fold in by_fold:
        by_set.setdefault("".join(sorted(fold)), []).append(fold)
    spelled = list(by_set.values())
    signs = {sign: number for number, sign in enumerate(sorted(set("".join(by_set))))}
    counts = np.zeros((len(spelled), len(signs)), dtype="int16")
    for place, one in enumerate(by_set):
        for sign in one:
            counts[place, signs[sign]] += 1
    lengths = counts.sum(axis=1)

    def look(key: str, most: int = 3) -> list[str]:
        fold = folded(key)
        if same := by_fold.get(fold, []):
            return same[:most]
        mine = np.array([fold.count(sign) for sign in signs], dtype="int16")
        # no more signs than these can agree; whatever fails here fails difflib's own comparison, which takes far longer
        shared = np.minimum(counts, mine).sum(axis=1)
        likely = np.flatnonzero(2.0 * shared >= ALIKE * (lengths + len(fold)) - 1e-9)
        close = get_close_matches(fold, [other for place in likely for other in spelled[place]], n=most, cutoff=ALIKE)
        return [one for near in close for one in by_fold[near]][:most]

    return look
