"""Still pictures of the map."""

from __future__ import annotations

import dataclasses
import xml.etree.ElementTree as ElementTree
from io import BytesIO

import numpy as np
from map_books import (
    SETTINGS,
    TRICK,
    crowd,
    enough,
    exact_parts_of,
    parts_of,
    study,
)
from PIL import Image

from pipeline.maps import layers as map_layers
from pipeline.maps import page as map_page
from pipeline.maps.stills import still_picture


def test_still_pictures_are_sound_and_text_in_them_is_text(tmp_path):
    settings = dataclasses.replace(SETTINGS, title=TRICK + " $x_1$", author="$y^2$")
    for parts, said in (
        (parts_of(crowd(), settings), "Places are grid squares"),
        (exact_parts_of(crowd(), settings), "EXACT PLACES. DO NOT SHARE."),
    ):
        path = map_page.write(parts, tmp_path).with_suffix(".svg")
        root = ElementTree.fromstring(path.read_text(encoding="utf-8"))
        names = {node.tag.rpartition("}")[2] for node in root.iter()}
        assert not names & {"script", "image", "foreignObject", "a"}
        words = " ".join("".join(node.itertext()) for node in root.iter() if node.tag.rpartition("}")[2] == "text")
        assert said in words and "Invented study" in words and "document.title='x'" in words and "$y^2$" in words
        for edge in map_layers.heat_words():
            assert edge in words


def texts(svg):
    root = ElementTree.fromstring(svg)
    return [" ".join("".join(node.itertext()).split()) for node in root.iter() if node.tag.rpartition("}")[2] == "text"]


def test_where_larvae_are_in_march_stands_on_the_panel():
    """One filled cell with its letter a month and square; a stage of which too little is known has a cross and no month."""
    frames = study(
        enough(month="2021-03", stage="larva", water_temp_c=5.0), enough(month="2021-12", stage="larva"), enough(month="2021-08", visits=1)
    )
    parts = parts_of(frames)
    svg, png, inlined = still_picture(parts.cells, [], [], parts.facts, False)
    wide, high = Image.open(BytesIO(png)).size
    assert wide == 1520 and high <= 1880, "7.6 inches by at most 9.4, at 200 dots an inch"
    words = texts(svg)
    assert "Larva: 12" in words and "Adult" in words and words.count("M") == 1 and words.count("D") == 1 and words.count("×") == 1
    assert "EXACT" not in svg and 'role="img"' in inlined and "found in 1 of 1 squares, in March" in inlined


def test_the_panels_are_the_same_wherever_in_its_square_each_site_lies():
    frames, draw = crowd(), np.random.default_rng(4)
    moved = frames[0].copy()
    for name in ("latitude", "longitude"):
        moved[name] = np.floor(frames[0][name] / 0.1 + 1e-9) * 0.1 + 0.1 * (0.01 + 0.98 * draw.random(len(moved)))
    one, other = (parts_of(some) for some in (frames, (moved, *frames[1:])))
    assert still_picture(one.cells, [], [], one.facts, False) == still_picture(other.cells, [], [], other.facts, False)
