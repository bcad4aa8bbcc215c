"""The legend: what is switched on when a map opens, and nothing that is not there."""

from __future__ import annotations

import re

from map_books import crowd, enough, exact_parts_of, parts_of, study

from pipeline.maps.legend import legend


def switched_on(text):
    return set(re.findall(r'id="layer-(\w+)" checked', text))


def test_a_stranger_sees_stages_first_and_the_keeper_all_that_is_in_doubt():
    frames = crowd()
    for_all, for_one = legend(parts_of(frames, doubts=())), legend(exact_parts_of(frames))
    assert {"larva", "adult", "nothing_found"} <= switched_on(for_all) & switched_on(for_one)
    assert not {"visits", "available", "undetermined", "in_doubt"} & switched_on(for_all)
    assert "egg_mass" in switched_on(for_one) and "layer-egg_mass" not in for_all


def test_the_legend_offers_only_what_the_map_holds():
    text = legend(parts_of(study(enough(month="2021-06"))))
    assert re.findall(r'<option value="\d+">(\d{4})</option>', text) == ["2021"]
    assert "Streams, lakes" not in text and "dashed edge" not in text and 'id="outline"' in text
