"""The log of the enclosures: three taps for a feeding, slips told before saving, and what it saves loads; no place of the wild in it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from form_pages import SETTINGS, Opened, click_save, mend, saved

from pipeline.book.connection import open_book
from pipeline.book.current import current_rows, known_rows
from pipeline.commands import run
from pipeline.entry import tank_form
from pipeline.settings import read_settings
from schemas.tables import fields
from schemas.vocabulary import codes, vocabulary

ENCLOSURES = "enclosure_id,taxon,population,life_stage,medium,since\nT1,EWIL,,larva,water,2025-03-01\nT2,DMON,,adult,water,2025-03-01\n"
MEAL = "event_id,enclosure_id,event_date,event,what,amount\nH1,T1,2025-07-06,fed,small worms,4 pieces\n"
SECRET = "Hollow behind the mill"


@pytest.fixture(scope="module")
def kept_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book with two enclosures, one of which was fed, and a site whose name must not be on the page."""
    folder = tmp_path_factory.mktemp("kept") / "book"
    run.init(folder, SETTINGS)
    texts = {
        "sites": f"site_id,site_name,habitat,latitude,longitude,datum\nRILL-77,{SECRET},stream,36.1234,-82.1234,WGS84\n",
        "enclosures": ENCLOSURES,
        "husbandry_events": MEAL,
    }
    for name, text in texts.items():
        (folder / f"{name}.csv").write_text(text)
    report = run.load_files(folder, [folder / f"{name}.csv" for name in texts])
    assert isinstance(report, run.Report) and report.exit_code == 0, report.held
    return folder


@pytest.fixture(scope="module")
def page_file(kept_book: Path) -> Path:
    with open_book(kept_book) as connection:
        return tank_form.write(kept_book / "out", read_settings(kept_book), known_rows(connection))


@pytest.fixture
def folder(kept_book: Path, page_file: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(kept_book, tmp_path / "book"))


def loaded(folder: Path, path: Path) -> tuple[Any, dict[str, pd.DataFrame]]:
    report = run.load_files(folder, [path])
    assert isinstance(report, run.Report)
    with open_book(folder) as connection:
        return report, {table: current_rows(connection, table) for table in tank_form.TABLES}


def event(page: Any, code: str) -> None:
    page.locator(f"[data-event={code}]").click()


# --- made from the schemas and the book


def test_every_field_and_every_event_of_the_schemas_is_on_the_page(page_file: Path) -> None:
    data = json.loads(page_file.read_text(encoding="utf-8").split('id="form-data">')[1].split("</script>")[0])
    assert set(data["asked"]) == set(codes("husbandry_event")) == {code for code, _ in data["events"]}
    for table in tank_form.TABLES:
        asked = {one["name"] for one in data["tables"][table]}
        assert asked | set(tank_form.LEFT_OUT.get(table, ())) == {name for name, one in fields(table).items() if not one.derived}
        assert set(tank_form.FIRST[table]) <= asked
    assert {name for each in tank_form.ASKED.values() for name in each} <= set(fields("husbandry_events"))
    assert {"event_without_stage", "event_moved_nowhere", "enclosure_dates_swapped"} <= set(data["rules"])
    assert "becomes" in vocabulary("husbandry_event")["metamorphosed"]


def test_it_is_the_same_twice_says_private_and_names_no_place(kept_book: Path, page_file: Path) -> None:
    text = page_file.read_text(encoding="utf-8")
    with open_book(kept_book) as connection:
        assert tank_form.tank_page(read_settings(kept_book), known_rows(connection)) == text
    assert "Private. It names your enclosures" in text
    assert not [one for one in (SECRET, "RILL-77", "36.12", "-82.12") if one in text]


# --- in the browser


@pytest.mark.browser
def test_a_feeding_is_three_taps_and_the_draft_outlives_a_reload(folder: Path, page_file: Path, opened: Opened) -> None:
    page = opened(page_file, 375, has_touch=True, is_mobile=True)
    page.evaluate("window.taps = 0; document.addEventListener('click', () => window.taps++, true)")
    page.get_by_role("button", name="T1").tap()
    page.get_by_role("button", name="Fed: small worms, 4 pieces").tap()
    path, _ = saved(page, folder, lambda: page.get_by_role("button", name="Save to a file").tap())
    # the link of the download is a click of its own, not of a person
    assert page.evaluate("window.taps") == 3 + 1
    report, rows = loaded(folder, path)
    assert report.exit_code == 0, report.held
    (fed,) = rows["husbandry_events"].query("event_id != 'H1'").to_dict("records")
    assert (fed["enclosure_id"], fed["event"], fed["what"], fed["amount"]) == ("T1", "fed", "small worms", "4 pieces")
    # the next one begins an empty log, with the enclosure of before: two taps
    page.get_by_role("button", name="Fed: small worms, 4 pieces").tap()
    page.reload()
    assert page.locator("#entry-list li").count() == 1 and "T1 fed" in page.locator("#entry-list").inner_text()
    _, document = saved(page, folder, lambda: page.get_by_role("button", name="Save to a file").tap())
    assert [one["event_id"] == fed["event_id"] for one in document["husbandry_events"]] == [False]


@pytest.mark.browser
def test_slips_are_told_before_saving_and_what_was_mended_is_kept(folder: Path, page_file: Path, opened: Opened) -> None:
    page = opened(page_file)
    event(page, "fed")
    assert "Choose the enclosure first" in page.locator("#say").inner_text() and page.locator("#entry-list li").count() == 0
    page.get_by_role("button", name="T1").click()
    event(page, "water_test")
    card = page.locator("#water_tests-1")
    nitrate, water, where = (page.locator(f"#water_tests-1-{name}") for name in ("nitrate_mg_l_n", "water_temp_c", "enclosure_id"))
    nitrate.fill("10")
    nitrate.blur()
    assert "Which does your kit show: mg/L NO3-N or mg/L NO3?" in card.inner_text()
    water.fill("58")
    water.blur()
    where.fill("T11")
    where.blur()
    assert "The book knows no such enclosure." in card.inner_text()
    click_save(page)()
    assert "3 things are not right yet" in page.locator("#list").inner_text()
    card.get_by_role("button", name="mg/L NO3", exact=True).click()
    mend(page, "It was °F: 14.44 °C")
    mend(page, "It is T1")
    event(page, "stage_reached")
    page.locator("#husbandry_events-2-life_stage").blur()
    page.locator("#husbandry_events-2-event").blur()
    assert "life_stage does not say which" in page.locator("#husbandry_events-2").inner_text()
    assert page.locator("#entry-list li").nth(1).inner_text().startswith("? ")
    page.locator("#husbandry_events-2-life_stage").fill("metamorph")
    page.locator("#husbandry_events-2-life_stage").blur()
    event(page, "alarm_tested")
    event(page, "alarm_tested")
    page.get_by_role("button", name="Take the second out").click()
    path, document = saved(page, folder, click_save(page))
    assert document["water_tests"][0]["nitrate_mg_l_n"] == "10 mg/L NO3" and len(document["husbandry_events"]) == 2
    report, rows = loaded(folder, path)
    assert report.exit_code == 0, report.held
    (test,) = rows["water_tests"].to_dict("records")
    # Source: molar masses of NO3 and N, 62.005 and 14.007 (CIAAW standard atomic weights)
    assert test["nitrate_mg_l_n"] == pytest.approx(10 * 14.007 / 62.005, rel=1e-3)
    assert test["water_temp_c"] == pytest.approx((58 - 32) / 1.8) and test["enclosure_id"] == "T1"
    with open_book(folder) as connection:
        told = connection.execute("SELECT field, old_text, who FROM corrections ORDER BY field").fetchall()
    assert told == [("enclosure_id", "T11", "AB"), ("water_temp_c", "58", "AB")]


@pytest.mark.browser
def test_keys_alone_note_a_new_enclosure_and_a_weighing(folder: Path, page_file: Path, opened: Opened) -> None:
    page = opened(page_file)

    def to(words: str) -> None:
        for _ in range(80):
            if page.evaluate("document.activeElement.id || document.activeElement.textContent") == words:
                return
            page.keyboard.press("Tab")
        raise AssertionError(f"the Tab key never reaches {words}")

    page.locator("#enclosure-list button").nth(1).focus()
    page.keyboard.press("Enter")
    to("weighed")
    page.keyboard.press("Enter")
    to("husbandry_events-1-mass_g")
    page.keyboard.type("3.4")
    to("An enclosure or a logger that the book does not know")
    page.keyboard.press("Enter")
    to("add-enclosure")
    page.keyboard.press("Enter")
    for name, text in (("enclosure_id", "T9"), ("taxon", "EWIL"), ("life_stage", "larva")):
        to(f"enclosures-2-{name}")
        page.keyboard.type(text)
    to("save")
    path, _ = saved(page, folder, lambda: page.keyboard.press("Enter"))
    report, rows = loaded(folder, path)
    assert report.exit_code == 0, report.held
    assert rows["husbandry_events"].set_index("event").at["weighed", "mass_g"] == 3.4
    assert rows["husbandry_events"].set_index("event").at["weighed", "enclosure_id"] == "T2"
    assert rows["enclosures"]["enclosure_id"].tolist() == ["T1", "T2", "T9"]


@pytest.mark.browser
@pytest.mark.parametrize("width", [1280, 375, 320])
def test_it_fits_and_is_large_enough(page_file: Path, opened: Opened, width: int) -> None:
    """WCAG 2.2, 1.4.10 (no sideways scrolling at 320 px) and 2.5.5 (targets of 44 px)."""
    page = opened(page_file, width)
    page.get_by_role("button", name="T1").click()
    event(page, "water_test")
    page.locator("details").evaluate_all("all => all.forEach(one => (one.open = true))")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    small = """() => [...document.querySelectorAll('button, input[type=text], summary, .choices label')]
      .filter(e => e.offsetParent).map(e => [e.getBoundingClientRect(), e.textContent || e.id])
      .filter(([box]) => box.height < 44 || box.width < 44).map(([, name]) => name)"""
    assert page.evaluate(small) == []
    unnamed = """() => [...document.querySelectorAll('input')]
      .filter(e => ![...(e.labels || [])].some(l => l.textContent.trim())).map(e => e.id)"""
    assert page.evaluate(unnamed) == []
