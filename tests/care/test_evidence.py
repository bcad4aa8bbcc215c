"""What was read behind each target."""

from __future__ import annotations

import pandas as pd
import pytest

from pipeline.care.evidence import ByCell, own_rows


def test_evidence(text: str) -> None:
    assert "291 readings at 436 animals" in text
    assert "at 6 to 10 sites in 3 years (2019, 2020, 2021)" in text
    assert "±0.5 °C for 189 readings; accuracy not noted for 102 readings" in text
    assert (
        "19.4 °C, before the allowances" in text
        and "thermometer 0.5 °C; daytime 0.8 °C" in text
        and "second-warmest day of the records" in text
    )
    assert "All readings are from 2021: this speaks of that year only." in text
    assert "Night is unknown" in text and "Winter is unknown." in text
    assert "observed only" in text and "tolerate" not in text
    assert "n_eff" not in text and "Wilks" not in text  # method §4: they stand in the method notes
    assert "Larvae sick or dead 4" in text and "not of this page" not in text
    assert "none: too few sites or dates" in text


def test_refusals_and_guidance_stand_apart(text: str) -> None:
    after = text[text.index("What has no target, and why") :]
    assert "January to June, August to December: no readings; July: not read at the nest." in after
    guidance = after[after.index("Guidance for the group, not from this study") : after.index("When it gets too warm")]
    assert "the ceiling, the floor and the bands above win" in guidance
    assert "judgement; no source" in guidance


@pytest.mark.parametrize("parts", [3, 4])
def test_the_rows_of_a_cell_are_found_and_a_population_that_is_missing_is_none(parts: int) -> None:
    keys = [("A", "north", "adult", "land"), ("A", None, "adult", "land"), ("B", "north", "adult", "land"), ("A", "", "adult", "land")]
    frame = pd.DataFrame(keys, columns=["taxon", "population", "life_stage", "medium"]).assign(n=[1, 2, 3, 4])
    for key, found in ((keys[0], [1]), (keys[2], [3]), (keys[3], [2, 4]), (("C", "", "adult", "land"), [])):
        cells = ByCell(frame, parts)
        assert cells.rows(key[:parts])["n"].tolist() == [row["n"] for row in cells.records(key[:parts])] == found
        assert own_rows(frame, key[:parts]).equals(cells.rows(key[:parts]))
    assert own_rows(None, keys[0]).empty and own_rows(frame.iloc[:0], keys[0]).empty
