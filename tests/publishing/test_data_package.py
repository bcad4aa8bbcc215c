"""The page to read first: text of a book stays text."""

from __future__ import annotations

from html import unescape

import pytest

from pipeline.publishing.data_package import plain


@pytest.mark.parametrize("text", ["<script>", "[a](http://b)", "`x`", "*b* _c_ #d", "a|b", "![x](y)", "\\frac{1}{2}$"])
def test_neither_markdown_nor_html_reads_a_sign_of_it(text: str) -> None:
    made = plain(text)
    assert not set(made.replace("&#", "").replace(";", "")) & set("<>`*_[]()!|\\{}$#")
    assert unescape(made) == text


def test_a_text_stays_one_line() -> None:
    assert plain("a\r\n# b") == "a  &#35; b" and plain("") == ""
