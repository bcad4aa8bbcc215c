"""What the public map shows: squares, months, and never too little to be told apart."""

from __future__ import annotations

import dataclasses

import pytest
from map_books import (
    KEY,
    LEAST_FINDS,
    LEAST_VISITS,
    SETTINGS,
    book,
    cells_of,
    crowd,
    enough,
    finds_of,
    parts_of,
    site,
    study,
    visit,
)

from pipeline.publishing import protect


def test_a_find_stands_in_the_square_of_its_site():
    cells = finds_of(cells_of(study(enough(count=2, water_temp_c=14.0, latitude=36.25777, longitude=-81.85555))))
    # The find's own coordinates lie in another square; the site's count.
    assert cells[["south", "west", "north", "east", "step"]].to_numpy().tolist() == [[36.2, -82.0, 36.3, -81.9, "0.1"]]
    assert cells[["n_finds", "n_animals", "n_visits", "n_readings"]].to_numpy().tolist() == [[6, 12, 3, 3]]
    assert cells[["months", "year_from", "year_to", "temp_median_c", "few"]].to_numpy().tolist() == [["6", 2021, 2021, 14.0, False]]


def test_a_site_stands_in_one_square_as_coarse_as_what_was_found_there_asks_for():
    frames = study(enough(), enough(taxon="EB"), enough("B"), sites=[site("A", 36.21437, -81.93783), site("B", 36.31437, -81.93783)])
    assert set(cells_of(frames).loc[lambda frame: frame["taxon"] == "Eurycea beta", "step"]) == {"1"}
    assert {(row.step, row.south) for row in cells_of(frames).itertuples()} == {("1", 36.0), ("0.1", 36.3)}


@pytest.mark.parametrize("habitat", ["spring", "seep", "cave"])
def test_springs_seeps_and_caves_are_never_finer_than_a_degree(habitat):
    settings = dataclasses.replace(SETTINGS, public_precision_deg="0.001")
    place = [site("A", 36.2143, -81.9378, habitat=habitat, public_precision_deg="0.001")]
    assert set(cells_of(study(enough(), sites=place), settings)["step"]) == {"1"}
    assert set(cells_of(study(enough(microhabitat="seep_edge")), settings)["step"]) == {"1"}


@pytest.mark.parametrize(
    ("book_class", "site_class", "step"), [("0.1", "0.001", "0.1"), ("0.001", None, "0.001"), ("0.001", "0.01", "0.01"), ("0.01", "1", "1")]
)
def test_step_is_the_coarsest_of_book_and_site(book_class, site_class, step):
    settings = dataclasses.replace(SETTINGS, public_precision_deg=book_class)
    assert set(cells_of(study(enough(), sites=[site("A", 36.21437, -81.93783, public_precision_deg=site_class)]), settings)["step"]) == {
        step
    }


def test_not_found_is_stated_only_where_the_search_was_complete():
    visits, finds = enough(finds=1)
    frames = book([site("A", 36.21437, -81.93783)], [*visits, visit("x", "A", "2021-06-20", all_counted=False)], finds)
    cells = cells_of(frames).set_index("layer")
    assert cells.loc["nothing_found", ["n_visits", "n_without"]].tolist() == [3, 2]
    assert cells.loc["visits", "n_visits"] == 4


def few_parts(several):
    return finds_of(cells_of(study(*several)))


def test_what_is_too_little_for_its_month_and_year_is_put_together_step_by_step():
    two_years = few_parts([enough(month=f"{year}-06", visits=2, finds=3) for year in (2021, 2023)])
    assert two_years[["months", "year_from", "year_to", "n_finds", "n_visits"]].to_numpy().tolist() == [["6", 2021, 2023, 6, 4]]
    season = few_parts([enough(month=f"2021-{month}", visits=2, finds=3) for month in ("06", "08")])
    assert season[["months", "year_from", "n_finds"]].to_numpy().tolist() == [["6|8", 2021, 6]]
    year = few_parts([enough(month=f"2021-{month}", visits=2, finds=3) for month in ("02", "07", "10")])
    assert year[["months", "medium", "n_finds"]].to_numpy().tolist() == [["2|7|10", "water", 9]]
    places = few_parts(
        [enough(visits=2, finds=3), enough(month="2022-07", visits=2, finds=3, microhabitat="under_log", substrate_temp_c=12.0)]
    )
    assert places[["months", "medium", "n_finds"]].to_numpy().tolist() == [["6|7", "several", 6]]


@pytest.mark.parametrize("seed", range(8))
def test_cells_are_a_partition_and_each_rests_on_enough(seed):
    frames = crowd(seed)
    tables, _ = protect.public_rows(protect.BookRows(*frames), SETTINGS, KEY, {})
    cells = cells_of(frames)
    shown = cells[~cells["few"]]
    counted = finds_of(shown)
    assert (counted["n_finds"] >= LEAST_FINDS).all() and (shown["n_visits"] >= LEAST_VISITS).all() and len(counted) > 5
    # Nothing stands in two cells, so no cell can be taken from another: what the cells hold and what they hide is the whole.
    place = ["step", "south", "west", "layer", "taxon"]
    hidden = cells[cells["few"]].merge(shown[place].drop_duplicates(), on=place, how="left", indicator=True)
    lost = len(tables["finds"]) - counted["n_finds"].sum()
    assert 0 <= lost < (len(finds_of(cells)) - len(counted)) * 40 and (lost > 0) == bool(len(finds_of(hidden)))
    overlap = counted.groupby([*place, "medium", "months", "year_from", "year_to"]).size()
    assert (overlap == 1).all()


def test_a_pattern_by_month_holds_no_month_that_the_cells_hide():
    shown = parts_of(study(enough(), enough(month="2021-07", visits=1, finds=1), enough(month="2021-08", visits=2, finds=6))).pattern
    assert shown[["month", "n_animals"]].to_numpy().tolist() == [[6, 6.0]]
    few = parts_of(study(enough(), enough(microhabitat="leaf_pack", finds=2, start=30))).pattern
    assert few["n_animals"].isna().tolist() == [True, False] or few["n_animals"].isna().tolist() == [False, True]


def test_cells_are_ordered_by_square():
    cells = cells_of(crowd())
    assert cells[["south", "west"]].apply(tuple, axis=1).is_monotonic_increasing and len(cells) > 50
