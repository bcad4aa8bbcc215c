"""What the form reads and warns of is what loading reads and warns of; nothing typed is lost or turned into something else."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from form_pages import HEADER, Keyboard, Opened, click_save, mend, page_of, saved, type_row

from pipeline.checking.nearest import nearest
from pipeline.commands import run
from pipeline.entry import form
from pipeline.reading.values import read_column
from schemas.rules.rules import rules_of
from schemas.tables import fields

CASES = Path(__file__).parents[1] / "cases"
# Texts of docs/typing.md, and neighbours of them that must not be guessed.
TEXTS = {
    "water_temp_c": [
        "14.4",
        "14,5",
        "58F",
        "58 °F",
        "14.4 °C",
        "58°",
        "14-15",
        "1,234",
        ".5",
        "12.",
        "+3",
        "\u22120.4",
        "45 g",
        "1e1",
        "abc",
    ],
    "svl_mm": ["45", "4.5 cm", "45 mm", "45 g", "2 in", "0.04 m", "1,23", "0,045 m"],
    "mass_g": ["1.5", "900 mg", "0,5", "1 oz"],
    "count": ["3", "3+", "2-3", "about 3", "2.5", "3.0", "3 +"],
    "pass_no": ["2+", "2"],
    "found_at": ["21:52", "9:52", "2152", "21.52", "9.52 pm", "952 pm", "9:52:33", "952", "0.41", "24:00", "13 pm", "12:05 am"],
    "latitude": ["36.20417", "36.20417000N", "36 12.250 N", "N 36 12 30", "-36.2S", "36.20417W", "36 75 N"],
    "life_stage": ["larva", "Larva", "egg mass", "larvae"],
    "taxon": ["EWIL", "ewil", "XXXX"],
}
# These need the rest of the book, a second visit or the day of entry, or are told in another way: the pair side by side, the stop at
# the field, the question at the end. tests/test_slips.py looks at what the form makes of them.
ELSEWHERE = {
    "date_future", "no_effort", "visit_twice", "clock_ambiguous", "taxon_unknown", "find_far_from_site", "near_duplicate",
    "coordinates_swapped", "longitude_sign_lost", "outside_study_area", "date_last_year", "date_year_apart", "site_code_alike",
    "water_off_season", "animal_changed",
}  # fmt: skip


def unfold(page: Any) -> None:
    page.locator(".more").evaluate_all("all => all.forEach(one => one.dispatchEvent(new CustomEvent('unfold')))")


@pytest.mark.browser
@pytest.mark.parametrize("name", TEXTS)
def test_a_text_is_stopped_exactly_if_loading_would_not_read_it(folder: Path, opened: Opened, name: str) -> None:
    page = opened(page_of(folder))
    page.get_by_role("button", name="Add a find").click()
    unfold(page)
    declared = fields("finds")[name]
    box = page.locator(f"#finds-1-{name}")
    for text in TEXTS[name]:
        typed = read_column(pd.Series([text], dtype="str"), declared)
        reads = not any(bool(mask[0]) for mask in typed.faults.values())
        if reads and declared.possible:
            reads = bool(declared.possible[0] <= typed.values[0] <= declared.possible[1])
        if name == "taxon":
            reads = text.casefold() in ("ewil", "dmon")
        box.fill(text)
        box.blur()
        assert (box.get_attribute("aria-invalid") == "false") == reads, text


@pytest.mark.browser
@pytest.mark.parametrize(("typed", "celsius"), [("\u22124", -20.0), ("50.", 10.0), ("+50", 10.0), ("50,0", 10.0), ("12 C", 12.0)])
def test_every_way_to_write_a_number_keeps_the_unit_that_was_chosen(folder: Path, opened: Opened, typed: str, celsius: float) -> None:
    """°F = 1.8 °C + 32. A text that lost its unit would be taken in as °C, in silence."""
    page = opened(page_of(folder))
    page.get_by_label("°F").check()
    page.locator("#visits-0-protocol").focus()
    type_row(Keyboard(page), "visits", {**HEADER, "air_temp_c": typed, "water_temp_c": "50"})
    page.get_by_role("button", name="Nothing found").click()
    _, document = saved(page, folder, click_save(page))
    read = read_column(pd.Series([document["visits"][0]["air_temp_c"]], dtype="str"), fields("visits")["air_temp_c"])
    assert read.values[0] == pytest.approx(celsius)


@pytest.mark.browser
def test_a_new_site_is_not_silently_turned_into_one_that_is_known(folder: Path, opened: Opened) -> None:
    page = opened(page_of(folder))
    page.locator("#visits-0-site_id").focus()
    page.keyboard.type("RILL-0")
    page.keyboard.press("Tab")
    assert page.locator("#visits-0-site_id").input_value() == "RILL-01"
    assert "Taken: RILL-01" in page.locator("#say").inner_text()
    page.get_by_role("button", name="No: keep “RILL-0”").click()
    assert page.locator("#visits-0-site_id").input_value() == "RILL-0"


@pytest.mark.browser
def test_a_tap_elsewhere_guesses_no_code(folder: Path, opened: Opened) -> None:
    page = opened(page_of(folder))
    page.get_by_role("button", name="Add a find").click()
    page.locator("#finds-1-microhabitat").focus()
    page.keyboard.type("rock")
    page.locator("h1").click()
    assert page.locator("#finds-1-microhabitat").input_value() == "rock"
    assert "none of the codes" in page.locator("#finds-1-microhabitat-told").inner_text()


CASED = [(rule.id, rule.table, rule.message) for table in form.TABLES for rule in rules_of(table) if rule.id not in ELSEWHERE]


def document_of(rule: str, table: str) -> dict[str, Any]:
    with (CASES / f"{rule}.{table}.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    with (CASES / "base" / "visits.csv").open(encoding="utf-8", newline="") as file:
        visits = [row for row in csv.DictReader(file) if row["visit_id"] == "V1"]
    return {"format": "rillbook survey", "version": 1, "visits": visits, **{table: rows}}


@pytest.mark.browser
@pytest.mark.parametrize(("rule", "table", "message"), CASED, ids=[rule for rule, _, _ in CASED])
def test_a_slip_that_loading_would_find_is_told_without_a_book(tmp_path: Path, opened: Opened, rule: str, table: str, message: str) -> None:
    """The bad rows of the rules are those of the check itself; each of them breaks one rule and no other."""
    here = tmp_path / "book"
    run.init(here, (CASES / "base" / "rillbook.toml").read_text(encoding="utf-8"))
    path = tmp_path / "visit.json"
    path.write_text(json.dumps(document_of(rule, table)), encoding="utf-8")
    page = opened(page_of(here))
    page.locator("#file").set_input_files(path)
    page.get_by_text("is open. Save it again").wait_for()
    told = " ".join(page.locator(".told").all_text_contents())
    assert message.casefold() in told.casefold()
    for other in rules_of(table):
        # unusual values are asked about in their own words
        assert other.id == rule or other.message.casefold() not in told.casefold(), other.id


@pytest.mark.browser
def test_a_saved_visit_opens_again_and_is_saved_as_it_was(folder: Path, opened: Opened) -> None:
    page = opened(page_of(folder))
    page.locator("#visits-0-protocol").focus()
    type_row(Keyboard(page), "visits", HEADER)
    page.get_by_role("button", name="Add a find").click()
    for name, text in {"taxon": "EWIL", "life_stage": "larva", "count": "1", "microhabitat": "rock_in_flow", "water_temp_c": "58"}.items():
        page.locator(f"#finds-1-{name}").fill(text)
        page.locator(f"#finds-1-{name}").blur()
    mend(page, "It was °F")
    path, document = saved(page, folder, click_save(page))
    assert document["corrections"]
    kept = folder / "kept.json"
    shutil.copy(path, kept)
    page.get_by_role("button", name="Start the next visit").click()
    page.locator("#file").set_input_files(kept)
    page.get_by_text("is open. Save it again").wait_for()
    assert saved(page, folder, click_save(page))[1] == document
    (folder / "cut.json").write_text(kept.read_text(encoding="utf-8")[:80], encoding="utf-8")
    page.locator("#file").set_input_files(folder / "cut.json")
    page.get_by_text("cut.json cannot be opened").wait_for()
    assert page.locator("#finds-2-taxon, #finds-1-taxon").first.input_value() == "EWIL", "what is open stays"


@pytest.mark.browser
def test_a_repair_that_is_typed_over_is_not_written_down(folder: Path, opened: Opened) -> None:
    page = opened(page_of(folder))
    page.locator("#visits-0-protocol").focus()
    type_row(Keyboard(page), "visits", {**HEADER, "water_temp_c": "58"})
    page.locator("#visits-0-water_temp_c").blur()
    mend(page, "It was °F")
    page.locator("#visits-0-water_temp_c").fill("14.1")
    page.locator("#visits-0-water_temp_c").blur()
    page.get_by_role("button", name="Nothing found").click()
    _, document = saved(page, folder, click_save(page))
    assert document["visits"][0]["water_temp_c"] == "14.1" and "corrections" not in document


@pytest.mark.browser
def test_deleted_finds_come_back_in_turn_and_after_a_reload(folder: Path, opened: Opened) -> None:
    page = opened(page_of(folder))
    for number in (1, 2, 3):
        page.get_by_role("button", name="Add a find").click()
        page.locator(f"#finds-{number}-svl_mm").fill(str(40 + number))
    for number in (1, 2):
        page.locator(f"#finds-{number}").get_by_role("button", name="Delete").click()
    page.reload()
    for number in (2, 1):
        page.get_by_role("button", name=f"Bring find {number} back").click()
    assert page.locator("#back").is_hidden()
    assert [page.locator(f"#finds-{number}-svl_mm").input_value() for number in (1, 2, 3)] == ["41", "42", "43"]
    assert page.locator("#finds legend").all_inner_texts() == ["Find 1", "Find 2", "Find 3"]


@pytest.mark.browser
def test_two_windows_of_one_visit_do_not_write_over_each_other(folder: Path, opened: Opened) -> None:
    first = opened(page_of(folder))
    second = first.context.new_page()
    second.goto(first.url)
    second.locator("#visits-0-water_temp_c").fill("11.2")
    first.wait_for_function("document.getElementById('visits-0-water_temp_c').value === '11.2'")
    first.locator("#visits-0-air_temp_c").fill("14.5")
    second.wait_for_function("document.getElementById('visits-0-air_temp_c').value === '14.5'")
    second.reload()
    assert [second.locator(f"#visits-0-{name}").input_value() for name in ("water_temp_c", "air_temp_c")] == ["11.2", "14.5"]


@pytest.mark.browser
def test_a_stop_is_heard_by_a_screen_reader(folder: Path, opened: Opened) -> None:
    """WCAG 2.2, 4.1.3: a message that does not take the focus stands in a live region."""
    page = opened(page_of(folder))
    page.locator("#visits-0-water_temp_c").focus()
    page.keyboard.type("70")
    page.keyboard.press("Tab")
    assert page.locator("#heard[aria-live=assertive]").inner_text().startswith("Water: Possible is")


@pytest.mark.browser
def test_a_refused_position_hides_the_button(folder: Path, opened: Opened) -> None:
    script = "Object.defineProperty(navigator, 'geolocation', { value: { getCurrentPosition: (done, failed) => failed({ code: 1 }) } });"
    page = opened(page_of(folder), script=script)
    page.get_by_role("button", name="Add a find").click()
    page.get_by_role("button", name="This device’s position").click()
    assert page.get_by_role("button", name="This device’s position").count() == 0
    assert "gave no position" in page.locator("#say").inner_text()


@pytest.mark.browser
def test_today_and_now_are_those_of_the_book(folder: Path, opened: Opened) -> None:
    """IANA time zone database: at 2024-05-04T02:30Z it is 22:30 of the day before in New York (daylight saving, UTC-4)."""
    page = opened(page_of(folder), timezone_id="Asia/Tokyo")
    page.clock.set_fixed_time("2024-05-04T02:30:00Z")
    page.get_by_role("button", name="Today").click()
    page.get_by_role("button", name="Now").first.click()
    assert page.locator("#visits-0-visit_date").input_value() == "2024-05-03"
    assert page.locator("#visits-0-start_time").input_value() == "22:30"


@pytest.mark.browser
def test_a_reload_that_finds_the_storage_empty_takes_the_copy_of_the_window(folder: Path, opened: Opened) -> None:
    page = opened(page_of(folder))
    page.locator("#visits-0-water_temp_c").fill("11.2")
    page.evaluate("localStorage.clear()")
    page.reload()
    assert page.locator("#visits-0-water_temp_c").input_value() == "11.2"
    page.get_by_role("button", name="Start the next visit").click()
    page.reload()
    assert page.locator("#visits-0-water_temp_c").input_value() == "", "a visit that was ended does not come back by itself"


@pytest.mark.browser
@pytest.mark.parametrize("typed", ["rill-01", "RILL01", "RLIL-01", "RIL-02", "QUARRY-9", "RILL-11"])
def test_the_nearest_sites_are_those_of_loading(folder: Path, opened: Opened, typed: str) -> None:
    """`pipeline.checking.nearest`, which names the nearest codes when a sheet is loaded."""
    page = opened(page_of(folder))
    # as an opened file brings it: what is typed in other case alone is taken at once
    (folder / "visit.json").write_text(
        json.dumps({"format": "rillbook survey", "version": 1, "visits": [{"site_id": typed}]}), encoding="utf-8"
    )
    page.locator("#file").set_input_files(folder / "visit.json")
    page.get_by_text("is open. Save it again").wait_for()
    offered = page.locator("#visits-0-site_id-told button").all_inner_texts()
    assert offered == [*(f"It is {code}" for code in nearest(typed, ["RILL-01", "RILL-02"])), "It is a new site"]


@pytest.mark.browser
def test_a_code_in_other_case_is_taken_and_said(folder: Path, opened: Opened) -> None:
    page = opened(page_of(folder))
    page.locator("#visits-0-site_id").focus()
    page.keyboard.type("rill01")
    page.locator("h1").click()
    assert page.locator("#visits-0-site_id").input_value() == "RILL-01" and "Taken: RILL-01" in page.locator("#say").inner_text()


@pytest.mark.browser
def test_swapped_air_and_water_and_turned_digits_are_offered_where_they_are_likely(folder: Path, opened: Opened) -> None:
    page = opened(page_of(folder))
    page.locator("#visits-0-air_temp_c").fill("12")
    page.locator("#visits-0-water_temp_c").fill("24")
    page.locator("#visits-0-water_temp_c").blur()
    mend(page, "They changed places: air 24, water 12")
    assert [page.locator(f"#visits-0-{name}").input_value() for name in ("air_temp_c", "water_temp_c")] == ["24", "12"]
    for number, text in enumerate(("11.6", "12.1", "11.8", "21"), 1):
        page.get_by_role("button", name="Add a find").click()
        page.locator(f"#finds-{number}-water_temp_c").fill(text)
        page.locator(f"#finds-{number}-water_temp_c").blur()
    mend(page, "Two digits changed places: 12")
    assert page.locator("#finds-4-water_temp_c").input_value() == "12"
    page.locator("#finds-4-water_temp_c").fill("19.5")
    page.locator("#finds-4-water_temp_c").blur()
    told = page.locator("#finds-4-water_temp_c-told")
    assert "from all other readings" in told.inner_text()
    assert told.get_by_role("button").all_inner_texts() == ["Yes, it is right"], "no reading is likely: nothing is offered"
