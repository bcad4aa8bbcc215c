"""Guidance from elsewhere stands apart and never against the page."""

from __future__ import annotations

import pandas as pd
from care_study import Text, sheet

from pipeline.settings.limits import published_guidance


def test_guidance_never_repeats_what_the_page_forbids() -> None:
    rows = [
        ("cool_stream", "larva", "guide_active_high", 16.0, "a"),
        ("cool_stream", "larva", "guide_act_above", 16.5, "b"),
        ("cool_stream", "adult", "guide_winter_low", 3.9, "c"),
        ("cool_stream", "adult", "guide_act_above", 19.0, "d"),
    ]
    frame = pd.DataFrame(rows, columns=["taxon_or_group", "life_stage", "quantity", "value", "note"])
    frame = frame.assign(unit="°C", kind="judgement", source="")
    text = Text(sheet(guidance=frame)).text
    assert "active high 16 °C (60 °F). a" in text  # the southern larvae's ceiling is 16
    assert "act above: above a ceiling of this page, so not repeated. b" in text
    assert "winter low: below a floor of this page, so not repeated. c" in text
    assert "act above 19 °C (66 °F). d" in text


def test_guidance_of_the_limits_file_is_shown_when_none_is_given(text: str) -> None:
    note = published_guidance("cool_stream", "egg_mass")["note"].iloc[0]
    assert note.rstrip(".") in text
