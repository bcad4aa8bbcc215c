"""A new book for each test of the room."""

from __future__ import annotations

from pathlib import Path

import pytest
from small_sheets import CASES

from pipeline.commands import run


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    run.init(tmp_path / "b", (CASES / "base" / "rillbook.toml").read_text())
    return tmp_path / "b"
