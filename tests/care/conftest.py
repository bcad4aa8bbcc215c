"""The invented study's care sheet, made once a module, as a page and as its text."""

from __future__ import annotations

import pytest
from care_study import Text, sheet


@pytest.fixture(scope="module")
def html() -> str:
    return sheet()


@pytest.fixture(scope="module")
def text(html: str) -> str:
    return Text(html).text
