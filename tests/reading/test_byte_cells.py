"""Cells looked at as numbers of eight bytes against the same cells as texts."""

from __future__ import annotations

import numpy as np
import pandas as pd
from hypothesis import given
from hypothesis import strategies as st

from pipeline.reading.byte_cells import PAD, WIDEST, distinct_cells

CELLS = ["", " ", "a", "ab", "12345678", "123456789", "12345678 ", "ä°–", "x" * 17, "x" * WIDEST, "y" * (WIDEST - 1)]


@given(st.lists(st.sampled_from(CELLS), max_size=30))
def test_distinct_cells_are_those_of_the_texts_in_their_order(cells: list[str]) -> None:
    written = [cell.encode() for cell in cells]
    end = np.cumsum([len(cell) + 1 for cell in written], dtype="int64") - 1
    begin = end - np.array([len(cell) for cell in written], dtype="int64")
    signs = b"\n".join(written) + b"\n" + bytes(PAD)
    code, texts = distinct_cells(signs, begin, end)
    wanted, distinct = pd.factorize(np.array(cells, dtype=object))
    assert code.tolist() == wanted.tolist() and [one.decode() for one in texts] == list(distinct)
    again, same = distinct_cells(np.frombuffer(signs, "uint8"), begin, end)
    assert again.tolist() == code.tolist() and same == texts
