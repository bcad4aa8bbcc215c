"""A regular expression that would never end is stopped and told; others find what Python's own find."""

from __future__ import annotations

import re
import time

import pytest

from pipeline.errors import RillbookError
from pipeline.reading.patterns import pattern, search


def test_a_pattern_without_an_end_is_stopped() -> None:
    started = time.process_time()
    with pytest.raises(RillbookError, match="finds no end at 'aaaa"):
        search(pattern(r"(a|a)*$"), "a" * 60 + "!")
    assert time.process_time() - started < 5


@pytest.mark.parametrize(
    ("wanted", "text"),
    [(r"^(\w+)-", "Río-3"), (r"^(\d+)m$", "15m"), (r"^(.+?)(?: Tx|-)[A-Z]?\d+[LR]?$", "COST Tx21L"), (r"(?i)(abc)", "xABC"), ("(x)", "y")],
)
def test_it_finds_what_python_finds(wanted: str, text: str) -> None:
    found, other = search(pattern(wanted), text), re.search(wanted, text)
    assert (found and found[1]) == (other and other[1])


def test_a_text_that_is_no_pattern_says_why() -> None:
    with pytest.raises(ValueError, match="missing"):
        pattern("(a")
