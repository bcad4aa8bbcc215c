"""Tests of elevation and depth of a record."""

from __future__ import annotations

import pytest

from pipeline.quality import heights


# Conversions are exact by definition: a foot is 0.3048 m, a fathom six feet.
@pytest.mark.parametrize(
    ("text", "span"),
    [
        ("2 km", ("2000", "2000")), ("-5 to 3 m", ("-5", "3")), ("1 fathom", ("1.8288", "1.8288")), ("10 m - 50 ft", ("10", "15.24")),
        ("300-200 m", None), ("about 10 m", None), ("10 m?", None), ("10", None), ("10 miles", None),
    ],
)  # fmt: skip
def test_heights_as_written(text, span):
    read = heights.read_span(text)
    assert (read[:2] if read else None) == span
