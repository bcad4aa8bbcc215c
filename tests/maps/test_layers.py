"""Text and colour of the layers: nothing that HTML would read, and a scale that reads in grey."""

from __future__ import annotations

import html
import json
import re
from itertools import pairwise

import numpy as np
import pandas as pd
from map_books import (
    TRICK,
)

from pipeline.maps import layers as map_layers


def test_safe_leaves_nothing_that_html_or_a_template_literal_would_read():
    escaped = map_layers.safe(TRICK + "\n'")
    assert not re.search(r"[<>\"'$`\\{}\n]", escaped)
    assert html.unescape(escaped) == TRICK + " '"
    assert map_layers.safe(None) == map_layers.safe(float("nan")) == map_layers.safe(pd.NA) == ""


def test_embed_leaves_nothing_that_html_would_read_and_loses_nothing():
    document = {TRICK: [TRICK, "</script><!--", "\u2028", 'a "quote" \\', 1.5, None, True, {"x": []}]}
    text = map_layers.embed(document)
    assert json.loads(text) == document and not re.search(r"[<>&$`'\u2028]|\{\{", text)


def luminance(colour):
    """Relative luminance of WCAG 2.2, https definition of "relative luminance": 0 black, 1 white."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return float(np.dot([0.2126, 0.7152, 0.0722], linear))


def test_packed_numbers_are_those_of_the_scheme_and_no_markup():
    """Signed to unsigned by the table of the Protocol Buffers encoding guide ("ZigZag": 0, -1, 1, -2 to 0, 1, 2, 3), from memory."""
    assert map_layers.packed([0, -1, 1, -2]) == "".join(chr(63 + unsigned) for unsigned in (0, 1, 2, 3))
    # 16 doubled is 32: a part of nothing that says that more follow, and a one
    assert map_layers.packed([15, 16]) == chr(63 + 30) + chr(63 + 32) + chr(63 + 1)
    assert not set(map_layers.packed(range(-5000, 5000))) & set("<>&\"'")


def test_the_scale_of_temperature_reads_in_grey_and_its_letters_on_it():
    shades = [luminance(colour) for colour in map_layers.HEAT]
    assert all(later > 1.5 * earlier for earlier, later in pairwise(shades))
    for number, shade in enumerate(shades):
        ink = 1.0 if number < map_layers.LIGHT_INK else 0.0
        # WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1
        assert (max(ink, shade) + 0.05) / (min(ink, shade) + 0.05) >= 4.5
    outlines = [(outline, letter) for letter, _, outline in map_layers.SYMBOLS.values()]
    assert len({letter for _, letter in outlines}) == len(outlines)
