"""One panel of the map: everything stands at its place, and nothing leaves the panel."""

from __future__ import annotations

import numpy as np
import pytest
from map_books import crowd, exact_parts_of, parts_of

from pipeline.maps.calendars import Panels
from pipeline.maps.panel import SITES, VISITS, Panel, ticks
from pipeline.writing.pictures import Drawing, text_width

ROOM = {"left": 30.0, "top": 25.0, "wide": 150.0, "high": 200.0}


def panel_of(parts, lines=()):
    drawing = Drawing(200, 240)
    return Panel(drawing, Panels(parts.cells, lines, [], parts.private), **ROOM)


@pytest.fixture(scope="module")
def public():
    return parts_of(crowd())


def test_a_panel_keeps_the_shape_of_the_land(public):
    """One degree east is as long as one north times the cosine of the latitude (the sphere)."""
    panel = panel_of(public)
    x, y = panel.at(panel.south, panel.west)
    assert (x, y) == pytest.approx((panel.left, panel.top + panel.high))
    north, east = y - panel.at(panel.south + 0.1, panel.west)[1], panel.at(panel.south, panel.west + 0.1)[0] - x
    assert east / north == pytest.approx(np.cos(np.radians((panel.south + panel.north) / 2)))
    assert panel.wide <= ROOM["wide"] + 1e-9 and panel.high <= ROOM["high"] + 1e-9


def test_no_line_leaves_the_panel_and_one_outside_is_not_drawn(public):
    bare = panel_of(public)
    south, west, north, east = bare.south, bare.west, bare.north, bare.east
    across, away = [(south - 1, west - 1), (north + 1, east + 1)], [(north + 1, west), (north + 2, east)]
    panel = panel_of(public, [("stream", across), ("stream", away), ("border", away)])
    panel.draw(VISITS)
    drawn = [one for one in panel.drawing.shapes if one.stroke in ("#5595c8", "#7c61a3")]
    assert len(drawn) == 1 and not drawn[0].more and len(drawn[0].points) == 2
    for shape in panel.drawing.shapes:
        for course in (shape.points, *shape.more):
            for x, y in course:
                assert panel.left - 2.01 <= x <= panel.left + panel.wide + 0.01 and panel.top - 0.01 <= y <= panel.top + panel.high + 2.01


def test_names_of_sites_and_degrees_stay_in_their_room():
    panel = panel_of(exact_parts_of(crowd()))
    panel.draw(SITES)
    panel.degrees_below(9.6)
    panel.degrees_left()
    names = set(panel.panels.sites["site_id"])
    said = {one.text for one in panel.drawing.words}
    assert names <= said and SITES in said and any(text.endswith("° W") for text in said) and any(text.endswith("° N") for text in said)
    for one in panel.drawing.words:
        wide = text_width(one.text, one.size)
        left = one.at[0] - {"start": 0.0, "middle": wide / 2, "end": wide}[one.anchor]
        assert left >= 0 and left + wide <= panel.left + panel.wide + 4.81


@pytest.mark.parametrize(
    ("low", "high", "most", "expected"),
    [(-82.012, -81.588, 3, [-82.0, -81.8, -81.6]), (35.87, 36.51, 4, [36.0, 36.2, 36.4]), (10.0, 10.0031, 3, [10.0, 10.002])],
)
def test_degrees_stand_at_round_values(low, high, most, expected):
    assert ticks(low, high, most) == expected
