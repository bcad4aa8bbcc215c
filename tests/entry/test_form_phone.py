"""The form in the field: taps are counted on a phone of 375 px, a find stands on one screen, nothing is filled in untapped."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from form_pages import SETTINGS, TODAY, Opened, click_save, page_of, saved
from one_browser import started

from pipeline.book.connection import open_book
from pipeline.commands import run
from pipeline.commands.blank_sheets import write_sheets
from pipeline.entry import form

# Judgement: a small phone of today, in CSS pixels.
WIDTH, HEIGHT = 375, 667


class Thumb:
    """Taps and types numbers, and counts both. The keyboard that a phone brings up is not counted sign by sign."""

    def __init__(self, page: Any) -> None:
        self.page, self.taps, self.numbers = page, 0, 0

    def tap(self, found: Any) -> None:
        found.tap()
        self.taps += 1

    def button(self, name: str, within: str = "main") -> None:
        self.tap(self.page.locator(within).get_by_role("button", name=name).first)

    def number(self, field: str, text: str) -> None:
        self.tap(self.page.locator(f"#{field}"))
        self.page.keyboard.type(text)
        self.numbers += 1

    def choose(self, field: str, code: str) -> None:
        self.tap(self.page.locator(f"#{field}"))
        self.tap(self.page.locator(f"#{field}-list").get_by_role("option", name=code))


@pytest.fixture
def phone(chromium: str, folder: Path) -> Iterator[Any]:
    """The form on a phone, with the evening set."""
    context = started(chromium).new_context(offline=True, viewport={"width": WIDTH, "height": HEIGHT}, has_touch=True, is_mobile=True)
    page, faults = context.new_page(), []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.goto(page_of(folder).as_uri())
    thumb = Thumb(page)
    thumb.choose("visits-0-protocol", "time_constrained")
    thumb.number("visits-0-observer_count", "2")
    thumb.number("visits-0-thermometer_accuracy_c", "0.3")
    thumb.tap(page.locator("label.tick", has_text="EWIL"))
    thumb.tap(page.locator("label.tick", has_text="DMON"))
    thumb.button("Fold to one line")
    yield page
    context.close()
    assert faults == []


def box_of(page: Any, selector: str) -> dict[str, float]:
    return dict(page.locator(selector).evaluate("e => { const b = e.getBoundingClientRect(); return { top: b.top, bottom: b.bottom }; }"))


@pytest.mark.browser
def test_what_stays_the_same_is_one_line_and_can_be_changed(phone: Any) -> None:
    line = phone.locator("#evening-line span")
    assert line.inner_text() == "time_constrained · 2 observers · read to ±0.3 °C · looking for EWIL, DMON · °C, mm"
    assert phone.locator("#evening").is_hidden()
    phone.get_by_role("button", name="Change what stays for this evening").tap()
    assert phone.locator("#visits-0-observer_count").input_value() == "2"


@pytest.mark.browser
def test_a_find_takes_at_most_eight_taps_and_two_numbers_on_one_screen(
    phone: Any, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    phone.locator("#site-list").get_by_role("button", name="RILL-01").tap()
    counted = []
    for n, (taxon, stage, where, reading) in enumerate(
        [("EWIL", "larva", "rock_in_flow", "water_temp_c"), ("DMON", "adult", "wet_rock", "substrate_temp_c")], 1
    ):
        thumb = Thumb(phone)
        thumb.button("Add a find")
        phone.wait_for_timeout(100)
        card, add = box_of(phone, f"#finds-{n}"), box_of(phone, "#add-find")
        assert card["top"] >= -1 and add["bottom"] <= HEIGHT, "a find and the button for the next stand on one screen"
        assert [one.input_value() for one in phone.locator(f"#finds-{n} input").all()] == [""] * phone.locator(f"#finds-{n} input").count()
        shown = [name for name in form.FIRST["finds"] if phone.locator(f"#finds-{n}-{name}").is_visible()]
        assert shown == list(form.USUAL), "the five usual fields; the rest stands behind “More fields”"
        thumb.button(f"Taxon: {taxon}", f"#finds-{n}")
        thumb.button(f"Life stage: {stage}", f"#finds-{n}")
        thumb.choose(f"finds-{n}-microhabitat", where)
        thumb.button("Count: 1", f"#finds-{n}")
        thumb.number(f"finds-{n}-{reading}", "11.2")
        assert abs(box_of(phone, f"#finds-{n}")["top"] - card["top"]) <= 1, "nobody had to scroll, and nothing moved under the thumb"
        counted.append((thumb.taps, thumb.numbers))
    with capsys.disabled():
        print(f"\na find by thumb at {WIDTH} px: {counted} taps and numbers")
    assert all(taps <= 8 and numbers <= 2 for taps, numbers in counted)
    assert phone.locator("#find-list li").all_inner_texts() == [
        "1: 1 EWIL larva · rock_in_flow · water 11.2",
        "2: 1 DMON adult · wet_rock · substrate 11.2",
    ]
    assert phone.locator("#finds-1").is_hidden()
    phone.locator("#find-list button").first.tap()
    assert phone.locator("#finds-1").is_visible() and phone.locator("#finds-2").is_hidden()
    _, document = saved(phone, folder, click_save(phone))
    assert [(one["taxon"], one["count"], one["microhabitat"]) for one in document["finds"]] == [
        ("EWIL", "1", "rock_in_flow"),
        ("DMON", "1", "wet_rock"),
    ]


@pytest.mark.browser
def test_a_visit_without_finds_takes_at_most_six_taps_and_states_its_absences(
    phone: Any, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    phone.clock.set_fixed_time("2024-05-04T01:30:00Z")
    thumb = Thumb(phone)
    thumb.button("RILL-01", "#site-list")
    nothing, add = box_of(phone, "#nothing"), box_of(phone, "#add-find")
    assert nothing == add and nothing["bottom"] - nothing["top"] >= 60, "as large, and beside it"
    phone.clock.set_fixed_time("2024-05-04T02:40:00Z")
    thumb.button("Nothing found")
    phone.wait_for_timeout(300)
    thumb.button("Ended now, 22:40", "#readback")
    phone.wait_for_timeout(300)
    thumb.button("70 min, start to end", "#readback")
    phone.wait_for_timeout(300)
    thumb.button("Every animal met was counted: yes", "#readback")
    phone.wait_for_timeout(300)
    assert "States that these were looked for and not there: EWIL, DMON." in phone.locator("#readback").inner_text()
    path, document = saved(phone, folder, lambda: thumb.button("Save to a file"))
    with capsys.disabled():
        print(f"\na visit without finds by thumb: {thumb.taps} taps")
    assert thumb.taps <= 6 and thumb.numbers == 0
    (visit,) = document["visits"]
    assert (visit["site_id"], visit["visit_date"], visit["start_time"], visit["end_time"]) == ("RILL-01", "2024-05-03", "21:30", "22:40")
    assert run.load_files(folder, [path], today=TODAY).exit_code == 0
    with open_book(folder) as connection:
        assert sorted(connection.execute("SELECT taxon FROM absences").fetchall()) == [("DMON",), ("EWIL",)]


@pytest.mark.browser
def test_the_readback_and_the_button_that_saves_stand_on_one_screen(phone: Any) -> None:
    phone.locator("#site-list").get_by_role("button", name="RILL-01").tap()
    for n, (taxon, stage, reading) in enumerate([("EWIL", "larva", "11.2"), ("EWIL", "larva", "12.1"), ("DMON", "adult", "11.6")], 1):
        phone.get_by_role("button", name="Add a find").tap()
        for name, text in {
            "taxon": taxon,
            "life_stage": stage,
            "count": "2",
            "microhabitat": "rock_in_flow",
            "water_temp_c": reading,
        }.items():
            phone.locator(f"#finds-{n}-{name}").fill(text)
    phone.wait_for_timeout(300)
    text = phone.locator("#readback").inner_text()
    rows = [row.split("\t") for row in text.splitlines() if row.startswith(("DMON\t", "EWIL\t"))]
    assert [[cell.strip() for cell in row] for row in rows] == [["DMON", "adult", "1", "2"], ["EWIL", "larva", "2", "4"]]
    assert "Water 11.2 to 12.1 °C (3)" in text and "Empty: End · Search time" in text
    assert "States no absence: all that were looked for were found." in text
    phone.locator("#end-head").evaluate("e => e.scrollIntoView({ block: 'start' })")
    assert box_of(phone, "#end-head")["top"] >= -1 and box_of(phone, "#save")["bottom"] <= HEIGHT


@pytest.mark.browser
def test_the_evening_goes_on_to_the_next_site_and_is_only_offered_on_another_day(phone: Any) -> None:
    phone.clock.set_fixed_time("2024-05-04T01:30:00Z")
    phone.locator("#site-list").get_by_role("button", name="RILL-01").tap()
    phone.locator("#visits-0-water_temp_c").fill("11.2")
    phone.get_by_role("button", name="Start the next visit").tap()
    assert "time_constrained · 2 observers" in phone.locator("#evening-line").inner_text()
    assert phone.locator("#visits-0-water_temp_c").input_value() == "" and phone.locator("#visits-0-start_time").input_value() == ""
    phone.clock.set_fixed_time("2024-05-09T01:30:00Z")
    phone.reload()
    assert phone.locator("#visits-0-protocol").input_value() == "", "last values are offered, never filled in"
    assert phone.locator("#evening").is_visible()
    phone.get_by_role("button", name="As on 2024-05-03: time_constrained · 2 observers").tap()
    assert phone.locator("#visits-0-protocol").input_value() == "time_constrained"


@pytest.mark.browser
def test_a_repair_waits_for_a_name(folder: Path, opened: Opened) -> None:
    page = opened(page_of(folder))
    page.locator("#visits-0-water_temp_c").fill("58")
    page.locator("#visits-0-water_temp_c").blur()
    page.get_by_role("button", name="It was °F: 14.44 °C").click()
    assert page.locator("#visits-0-water_temp_c").input_value() == "58", "nothing is changed before somebody stands for it"
    page.get_by_role("button", name="Mend").click()
    assert page.locator("#visits-0-water_temp_c").input_value() == "58"
    page.locator("#who-mends").fill("CD")
    page.get_by_role("button", name="Mend").click()
    assert page.locator("#visits-0-water_temp_c").input_value() == "58 F"
    assert page.locator("#who").input_value() == "CD"


def test_the_heading_names_no_more_than_a_public_page(folder: Path) -> None:
    """Common practice, no source: a form is seen over a shoulder; a title that names a site is left out of its heading."""
    shutil.rmtree(folder)
    run.init(folder, SETTINGS.replace("A form's test </script><b>", "Finds of Secret Spring"))
    sites = folder / "sites.csv"
    pd.DataFrame({"site_id": ["RILL-01"], "site_name": ["Secret Spring"], "habitat": ["spring"]}).to_csv(sites, index=False)
    assert run.load_files(folder, [sites], today=TODAY).exit_code == 0
    page, _, paper, _ = write_sheets(folder)
    assert "Finds of Secret" not in page.read_text(encoding="utf-8") and "Finds of Secret" not in paper.read_text(encoding="utf-8")
    assert "<h1>Survey form</h1>" in page.read_text(encoding="utf-8")
