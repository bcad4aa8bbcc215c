"""Months and temperatures by part of the map, and where a map opens."""

from __future__ import annotations

import numpy as np
import pandas as pd
from map_books import SETTINGS, cells_of, crowd, enough, exact_parts_of, known_of, site, study

from pipeline.maps.calendars import ACROSS_MOST, DOTTED_MOST, Panels, Part, calendars, dotted, in_view, part_of, visited
from pipeline.maps.frames import exact_cells


def test_a_calendar_holds_the_months_of_its_square_and_how_warm_it_was():
    cells = cells_of(
        study(
            enough(month="2021-03", stage="larva", water_temp_c=5.0, finds=6),
            enough(month="2022-03", stage="larva", water_temp_c=8.0, finds=12),
            enough(month="2021-07", stage="larva"),
            enough(month="2021-08", visits=1, finds=1),
        )
    )
    parts = part_of(cells, False)
    assert set(parts) == {Part(36.2, -82.0, 0.1, False)}
    found = {one.layer: one for one in calendars(cells, parts)}
    # three readings a year, one a visit: the middle of 5, 5, 5, 8, 8, 8, from below
    assert found["larva"].months.keys() == {3, 7} and found["larva"].months[3] == 5.0 and np.isnan(found["larva"].months[7])
    assert not found["larva"].undated and found["adult"].undated and found["adult"].months == {}
    ((months, visits, without),) = visited(cells, parts).values()
    assert {3, 7} <= months and visits >= 9 and without == 0


def test_parts_are_few_in_a_row_and_larger_squares_stand_apart():
    cells = cells_of(crowd())
    parts = set(part_of(cells, False))
    assert {part.step for part in parts if part.larger} == {1.0} and {part.step for part in parts if not part.larger} == {0.2}
    exact = exact_cells(known_of(crowd()), SETTINGS.taxa)
    assert len(set(part_of(exact, True))) > 3
    for spread in (0.01, 1.0, 40.0):
        wide = exact.assign(longitude=-80 + (exact["longitude"] + 82) * spread)
        wests = {part.west for part in part_of(wide, True).dropna()}
        assert 1 <= len(wests) <= ACROSS_MOST


def test_sites_are_dots_where_they_are_few_and_on_the_exact_map_alone():
    cells = exact_cells(known_of(crowd()), SETTINGS.taxa)
    many = pd.concat([cells.assign(site_id=cells["site_id"] + f"-{turn}") for turn in range(DOTTED_MOST)], ignore_index=True)
    few, public = Panels(cells, [], [], True), Panels(cells_of(crowd()), [], [], False)
    assert few.sites is not None and 1 < len(few.sites) <= DOTTED_MOST and public.sites is None
    assert Panels(many, [], [], True).sites is None and not dotted(many, True)


def test_one_place_far_away_makes_nothing_small():
    sites = [site("A", 36.21, -81.93), site("B", 36.41, -81.83), site("C", 31.0, -81.9)]
    frames = study(enough("A", finds=150), enough("B", finds=150), enough("C"), sites=sites)
    for cells, private in ((cells_of(frames), False), (exact_parts_of(frames).cells, True)):
        near, parts = in_view(cells, private), part_of(cells, private)
        places = cells["latitude"] if private else cells["south"]
        assert (places[~near] < 32).all() and (places[near] > 36).all() and (~near).any()
        pd.testing.assert_series_equal(parts.notna(), near, check_names=False)
