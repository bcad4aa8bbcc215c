"""Tests of the place of a record."""

from __future__ import annotations

import json

import pytest

from pipeline.quality import space


@pytest.mark.parametrize(
    ("latitude", "longitude", "result"),
    [("0", "0", "NOT_COMPLIANT"), ("0", "-83.5", "COMPLIANT"), ("91", "0", "COMPLIANT"), ("north", "0", "")],
)
def test_only_two_zeros_are_no_place(latitude, longitude, result):
    assert space.validation_coordinates_notzero(latitude, longitude).result == result


@pytest.mark.parametrize(
    ("uncertainty", "result"), [("0", "NOT_COMPLIANT"), ("1", "COMPLIANT"), ("20037509", "COMPLIANT"), ("20037510", "NOT_COMPLIANT")]
)
def test_uncertainty_reaches_half_of_the_equator(uncertainty, result):
    assert space.validation_coordinateuncertainty_inrange(uncertainty).result == result


def test_a_place_as_written_is_proposed_only_where_there_is_none():
    made = space.amendment_coordinates_from_verbatim("", "", "", "35.6, -83.5", "", "", "EPSG:4326")
    assert json.loads(made.result)["dwc:decimalLatitude"] == "35.6"
    assert space.amendment_coordinates_from_verbatim("35", "", "", "35.6, -83.5", "", "", "").status == "INTERNAL_PREREQUISITES_NOT_MET"
