"""Permits, parcels and limits of the settings: a slip is named."""

from __future__ import annotations

import pytest

from pipeline.errors import RillbookError
from pipeline.settings import parse_settings


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ('[[permit]]\nyears = [2024]', "no code"),
        ('[[permit]]\ncode = "a"', "years must list"),
        ('[[permit]]\ncode = "a"\nyears = ["2024"]', "years must list"),
        ('[[permit]]\ncode = "a"\nyears = [2024]\nholder = 3', "holder must be a text"),
        ('[[permit]]\ncode = "a"\nyears = [2024]\ncolour = 1', "unknown word 'colour'"),
        ('[[permit]]\ncode = "a"\nyears = [2024]\nlimit = 3', "limits must stand"),
        ('[[permit]]\ncode = "a"\nyears = [2024]\n[[permit.limit]]\ncounty = "x"', "states no number"),
        ('[[permit]]\ncode = "a"\nyears = [2024]\n[[permit.limit]]\ncaptured = -1', "whole number, 0 or more"),
        ('[[permit]]\ncode = "a"\nyears = [2024]\n[[permit.limit]]\ncaptured = true', "whole number, 0 or more"),
        ('[[permit]]\ncode = "a"\nyears = [2024]\n[[permit.limit]]\ncaptured = 1\ntaxon = "ZZZ"', "'ZZZ' is not in the book"),
        ('[[permit]]\ncode = "a"\nyears = [2024]\n[[permit.limit]]\ncaptured = 1\ncounty = 4', "county must be a text"),
        ('[[permit]]\ncode = "a"\nyears = [2024]\n[[permit]]\ncode = "A"\nyears = [2025]', "declared twice"),
        ('[[parcel]]\ncode = "a"', "needs sites or a polygon"),
        ("[plan]\ndays_a_month = 0", "days_a_month must be a whole number"),
        ("[plan]\ndays_a_month = 5\nvisits_a_month = 4", "less than days_a_month"),
        ("[plan]\nvisits = 4", "unknown word 'visits'"),
        ('[[parcel]]\ncode = "a"\nsites = "N01"', "list of site codes"),
        ('[[parcel]]\ncode = "a"\npolygon = [[36, -82], [36, -81]]', "three corners"),
        ('[[parcel]]\ncode = "a"\npolygon = [[36, -82], [95, -81], [37, -81]]', "each \\[latitude, longitude\\]"),
        ('[[parcel]]\ncode = "a"\npolygon = [[36, -82], [nan, -81], [37, -81]]', "each \\[latitude, longitude\\]"),
        ('[[taxon]]\ncode = "a"\nscientific_name = "A b"\ngroup = "other"\ndetection = 1', "no search finds every animal"),
        ('[[taxon]]\ncode = "a"\nscientific_name = "A b"\ngroup = "other"\ndetection = "half"', "no search finds every animal"),
    ],
)  # fmt: skip
def test_a_slip_in_the_settings_is_named(words: str, said: str) -> None:
    with pytest.raises(RillbookError, match=said):
        parse_settings(f'[book]\ntime_zone = "UTC"\n{words}\n', "rillbook.toml")
