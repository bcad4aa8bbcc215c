"""Tests of names."""

from __future__ import annotations

import pytest

from pipeline.quality import names as quality_name


@pytest.mark.parametrize(
    ("parts", "result"),
    [
        (("Aus bus cus", "Aus", "bus", "cus"), "COMPLIANT"),
        (("Aus (Dus) bus", "Aus", "bus", ""), "COMPLIANT"),
        (("Aus cf. bus", "Aus", "bus", ""), "COMPLIANT"),
        (("Aus bus", "", "", "bus"), "NOT_COMPLIANT"),  # the epithet of the species is none below it
        (("Aus bus", "aus", "bus", ""), "NOT_COMPLIANT"),
    ],
)
def test_parts_of_a_name_stand_in_their_places(parts, result):
    assert quality_name.validation_polynomial_consistent(*parts).result == result
