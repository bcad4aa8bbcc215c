"""The invented study from its sheets to its pages, opened from disk with the network off and with hostile names in it."""

from __future__ import annotations

import csv
import json
import math
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
import sheet_reader
from conftest import offline_pages

from pipeline.book.connection import open_book
from pipeline.commands import demo_study as demo
from pipeline.commands import run
from pipeline.errors import RillbookError
from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.settings import read_settings
from pipeline.settings.limits import judgement
from pipeline.targets import evidence
from pipeline.writing.site_counts import in_class
from schemas.frames.targets import TARGET_COLUMNS

TRICK = "${document.title='x'} <img src=x onerror=\"document.title='y'\">"
# 80 °F, at which lungless salamanders of cool streams sicken and die: common practice, no source.
DEADLY_C = 26.7
# "low 70s °F at most", the emergency line: common practice, no source.
EMERGENCY_C = 22.0

# The waterbody of the one site of the demo that is withheld from everyone: no page counts it.
WITHHELD = "rill N11"


@pytest.fixture(scope="session")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Book of the invented study with a trick in its title, in a site's name and in remarks."""
    folder = tmp_path_factory.mktemp("study") / "book"
    # another trick than the sites' own: a title that says a site's name is refused
    title = 'title = "' + TRICK.replace("document", "window.document").replace('"', '\\"')
    run.init(folder, demo.settings_text().replace('title = "', title, 1))
    sheets = demo.copy_sheets(folder / "sheets")
    _write_trick(sheets[0], "site_name")
    _write_trick(sheets[2], "remarks")
    run.load_files(folder, sheets)
    derived = run.derive_targets(folder)
    run.write_cards(folder, derived)
    run.write_care_sheets(folder, derived)
    run.write_maps(folder)
    return folder / "out"


def _write_trick(path: Path, column: str) -> None:
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        row[column] = TRICK
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


@pytest.fixture(scope="module")
def opened(chromium: str) -> Iterator[Callable[[Path, int], Any]]:
    with offline_pages(chromium) as open_page:
        yield open_page


def pages(out: Path) -> list[Path]:
    return [*sorted(out.glob("care_sheet_*.html")), *sorted(out.glob("card_*.html")), out / "map.html", out / "private" / "map_exact.html"]


@pytest.mark.browser
@pytest.mark.parametrize("width", [1280, 320])
def test_every_page_opens_offline_and_no_name_runs(study: Path, opened: Callable[[Path, int], Any], width: int) -> None:
    assert len(pages(study)) == 10
    for path in pages(study):
        page = opened(path, width)
        assert page.title() not in ("x", "y"), path.name
        assert page.locator("img[src='x']").count() == 0, path.name
        assert "document.title='x'" in page.inner_text("body"), f"{path.name}: the title of the book stands there as text"
        assert "Invented study" in page.inner_text("body"), path.name
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), f"{path.name} is wider than {width} px"


@pytest.mark.browser
@pytest.mark.parametrize("name", ["map.html", "private/map_exact.html"])
def test_maps_have_layers_legend_and_popups(study: Path, opened: Callable[[Path, int], Any], name: str) -> None:
    page = opened(study / name, 1280)
    labels = " ".join(page.locator("#layers label").all_inner_texts())
    for stage in ("Hatchling", "Larva", "Metamorph", "Juvenile", "Adult", "Searched, not found"):
        assert stage in labels
    assert ("Egg mass" in labels) == name.startswith("private"), "eggs stand on no public map"
    page.locator("#map-box .mark").nth(3).click(force=True)
    text = page.locator(".leaflet-popup-content").inner_text()
    assert "°" in text and page.title() not in ("x", "y")
    if name.startswith("private"):
        assert "Do not share" in page.inner_text("body")


def test_public_map_names_no_site_and_no_exact_place(study: Path) -> None:
    # what is drawn of the landscape follows from its file alone, wherever the sites lie: tests/maps/test_lines.py
    text = re.sub(r'"lines":\[\[.*?\]\]\]\]', "", (study / "map.html").read_text(encoding="utf-8"))
    sites = pd.read_csv(study.parent / "sheets" / "sites.csv", dtype="str", keep_default_na=False)
    for row in sites.itertuples():
        for exact in (row.latitude, row.longitude, row.latitude[:6], row.longitude[:7]):
            assert len(exact) < 6 or exact not in text, f"{exact} of {row.site_id} stands in the public map"
    visits = pd.read_csv(study.parent / "sheets" / "visits.csv", dtype="str", keep_default_na=False)
    assert not [day for day in set(visits["visit_date"]) if day and day in text]


def test_the_map_draws_lines_and_names_tiles_on_request_and_shows_what_is_in_doubt(study: Path, tmp_path: Path) -> None:
    shutil.copytree(study.parent, tmp_path / "book")
    lines = tmp_path / "streams.geojson"
    stream = {"type": "LineString", "coordinates": [[-82.4, 36.1], [-81.9, 36.3], [-80.9, 36.4]]}
    lines.write_text(json.dumps({"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {}, "geometry": stream}]}))
    public, exact = run.write_maps(tmp_path / "book", lines, "https://tiles.invalid/{z}/{x}/{y}.png")
    for path in (public, exact):
        text = path.read_text(encoding="utf-8")
        drawn = json.loads(re.findall(r'id="figures-data">(.*?)</script>', text, flags=re.DOTALL)[0])
        assert [kind for kind, _ in drawn["lines"]] == ["stream"] and drawn["tiles"] == ["https://tiles.invalid/{z}/{x}/{y}.png"]
        assert "in_doubt" in {layer[4] for layer in drawn["layers"]}, "the invented study has flags that nobody settled"
        assert path.with_suffix(".svg").exists() and path.with_suffix(".png").exists()
    memory = (tmp_path / "book" / "published.json").read_text(encoding="utf-8")
    assert all(f'"{site}"' in memory for site in ("N01", "S03")), "a map is a publication, and is remembered as one"
    with pytest.raises(RillbookError, match="no address of map tiles"):
        run.write_maps(tmp_path / "book", tiles="http://tiles.invalid/{z}/{x}/{y}.png")
    with pytest.raises(RillbookError, match="no such file"):
        run.write_maps(tmp_path / "book", tmp_path / "none.gpkg")


def test_targets_are_written_as_declared(study: Path) -> None:
    table = pd.read_csv(study / "targets.csv", dtype={"month": "str"}, keep_default_na=False, na_values=[""])
    assert list(table.columns) == list(TARGET_COLUMNS)
    document = json.loads((study / "targets.json").read_text(encoding="utf-8"))
    assert len(document["targets"]) == len(table) and list(document["targets"][0]) == list(TARGET_COLUMNS)
    for word in ("seed", "method_version", "exclusions"):
        assert document[word] not in (None, "", []), word
    # a plain hash of a sheet gives its places away
    traced = json.loads((study / "private" / "targets_inputs.json").read_text(encoding="utf-8"))
    assert traced["inputs"] and len(traced["input_hash"]) == 64
    assert not {"inputs", "input_hash"} & set(document) and traced["input_hash"] not in json.dumps(document)
    assert set(table["grade"]) == {"A", "B", "C", "D"} and set(table["status"]) == {"target", "borrowed", "refused"}


def test_schedule_stays_under_the_ceiling_and_names_no_site(study: Path) -> None:
    """Method §6: never above the ceiling less the swing of a thermostat (1 °C, judgement)."""
    targets = pd.read_csv(study / "targets.csv")
    cell = ["taxon", "population", "life_stage", "medium"]
    weeks = pd.read_csv(study / "schedule.csv").merge(targets[[*cell, "ceiling", "floor"]].drop_duplicates(), on=cell)
    assert len(weeks) > 50 and weeks["set_point"].notna().sum() > 50
    assert not (weeks["set_point"] > weeks["ceiling"] - 1).any() and not (weeks["set_point"] < weeks["floor"] + 1).any()
    assert (weeks["act_line"] > weeks["set_point"]).all() and weeks["set_point"].notna().all()
    sites = set(pd.read_csv(study.parent / "sheets" / "sites.csv", dtype="str")["site_id"])
    for name in ("schedule", "humidity", "humidity_by_temperature", "humidity_found", "water", "selection"):
        text = (study / f"{name}.csv").read_text(encoding="utf-8")
        assert text.count("\n") > 1, name
        assert not {word for word in text.replace('"', "").replace("\n", ",").split(",") if word in sites}, name


def test_no_part_of_a_care_sheet_advises_what_another_forbids(study: Path) -> None:
    sheets = sorted(study.glob("care_sheet_*.html"))
    read = [one for path in sheets for one in sheet_reader.cells(path.read_text(encoding="utf-8"))]
    assert len(read) > 15 and all(one.ceiling is not None and one.advised and one.acts for one in read)
    assert sum(len(one.advised_in_words) for one in read) > 300
    for path in sheets:
        assert sheet_reader.contradictions(path.read_text(encoding="utf-8"), judgement("thermostat_margin")) == [], path.name


def test_the_reader_of_care_sheets_sees_a_contradiction(study: Path) -> None:
    html = sorted(study.glob("care_sheet_*.html"))[0].read_text(encoding="utf-8")
    one = sheet_reader.cells(html)[0]
    assert one.ceiling is not None
    assert not sheet_reader.contradictions(html, 1.0)
    # the card's table stands before the cells, and has a reader of its own
    card, cells = html[: html.index(f'aria-labelledby="{one.label}"')], html[html.index(f'aria-labelledby="{one.label}"') :]
    for wrong in (
        re.sub('data-advised="[^"]+"', f'data-advised="{one.ceiling}"', cells, count=1),
        re.sub('data-act="[^"]+"', f'data-act="{one.ceiling + 0.5}"', cells, count=1),
        re.sub(r'(<ul class="weeks">\s*<li>)', rf"\g<1>hold {one.ceiling + 1} °C, ", cells, count=1),
    ):
        assert wrong != cells and sheet_reader.contradictions(card + wrong, 1.0)


def test_a_reader_of_the_care_sheet_alone_can_answer(study: Path) -> None:
    """How many animals, visits, dates, sites and years; which months are silent; why the ceiling; what to do when it is passed."""
    with open_book(study.parent) as connection:
        readings, _ = evidence.readings(connection, read_settings(study.parent))
    targets = pd.read_csv(study / "targets.csv")
    kept = ["taxon", "population", "life_stage", "medium"]
    by_month = targets["month"].astype("str").str.isdigit()
    asked = targets.loc[by_month & (targets["status"] == "target"), [*kept, "ceiling", "ceiling_bound_by", "allowance"]].drop_duplicates(
        kept
    )
    told = {path.stem[-4:]: sheet_reader.cells(path.read_text(encoding="utf-8")) for path in study.glob("care_sheet_*.html")}
    for cell in asked.fillna({"population": ""}).itertuples():
        rows = readings[(readings[kept].fillna("") == [getattr(cell, name) for name in kept]).all(axis=1)]
        animals, years = int(rows["n_animals"].sum()), rows["year"].nunique()
        visits = {code for codes in rows["visit_ids"] for code in codes.split("\n")}
        told_sites = in_class(rows.loc[rows["site"] != WITHHELD, "site"].nunique())
        from_words = f"{len(visits)} visits on {rows['date'].nunique()} dates at {told_sites} in {years} year"
        start = f"{len(rows)} readings at {animals} animals"
        found = [one for one in told[cell.taxon] if from_words in one.text and start in one.text]
        assert found, f"{start}, {from_words}"
        text = found[0].text
        silent = [month for number, month in enumerate(MONTH_NAMES, start=1) if number not in set(rows["month"])]
        assert not silent or ("Nothing was read in" in text and silent[0] in text[text.index("Nothing was read in") :])
        assert f"Ceiling set by {cell.ceiling_bound_by}" in text and "before the allowances" in text and "Allowances, taken off" in text
        assert "A logger" not in text and "No logger: the night drop is not known." in text
    for path in study.glob("care_sheet_*.html"):
        text = next(one for one in sheet_reader.sections(path.read_text(encoding="utf-8")) if one.label == "warm").text
        assert "Above the ceiling: do all of this at once" in text and "call a veterinarian" in text


@pytest.mark.browser
@pytest.mark.slow
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_cards_print_on_one_sheet_and_care_sheets_on_few(study: Path, opened: Callable[[Path, int], Any], paper: str) -> None:
    """One sheet of paper, both sides, for each taxon and population; the evidence with all its folds open on 20 pages at most."""
    for path in [*sorted(study.glob("card_*.html")), *sorted(study.glob("care_sheet_*.html"))]:
        page = opened(path, 1280)
        page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
        sides = len(re.findall(rb"/Type\s*/Page\b(?!s)", page.pdf(format=paper)))
        assert sides <= (2 if path.name.startswith("card_") else 20), f"{path.name}: {sides} sides"


def test_a_card_says_nothing_that_the_care_sheet_does_not(study: Path) -> None:
    """Every set point, band and act line of a card stands in the care sheet's month table, under the same ceiling."""
    cards = sorted(study.glob("card_*.html"))
    assert [path.name for path in cards] == [
        "card_DMON.html", "card_EWIL.html", "card_EWIL_N-high.html", "card_EWIL_S-low.html", "card_GPOR.html",
    ]  # fmt: skip
    for path in cards:
        sheet = (study / f"care_sheet_{path.stem.split('_')[1]}.html").read_text(encoding="utf-8")
        rows = sheet_reader.card_rows(path.read_text(encoding="utf-8"))
        assert len(rows) > 2 and sheet_reader.card_contradictions(path.read_text(encoding="utf-8"), judgement("thermostat_margin")) == []
        for row in rows:
            its = [one for one in sheet_reader.cells(sheet) if row.belongs_to(one)]
            assert its, f"{path.name}: {row.label}"
            assert any(row.stands_in(one) for one in its), f"{path.name}: {row.label}"


def test_the_reader_of_cards_sees_a_contradiction(study: Path) -> None:
    html = (study / "card_DMON.html").read_text(encoding="utf-8")
    first = sheet_reader.card_rows(html)[0]
    sheet = (study / "care_sheet_DMON.html").read_text(encoding="utf-8")
    (its,) = [one for one in sheet_reader.cells(sheet) if first.belongs_to(one)]
    assert first.stands_in(its)
    warmer = re.sub('data-act="[^"]+"', f'data-act="{first.ceiling + 1}"', html, count=1)
    assert sheet_reader.card_contradictions(warmer, 1.0) and not sheet_reader.card_rows(warmer)[0].stands_in(its)


def test_the_card_alone_answers_a_keeper(study: Path) -> None:
    """What to set for an adult on land in July, what to do at 3 °C over, what is not known in January."""
    targets = pd.read_csv(study / "targets.csv", dtype={"month": "str"}).set_index(["taxon", "population", "life_stage", "medium", "month"])
    html = (study / "card_DMON.html").read_text(encoding="utf-8")
    land = next(row for row in sheet_reader.card_rows(html) if row.label == "Adults, on land, under cover")
    july = targets.loc[("DMON", "N-high", "adult", "land", "7")]
    low, high = (f"{july[name]:g}" for name in ("set_point_low", "set_point_high"))
    points = low if low == high else f"{low}–{high}"
    said = re.search(rf"Ju[ln](?:–[A-Z][a-z]+)? {points} °C [\d–]+ °F, act above {july['act_line']:g} °C", land.text)
    assert said and f"never above {july['ceiling']:g} °C" in land.text
    winter = [month for month in ("12", "1", "2", "3") if targets.loc[("DMON", "N-high", "adult", "land", month), "status"] == "refused"]
    assert not winter or "not known" in land.text
    text = " ".join(re.sub("<[^>]+>", " ", html).split())
    assert "Above the act line:" in text and "at most 2 °C (3.6 °F) an hour" in text and "No ice on the animal." in text
    assert "Call a veterinarian at once" in text and "no reason to collect" in text and "Never release" in text
    assert 'href="care_sheet_DMON.html"' in html


def test_no_value_stands_where_animals_die(study: Path) -> None:
    """Common practice, no source: 80 °F is deadly and the low 70s °F are an emergency."""
    table = pd.read_csv(study / "targets.csv")
    assert table["ceiling"].max() <= EMERGENCY_C
    for row in table[table["band_high"].notna()].itertuples():
        assert not row.band_low <= DEADLY_C <= row.band_high
        assert row.band_low <= row.set_point <= row.band_high < row.ceiling and row.band_high <= row.act_line <= row.ceiling
        assert math.isnan(row.floor) or row.floor <= row.band_low
