"""The door to the templates: text is escaped, and a name that is missing is an error."""

from __future__ import annotations

import pytest
from jinja2 import TemplateNotFound, UndefinedError

from pipeline.writing.page import environment, render


def test_text_is_escaped_and_a_missing_name_stops_the_page() -> None:
    made = environment("reports").from_string("<p>{{ said }}</p>")
    assert made.render(said='<script>"&') == "<p>&lt;script&gt;&#34;&amp;</p>"
    with pytest.raises(UndefinedError, match="said"):
        made.render()


def test_a_template_of_another_room_is_not_found() -> None:
    with pytest.raises(TemplateNotFound):
        render("reports", "no_such_page.html")
