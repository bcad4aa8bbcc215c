"""What is said of a publication, and our words in the standards' words."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd
import pytest

from pipeline.publishing.publication import as_written, generalised, standard_words, texts_of, word


@pytest.mark.parametrize(
    ("value", "kind", "text"),
    [
        (12.0, "real", "12"), (12.5, "real", "12.5"), (0.1 + 0.2, "real", "0.30000000000000004"), (-0.5, "real", "-0.5"), (3, "whole", "3"),
        (True, "yes_no", "true"), (False, "yes_no", "false"), ("a", "text", "a"), (None, "text", ""), (math.nan, "real", ""),
        (pd.NA, "whole", ""), (0, "whole", "0"),
    ],
)  # fmt: skip
def test_a_value_as_text(value: Any, kind: str, text: str) -> None:
    assert as_written(value, kind) == text


def test_words_of_the_standard_are_empty_where_it_has_none() -> None:
    (term, ours), (standard, address) = next((key, words) for key, words in standard_words().items() if key[0] != "version" and all(words))
    assert word(term, ours) == standard and address.startswith("http")
    assert word(term, None) == word(term, pd.NA) == word(term, "no such word") == word("no such term", ours) == ""


def test_what_was_done_to_a_place_names_the_step() -> None:
    assert "grid of 0.1 degree" in generalised("0.1") and "Nothing was shifted at random" in generalised("1")


@pytest.mark.parametrize("dtype", ["object", "float64", "Float64"])
def test_a_column_is_written_as_its_values_one_by_one(dtype: str) -> None:
    column = pd.Series([12.0, 0.1 + 0.2, math.nan, -0.0, 12.0, -3.5], dtype=dtype, index=[5, 3, 1, 0, 2, 4])
    written = texts_of(column, "real")
    assert written.tolist() == [as_written(value, "real") for value in column] and written.index.equals(column.index)


def test_texts_and_yes_no_are_written_as_their_values_one_by_one() -> None:
    assert texts_of(pd.Series(["a", None, "1.0", "a"], dtype="str"), "text").tolist() == ["a", "", "1.0", "a"]
    assert texts_of(pd.Series([True, None, False, True], dtype="boolean"), "yes_no").tolist() == ["true", "", "false", "true"]
    assert texts_of(pd.Series([1, True, "1"], dtype="object"), "text").tolist() == ["1", "True", "1"]
