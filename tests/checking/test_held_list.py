"""The list of held items as a spreadsheet program sees it."""

from __future__ import annotations

import pandas as pd

from pipeline.checking import held_list


def test_only_text_gets_an_apostrophe() -> None:
    """The signs are those that spreadsheet programs take for the start of a formula: common practice, no source."""
    frame = pd.DataFrame({"number": [-0.8, 1.0], "text": ["-0.8", "-1+2"], "name": ["@a", "a=b"]})
    safe = held_list.for_spreadsheet(frame)
    assert safe["number"].tolist() == [-0.8, 1.0]
    assert safe["text"].tolist() == ["-0.8", "'-1+2"] and safe["name"].tolist() == ["'@a", "a=b"]
    assert safe["name"].map(held_list.from_spreadsheet).tolist() == ["@a", "a=b"]
    assert held_list.from_spreadsheet("'quoted'") == "'quoted'"
