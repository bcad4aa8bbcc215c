"""What a cell is before any test: empty, a number, a whole number."""

from __future__ import annotations

import pytest

from pipeline.quality.responses import empty, number, whole


# A value is Empty if it holds only U+0000 to U+0020; the words below are values (implementers' guide).
@pytest.mark.parametrize(
    ("value", "wanted"),
    [(None, True), ("", True), (" \t\n", True), ("\x00\x0e\x1f", True), ("null", False), ("NA", False), ("?", False), ("\u00a0", False)],
)
def test_empty(value, wanted):
    assert empty(value) is wanted


@pytest.mark.parametrize(
    ("text", "wanted"),
    [("1", 1.0), ("-0.5", -0.5), ("1e3", 1000.0), (".5", 0.5), ("1,5", None), (" 1", None), ("nan", None), ("inf", None), ("1_0", None)],
)
def test_number(text, wanted):
    assert number(text) == wanted


def test_whole_numbers_are_of_plain_digits():
    assert whole("12") == 12 and whole("012") == 12 and whole("-3") == -3
    assert whole("1.0") is None and whole("١٢") is None and whole("") is None and whole(None) is None
