"""The list of held items as a spreadsheet program sees it."""

from __future__ import annotations

from datetime import date

import pandas as pd

from pipeline.writing.spreadsheet import for_spreadsheet, from_spreadsheet


def test_only_text_gets_an_apostrophe() -> None:
    """The signs are those that spreadsheet programs take for the start of a formula: common practice, no source."""
    frame = pd.DataFrame({"number": [-0.8, 1.0], "text": ["-0.8", "-1+2"], "name": ["@a", "a=b"]})
    safe = for_spreadsheet(frame)
    assert safe["number"].tolist() == [-0.8, 1.0]
    assert safe["text"].tolist() == ["-0.8", "'-1+2"] and safe["name"].tolist() == ["'@a", "a=b"]
    assert safe["name"].map(from_spreadsheet).tolist() == ["@a", "a=b"]
    assert from_spreadsheet("'quoted'") == "'quoted'"


def test_text_among_dates_and_categories_is_made_harmless_too() -> None:
    mixed = pd.DataFrame({"mixed": [date(2024, 1, 1), "=1+1", None], "kinds": pd.Categorical(["=a", "b", "=a"])})
    safe = for_spreadsheet(mixed)
    assert safe["mixed"].tolist() == [date(2024, 1, 1), "'=1+1", None] and safe["kinds"].tolist() == ["'=a", "b", "'=a"]
