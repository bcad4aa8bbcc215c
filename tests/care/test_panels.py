"""The small plots: every reading, the same bytes for the same input, and the same said in words."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import numpy as np
import pytest

from pipeline.care.panels import HEIGHT, MOST_DOTS, WIDTH, describe, year_panel

NOTHING = {"status": "refused", "n_readings": 0}
JULY = {"status": "target", "band_low": 13.0, "band_high": 17.0, "act_line": 19.5}
MONTHS = {month: JULY if month == 7 else NOTHING for month in range(1, 13)}


def test_drawing_is_well_formed_and_lies_in_its_frame() -> None:
    svg = year_panel("Larvae <in> water & more", MONTHS, {7: [12.0, 14.5, 21.0]}, 20.0, "panel-1")
    tree = ElementTree.fromstring(svg)
    assert tree.attrib["role"] == "img" and tree.find("title").text == "Larvae <in> water & more"  # type: ignore[union-attr]
    numbers = [float(value) for path in re.findall(r' d="([^"]*)"', svg) for value in re.findall(r"-?\d+(?:\.\d+)?", path)]
    assert max(numbers) <= WIDTH and min(numbers) >= 0
    heights = [float(value) for value in re.findall(r'\by="([\d.-]+)"', svg)]
    assert min(heights) >= 0 and max(heights) <= HEIGHT
    assert svg == year_panel("Larvae <in> water & more", MONTHS, {7: [12.0, 14.5, 21.0]}, 20.0, "panel-1")


def test_every_distinct_reading_is_a_dot_and_many_stay_few() -> None:
    def dots(values: list[float]) -> int:
        return len(re.findall(r"h0", year_panel("x", MONTHS, {7: values}, None, "p")))

    assert dots([12.0, 12.0, 14.5, 21.0]) == 3
    many = [float(value) for value in np.linspace(0.0, 40.0, 4000)]
    assert dots(many) <= MOST_DOTS + 2


def test_warmer_stands_higher() -> None:
    svg = year_panel("x", MONTHS, {7: [15.0]}, 20.0, "p")
    ceiling = float(re.search(r'class="ceiling" d="M\d+ ([\d.]+)', svg).group(1))  # type: ignore[union-attr]
    act = float(re.search(r'class="act" d="M[\d.]+ ([\d.]+)', svg).group(1))  # type: ignore[union-attr]
    box = re.search(r'class="band" x="[\d.]+" y="([\d.]+)" width="[\d.]+" height="([\d.]+)"', svg)
    top, height = (float(found) for found in box.groups())  # type: ignore[union-attr]
    assert ceiling < act < top < top + height


@pytest.mark.parametrize("ceiling", [None, 20.0])
def test_words_say_what_is_drawn(ceiling: float | None) -> None:
    words = describe("Larvae", MONTHS, {7: [12.0, 21.0], 8: [16.0]}, ceiling)
    assert "July: 2 readings from 12.0 to 21.0, band 13 to 17, act above 19.5." in words and "August: 1 reading from 16.0 to 16.0." in words
    assert "January" not in words
    assert words.endswith("No ceiling." if ceiling is None else "Never above 20, not a temperature to keep.")
