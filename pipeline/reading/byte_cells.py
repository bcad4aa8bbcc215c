"""Cells as spans of bytes: eight bytes are compared as one number, so that only texts that differ become texts of Python."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

# Bytes after the last cell, so that every cell can be looked at eight bytes at a time
PAD = 8
# A date or a number is shorter; a column with a longer cell goes text by text
WIDEST = 64
MASKS = np.array([(1 << 8 * n) - 1 for n in range(9)], dtype="<u8")


def distinct_cells(signs: Any, begin: np.ndarray, end: np.ndarray) -> tuple[np.ndarray, list[bytes]]:
    """Distinct texts of cells, in the order in which they come.

    Parameters
    ----------
    signs : bytes or ndarray of uint8
        UTF-8 without a zero byte, and `PAD` zeros after it.
    begin, end : ndarray of int, shape (n,)
        Cell ``n`` is ``signs[begin[n]:end[n]]``, of no more than `WIDEST` bytes.

    Returns
    -------
    code : ndarray of int, shape (n,)
        For each cell the position of its text.
    texts : list of bytes
        Each once.
    """
    length = end - begin
    eights = np.ndarray(len(signs) - PAD + 1, "<u8", signs, strides=(1,))
    parts = []
    for offset in range(0, max(int(length.max(initial=1)), 1), 8):
        at = np.minimum(begin + offset, len(eights) - 1)
        parts.append(eights[at] & MASKS[np.clip(length - offset, 0, 8)])
    code, found = pd.factorize(parts[0])
    for part in parts[1:]:
        more, others = pd.factorize(part)
        code, found = pd.factorize(code * len(others) + more)
    first = np.empty(len(found), dtype="int64")
    first[code[::-1]] = np.arange(len(code))[::-1]
    together = np.ascontiguousarray(np.stack([part[first] for part in parts], axis=1))
    return code, together.view(f"S{8 * len(parts)}").ravel().tolist()
