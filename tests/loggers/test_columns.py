"""Cells as spans of bytes against the same cells as texts."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.loggers.columns import Spans, Texts, Written
from pipeline.reading.byte_cells import PAD

TEXTS = [
    "12.5",
    "",
    "12.5",
    "2020-05-06",
    "2020-05-07",
    "2020-05-06 10:00:00",
    "12345678",
    "123456789",
    "°",
    "渓流",
    "12345678",
    "x" * 64,
    "1",
]


def spans(texts: list[str]) -> Spans:
    cells = [text.encode() for text in texts]
    end = np.cumsum([len(cell) + 1 for cell in cells]) - 1
    signs = np.frombuffer(b"\n".join(cells) + b"\n" + bytes(PAD), "uint8")
    return Spans(signs, np.concatenate([[0], end[:-1] + 1]), end)


def in_rows(texts: Texts) -> list[str]:
    return [texts.text[code] for code in texts.code]


@pytest.mark.parametrize("more", [[], ["y" * 65, "x" * 65, "y" * 65]], ids=["short", "with longer ones"])
def test_distinct_texts_are_those_of_the_cells_in_the_order_in_which_they_come(more: list[str]) -> None:
    texts = [*TEXTS, *more]
    found, same = spans(texts).distinct(), Written(texts).distinct()
    assert found.text == same.text == list(dict.fromkeys(texts))
    assert in_rows(found) == texts and found.code.tolist() == same.code.tolist()


@pytest.mark.parametrize("place", [0, 1, 5, 8, 9, 70])
def test_parted_texts_are_those_of_python_where_each_sign_is_a_byte(place: int) -> None:
    texts = [text for text in TEXTS if text.isascii()]
    for mine, theirs in zip(spans(texts).parted(place), Written(texts).parted(place), strict=True):
        assert [mine.text(row) for row in range(len(mine))] == theirs.texts
        assert in_rows(mine.distinct()) == theirs.texts


def test_half_a_sign_is_kept_as_it_is() -> None:
    before, after = spans(["渓流"]).parted(1)
    assert (before.text(0) + after.text(0)).encode(errors="surrogateescape") == "渓流".encode()


def test_a_text_is_read_once() -> None:
    asked: list[str] = []
    spans(TEXTS).distinct().each(lambda text: asked.append(text) or len(text), "int64")  # type: ignore[func-returns-value]
    assert asked == list(dict.fromkeys(TEXTS))
