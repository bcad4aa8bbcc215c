"""Kinds of fields that tables are declared with."""

from __future__ import annotations

import pytest

from schemas import kinds
from schemas.tables import MODELS, fields


@pytest.mark.parametrize("kind", ["text", "code", "real", "whole", "yes_no", "clock"])
def test_each_kind_is_used_by_a_field_that_says_so(kind: str) -> None:
    assert hasattr(kinds, f"as_{kind}")
    assert any(field.kind == kind for table in MODELS for field in fields(table).values())


def test_a_clock_has_its_form_as_unit() -> None:
    clocks = [field for table in MODELS for field in fields(table).values() if field.kind == "clock"]
    assert clocks and all(field.unit == "HH:MM" for field in clocks)
