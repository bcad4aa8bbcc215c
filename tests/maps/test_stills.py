"""Still pictures of the map."""

from __future__ import annotations

import dataclasses
import xml.etree.ElementTree as ElementTree

from map_books import (
    SETTINGS,
    TRICK,
    crowd,
    exact_parts_of,
    parts_of,
)

from pipeline.maps import layers as map_layers
from pipeline.maps import page as map_page


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
