"""The paper sheet: the fields of the schemas, the cautions, and what comes out of a printer."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from conftest import offline_pages

from pipeline.commands import demo_study as demo
from pipeline.entry import paper
from pipeline.settings import Settings, parse_settings
from schemas.tables import fields
from schemas.vocabulary import codes

TRICK = "<img src=x onerror=\"document.title='y'\"> {{ 7*7 }}"
# ISO 216 and ANSI/ASME Y14.1, in mm, laid across.
SIZES = {"A4": (297, 210), "Letter": (279.4, 215.9)}
SHEETS = 6
# 7 mm is the usual ruling of writing paper (ISO 216 pads are sold so; common practice, no source): a pencil needs no less.
LEAST_MM = 7
MM = 96 / 25.4


@pytest.fixture(scope="module")
def settings() -> Settings:
    title = 'title = "' + TRICK.replace('"', '\\"')
    return parse_settings(demo.settings_text().replace('title = "', title, 1), "rillbook.toml")


@pytest.fixture(scope="module")
def path(settings: Settings, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return paper.write(tmp_path_factory.mktemp("out"), settings, {})


@pytest.fixture(scope="module")
def html(path: Path) -> str:
    return path.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def opened(chromium: str, path: Path) -> Iterator[Callable[..., Any]]:
    with offline_pages(chromium, allowed=("file:",)) as open_page:
        yield lambda width, page_path=path: open_page(page_path, width)


@pytest.mark.parametrize("table", paper.TABLES)
def test_the_sheet_has_the_fields_of_the_schema_each_once(html: str, table: str) -> None:
    written = re.findall(rf'data-field="{table}\.(\w+)"', html)
    declared = [name for name, one in fields(table).items() if not one.derived]
    assert sorted(written) == sorted(declared)


def test_what_is_noted_at_nearly_every_animal_stands_on_the_first_sheet() -> None:
    first = [one.name for one in paper.grids("finds")[0]]
    needed = [name for name, one in fields("finds").items() if one.required and name != "visit_id"]
    assert set(needed) <= set(first)
    assert {"water_temp_c", "substrate_temp_c", "gills", "found_at"} <= set(first)
    for table, names in paper.FIRST.items():
        assert set(names) <= set(fields(table)), "a name that no field has"


def test_every_unit_and_code_is_on_the_sheet(html: str) -> None:
    for table in paper.TABLES:
        for one in fields(table).values():
            if one.derived:
                continue
            if one.kind == "code":
                assert all(f"<dt>{code}</dt>" in html for code in codes(one.vocabulary)), one.name
            if one.unit and one.name not in paper.ONCE.get(table, ()):
                assert re.search(rf'data-field="{table}\.{one.name}"[^>]*>.*?class="unit">{re.escape(one.unit)}<', html), one.name
    assert "<dt>DMON</dt>" in html


CAUTIONS = [
    "Not alone.", "check in", "Rising water", "Lift rocks toward you", "do not lift this rock again this season",
    "Bleach never with acid, ammonia or any other product",
]  # fmt: skip


@pytest.mark.parametrize("words", CAUTIONS)
def test_the_cautions_stand_before_the_first_box(html: str, words: str) -> None:
    """docs/method.md and docs/safety.md: the field sheet's cautions; the order of disinfection is NEPARC's, as docs/safety.md says."""
    assert html.index(words) < html.index('class="box"')


def test_disinfection_comes_in_its_order(html: str) -> None:
    steps = ["1 brush off mud", "2 wash", "3 disinfect", "4 rinse, away from any water", "5 dry"]
    places = [html.index(step) for step in steps]
    assert places == sorted(places) and places[-1] < html.index('class="box"')


def test_a_hostile_title_is_text(html: str, opened: Callable[..., Any]) -> None:
    assert "<img" not in html and "{{ 7*7 }}" in html
    page = opened(1280)
    assert page.title() != "y" and TRICK in page.inner_text("#visit header")


@pytest.mark.browser
@pytest.mark.parametrize("width", [320, 375, 1280])
def test_the_page_never_runs_over_the_side(opened: Callable[..., Any], width: int) -> None:
    page = opened(width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.browser
@pytest.mark.parametrize("size", SIZES)
def test_it_prints_on_six_pages_and_nothing_is_cut(opened: Callable[..., Any], size: str) -> None:
    """A page too tall makes one page more; a page too wide is shrunk, which the widths of the boxes below show."""
    page = opened(1280)
    page.check(f'input[value="{size}"]')
    made = page.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", made)) == SHEETS
    boxes = {tuple(float(one) for one in box.split()[2:]) for box in re.findall(rb"/MediaBox\s*\[([^\]]+)\]", made)}
    (box,) = boxes
    assert [round(one / 72 * 25.4) for one in box] == [round(one) for one in SIZES[size]]


@pytest.mark.browser
@pytest.mark.parametrize("size", SIZES)
def test_boxes_are_big_enough_for_a_pencil(opened: Callable[..., Any], size: str) -> None:
    page = opened(round((SIZES[size][0] - 20) * MM))
    page.emulate_media(media="print")
    cells = page.eval_on_selector_all(
        "tbody td, .box",
        "all => all.map(one => [one.getBoundingClientRect().width, one.getBoundingClientRect().height, one.getBoundingClientRect().right])",
    )
    assert len(cells) > 400
    assert min(min(width, height) for width, height, _ in cells) / MM >= LEAST_MM
    assert max(right for _, _, right in cells) <= page.viewport_size["width"] + 1
    # room to write below the words of a box
    room = page.eval_on_selector_all(
        ".box", "all => all.map(one => one.getBoundingClientRect().bottom - one.lastElementChild.getBoundingClientRect().bottom)"
    )
    assert min(room) / MM >= LEAST_MM
    cut = page.eval_on_selector_all(
        "th, .box", "all => all.filter(one => one.scrollWidth > one.clientWidth + 1).map(one => one.textContent)"
    )
    assert not cut


@pytest.mark.browser
def test_a_book_of_many_taxa_still_prints_them_all(opened: Callable[..., Any], tmp_path: Path) -> None:
    text = demo.settings_text() + "".join(
        f'\n[[taxon]]\ncode = "T{number:03d}"\nscientific_name = "Invented taxon {number}"\ngroup = "cool_stream"\n'
        for number in range(120)
    )
    path = paper.write(tmp_path, parse_settings(text, "x"), {})
    made = opened(1280, path).pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", made)) == SHEETS + 1
    assert "<dt>T119</dt>" in path.read_text(encoding="utf-8")
