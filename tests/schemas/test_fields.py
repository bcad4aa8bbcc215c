"""A field is declared whole."""

from __future__ import annotations

import pytest
from sound_rows import ALL_FIELDS, DTYPES

from schemas.fields import Field
from schemas.tables import MODELS
from schemas.vocabulary import vocabulary_names


@pytest.mark.parametrize("field", ALL_FIELDS, ids=lambda field: f"{field.table}.{field.name}")
def test_a_field_is_declared_whole(field: Field) -> None:
    assert field.kind in DTYPES
    assert field.title and field.meaning
    if field.kind == "code":
        assert field.vocabulary in vocabulary_names()
    if field.kind in ("real", "whole"):
        assert field.possible and field.possible[0] < field.possible[1]
    if field.expected:
        assert field.possible
        assert field.possible[0] <= field.expected[0] < field.expected[1] <= field.possible[1]
    if field.refers_to:
        assert field.refers_to in MODELS
    assert not (field.required and field.derived)
