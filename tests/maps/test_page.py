"""The maps: nothing exact on the public page, nothing that runs in anyone's text, and both open with no network."""

from __future__ import annotations

import dataclasses
import html
import json
import re
import xml.etree.ElementTree as ElementTree
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from examples import examples

from pipeline.errors import RillbookError
from pipeline.formulas.places import place_figures
from pipeline.maps import figures_table
from pipeline.maps import layers as map_layers
from pipeline.maps import page as map_page
from pipeline.maps import parts as map_parts
from pipeline.maps.frames import exact_cells, map_figures
from pipeline.publishing import protect
from pipeline.settings import parse_settings
from schemas.tables import fields

SETTINGS = parse_settings(
    """
    [book]
    title = "Rill survey"
    invented = true
    time_zone = "America/New_York"
    licence = "CC BY 4.0"
    author = "Field group"
    [[taxon]]
    code = "DA"
    scientific_name = "Desmognathus alpha"
    group = "cool_stream"
    [[taxon]]
    code = "EB"
    scientific_name = "Eurycea beta"
    group = "cool_stream"
    sensitivity = "1"
    [[taxon]]
    code = "GG"
    scientific_name = "Gyrinophilus gamma"
    group = "cool_stream"
    sensitivity = "withheld"
    """,
    "test",
)
TRICK = "${document.title='x'}`\\u0041<img src=x onerror=\"document.title='y'\"> {{7*7}}"


def frame(table, rows):
    """Rows as the book's view has them: every declared field, missing where not given."""
    kinds = {"real": "float64", "whole": "Int64", "yes_no": "boolean", "day": "datetime64[us]"}
    declared = fields(table)
    whole = pd.DataFrame(rows, columns=[*declared])
    return whole.astype({name: kinds.get(field.kind, "str") for name, field in declared.items()})


def site(name, latitude=None, longitude=None, **more):
    usual = {"site_name": f"Name {name}", "habitat": "stream", "datum": "WGS84"}
    return {"site_id": f"SITE-{name}", "latitude": latitude, "longitude": longitude, **usual, **more}


def visit(name, site_name, date="2021-06-17", **more):
    usual = {"start_time": "21:43", "protocol": "night_search", "target_taxa": "DA", "all_counted": True}
    return {"visit_id": f"V-{name}", "site_id": f"SITE-{site_name}", "visit_date": date, **usual, **more}


def find(name, visit_name, taxon="DA", stage="adult", **more):
    usual = {"count": 1, "microhabitat": "rock_in_flow", "found_at": "22:37"}
    return {"find_id": f"F-{name}", "visit_id": f"V-{visit_name}", "taxon": taxon, "life_stage": stage, **usual, **more}


def book(sites, visits, finds, incomplete=(), points=()):
    all_visits = frame("visits", visits)
    all_visits["incomplete"] = all_visits["visit_id"].isin([f"V-{name}" for name in incomplete])
    return frame("sites", sites), all_visits, frame("finds", finds), frame("availability", points)


KEY = b"a secret of this test"
LEAST_FINDS, LEAST_VISITS = int(place_figures()["few_finds"]), int(map_figures()["public_visits_least"])


def parts_of(frames, settings=SETTINGS, published=None, doubts=(), key=KEY, shapes=None, tiles=""):
    tables, _ = protect.public_rows(protect.BookRows(*frames), settings, key, published or {})
    return map_parts.public_parts(tables, doubts, settings, shapes, tiles)


def known_of(frames):
    return dict(zip(("sites", "visits", "finds", "availability"), frames, strict=True))


def exact_parts_of(frames, settings=SETTINGS, shapes=None, tiles=""):
    return map_parts.exact_parts(known_of(frames), settings, shapes, tiles)


def public(frames, settings=SETTINGS, **more):
    return map_page.page(parts_of(frames, settings, **more))


def exact(frames, settings=SETTINGS, **more):
    return map_page.page(exact_parts_of(frames, settings, **more))


def cells_of(frames, settings=SETTINGS, **more):
    return parts_of(frames, settings, **more).cells


def finds_of(cells):
    return cells[~cells["layer"].isin(["nothing_found", "visits", "available"])]


def own_text(page):
    """The page without the library and its style, whose numbers are not ours."""
    bare = page
    for text in (map_page._vendor_css(), map_page._vendor_js()):
        assert text in bare
        bare = bare.replace(text, "")
    return bare


def document_of(page):
    drawn, cells = re.findall(r'<script type="application/json" id="(?:figures|cells)-data">(.*?)</script>', page, flags=re.DOTALL)
    return json.loads(drawn) | {"cells": json.loads(cells)}


def enough(site_name="A", month="2021-06", taxon="DA", stage="adult", visits=3, finds=6, start=0, **more):
    """So many visits in a month, and so many finds spread over them."""
    all_visits = [visit(f"{site_name}{month}{start + n}", site_name, f"{month}-{n + 1:02d}") for n in range(visits)]
    own = f"{site_name}{month}{taxon}{stage}"
    all_finds = [find(f"{own}{start + n}", f"{site_name}{month}{start + n % visits}", taxon, stage, **more) for n in range(finds)]
    return all_visits, all_finds


def study(*several, sites=None):
    """A book of the visits and finds that :func:`enough` gives."""
    visits = {one["visit_id"]: one for all_visits, _ in several for one in all_visits}
    finds = {one["find_id"]: one for _, all_finds in several for one in all_finds}
    return book(sites or [site("A", 36.21437, -81.93783)], list(visits.values()), list(finds.values()))


def crowd(seed=7, trick=True):
    """Fourteen invented sites and their finds in an invented study; a taxon of a coarser class at every third site."""
    draw = np.random.default_rng(seed)
    habitats = ["stream"] * 7 + ["headwater"] * 3 + ["seep", "spring", "forest", "forest"]
    sites = [
        site(
            f"{n:02d}",
            float(36.12 + 0.24 * draw.random()),
            float(-82.07 + 0.33 * draw.random()),
            habitat=kind,
            coordinate_uncertainty_m=30.0,
            remarks="Gate code in the shed",
        )
        for n, kind in enumerate(habitats)
    ]
    if trick:
        sites[3].update(site_name=TRICK, remarks=TRICK)
    visits, finds, points = [], [], []
    for n in range(140):
        where, month = int(draw.integers(14)), int(draw.integers(3, 12))
        visits.append(
            visit(
                f"{n:03d}",
                f"{where:02d}",
                f"{2021 + n % 2}-{month:02d}-{int(draw.integers(10, 28))}",
                start_time=f"{draw.integers(19, 23)}:{draw.integers(31, 59)}",
                target_taxa="DA|EB" if n % 5 else "DA",
                search_minutes=40.0,
            )
        )
        points.append({"point_id": f"P-{n:03d}", "visit_id": f"V-{n:03d}", "microhabitat": "rock_in_flow", "water_temp_c": 8.0 + month})
        for k in range(int(draw.integers(0, 6)) * (n % 4 > 0)):
            stage = str(
                draw.choice(["larva", "adult", "juvenile", "metamorph", "egg_mass", "hatchling"], p=[0.35, 0.3, 0.15, 0.08, 0.07, 0.05])
            )
            wet = stage in ("larva", "hatchling")
            finds.append(
                find(
                    f"{n:03d}-{k}",
                    f"{n:03d}",
                    str(draw.choice(["DA", "DA", "EB" if where % 3 == 0 else "DA", "GG"])),
                    stage,
                    count=int(draw.integers(1, 5)),
                    microhabitat=str(draw.choice(["rock_in_flow", "leaf_pack"] if wet else ["rock_at_edge", "rock_on_bank", "on_surface"])),
                    water_temp_c=round(float(8 + month + draw.normal()), 1),
                    substrate_temp_c=round(float(8 + month + draw.normal()), 1),
                    air_temp_c=round(float(9 + month + draw.normal()), 1),
                    found_at=f"{draw.integers(20, 23)}:{draw.integers(31, 59)}",
                    latitude=sites[where]["latitude"] + 0.0003,
                    longitude=sites[where]["longitude"] - 0.0004,
                    remarks=TRICK if trick and k == 0 else None,
                )
            )
    return book(sites, visits, finds, points=points)


# --- what the public map may show


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


@pytest.mark.parametrize("group", ["warm_spring", "cave"])
def test_taxa_of_springs_and_caves_are_never_finer_than_a_degree(group):
    settings = dataclasses.replace(SETTINGS, public_precision_deg="0.001", taxa=SETTINGS.taxa.assign(group=group, sensitivity=None))
    assert set(cells_of(study(enough()), settings)["step"]) == {"1"}


@pytest.mark.parametrize(
    ("book_class", "site_class", "step"), [("0.1", "0.001", "0.1"), ("0.001", None, "0.001"), ("0.001", "0.01", "0.01"), ("0.01", "1", "1")]
)
def test_step_is_the_coarsest_of_book_and_site(book_class, site_class, step):
    settings = dataclasses.replace(SETTINGS, public_precision_deg=book_class)
    assert set(cells_of(study(enough(), sites=[site("A", 36.21437, -81.93783, public_precision_deg=site_class)]), settings)["step"]) == {
        step
    }


def test_eggs_nests_withheld_and_unknown_taxa_are_not_there_and_nobody_is_told_of_them():
    frames = study(
        enough(),
        enough(stage="egg_mass"),
        enough(stage="juvenile", microhabitat="nest_edge"),
        enough(taxon="GG", stage="larva"),
        enough(taxon="ZZ", stage="metamorph"),
    )
    cells = cells_of(frames)
    assert set(finds_of(cells)["layer"]) == {"adult"} and set(cells["taxon"]) == {"", "Desmognathus alpha"}
    text = own_text(public(frames))
    assert "Gyrinophilus" not in text and "ZZ" not in text and "nest rock" not in text and "Egg mass" not in text
    assert public(frames) == public(study(enough(), enough(stage="egg_mass", finds=3), enough(taxon="GG", finds=1)))
    everything_withheld = dataclasses.replace(SETTINGS, public_precision_deg="withheld")
    assert cells_of(frames, everything_withheld).empty and "There is nothing to show yet." in public(frames, everything_withheld)


def test_not_found_is_stated_only_where_the_search_was_complete():
    visits, finds = enough(finds=1)
    frames = book([site("A", 36.21437, -81.93783)], [*visits, visit("x", "A", "2021-06-20", all_counted=False)], finds)
    cells = cells_of(frames).set_index("layer")
    assert cells.loc["nothing_found", ["n_visits", "n_without"]].tolist() == [3, 2]
    assert cells.loc["visits", "n_visits"] == 4


def test_the_datum_is_changed_before_the_square_is_chosen():
    # NAD27 lies about 21 m off at 37 N 80 W (EPSG operation 1173): enough to cross a line of the 0.001 degree grid.
    settings = dataclasses.replace(SETTINGS, public_precision_deg="0.001")
    cells = cells_of(study(enough(), sites=[site("A", 36.99995, -80.0001, datum="NAD27")]), settings)
    assert set(zip(cells["south"], cells["west"], strict=True)) == {(37.0, -80.0)}


def test_coordinates_as_written_serve_where_the_numbers_are_missing():
    cells = cells_of(study(enough(), sites=[site("A", verbatim_coordinates="36.21437N 81.93783W")]))
    assert set(zip(cells["south"], cells["west"], strict=True)) == {(36.2, -82.0)}


# --- cells that no visit stands alone in


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


@pytest.mark.parametrize(("visits", "finds"), [(LEAST_VISITS - 1, 40), (LEAST_VISITS, LEAST_FINDS - 1), (1, 1)])
def test_what_is_too_little_altogether_shows_nothing_but_its_square(visits, finds):
    frames = study(enough(visits=visits, finds=finds, count=7, water_temp_c=13.7))
    cells = finds_of(cells_of(frames))
    assert cells["few"].tolist() == [True]
    kept = {"step", "south", "west", "north", "east", "layer", "taxon", "few"}
    assert all(pd.isna(value) or value == "" for name, value in cells.iloc[0].items() if name not in kept)
    page = public(frames)
    assert (
        map_layers.FEW_WORDS in page
        and "13.7" not in own_text(page)
        and "137," not in own_text(page)
        and str(7 * finds) not in page_words(page)
    )


def page_words(page):
    return " ".join(
        re.sub(r"<[^>]+>", " ", re.sub(r"<script.*?</script>|<style.*?</style>|<svg.*?</svg>", " ", page, flags=re.DOTALL)).split()
    )


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


def moved_within_squares(frames, step, draw):
    """The same book with each site elsewhere in the square of `step` degrees in which it lies."""
    sites, *rest = frames
    moved = sites.copy()
    for name in ("latitude", "longitude"):
        moved[name] = np.floor(sites[name] / step + 1e-9) * step + step * (0.01 + 0.98 * draw.random(len(sites)))
    return (moved, *rest)


def test_over_many_publications_no_adversary_learns_more_than_the_square():
    """Publications, each with more finds (two hundred in a full run): the maps are the same wherever in its square each site lies.

    Who holds the maps, all of them, can therefore rule out no point of a square. The squares are of 0.1°, the finest class of this book.
    """
    draw = np.random.default_rng(11)
    sites, visits, finds, points = crowd(5)
    published, other_published = {}, {}
    shown = np.sort(draw.choice(np.arange(20, len(finds) + 1), examples(200, 30), replace=len(finds) < 220))
    elsewhere = moved_within_squares((sites, visits, finds, points), 0.1, draw)[0]
    order = draw.permutation(len(finds))
    for number, some in enumerate(shown):
        part = finds.iloc[np.sort(order[:some])].reset_index(drop=True)
        results = []
        for places, memory in ((sites, published), (elsewhere, other_published)):
            rows = protect.BookRows(places, visits, part, points)
            tables, withheld = protect.public_rows(rows, SETTINGS, KEY, memory)
            memory.update(withheld.shown)
            results.append(map_parts.public_parts(tables, (), SETTINGS))
        one, other = results
        pd.testing.assert_frame_equal(one.cells, other.cells)
        pd.testing.assert_frame_equal(one.pattern, other.pattern)
        assert one.facts == other.facts and set(one.cells["step"]) <= {"0.1", "1"}
        if number % 25 == 0:
            assert map_page.page(one) == map_page.page(other)


def test_a_site_that_was_shown_coarse_is_never_shown_finer():
    frames = study(enough(), enough(taxon="EB"))
    _, withheld = protect.public_rows(protect.BookRows(*frames), SETTINGS, KEY, {})
    assert set(cells_of(study(enough()), published=withheld.shown)["step"]) == {"1"} and set(cells_of(study(enough()))["step"]) == {"0.1"}


def test_the_public_page_holds_nothing_exact(tmp_path):
    frames = crowd()
    sites, visits, finds, _ = frames
    path = map_page.write(parts_of(frames), tmp_path)
    picture = path.with_suffix(".svg").read_text(encoding="utf-8")
    # The path data of drawings are lengths on paper, not places.
    page = re.sub(
        r' (d|points|transform|x|y|width|height|viewBox|style)="[^"]*"', "", own_text(path.read_bytes().decode("utf-8")) + picture
    )
    for name in ("latitude", "longitude"):
        for value in [*sites[name], *finds[name]]:
            # Two decimals and more are finer than the grid of 0.1 degree; rounded, and cut.
            for digits in range(3, 8):
                for text in (f"{abs(value):.{digits}f}", f"{abs(value):.9f}"[: digits - 9]):
                    assert text not in page, text
    for column in ("site_id", "site_name", "remarks"):
        for text in sites[column].dropna():
            assert text not in page and map_layers.safe(text) not in page
    for frame_, column in ((visits, "visit_id"), (visits, "start_time"), (finds, "find_id"), (finds, "found_at"), (finds, "remarks")):
        for text in frame_[column].dropna():
            assert text not in page
    for date in visits["visit_date"]:
        for form in ("%Y-%m-%d", "%d.%m.%Y", "%m/%d/%Y", "%d/%m/%Y", "%B %d", "%d %B", "%b %d", "%d %b"):
            assert date.strftime(form) not in page
    assert "Rill survey" in page and "Desmognathus alpha" in page
    assert b"tEXt" not in path.with_suffix(".png").read_bytes()


def test_places_of_the_public_page_are_corners_of_the_grid():
    document = document_of(public(crowd()))
    for south, west, step in document["places"]:
        assert step in (0.1, 1.0)
        assert abs(south / step - round(south / step)) < 1e-9 and abs(west / step - round(west / step)) < 1e-9
    assert document["finds"] == [] and document["lines"] == [] and not document["private"]


def test_the_public_page_is_blind_to_everything_finer_than_its_squares_and_months():
    frames = crowd()
    page = public(frames)
    draw = np.random.default_rng(3)
    moved, visits, finds, points = moved_within_squares(frames, 0.1, draw)
    moved["site_name"], moved["remarks"], moved["elevation_m"], moved["waterbody"] = "Other", None, 812.0, "Brook"
    rename = dict(zip(moved["site_id"], [f"Z{number}" for number in draw.permutation(len(moved))], strict=True))
    other_visits = visits.assign(site_id=visits["site_id"].map(rename), start_time="03:12", remarks="x", observers="Somebody")
    other_visits["visit_date"] = visits["visit_date"].dt.to_period("M").dt.to_timestamp() + pd.to_timedelta(
        draw.integers(0, 28, len(visits)), unit="D"
    )
    other_finds = finds.assign(found_at="04:44", latitude=36.5, longitude=-81.5, remarks="x", animal_id="Q", photo="q.jpg")
    shuffled = [
        table.sample(frac=1, random_state=5).reset_index(drop=True)
        for table in (moved.assign(site_id=moved["site_id"].map(rename)), other_visits, other_finds, points)
    ]
    assert public(shuffled, key=b"another secret") == page


def test_cells_are_ordered_by_square():
    cells = cells_of(crowd())
    assert cells[["south", "west"]].apply(tuple, axis=1).is_monotonic_increasing and len(cells) > 50


def test_the_same_book_gives_the_same_files_to_the_byte(tmp_path):
    for turn in ("one", "two"):
        map_page.write(parts_of(crowd()), tmp_path / turn)
        map_page.write(exact_parts_of(crowd()), tmp_path / turn)
    names = sorted(path.relative_to(tmp_path / "one") for path in (tmp_path / "one").rglob("*.*"))
    assert len(names) == 6
    for name in names:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes(), name


def test_frames_straight_from_the_database_give_the_same_page():
    import duckdb

    frames = crowd()
    connection = duckdb.connect()
    read_back = []
    for table in frames:
        connection.register("given", table)
        read_back.append(connection.sql("select * from given").df())
        connection.unregister("given")
    assert public(read_back) == public(frames) and exact(read_back) == exact(frames)


# --- figures


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


def test_a_flag_that_nobody_settled_takes_a_find_out_of_its_stage_and_its_reading_off_the_map():
    frames = study(enough(stage="larva", water_temp_c=14.0))
    known = known_of(frames)
    known["finds"] = known["finds"].assign(in_doubt=True)
    cells = finds_of(exact_cells(known, SETTINGS.taxa))
    assert set(cells["layer"]) == {"in_doubt"} and cells["n_readings"].sum() == 0 and cells["n_finds"].sum() == 6
    _, withheld = protect.public_rows(protect.BookRows(*frames), SETTINGS, KEY, {})
    doubts = map_parts.public_doubts({"visits": (), "finds": set(frames[2]["find_id"])}, withheld.codes)
    shown = parts_of(frames, doubts=doubts)
    assert set(finds_of(shown.cells)["layer"]) == {"in_doubt"} and finds_of(shown.cells)["n_readings"].sum() == 0
    assert any("nobody has settled" in note for note in shown.facts["notes"]) and shown.pattern.empty
    # the visit's own water reading is in doubt: it stands in for nothing
    visits = frames[1].assign(water_temp_c=27.0, in_doubt=True)
    cells = finds_of(exact_cells({**known_of(study(enough())), "visits": visits}, SETTINGS.taxa))
    assert cells["n_readings"].sum() == 0


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


# --- the exact map


def test_the_exact_map_shows_eggs_names_places_and_single_finds_and_says_so():
    frames = crowd(trick=False)
    parts = exact_parts_of(frames)
    assert "egg_mass" in set(parts.cells["layer"]) and finds_of(parts.cells)["n_finds"].sum() == len(frames[2])
    page = map_page.page(parts)
    first = frames[0].iloc[0]
    assert "Exact places. Do not share." in page and f"{first['latitude']:.5f}" in page and first["site_name"] in page
    document = document_of(page)
    assert len(document["finds"]) == len(frames[2]) and document["places"][0][2] == 30.0
    assert "Exact places" not in public(frames)
    without = book([site("A")], *[list(table.to_dict("records")) for table in study(enough())[1:3]])
    assert exact_parts_of(without).facts["notes"] == ["1 site is not on the map for want of coordinates; 6 finds were made there."]


def test_single_finds_are_listed_in_small_books_only():
    least = int(map_figures()["single_finds_below"])
    visits = [visit("1", "A")]
    for number, listed in ((least - 1, least - 1), (least, 0)):
        finds = frame("finds", [find("1", "1")]).loc[[0] * number].reset_index(drop=True)
        finds["find_id"] = [f"F{n}" for n in range(number)]
        frames = (frame("sites", [site("A", 36.2, -81.9)]), *book([], visits, [])[1:2], finds, frame("availability", []))
        assert len(exact_parts_of(frames).finds) == listed


def test_a_large_book_has_a_shorter_table():
    cells = exact_cells(known_of(crowd()), SETTINGS.taxa)
    rows, said = figures_table.table_rows(cells, True)
    assert said == "" and len(rows) == len(cells)
    many = pd.concat([cells] * 20, ignore_index=True)
    rows, said = figures_table.table_rows(many, True)
    assert len(rows) <= int(map_figures()["table_rows_most"]) < len(many) and "leaves out months" in said
    assert rows["n_animals"].sum() == many["n_animals"].sum()
    assert figures_table.table(rows, True).count("<tr>") == len(rows) + 1


def test_the_document_of_the_page_says_what_the_cells_say():
    for parts in (parts_of(crowd()), exact_parts_of(crowd())):
        document, cells = document_of(map_page.page(parts)), parts.cells
        assert document["n_cells"] == len(cells)
        for cell, row in zip(unfold(document), cells.itertuples(), strict=True):
            assert document["layers"][cell.pop("layer")][4] == row.layer and document["taxa"][cell.pop("taxon")] == row.taxon
            if row.few:
                assert not any(cell.values()), "a cell that is few tells nothing"
                continue
            when = cell["when"]
            months = [when] if when <= 12 else [month for month in range(1, 13) if (when - 12) >> (month - 1) & 1]
            assert "|".join(map(str, months)) == row.months
            assert (document["year"] + cell["year"], document["year"] + cell["year"] + cell["years"]) == (row.year_from, row.year_to)
            assert cell["visits"] == row.n_visits
            if row.layer in ("visits", "nothing_found"):
                assert (cell["without"], cell["minutes"]) == (row.n_without, round(row.search_minutes))
                continue
            assert (cell["finds"], cell["animals"], cell["readings"]) == (row.n_finds, row.n_animals, row.n_readings)
            assert bin(cell["found"]).count("1") == len(row.microhabitats.split("|")) - (row.microhabitats == "")
            if row.n_readings:
                shown = np.array([cell["middle"], cell["middle"] - cell["below"], cell["middle"] + cell["above"]]) / 10
                assert shown == pytest.approx([row.temp_median_c, row.temp_min_c, row.temp_max_c], abs=0.0501)
        first = {(place, document["layers"][layer][4]): (n, months) for place, layer, n, months in document["first"]}
        assert len(first) == len(document["first"]) and max(n for n, _ in first.values()) > 1
        places = cells.drop_duplicates(["site_id"] if parts.private else ["step", "south", "west"])
        keys = list(places["site_id"]) if parts.private else list(zip(places["step"], places["south"], places["west"], strict=True))
        by = cells["site_id"] if parts.private else pd.Series(zip(cells["step"], cells["south"], cells["west"], strict=True), cells.index)
        for (place, layer), mine in cells.groupby([by, "layer"]):
            name = {"nothing_found": "n_without", "visits": "n_visits", "available": "n_finds"}.get(layer, "n_animals")
            seen = {int(month) for text in mine.loc[~mine["few"].astype(bool), "months"] for month in text.split("|")}
            assert first.pop((keys.index(place), layer)) == (mine[name].sum(), sum(2 ** (month - 1) for month in seen))
        assert not first


def unfold(document):
    """Cells of a page's data, read as its docstring says."""
    numbers = iter(document["cells"])
    for place in numbers:
        layer, taxon, medium, length = (next(numbers) for _ in range(4))
        for _ in range(length):
            cell = {"layer": layer, "taxon": taxon, "when": next(numbers)}
            names = ["year", "years", "visits", "without", "minutes"]
            if document["layers"][layer][4] not in ("visits", "nothing_found"):
                names = ["year", "years", "finds", "animals", "visits", "found", "readings"]
            if cell["when"]:
                cell |= {name: next(numbers) for name in names}
            if cell.get("readings"):
                several = cell["readings"] > 1
                cell |= {"middle": next(numbers), "below": next(numbers) if several else 0, "above": next(numbers) if several else 0}
            yield cell
        assert place < len(document["places"]) and medium < len(document["media"])


# --- text of people


def test_an_invented_study_says_so_on_every_page():
    frames = study(enough())
    for make in (public, exact):
        assert "Invented study" in make(frames)
        assert "Invented study" not in make(frames, dataclasses.replace(SETTINGS, invented=False))


def test_safe_leaves_nothing_that_html_or_a_template_literal_would_read():
    escaped = map_layers.safe(TRICK + "\n'")
    assert not re.search(r"[<>\"'$`\\{}\n]", escaped)
    assert html.unescape(escaped) == TRICK + " '"
    assert map_layers.safe(None) == map_layers.safe(float("nan")) == map_layers.safe(pd.NA) == ""


def test_embed_leaves_nothing_that_html_would_read_and_loses_nothing():
    document = {TRICK: [TRICK, "</script><!--", "\u2028", 'a "quote" \\', 1.5, None, True, {"x": []}]}
    text = map_layers.embed(document)
    assert json.loads(text) == document and not re.search(r"[<>&$`'\u2028]|\{\{", text)


def test_no_text_of_a_person_reaches_a_page_unescaped():
    settings = dataclasses.replace(SETTINGS, title=TRICK, author=TRICK, licence=TRICK, taxa=SETTINGS.taxa.assign(scientific_name=TRICK))
    for make in (public, exact):
        text = own_text(make(crowd(), settings))
        assert "document.title=" in text and "${" not in text and "<img" not in text and "{{" not in text
        assert TRICK in html.unescape(text)


def test_pages_name_no_address_to_fetch():
    for page in (public(crowd(trick=False)), exact(crowd(trick=False))):
        text = own_text(page).replace('"http://www.w3.org/2000/svg"', "")
        assert not re.search(r"https?://|//cdn|src=|@import", text)
        assert not re.findall(r"url\((?!data:|#)", page) and "sourceMappingURL" not in page


# --- files


def test_write_makes_a_page_and_pictures_and_takes_old_ones_away(tmp_path):
    frames = study(enough())
    assert map_page.write(parts_of(frames), tmp_path) == tmp_path / "map.html"
    assert map_page.write(exact_parts_of(frames), tmp_path) == tmp_path / "private" / "map_exact.html"
    assert "Name A" not in (tmp_path / "map.html").read_text(encoding="utf-8")
    assert "Name A" in (tmp_path / "private" / "map_exact.html").read_text(encoding="utf-8")
    assert (tmp_path / "map.png").read_bytes().startswith(b"\x89PNG")
    map_page.write(parts_of(book([], [], [])), tmp_path)
    assert not (tmp_path / "map.png").exists() and not (tmp_path / "map.svg").exists()


def test_a_map_that_cannot_be_written_says_so(tmp_path):
    (tmp_path / "map.html").mkdir()
    with pytest.raises(RillbookError, match="the map cannot be written"):
        map_page.write(parts_of(study(enough())), tmp_path)


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


def test_empty_tables_make_a_page_that_says_so():
    frames = book([], [], [])
    assert "There is nothing to show yet." in public(frames) and "There is nothing to show yet." in exact(frames)


def luminance(colour):
    """Relative luminance of WCAG 2.2, https definition of "relative luminance": 0 black, 1 white."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return float(np.dot([0.2126, 0.7152, 0.0722], linear))


def test_the_scale_of_temperature_reads_in_grey_and_its_letters_on_it():
    shades = [luminance(colour) for colour in map_layers.HEAT]
    assert all(later > 1.5 * earlier for earlier, later in pairwise(shades))
    for number, shade in enumerate(shades):
        ink = 1.0 if number < map_layers.LIGHT_INK else 0.0
        # WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1
        assert (max(ink, shade) + 0.05) / (min(ink, shade) + 0.05) >= 4.5
    outlines = [(outline, letter) for letter, _, outline in map_layers.SYMBOLS.values()]
    assert len({letter for _, letter in outlines}) == len(outlines)


@pytest.mark.parametrize(
    "address", ["http://tiles.invalid/{z}/{x}/{y}.png", "https://tiles.invalid/{z}/{x}.png", "tiles", "https://a@b/{z}{x}{y}"]
)
def test_an_address_that_is_none_of_tiles_is_refused(address):
    with pytest.raises(RillbookError, match="no address of map tiles"):
        map_parts.tiles_address(address)


TILES = "https://tiles.invalid/{z}/{x}/{y}.png"


def test_tiles_are_named_only_on_request_and_with_the_warning():
    frames = crowd(trick=False)
    assert "tiles.invalid" in public(frames, tiles=map_parts.tiles_address(TILES))
    assert "whoever runs it sees which places you look at" in public(frames, tiles=TILES)
    assert "tiles.invalid" not in public(frames) and "Background map" not in public(frames)


def test_the_document_on_maps_names_the_figures_that_are_used(root):
    text = " ".join((root / "docs/map.md").read_text(encoding="utf-8").split())
    assert f"rests on at least {LEAST_FINDS} finds and {LEAST_VISITS} visits" in text
    assert f"in books of fewer than {map_figures()['single_finds_below']} finds" in text


@pytest.mark.parametrize("make", [public, exact])
def test_no_script_of_the_page_needs_jquery(make):
    """folium binds its popups with jQuery; ours are Leaflet's own, so it is not in the page and nothing may call it."""
    page = make(crowd())
    assert "jQuery" not in page and not re.search(r"(?<![\w$])\$\s*\(", own_text(page))


# --- in the browser


@pytest.fixture
def opened(browser, tmp_path):
    """Open a page offline; whatever it asks for or complains of fails the test."""
    faults, contexts = [], []

    def open_page(text, width=1280, **context):
        path = tmp_path / "page.html"
        path.write_text(text, encoding="utf-8")
        contexts.append(browser.new_context(offline=True, viewport={"width": width, "height": 900}, **context))
        tab = contexts[-1].new_page()
        tab.on("request", lambda request: faults.append(request.url) if not request.url.startswith(("file:", "data:", "blob:")) else None)
        tab.on("console", lambda message: faults.append(message.text) if message.type in ("error", "warning") else None)
        tab.on("pageerror", lambda error: faults.append(str(error)))
        tab.on("dialog", lambda dialog: (faults.append("dialog"), dialog.dismiss()))
        tab.goto(path.as_uri())
        return tab

    yield open_page
    for context in contexts:
        context.close()
    assert faults == []


def switch_all_on(tab):
    tab.evaluate("document.getElementById('legend').open = true")
    for box in tab.locator("#legend input[type=checkbox]").all():
        box.check()


@pytest.mark.browser
@pytest.mark.parametrize("width", [1280, 375])
@pytest.mark.parametrize("make", [public, exact])
def test_the_map_works_offline_with_every_layer(opened, make, width):
    tab = opened(make(crowd()), width)
    assert tab.title().startswith("Rill survey")
    assert tab.locator(".leaflet-marker-icon.mark").count() > 5
    assert tab.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), "the page is wider than the screen"
    legend = tab.locator("#legend summary")
    if width == 375:
        assert not tab.locator("#layers").is_visible()
        legend.focus()
        tab.keyboard.press("Enter")
    labels = [" ".join(label.split()) for label in tab.locator("#layers label").all_inner_texts()]
    assert labels[-4:] == ["A Adult", "0 Searched, not found", "V Visits", "R Readings where no animal was"]
    before = tab.locator(".mark").count()
    switch_all_on(tab)
    assert tab.locator(".mark").count() > before
    tab.locator("#layers input").last.press("Space")
    for box in tab.locator("#layers input").all():
        box.uncheck()
    assert tab.locator(".mark").count() == 0
    for turn in (1, 0, -1):
        look = "turn => void rillbookMap.setView(rillbookMap.getCenter(), rillbookMap.getZoom() + turn, { animate: false })"
        tab.evaluate(look, turn)


@pytest.mark.browser
@pytest.mark.parametrize("make", [public, exact])
def test_the_map_opens_with_what_all_its_cells_come_to(opened, make):
    tab = opened(make(crowd()))
    look = "marks => marks.map(mark => mark.title + ' ' + mark.innerHTML).sort()"
    first = tab.locator(".mark").evaluate_all(look)
    tab.locator("#month").select_option(label="June")
    june = tab.locator(".mark").evaluate_all(look)
    tab.locator("#month").select_option(index=0)
    assert tab.locator(".mark").evaluate_all(look) == first != june


@pytest.mark.browser
def test_a_choice_that_the_browser_kept_is_what_the_map_opens_with(opened):
    page, chosen = exact(crowd()), '<option value="6">'
    tab = opened(page)
    tab.locator("#month").select_option(label="June")
    june = shown_number(tab, "Larva")
    assert page.count(chosen) == 1 and june > 0
    assert shown_number(opened(page.replace(chosen, chosen.replace(">", " selected>"))), "Larva") == june


@pytest.mark.browser
def test_symbols_part_as_one_zooms_in_and_lie_apart(opened):
    tab = opened(exact(crowd()))
    before = set(tab.locator(".mark").evaluate_all("marks => marks.map(mark => mark.innerText)"))
    assert any(re.search(r", \d+ sites$", text) for text in before)
    tab.evaluate("void window.rillbookMap.setView([36.24109, -81.88735], 17, { animate: false })")
    after = tab.locator(".mark").evaluate_all("marks => marks.map(mark => mark.innerText)")
    assert not any(text.endswith(" sites") for text in after)


@pytest.mark.browser
def test_a_click_and_the_keyboard_open_a_popup(opened):
    tab = opened(public(crowd()))
    marker = tab.locator(".mark", has_text="Larva").first
    marker.click()
    text = tab.locator(".leaflet-popup-content").inner_text()
    assert text.startswith("Larva\n") and ("° N to " in text or "squares together" in text) and "animal" in text
    assert re.search(r"medians? [\d.]+.* °C, range|one reading|no temperature|too few", text)
    tab.keyboard.press("Escape")
    tab.locator(".leaflet-popup").wait_for(state="detached")
    marker.focus()
    tab.keyboard.press("Enter")
    assert tab.locator(".leaflet-popup-content").inner_text() == text


def shown_number(tab, layer):
    titles = tab.locator(".mark").evaluate_all("marks => marks.map(mark => mark.title)")
    return sum(int(title.split(": ")[1].split()[0]) for title in titles if title.startswith(f"{layer}: "))


@pytest.mark.browser
def test_the_lists_choose_month_year_taxon_and_place(opened):
    frames = crowd()
    tab = opened(exact(frames))
    finds = frames[2].merge(frames[1][["visit_id", "visit_date"]], on="visit_id")
    larvae = finds[finds["life_stage"] == "larva"]
    assert shown_number(tab, "Larva") == larvae["count"].sum()
    tab.locator("#month").select_option(label="June")
    june = larvae[larvae["visit_date"].dt.month == 6]
    assert shown_number(tab, "Larva") == june["count"].sum()
    tab.locator("#year").select_option(label="2022")
    june = june[june["visit_date"].dt.year == 2022]
    assert shown_number(tab, "Larva") == june["count"].sum()
    tab.locator("#taxon").select_option(label="Desmognathus alpha")
    june = june[june["taxon"] == "DA"]
    assert shown_number(tab, "Larva") == june["count"].sum() > 0
    for name in ("year", "month"):
        tab.locator(f"#{name}").select_option(index=0)
    tab.locator("#medium").select_option(label="at the water's edge")
    assert shown_number(tab, "Larva") == 0 < shown_number(tab, "Adult")
    tab.locator("#month").select_option(label="June")
    tab.locator("#figures summary").click()
    tab.locator("#figures tbody tr").first.wait_for(state="attached")
    rows = [row for row in tab.locator("#figures tbody tr:visible").all_inner_texts() if "not found" not in row]
    assert rows and all("June" in row and "Desmognathus alpha" in row and "at the water's edge" in row for row in rows)


@pytest.mark.browser
def test_a_month_never_singles_out_what_is_too_little(opened):
    frames = study(enough(), enough(month="2021-08", stage="larva", visits=1, finds=2))
    tab = opened(public(frames))
    assert tab.locator(".mark", has_text="Larva").get_attribute("title") == "Larva: too few to say more"
    for month in ("June", "August"):
        tab.locator("#month").select_option(label=month)
        assert tab.locator(".mark", has_text="Larva").count() == 0


@pytest.mark.browser
def test_temperature_is_told_by_colour_and_by_a_number(opened):
    tab = opened(public(study(enough(water_temp_c=14.0), enough(stage="larva", water_temp_c=6.0, start=3))))
    assert not tab.locator("#heat-key").is_visible()
    tab.locator("#heat").check()
    assert tab.locator("#heat-key").is_visible()
    seen = {}
    for layer in ("Adult", "Larva"):
        marker = tab.locator(".mark", has_text=layer)
        seen[layer] = (marker.locator("path").first.get_attribute("fill"), marker.locator("text").last.inner_html())
    assert seen == {"Adult": (map_layers.HEAT[2], "14.0°"), "Larva": (map_layers.HEAT[0], "6.0°")}


@pytest.mark.browser
def test_symbols_grow_with_numbers(opened):
    tab = opened(exact(study(enough(count=20), enough(stage="larva", finds=1))))
    widths = {layer: tab.locator(".mark", has_text=layer).locator("svg").bounding_box()["width"] for layer in ("Adult", "Larva")}
    assert widths["Adult"] > widths["Larva"] >= 22


@pytest.mark.browser
def test_single_finds_and_circles_of_the_exact_map(opened):
    tab = opened(exact(study(enough(remarks="under the big rock"), sites=[site("A", 36.2143, -81.9378, coordinate_uncertainty_m=50.0)])))
    tab.locator("#circles").check()
    tab.locator(".mark", has_text="Adult").click()
    tab.locator(".leaflet-popup-content summary").click()
    items = tab.locator(".leaflet-popup-content li").all_inner_texts()
    assert len(items) == 6 and all("under the big rock" in item and "2021-06-0" in item for item in items)


@pytest.mark.browser
def test_tricks_in_names_and_remarks_stay_text(opened):
    settings = dataclasses.replace(SETTINGS, taxa=SETTINGS.taxa.assign(scientific_name=TRICK))
    for make in (exact, public):
        tab = opened(make(crowd(), settings))
        switch_all_on(tab)
        tab.locator("#taxon").select_option(label=TRICK)
        tab.locator("#taxon").select_option(index=0)
        for place in range(0, tab.locator(".mark").count(), 3):
            tab.locator(".mark").nth(place).dispatch_event("click")
        assert tab.title().startswith("Rill survey")
        assert tab.locator("img").count() == 0
        tab.locator("#figures summary").click()
        tab.locator("#figures tbody tr").first.wait_for(state="attached")
        assert TRICK in tab.locator("#figures").inner_text()
    tab = opened(exact(crowd()))
    tab.evaluate("void window.rillbookMap.setView([36.24109, -81.88735], 15, { animate: false })")
    point = crowd()[0].iloc[3]
    tab.evaluate("([y, x]) => void window.rillbookMap.setView([y, x], 16, { animate: false })", [point["latitude"], point["longitude"]])
    tab.locator(".mark", has_text="document.title").first.dispatch_event("click")
    tab.locator(".leaflet-popup-content").wait_for()
    assert TRICK in tab.locator(".leaflet-popup-content").inner_text() and tab.title().startswith("Rill survey")


@pytest.mark.browser
def test_the_page_reads_without_scripts(opened):
    tab = opened(public(crowd()), java_script_enabled=False)
    assert tab.get_by_text("The map needs scripts.").is_visible()
    tab.locator("#figures summary").click()
    assert tab.locator("#figures tbody tr").first.is_visible()


@pytest.mark.browser
def test_symbols_stay_inside_the_map_on_open(opened):
    tab = opened(public(crowd()), 375)
    frame_box = tab.locator("#map-box").bounding_box()
    for marker in tab.locator(".mark").all():
        box = marker.bounding_box()
        assert box["x"] >= frame_box["x"] - 15 and box["x"] + box["width"] <= frame_box["x"] + frame_box["width"] + 15


@pytest.mark.browser
def test_tiles_are_asked_for_only_when_switched_on(browser, tmp_path):
    path = tmp_path / "page.html"
    path.write_text(public(crowd(), tiles=TILES), encoding="utf-8")
    asked = []
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    context.route(
        "**/*", lambda route: (asked.append(route.request), route.abort()) if "tiles.invalid" in route.request.url else route.continue_()
    )
    tab = context.new_page()
    tab.goto(path.as_uri())
    tab.evaluate("void window.rillbookMap.panBy([80, 40], { animate: false })")
    tab.wait_for_timeout(300)
    assert asked == []
    tab.locator("#tiles").check()
    tab.wait_for_timeout(500)
    assert asked and all(request.url.startswith("https://tiles.invalid/") and "referer" not in request.headers for request in asked)
    context.close()


@pytest.mark.browser
def test_the_page_prints_its_table_and_plot(opened):
    tab = opened(public(study(*(enough(month=f"2021-{month:02d}") for month in range(1, 13)))))
    tab.emulate_media(media="print")
    tab.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert tab.locator("#figures tbody tr").count() >= 12 and tab.locator("#pattern svg").is_visible()
    tab.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert not tab.locator("#figures tbody").is_visible()
