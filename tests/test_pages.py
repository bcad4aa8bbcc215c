"""The invented study from its sheets to its pages, opened from disk with the network off and with hostile names in it."""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pipeline import demo, run
from schemas.frames import TARGET_COLUMNS

TRICK = "${document.title='x'} <img src=x onerror=\"document.title='y'\">"
# 80 °F, at which lungless salamanders of cool streams sicken and die: common practice, no source.
DEADLY_C = 26.7
# "low 70s °F at most", the emergency line: common practice, no source.
EMERGENCY_C = 22.0


@pytest.fixture(scope="session")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Book of the invented study with a trick in its title, in a site's name and in remarks."""
    folder = tmp_path_factory.mktemp("study") / "book"
    title = 'title = "' + TRICK.replace('"', '\\"')
    run.init(folder, demo.settings_text().replace('title = "', title, 1))
    sheets = demo.copy_sheets(folder / "sheets")
    _write_trick(sheets[0], "site_name")
    _write_trick(sheets[2], "remarks")
    run.load_files(folder, sheets)
    derived = run.derive_targets(folder)
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
    """Open a page from disk, offline; whatever it asks for or complains of fails the test."""
    from playwright.sync_api import sync_playwright

    faults: list[str] = []
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])

        def open_page(path: Path, width: int) -> Any:
            page = browser.new_context(offline=True, viewport={"width": width, "height": 900}).new_page()
            page.on(
                "request", lambda request: faults.append(request.url) if not request.url.startswith(("file:", "data:", "blob:")) else None
            )
            page.on("console", lambda message: faults.append(message.text) if message.type in ("error", "warning") else None)
            page.on("pageerror", lambda error: faults.append(str(error)))
            page.goto(path.as_uri())
            return page

        yield open_page
        browser.close()
    assert faults == []


def pages(out: Path) -> list[Path]:
    return [*sorted(out.glob("care_sheet_*.html")), out / "map.html", out / "private" / "map_exact.html"]


@pytest.mark.browser
@pytest.mark.parametrize("width", [1280, 320])
def test_every_page_opens_offline_and_no_name_runs(study: Path, opened: Callable[[Path, int], Any], width: int) -> None:
    assert len(pages(study)) == 5
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
    for stage in ("Hatchling", "Larva", "Metamorph", "Juvenile", "Adult", "Searched, nothing found"):
        assert stage in labels
    assert ("Egg mass" in labels) == name.startswith("private"), "eggs stand on no public map"
    page.locator(".leaflet-marker-icon.mark").nth(3).click(force=True)
    text = page.locator(".leaflet-popup-content").inner_text()
    assert "°" in text and page.title() not in ("x", "y")
    if name.startswith("private"):
        assert "Do not share" in page.inner_text("body")


def test_public_map_names_no_site_and_no_exact_place(study: Path) -> None:
    text = (study / "map.html").read_text(encoding="utf-8")
    sites = pd.read_csv(study.parent / "sheets" / "sites.csv", dtype="str", keep_default_na=False)
    for row in sites.itertuples():
        for exact in (row.latitude, row.longitude, row.latitude[:6], row.longitude[:7]):
            assert len(exact) < 6 or exact not in text, f"{exact} of {row.site_id} stands in the public map"
    visits = pd.read_csv(study.parent / "sheets" / "visits.csv", dtype="str", keep_default_na=False)
    assert not [day for day in set(visits["visit_date"]) if day and day in text]


def test_targets_are_written_as_declared(study: Path) -> None:
    table = pd.read_csv(study / "targets.csv", dtype={"month": "str"}, keep_default_na=False, na_values=[""])
    assert list(table.columns) == list(TARGET_COLUMNS)
    document = json.loads((study / "targets.json").read_text(encoding="utf-8"))
    assert len(document["targets"]) == len(table) and list(document["targets"][0]) == list(TARGET_COLUMNS)
    for word in ("seed", "method_version", "exclusions", "inputs", "input_hash"):
        assert document[word] not in (None, "", []), word
    assert set(table["grade"]) == {"A", "B", "C", "D"} and set(table["status"]) == {"target", "borrowed", "refused"}


def test_schedule_stays_under_the_ceiling_and_names_no_site(study: Path) -> None:
    """Method §6: never above the ceiling less the swing of a thermostat (1 °C, judgement)."""
    targets = pd.read_csv(study / "targets.csv")
    cell = ["taxon", "population", "life_stage", "medium"]
    weeks = pd.read_csv(study / "schedule.csv").merge(targets[[*cell, "ceiling", "floor"]].drop_duplicates(), on=cell)
    assert len(weeks) > 50 and weeks["set_point"].notna().sum() > 50
    assert not (weeks["set_point"] > weeks["ceiling"] - 1).any() and not (weeks["set_point"] < weeks["floor"]).any()
    sites = set(pd.read_csv(study.parent / "sheets" / "sites.csv", dtype="str")["site_id"])
    for name in ("schedule", "humidity", "humidity_by_temperature", "humidity_found", "water", "selection"):
        text = (study / f"{name}.csv").read_text(encoding="utf-8")
        assert text.count("\n") > 1, name
        assert not {word for word in text.replace('"', "").replace("\n", ",").split(",") if word in sites}, name


def test_no_value_stands_where_animals_die(study: Path) -> None:
    """Common practice, no source: 80 °F is deadly and the low 70s °F are an emergency."""
    table = pd.read_csv(study / "targets.csv")
    assert table["ceiling"].max() <= EMERGENCY_C
    for row in table[table["band_high"].notna()].itertuples():
        assert not row.band_low <= DEADLY_C <= row.band_high
        assert row.band_low <= row.set_point <= row.band_high < row.ceiling and row.band_high <= row.act_line <= row.ceiling
        assert math.isnan(row.floor) or row.floor <= row.band_low
