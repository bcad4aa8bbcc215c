"""Tests of the record itself: licences, words of lists."""

from __future__ import annotations

import csv
from pathlib import Path

import pandas as pd
import pytest

from pipeline.quality import record as quality_other
from pipeline.quality.responses import EXTERNAL, folded


def test_a_list_that_is_not_here_is_said():
    assert quality_other.validation_sex_standard("Male", "https://invalid/invalidservice").status == EXTERNAL
    assert quality_other.amendment_license_standardized("CC0", "no such list").status == EXTERNAL


@pytest.mark.parametrize("kind", ["by", "by-sa", "by-nc", "by-nc-sa", "by-nd", "by-nc-nd"])  # the six licences of Creative Commons
def test_each_licence_passes_at_its_address(kind):
    for address in (f"https://creativecommons.org/licenses/{kind}/4.0/", f"http://creativecommons.org/licenses/{kind}/4.0/legalcode"):
        assert quality_other.validation_license_standard(address).result == "COMPLIANT"
    assert quality_other.validation_license_standard(f"https://creativecommons.org/licenses/{kind}/3.0/").result == "NOT_COMPLIANT"


def test_no_list_has_two_meanings_for_one_writing():
    text = (Path(__file__).parents[2] / "data/reference/quality_vocabularies.csv").read_text(encoding="utf-8")
    rows = pd.DataFrame(csv.DictReader(text.splitlines())).assign(short=lambda frame: frame["written"].map(quality_other.fold))
    assert rows.groupby(["vocabulary", "short"])["term"].nunique().max() == 1
    assert (rows["source"] != "").all() and len(folded("countryCode")) > 2 * 249
