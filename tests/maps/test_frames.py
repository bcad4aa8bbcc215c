"""Figures of the exact map: temperatures by medium, finds, searches without a find."""

from __future__ import annotations

from map_books import (
    LEAST_VISITS,
    SETTINGS,
    book,
    cells_of,
    crowd,
    exact_parts_of,
    find,
    finds_of,
    frame,
    known_of,
    site,
    visit,
)

from pipeline.maps.frames import exact_cells, map_figures


def test_temperatures_follow_the_medium_and_count_once():
    finds = [
        find("1", "1", water_temp_c=12.0),
        find("2", "1", water_temp_c=12.0),
        find("3", "1", water_temp_c=14.0, condition="dead"),
        find("4", "1", microhabitat="under_log", air_temp_c=25.0, substrate_temp_c=15.0),
        find("5", "1", microhabitat="under_log", air_temp_c=26.0),
        find("6", "1", microhabitat="under_log", substrate_temp_c=20.0, reading_place="beside"),
        find("7", "1", microhabitat="on_surface", air_temp_c=17.0),
        find("8", "2"),
        find("9", "2", microhabitat="rock_at_edge"),
    ]
    frames = book([site("A", 36.2143, -81.9378)], [visit("1", "A"), visit("2", "A", water_temp_c=10.0)], finds)
    cells = finds_of(exact_cells(known_of(frames), SETTINGS.taxa)).set_index("medium")
    assert cells["n_readings"].to_dict() == {"water": 2, "land": 1, "surface": 1, "edge": 0}
    assert cells["temp_median_c"].dropna().to_dict() == {"water": 11.0, "land": 15.0, "surface": 17.0}
    assert cells["n_finds"].to_dict() == {"water": 4, "land": 3, "surface": 1, "edge": 1}


def test_not_found_counts_by_taxon_on_the_exact_map():
    visits = [visit("1", "A", target_taxa="DA|EB"), visit("2", "A", target_taxa="DA|EB"), visit("3", "A", target_taxa=None)]
    frames = book([site("A", 36.2143, -81.9378)], [*visits, visit("4", "A")], [find("1", "1")], incomplete=["4"])
    cells = exact_cells(known_of(frames), SETTINGS.taxa)
    nothing = cells[cells["layer"] == "nothing_found"].set_index("taxon")
    assert nothing[["n_visits", "n_without"]].T.to_dict("list") == {"": [1, 1], "Desmognathus alpha": [2, 1], "Eurycea beta": [2, 2]}
    assert cells.loc[cells["layer"] == "visits", ["n_visits", "n_without"]].to_numpy().tolist() == [[3, 2]]


def test_a_visit_whose_only_find_was_an_egg_mass_did_not_find_nothing():
    frames = book([site("A", 36.2143, -81.9378)], [visit("1", "A")], [find("1", "1", stage="egg_mass")])
    assert "nothing_found" not in set(exact_cells(known_of(frames), SETTINGS.taxa)["layer"])
    assert "nothing_found" not in set(cells_of(frames)["layer"])


def test_readings_where_no_animal_was_stand_in_a_layer_of_their_own():
    frames = crowd()
    exact_ones = exact_cells(known_of(frames), SETTINGS.taxa).loc[lambda frame: frame["layer"] == "available"]
    assert exact_ones["n_finds"].sum() == len(frames[3]) and (exact_ones["n_animals"] == 0).all() and exact_ones["n_readings"].sum() > 100
    public_ones = cells_of(frames).loc[lambda frame: frame["layer"] == "available"]
    assert len(public_ones) and (public_ones.loc[~public_ones["few"], "n_visits"] >= LEAST_VISITS).all()


def test_single_finds_are_listed_in_small_books_only():
    least = int(map_figures()["single_finds_below"])
    visits = [visit("1", "A")]
    for number, listed in ((least - 1, least - 1), (least, 0)):
        finds = frame("finds", [find("1", "1")]).loc[[0] * number].reset_index(drop=True)
        finds["find_id"] = [f"F{n}" for n in range(number)]
        frames = (frame("sites", [site("A", 36.2, -81.9)]), *book([], visits, [])[1:2], finds, frame("availability", []))
        assert len(exact_parts_of(frames).finds) == listed
