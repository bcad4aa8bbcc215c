"""All commands under one name, each imported when it is first asked for."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from pipeline.commands import run


def test_the_names_for_type_checkers_are_those_that_are_found() -> None:
    (block,) = (one for one in ast.parse(Path(run.__file__).read_text(encoding="utf-8")).body if isinstance(one, ast.If))
    declared = {alias.asname: one.module for one in block.body if isinstance(one, ast.ImportFrom) for alias in one.names}
    assert declared == run.WHERE


def test_each_name_is_found_and_no_other() -> None:
    assert all(getattr(run, name).__name__ == name for name in run.WHERE if name[0].islower())
    assert set(run.WHERE) <= set(dir(run))
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        run.nothing  # type: ignore[attr-defined]  # noqa: B018
