"""The maps: nothing exact on the public page, nothing that runs in anyone's text, and both open with no network."""

from __future__ import annotations

import dataclasses
import html
import json
import re

import numpy as np
import pandas as pd
import pytest
from examples import examples
from map_books import (
    KEY,
    LEAST_FINDS,
    LEAST_VISITS,
    SETTINGS,
    TRICK,
    book,
    cells_of,
    crowd,
    enough,
    exact_parts_of,
    finds_of,
    parts_of,
    site,
    study,
)

from pipeline.errors import RillbookError
from pipeline.maps import layers as map_layers
from pipeline.maps import page as map_page
from pipeline.maps import parts as map_parts
from pipeline.maps.frames import map_figures
from pipeline.publishing import protect


def public(frames, settings=SETTINGS, **more):
    return map_page.page(parts_of(frames, settings, **more))


def exact(frames, settings=SETTINGS, **more):
    return map_page.page(exact_parts_of(frames, settings, **more))


def own_text(page):
    """The page without the library and its style, whose numbers are not ours."""
    bare = page
    for text in (map_page._vendor_css(), map_page._vendor_js()):
        assert text in bare
        bare = bare.replace(text, "")
    return bare


def document_of(page):
    drawn, cells = re.findall(
        r'<script type="(?:application/json|text/plain)" id="(?:figures|cells)-data">(.*?)</script>', page, flags=re.DOTALL
    )
    return json.loads(drawn) | {"cells": list(unpacked(cells))}


def unpacked(text):
    """Whole numbers out of the signs of `layers.packed`, read as its docstring says."""
    for signs in re.findall("[_-~]*[?-^]", text):
        bits = "".join(f"{ord(sign) - 63 & 31:05b}" for sign in reversed(signs))
        yield -int(bits[:-1], 2) - 1 if bits[-1] == "1" else int(bits[:-1], 2)


# --- what the public map may show


@pytest.mark.parametrize("group", ["warm_spring", "cave"])
def test_taxa_of_springs_and_caves_are_never_finer_than_a_degree(group):
    settings = dataclasses.replace(SETTINGS, public_precision_deg="0.001", taxa=SETTINGS.taxa.assign(group=group, sensitivity=None))
    assert set(cells_of(study(enough()), settings)["step"]) == {"1"}


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


def test_the_datum_is_changed_before_the_square_is_chosen():
    # NAD27 lies about 21 m off at 37 N 80 W (EPSG operation 1173): enough to cross a line of the 0.001 degree grid.
    settings = dataclasses.replace(SETTINGS, public_precision_deg="0.001")
    cells = cells_of(study(enough(), sites=[site("A", 36.99995, -80.0001, datum="NAD27")]), settings)
    assert set(zip(cells["south"], cells["west"], strict=True)) == {(37.0, -80.0)}


def test_coordinates_as_written_serve_where_the_numbers_are_missing():
    cells = cells_of(study(enough(), sites=[site("A", verbatim_coordinates="36.21437N 81.93783W")]))
    assert set(zip(cells["south"], cells["west"], strict=True)) == {(36.2, -82.0)}


# --- cells that no visit stands alone in


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
    shown = np.sort(draw.choice(np.arange(20, len(finds) + 1), examples(200, 15), replace=len(finds) < 220))
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
        if number % 5 == 0:
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
    whole = own_text(path.read_bytes().decode("utf-8")) + picture
    page = re.sub(r' (d|points|transform|x|y|width|height|viewBox|style)="[^"]*"', "", whole) + path.with_suffix(".csv").read_text("utf-8")
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


def test_the_same_book_gives_the_same_files_to_the_byte(tmp_path):
    for turn in ("one", "two"):
        map_page.write(parts_of(crowd()), tmp_path / turn)
        map_page.write(exact_parts_of(crowd()), tmp_path / turn)
    names = sorted(path.relative_to(tmp_path / "one") for path in (tmp_path / "one").rglob("*.*"))
    assert len(names) == 8
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


def test_empty_tables_make_a_page_that_says_so():
    frames = book([], [], [])
    assert "There is nothing to show yet." in public(frames) and "There is nothing to show yet." in exact(frames)


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
    assert tab.locator("#map-box .mark").count() > 5
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
    look = "marks => marks.map(mark => mark.getAttribute('aria-label') + ' ' + mark.outerHTML).sort()"
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
    before = set(tab.locator(".mark").evaluate_all("marks => marks.map(mark => mark.getAttribute('aria-label'))"))
    assert any(re.search(r", \d+ sites$", text) for text in before)
    tab.evaluate("void window.rillbookMap.setView([36.24109, -81.88735], 17, { animate: false })")
    after = tab.locator(".mark").evaluate_all("marks => marks.map(mark => mark.getAttribute('aria-label'))")
    assert not any(text.endswith(" sites") for text in after)


@pytest.mark.browser
def test_a_click_and_the_keyboard_open_a_popup(opened):
    tab = opened(public(crowd()))
    marker = tab.locator("#map-box .mark", has_text="Larva").first
    marker.click()
    text = tab.locator(".leaflet-popup-content").inner_text()
    assert re.match(r"[\d.]+° N to |\d+ squares together", text) and "animal" in text and "Desmognathus alpha" in text
    assert re.search(r"[A-Z][a-z]{2} [\d.]+ °C \(\d+ °F\)", text) or "too few" in text
    # the map may still be moving to make room for the popup, and on a busy machine a click then falls beside
    tab.wait_for_function("!(window.rillbookMap._panAnim || {})._inProgress")
    tab.locator(".leaflet-popup-content summary").click()
    tab.locator(".leaflet-popup-content details h3").first.wait_for()
    more = tab.locator(".leaflet-popup-content").inner_text()
    assert re.search(r"medians? [\d.]+.* °C, range|one reading|no temperature|too few", more.replace(text, ""))
    tab.keyboard.press("Escape")
    tab.locator(".leaflet-popup").wait_for(state="detached")
    marker.focus()
    tab.keyboard.press("Enter")
    assert tab.locator(".leaflet-popup-content").inner_text() == text


def shown_number(tab, layer):
    titles = tab.locator("g.mark > title").all_text_contents()
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
    assert tab.locator(".mark", has_text="Larva").locator("title").text_content() == "Larva: too few to say more"
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
    widths = {layer: tab.locator(".mark", has_text=layer).locator("path").first.bounding_box()["width"] for layer in ("Adult", "Larva")}
    assert widths["Adult"] > widths["Larva"] >= 15


@pytest.mark.browser
def test_single_finds_and_circles_of_the_exact_map(opened):
    tab = opened(exact(study(enough(remarks="under the big rock"), sites=[site("A", 36.2143, -81.9378, coordinate_uncertainty_m=50.0)])))
    tab.locator("#circles").check()
    tab.locator(".mark", has_text="Adult").click()
    tab.locator(".leaflet-popup-content summary", has_text="Single finds: 6").click()
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
        # a popup moves the map, and symbols that leave it are gone
        for place in range(0, tab.locator(".mark").count(), 3):
            if place < tab.locator(".mark").count():
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
    tab.locator('.mark[aria-label*="document.title"]').first.dispatch_event("click")
    tab.locator(".leaflet-popup-content").wait_for()
    assert TRICK in tab.locator(".leaflet-popup-content").inner_text() and tab.title().startswith("Rill survey")


@pytest.mark.browser
@pytest.mark.parametrize("make", [public, exact])
def test_a_choice_and_a_move_with_a_popup_open_break_nothing(opened, make):
    tab = opened(make(crowd()))
    switch_all_on(tab)
    for place in range(4):
        tab.locator(".mark").nth(place).dispatch_event("click")
        tab.locator("#taxon").select_option(index=1 + place % 2)
        tab.locator(".mark").first.dispatch_event("click")
        # without a wait: the popup of a symbol that the move takes away is still moving the map
        tab.evaluate("void window.rillbookMap.setZoom(window.rillbookMap.getZoom() + 3, { animate: false })")
        tab.evaluate("void window.rillbookMap.setZoom(window.rillbookMap.getZoom() - 3, { animate: false })")
        tab.locator("#taxon").select_option(index=0)
    tab.locator(".leaflet-popup").first.wait_for(state="detached")
    assert tab.locator(".mark").count() > 5


@pytest.mark.browser
def test_the_page_reads_without_scripts(opened):
    tab = opened(public(crowd()), java_script_enabled=False)
    assert tab.get_by_text("The map needs scripts.").is_visible()
    tab.locator("#figures summary").click()
    assert tab.locator("#figures tbody tr").first.is_visible()


@pytest.mark.browser
@pytest.mark.parametrize(("width", "spread"), [(375, 1), (1280, 10)])
def test_symbols_stay_inside_the_map_on_open(opened, width, spread):
    """Spread wide, squares at the rim are put together in blocks that reach beyond them: the upper half of the symbols was cut."""
    sites, *others = crowd()
    sites = sites.assign(latitude=36.12 + (sites["latitude"] - 36.12) * spread)
    tab = opened(public((sites, *others)), width)
    frame_box = tab.locator("#map-box").bounding_box()
    for left, top, right, bottom in boxes(tab, "#map-box .mark"):
        assert left >= frame_box["x"] - 15 and right <= frame_box["x"] + frame_box["width"] + 15
        assert top >= frame_box["y"] - 1 and bottom <= frame_box["y"] + frame_box["height"] + 1


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


# --- on paper, and symbols that hide nothing


@pytest.mark.browser
def test_each_map_prints_on_two_sheets(opened, tmp_path):
    for parts in (parts_of(crowd()), exact_parts_of(crowd())):
        path = map_page.write(parts, tmp_path / "out")
        tab = opened(path.read_text(encoding="utf-8"))
        assert "J F M" in tab.locator("#panels").inner_text() and tab.locator("#panels svg text", has_text="Larva").count() == 1
        for sheet in ("A4", "Letter"):
            assert len(re.findall(rb"/Type\s*/Page\b", tab.pdf(format=sheet))) == 2
        tab.emulate_media(media="print")
        assert not tab.locator("#figures").is_visible() and tab.locator("#panels svg").is_visible() and tab.locator("#pattern").is_visible()


def boxes(tab, css):
    look = "marks => marks.map(mark => { const box = mark.getBoundingClientRect(); return [box.left, box.top, box.right, box.bottom]; })"
    return tab.locator(css).evaluate_all(look)


@pytest.mark.browser
@pytest.mark.parametrize("width", [1280, 375])
def test_no_symbol_hides_another_or_leaves_its_square_at_any_zoom(opened, width):
    for make, inside in ((public, True), (exact, False)):
        tab = opened(make(crowd()), width)
        switch_all_on(tab)
        for box in ("#heat", "#outline", "#circles", "#own"):
            if tab.locator(box).count():
                tab.locator(box).uncheck()
        for turn in (0, 1, 1, 1, -4, -1):
            tab.evaluate("turn => void rillbookMap.setZoom(rillbookMap.getZoom() + turn, { animate: false })", turn)
            seen = boxes(tab, "#map-box .mark")
            for number, (left, top, right, bottom) in enumerate(seen):
                for other in seen[:number]:
                    over = min(right, other[2]) - max(left, other[0]), min(bottom, other[3]) - max(top, other[1])
                    # a pixel comes from rounding the place of each
                    assert min(over) <= 1.5, (width, turn, over)
            if inside:
                # squares, and blocks of squares, are rectangles on the map; out of sight they are cut off
                frames = boxes(tab, ".leaflet-overlay-pane path")
                ((x, y, end, foot),) = boxes(tab, "#map-box")
                shown = [box for box in seen if x <= box[0] and y <= box[1] and box[2] <= end and box[3] <= foot]
                assert shown or turn == 1
                for left, top, right, bottom in shown:
                    assert any(a - 1.5 <= left and b - 1.5 <= top and right <= c + 1.5 and bottom <= d + 1.5 for a, b, c, d in frames), (
                        "a symbol lies outside every square"
                    )


@pytest.mark.browser
def test_a_click_on_a_square_tells_all_that_is_known_of_it_in_one_table(opened):
    frames = study(
        *(enough(month=f"2021-{month:02d}", stage="larva", water_temp_c=float(month)) for month in (3, 4, 7)),
        enough(month="2021-11", visits=1, finds=2),
        enough(month="2021-05", visits=4, finds=0),
    )
    tab = opened(public(frames))
    tab.locator(".leaflet-overlay-pane path[fill='#7a8a70']").click(position={"x": 12, "y": 12})
    rows = [re.sub(r"\s+", " ", text).strip() for text in tab.locator(".leaflet-popup-content tbody tr").all_inner_texts()]
    assert rows == [
        "Larva Desmognathus alpha Mar, Apr, Jul 18 animals Mar 3.0 °C (37 °F) Jul 7.0 °C (45 °F)",
        "Adult Desmognathus alpha too few to say more",
        "Searched, not found Desmognathus alpha May not on 4 of 4 visits",
        "Visits Mar to May, Jul 13 visits; and more, too few to say more",
    ]
