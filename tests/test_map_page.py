"""The maps: nothing exact on the public page, nothing that runs in anyone's text, and both open with no network."""

from __future__ import annotations

import dataclasses
import html
import re

import numpy as np
import pandas as pd
import pytest

from pipeline import map_page
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
    usual = {"start_time": "21:43", "protocol": "night_search", "target_taxa": "DA"}
    return {"visit_id": f"V-{name}", "site_id": f"SITE-{site_name}", "visit_date": date, **usual, **more}


def find(name, visit_name, taxon="DA", stage="adult", **more):
    usual = {"count": 1, "microhabitat": "rock_in_flow", "found_at": "22:37"}
    return {"find_id": f"F-{name}", "visit_id": f"V-{visit_name}", "taxon": taxon, "life_stage": stage, **usual, **more}


def book(sites, visits, finds, incomplete=()):
    all_visits = frame("visits", visits)
    all_visits["incomplete"] = all_visits["visit_id"].isin([f"V-{name}" for name in incomplete])
    return frame("sites", sites), all_visits, frame("finds", finds)


def small():
    """One stream site with a find of each kind that matters, one seep, one site without a place."""
    return book(
        [site("A", 36.21437, -81.93783), site("B", 36.27911, -81.96219, habitat="seep"), site("C")],
        [
            visit("1", "A"),
            visit("2", "B"),
            visit("3", "C"),
            visit("4", "A", "2021-07-02"),
            visit("5", "A", "2021-07-03", target_taxa="EB"),
            visit("6", "A", "2021-07-04", target_taxa="GG"),
            visit("7", "A", "2021-07-05"),
            visit("8", "A", "2021-07-06", target_taxa=None),
        ],
        [
            find("1", "1", water_temp_c=14.0, count=3, latitude=36.25777, longitude=-81.85555),
            find("2", "1", water_temp_c=16.0),
            find("3", "1", stage="egg_mass"),
            find("4", "1", microhabitat="nest_edge"),
            find("5", "1", "EB"),
            find("6", "1", "GG"),
            find("7", "2"),
            find("8", "3"),
            find("9", "1", microhabitat="seep_edge", stage="juvenile"),
        ],
        incomplete=["7"],
    )


def marks_of(frames, settings=SETTINGS):
    return map_page.public_marks(*frames, settings.taxa, settings)


def searches_of(frames, settings=SETTINGS):
    return map_page.public_searches(*frames, settings.taxa, settings)


def public(frames, settings=SETTINGS):
    args = (*frames, settings.taxa, settings)
    return map_page.page(map_page.public_marks(*args), map_page.public_searches(*args), map_page.public_facts(*args), private=False)


def exact(frames, settings=SETTINGS):
    args = (*frames, settings.taxa)
    return map_page.page(map_page.exact_marks(*args), map_page.exact_searches(*args), map_page.exact_facts(*frames, settings), private=True)


def own_text(page):
    """The page without the two libraries and the style, whose numbers are not ours."""
    bare = page
    for text in (map_page._vendor_css(), map_page._vendor_js()):
        assert text in bare
        bare = bare.replace(text, "")
    return bare


def test_a_find_stands_in_the_square_of_its_site_at_the_coarsest_class():
    marks = marks_of(small())
    plain = marks[(marks["taxon"] == "Desmognathus alpha") & (marks["life_stage"] == "adult") & (marks["step"] == "0.1")]
    # The find's own coordinates lie in another square; the site's count.
    assert plain[["south", "west", "north", "east"]].to_numpy().tolist() == [[36.2, -82.0, 36.3, -81.9]]
    assert plain[["n_finds", "n_animals", "n_readings", "month"]].to_numpy().tolist() == [[2, 4, 2, 6]]
    assert plain[["temp_median_c", "temp_min_c", "temp_max_c"]].to_numpy().tolist() == [[15.0, 14.0, 16.0]]
    # A sensitive taxon, a seep and a find at a seep: 1 degree. The seep and the sensitive taxon are two rows.
    assert set(marks.loc[marks["taxon"] == "Eurycea beta", "step"]) == {"1"}
    assert set(marks.loc[marks["life_stage"] == "juvenile", "step"]) == {"1"}
    assert len(marks[(marks["step"] == "1") & (marks["taxon"] == "Desmognathus alpha") & (marks["life_stage"] == "adult")]) == 1
    assert "Gyrinophilus gamma" not in set(marks["taxon"])
    assert marks["n_finds"].sum() == 5


def test_eggs_withheld_and_placeless_are_left_out_and_counted_in_words():
    frames = small()
    marks = marks_of(frames)
    assert "egg_mass" not in set(marks["life_stage"]) and not marks["microhabitats"].str.contains("nest").any()
    notes = " ".join(map_page.public_facts(*frames, SETTINGS.taxa, SETTINGS)["notes"])
    assert "2 finds of eggs or at nests are left out, always." in notes
    assert "1 find is left out because the place is withheld." in notes
    assert "1 site is not on the map for want of coordinates; 1 find was made there." in notes
    assert "2 visits without finds are left out because the place is withheld." in notes


def test_visits_without_finds_take_the_class_of_what_they_looked_for():
    searches = searches_of(small())
    # Visit 4 looked for a plain taxon; 5 for one at 1 degree; 6 for a withheld one; 7 had its finds held; 8 names none: the coarsest.
    shown = searches[["step", "month", "n_visits", "taxa"]].to_numpy().tolist()
    assert shown == [["1", 7, 1, "Eurycea beta"], ["0.1", 7, 1, "Desmognathus alpha"]]


def test_a_visit_whose_only_find_was_an_egg_mass_did_not_find_nothing():
    frames = book([site("A", 36.2143, -81.9378)], [visit("1", "A")], [find("1", "1", stage="egg_mass")])
    assert searches_of(frames).empty and marks_of(frames).empty


@pytest.mark.parametrize(
    ("book_class", "site_class", "step"), [("0.1", "0.001", "0.1"), ("0.001", None, "0.001"), ("0.001", "0.01", "0.01"), ("0.01", "1", "1")]
)
def test_step_is_the_coarsest_of_book_and_site(book_class, site_class, step):
    settings = dataclasses.replace(SETTINGS, public_precision_deg=book_class)
    frames = book([site("A", 36.21437, -81.93783, public_precision_deg=site_class)], [visit("1", "A"), visit("2", "A")], [find("1", "1")])
    assert list(marks_of(frames, settings)["step"]) == [step]
    assert list(searches_of(frames, settings)["step"]) == [step]


def test_a_withheld_book_or_site_shows_nothing():
    settings = dataclasses.replace(SETTINGS, public_precision_deg="withheld")
    assert marks_of(small(), settings).empty and searches_of(small(), settings).empty
    assert "There is nothing to show yet." in public(small(), settings)


def test_a_taxon_unknown_to_the_book_is_not_shown():
    assert marks_of(book([site("A", 36.2143, -81.9378)], [visit("1", "A")], [find("1", "1", "ZZ")])).empty


@pytest.mark.parametrize("habitat", ["spring", "seep", "cave"])
def test_springs_seeps_and_caves_are_never_finer_than_a_degree(habitat):
    settings = dataclasses.replace(SETTINGS, public_precision_deg="0.001")
    frames = book(
        [site("A", 36.2143, -81.9378, habitat=habitat, public_precision_deg="0.001")], [visit("1", "A"), visit("2", "A")], [find("1", "1")]
    )
    assert set(marks_of(frames, settings)["step"]) == {"1"} and set(searches_of(frames, settings)["step"]) == {"1"}


@pytest.mark.parametrize("group", ["warm_spring", "cave"])
def test_taxa_of_springs_and_caves_are_never_finer_than_a_degree(group):
    settings = dataclasses.replace(SETTINGS, public_precision_deg="0.001", taxa=SETTINGS.taxa.assign(group=group, sensitivity=None))
    frames = book([site("A", 36.2143, -81.9378)], [visit("1", "A"), visit("2", "A")], [find("1", "1")])
    assert set(marks_of(frames, settings)["step"]) == {"1"} and set(searches_of(frames, settings)["step"]) == {"1"}


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


def test_the_datum_is_changed_before_the_square_is_chosen():
    # NAD27 lies about 21 m off at 37 N 80 W (EPSG operation 1173): enough to cross a line of the 0.001 degree grid.
    settings = dataclasses.replace(SETTINGS, public_precision_deg="0.001")
    frames = book([site("A", 36.99995, -80.0001, datum="NAD27")], [visit("1", "A")], [find("1", "1")])
    assert marks_of(frames, settings)[["south", "west"]].to_numpy().tolist() == [[37.0, -80.0]]


def test_coordinates_as_written_serve_where_the_numbers_are_missing():
    frames = book([site("A", verbatim_coordinates="36.21437N 81.93783W")], [visit("1", "A")], [find("1", "1")])
    assert marks_of(frames)[["south", "west"]].to_numpy().tolist() == [[36.2, -82.0]]


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
    marks = marks_of(book([site("A", 36.2143, -81.9378)], [visit("1", "A"), visit("2", "A", water_temp_c=10.0)], finds)).set_index("medium")
    assert marks["n_readings"].to_dict() == {"water": 2, "land": 1, "surface": 1, "edge": 0}
    assert marks["temp_median_c"].dropna().to_dict() == {"water": 11.0, "land": 15.0, "surface": 17.0}
    assert marks["n_finds"].to_dict() == {"water": 4, "land": 3, "surface": 1, "edge": 1}


def crowd(seed=7, trick=True):
    """Fourteen invented sites and their finds in an invented study."""
    draw = np.random.default_rng(seed)
    habitats = ["stream"] * 7 + ["headwater"] * 3 + ["seep", "spring", "forest", "forest"]
    sites = [
        site(
            f"{n:02d}",
            float(36.12 + 0.24 * draw.random()),
            float(-82.07 + 0.33 * draw.random()),
            habitat=kind,
            remarks="Gate code in the shed",
        )
        for n, kind in enumerate(habitats)
    ]
    if trick:
        sites[3].update(site_name=TRICK, remarks=TRICK)
    visits, finds = [], []
    for n in range(140):
        where, month = int(draw.integers(14)), int(draw.integers(3, 12))
        visits.append(
            visit(
                f"{n:03d}",
                f"{where:02d}",
                f"2021-{month:02d}-{int(draw.integers(10, 28))}",
                start_time=f"{draw.integers(19, 23)}:{draw.integers(31, 59)}",
                target_taxa="DA|EB" if n % 5 else "DA",
            )
        )
        for k in range(int(draw.integers(0, 4)) * (n % 3 > 0)):
            stage = str(
                draw.choice(["larva", "adult", "juvenile", "metamorph", "egg_mass", "hatchling"], p=[0.35, 0.3, 0.15, 0.08, 0.07, 0.05])
            )
            wet = stage in ("larva", "hatchling")
            finds.append(
                find(
                    f"{n:03d}-{k}",
                    f"{n:03d}",
                    str(draw.choice(["DA", "DA", "EB", "GG"])),
                    stage,
                    count=int(draw.integers(1, 5)),
                    microhabitat=str(draw.choice(["rock_in_flow", "leaf_pack"] if wet else ["rock_at_edge", "rock_on_bank", "on_surface"])),
                    water_temp_c=round(float(8 + month + draw.normal()), 1),
                    substrate_temp_c=round(float(8 + month + draw.normal()), 1),
                    air_temp_c=round(float(9 + month + draw.normal()), 1),
                    found_at=f"{draw.integers(20, 23)}:{draw.integers(31, 59)}",
                )
            )
    return book(sites, visits, finds)


def test_the_public_page_holds_nothing_exact():
    sites, visits, finds = crowd()
    page = own_text(public((sites, visits, finds)))
    for name in ("latitude", "longitude"):
        for value in sites[name]:
            # Two decimals and more are finer than the grid of 0.1 degree; rounded, and cut.
            for digits in range(2, 8):
                for text in (f"{abs(value):.{digits}f}", f"{abs(value):.9f}"[: digits - 9]):
                    assert text not in page, text
    for column in ("site_id", "site_name", "remarks"):
        for text in sites[column].dropna():
            assert text not in page and map_page.safe(text) not in page
    for frame_, column in ((visits, "visit_id"), (visits, "start_time"), (finds, "find_id"), (finds, "found_at")):
        for text in frame_[column].dropna():
            assert text not in page
    for date in visits["visit_date"]:
        for form in ("%Y-%m-%d", "%d.%m.%Y", "%m/%d/%Y", "%d/%m/%Y", "%B %d", "%d %B", "%b %d", "%d %b", "%Y"):
            assert date.strftime(form) not in page
    assert "Rill survey" in page and "Desmognathus alpha" in page


def test_the_public_page_is_blind_to_everything_finer_than_its_squares():
    sites, visits, finds = crowd()
    page = public((sites, visits, finds))
    draw = np.random.default_rng(3)
    moved = sites.copy()
    for name in ("latitude", "longitude"):
        moved[name] = np.floor(sites[name] * 10) / 10 + 0.001 + 0.098 * draw.random(len(sites))
    moved["site_name"], moved["remarks"], moved["elevation_m"], moved["waterbody"] = "Other", None, 812.0, "Brook"
    rename = dict(zip(sites["site_id"], [f"Z{number}" for number in draw.permutation(len(sites))], strict=True))
    other_visits = visits.assign(site_id=visits["site_id"].map(rename), start_time="03:12", remarks="x", observers="Somebody")
    other_visits["visit_date"] = visits["visit_date"].dt.to_period("M").dt.to_timestamp() + pd.to_timedelta(
        draw.integers(0, 28, len(visits)), unit="D"
    )
    other_finds = finds.assign(found_at="04:44", latitude=36.5, longitude=-81.5, remarks="x", animal_id="Q", photo="q.jpg")
    shuffled = [
        table.sample(frac=1, random_state=5).reset_index(drop=True)
        for table in (moved.assign(site_id=moved["site_id"].map(rename)), other_visits, other_finds)
    ]
    assert public(shuffled) == page


def test_marks_are_ordered_by_square():
    marks = marks_of(crowd())
    assert marks[["south", "west"]].apply(tuple, axis=1).is_monotonic_increasing and len(marks) > 50


def test_the_same_book_gives_the_same_page_to_the_byte():
    assert public(crowd()) == public(crowd())
    assert exact(crowd()) == exact(crowd())


def test_the_exact_map_shows_eggs_names_and_places_and_says_so():
    marks = map_page.exact_marks(*small(), SETTINGS.taxa)
    assert {"egg_mass", "adult", "juvenile"} == set(marks["life_stage"]) and marks["n_finds"].sum() == 8
    assert set(zip(marks["latitude"], marks["longitude"], strict=True)) == {(36.21437, -81.93783), (36.27911, -81.96219)}
    page = exact(small())
    assert "Exact places. Do not share." in page and "36.21437, -81.93783" in page and "Name A" in page
    assert "1 site is not on the map for want of coordinates; 1 find was made there." in page
    assert "Exact places" not in public(small())


def test_an_invented_study_says_so_on_every_page():
    for make in (public, exact):
        assert "Invented study" in make(small())
        assert "Invented study" not in make(small(), dataclasses.replace(SETTINGS, invented=False))


def test_safe_leaves_nothing_that_html_or_a_template_literal_would_read():
    escaped = map_page.safe(TRICK + "\n'")
    assert not re.search(r"[<>\"'$`\\{}\n]", escaped)
    assert html.unescape(escaped) == TRICK + " '"
    assert map_page.safe(None) == map_page.safe(float("nan")) == map_page.safe(pd.NA) == ""


def test_no_text_of_a_person_reaches_a_page_unescaped():
    settings = dataclasses.replace(SETTINGS, title=TRICK, author=TRICK, licence=TRICK, taxa=SETTINGS.taxa.assign(scientific_name=TRICK))
    for make in (public, exact):
        text = own_text(make(crowd(), settings))
        assert "document.title=" in text and "${" not in text and "<img" not in text and "{{" not in text
        assert TRICK in html.unescape(text)  # {{7*7}} too: folium makes a template of what it has rendered


def test_pages_name_no_address_to_fetch():
    for page in (public(crowd(trick=False)), exact(crowd(trick=False))):
        text = own_text(page)
        assert not re.search(r"https?://|//cdn|src=|@import", text)
        assert not re.findall(r"url\((?!data:|#)", page) and "sourceMappingURL" not in page


def test_write_public_and_write_exact(tmp_path):
    assert map_page.write_public(tmp_path, *small(), SETTINGS) == tmp_path / "map.html"
    assert map_page.write_exact(tmp_path, *small(), SETTINGS) == tmp_path / "private" / "map_exact.html"
    assert "Name A" not in (tmp_path / "map.html").read_text(encoding="utf-8")
    assert "Name A" in (tmp_path / "private" / "map_exact.html").read_text(encoding="utf-8")


def test_empty_tables_make_a_page_that_says_so():
    frames = book([], [], [])
    assert "There is nothing to show yet." in public(frames) and "There is nothing to show yet." in exact(frames)


@pytest.fixture(scope="module")
def browser(chromium):
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        yield started
        started.close()


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


@pytest.mark.browser
@pytest.mark.parametrize("width", [1280, 375])
@pytest.mark.parametrize("make", [public, exact])
def test_the_map_works_offline(opened, make, width):
    tab = opened(make(crowd()), width)
    assert tab.title().startswith("Rill survey")
    assert tab.locator(".leaflet-marker-icon.mark").count() > 20
    assert tab.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), "the page is wider than the screen"
    legend = tab.locator("#legend summary")
    if width == 375:
        assert not tab.locator("#layers").is_visible()
        legend.focus()
        tab.keyboard.press("Enter")
    labels = [" ".join(label.split()) for label in tab.locator("#layers label").all_inner_texts()]
    assert len(labels) >= 6 and labels[-2:] == ["A Adult", "0 Searched, nothing found"]
    before = tab.locator(".leaflet-marker-icon.mark").count()
    tab.locator("#layers input").last.press("Space")
    after = tab.locator(".leaflet-marker-icon.mark").count()
    assert 0 < after < before


@pytest.mark.browser
def test_a_click_and_the_keyboard_open_a_popup(opened):
    tab = opened(public(crowd()))
    marker = tab.locator(".mark", has_text="Adult").first
    marker.click()
    text = tab.locator(".leaflet-popup-content").inner_text()
    assert (
        text.startswith("Adult\n")
        and "° N to " in text
        and "animal" in text
        and re.search(r"median [\d.]+ °C, range|one reading|no temperature", text)
    )
    tab.keyboard.press("Escape")
    tab.locator(".leaflet-popup").wait_for(state="detached")
    marker.focus()
    tab.keyboard.press("Enter")
    assert tab.locator(".leaflet-popup-content").inner_text() == text


@pytest.mark.browser
def test_the_month_list_hides_other_months(opened):
    tab = opened(public(crowd()))
    tab.locator("#month").select_option(label="June")
    visible = tab.locator(".mark:visible")
    assert 0 < visible.count() < tab.locator(".mark").count()
    assert all("m6" in (mark.get_attribute("class") or "").split() for mark in visible.all())


@pytest.mark.browser
def test_tricks_in_names_and_remarks_stay_text(opened):
    settings = dataclasses.replace(SETTINGS, taxa=SETTINGS.taxa.assign(scientific_name=TRICK))
    for make in (exact, public):
        tab = opened(make(crowd(), settings))
        for marker in tab.locator(".mark").all()[:40]:
            marker.dispatch_event("click")
        assert tab.title().startswith("Rill survey")
        assert tab.locator("img").count() == 0
        tab.locator("#figures summary").click()
        assert TRICK in tab.locator("#figures").inner_text()
    tab = opened(exact(crowd()))
    tab.locator(".mark", has_text="document.title").first.dispatch_event("click")
    assert TRICK in tab.locator(".leaflet-popup-content").inner_text()


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
