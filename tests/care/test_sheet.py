"""The care sheet: what it says, what it must never say, and how it looks in a browser and on paper."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from care_study import HOSTILE, NORTH, SITE, Text, rows_of, sheet, study
from conftest import offline_pages

from pipeline.care.sheet import page, path_of
from pipeline.errors import RillbookError


def test_opening_and_closing_words(text: str) -> None:
    order = ["Invented study. Not for keeping animals.", "this page is no reason to collect", "Quarantine.", "Never release", "Waste water"]
    order += [
        "Permits, local law and a licensed veterinarian",
        "The card’s table",
        "The evidence, stage by stage",
        "no target",
        "When it gets too warm",
    ]
    places = [text.index(words) for words in order]
    assert places == sorted(places)
    assert "Permits, local law and a licensed veterinarian go before this page" in text
    assert "at most 2 °C an hour (3.6 °F an hour)" in text
    assert "No ice on the animal" in text
    last = "Not veterinary advice, not legal advice. Permits, local law and a licensed veterinarian go before this page."
    assert text.endswith(last)
    assert "CC-BY-4.0" in text and "seed 11" in text and "0a1b2c3d" not in text, "no hash of a sheet: it gives its places away"


def test_a_study_that_is_not_invented_has_no_banner() -> None:
    assert "nvented study" not in Text(sheet(invented=False)).text


def test_ceiling_is_marked_and_floor_or_its_absence_said(html: str, text: str) -> None:
    ceilings = re.findall(r'<p class="ceiling">(.*?)</p>', html)
    assert len(ceilings) == 3 and all("not a temperature to keep" in words for words in ceilings), "none for a stage without a target"
    assert "Ceiling 18 °C (64 °F): not a temperature to keep" in text
    assert "Floor 4 °C (40 °F): do not go below." in text
    assert "No floor: winter unknown. Do not go below the lowest month measured (June, band from 12 °C (53 °F))." in text
    assert "12–14 °C 53–57 °F" in rows_of(html, "Larvae, in water, south")["June"]


def test_unknown_origin_is_sent_to_the_card_of_the_coolest(text: str) -> None:
    assert "You do not know yours? Take the card card_INVA.html" in text


def test_text_of_users_stays_text_and_sites_stay_private(html: str) -> None:
    assert "&lt;img src=x onerror=alert(1)&gt; &amp; ${title}" in html
    assert not [tag for tag, _ in Text(html).tags if tag in ("img", "script", "link", "iframe", "object")]
    assert SITE not in html and "VISIT-" not in html and "2021-06-09" not in html
    targets, readings, taxa, facts = study()
    hostile = "$\\frac$ <script>alert(1)</script>"
    swap = {NORTH: hostile}
    targets, readings = targets.replace({"population": swap}), readings.replace({"population": swap})
    html = page("INVA", targets, readings, taxa.assign(scientific_name=hostile), facts)
    assert "<script" not in html and "&lt;script&gt;alert(1)&lt;/script&gt;" in html


def test_nothing_comes_from_outside(html: str) -> None:
    parsed = Text(html)
    for tag, attributes in parsed.tags:
        for name in ("src", "href", "xlink:href", "action", "data", "srcset"):
            value = attributes.get(name)
            assert value is None or value.startswith("#"), f"{tag} {name}={value}"
    assert "http:" not in html and "https:" not in html and "@import" not in html
    assert not re.search(r"url\((?!#)", html)


def test_ids_are_unique_and_point_somewhere(html: str) -> None:
    ids = re.findall(r'\sid="([^"]+)"', html)
    assert len(ids) == len(set(ids))
    pointed = re.findall(r'xlink:href="#([^"]+)"|url\(#([^)]+)\)', html)
    pointed += [(name, "") for names in re.findall(r'aria-labelledby="([^"]+)"', html) for name in names.split()]
    assert {one or other for one, other in pointed} <= set(ids)


def test_headings_come_in_order(html: str) -> None:
    levels = [int(tag[1]) for tag, _ in Text(html).tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(later <= earlier + 1 for earlier, later in pairwise(levels))
    assert '<html lang="en">' in html


def test_same_input_same_bytes(tmp_path: Path, html: str) -> None:
    targets, readings, taxa, facts = study()
    shuffled = readings.sample(frac=1, random_state=3), targets.sample(frac=1, random_state=3)
    assert page("INVA", shuffled[1], shuffled[0], taxa, facts) == html
    assert path_of(tmp_path / "out", "INVA") == tmp_path / "out" / "care_sheet_INVA.html"
    assert not re.search(r"20\d\d-\d\d-\d\d", html)


def test_unknown_taxon_and_a_taxon_without_readings() -> None:
    targets, readings, taxa, facts = study()
    with pytest.raises(RillbookError, match="no taxon 'NONE' in the book"):
        page("NONE", targets, readings, taxa, facts)
    assert "No temperature was read where this animal was found." in Text(page("INVA", targets[:0], readings[:0], taxa, facts)).text


def test_spring_taxa_are_warned_both_ways() -> None:
    targets, readings, taxa, facts = study()
    text = Text(page("INVA", targets, readings, taxa.assign(group="warm_spring"), facts)).text
    assert "Too cold is as unsafe as too warm" in text and "(P10 to P90)" in text


def test_plots_say_the_same_in_words(html: str) -> None:
    svgs = re.findall(r"<svg.*?</svg>", html, flags=re.DOTALL)
    assert len(svgs) == 3, "one plot a cell; two readings beside eggs stand in the table"
    for svg in svgs:
        assert 'role="img"' in svg[: svg.index(">")]
        assert re.search(r'<title id="plot-\d-title">[^<]+</title>\s*<desc id="plot-\d-desc">[^<]+</desc>', svg)
    north = next(svg for svg in svgs if "Larvae, in water, north" in svg)
    assert "October: 8 readings from 7.7 to 12.4, band 9 to 12, act above 14." in north
    assert "January" not in north and "Never above 18, not a temperature to keep." in north


# The browser: what a person sees, with no network.
@pytest.fixture(scope="module")
def opened(chromium: str, tmp_path_factory: pytest.TempPathFactory) -> Any:
    targets, readings, taxa, facts = study()
    path = path_of(tmp_path_factory.mktemp("sheet"), "INVA")
    path.write_text(page("INVA", targets, readings, taxa, facts), encoding="utf-8")
    with offline_pages(chromium) as open_page:
        yield lambda width, media=None: open_page(path, width, media=media)


LARGEST = """() => {
  const sizes = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode, parent = node.parentElement;
    if (!node.textContent.trim() || parent.closest('title, desc')) continue;
    const svg = parent.closest('svg');
    const scale = svg ? svg.getBoundingClientRect().width / svg.viewBox.baseVal.width : 1;
    sizes.push([parseFloat(getComputedStyle(parent).fontSize) * scale, parent.className.baseVal ?? parent.className]);
  }
  const largest = Math.max(...sizes.map(s => s[0]));
  return [...new Set(sizes.filter(s => s[0] > largest - 0.01).map(s => s[1]))];
}"""


OF_LARGEST = """() => { const own = e => parseFloat(getComputedStyle(e).fontSize);
  const hold = [...document.querySelectorAll('.hold b')].map(own), rest = [...document.querySelectorAll('main *')]
    .filter(e => !e.closest('.hold, h1, h2, h3, summary, svg')).map(own);
  return hold.length > 0 && Math.min(...hold) > Math.max(...rest); }"""


@pytest.mark.browser
@pytest.mark.parametrize(("width", "media"), [(1280, "screen"), (320, "screen"), (700, "print")])
def test_set_point_is_the_largest_type(opened: Any, width: int, media: str) -> None:
    # Set point and band, never the ceiling; titles of the page and of its parts apart.
    largest = opened(width, media).evaluate(LARGEST.replace("title, desc", "title, desc, h1, h2, h3, summary"))
    assert largest == [""] and opened(width, media).evaluate(OF_LARGEST) is True


@pytest.mark.browser
@pytest.mark.parametrize("width", [1280, 640, 320])
def test_page_never_scrolls_sideways(opened: Any, width: int) -> None:
    page = opened(width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    outside = """width => [...document.querySelectorAll('body *')].filter(e => !e.closest('.scroll') && !e.closest('thead')
        && e.getBoundingClientRect().right > width + 1).map(e => e.tagName + ': ' + e.textContent.slice(0, 40))"""
    assert page.evaluate(outside, width) == []


@pytest.mark.browser
def test_title_stays_text_in_the_browser(opened: Any) -> None:
    page = opened(1280)
    assert HOSTILE in page.inner_text("header")
    assert page.locator("img").count() == 0
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    assert page.get_by_role("img").count() == 3  # the plots


@pytest.mark.browser
def test_text_has_contrast(opened: Any) -> None:
    # WCAG 2.2, success criterion 1.4.3: 4.5 to 1 for text. Relative luminance of a grey as defined there; every colour here is a grey.
    script = """() => [...new Set([...document.querySelectorAll('main *, header *')].filter(e => !e.closest('svg'))
        .map(e => getComputedStyle(e).color))]"""
    for colour in opened(1280).evaluate(script):
        channels = [int(part) / 255 for part in re.findall(r"\d+", colour)[:3]]
        assert len(set(channels)) == 1, f"{colour} is not a grey"
        luminance = channels[0] / 12.92 if channels[0] <= 0.04045 else ((channels[0] + 0.055) / 1.055) ** 2.4
        assert 1.05 / (luminance + 0.05) >= 4.5


@pytest.mark.browser
def test_a_figure_of_the_card_is_two_clicks_away(opened: Any) -> None:
    """Closed but for the first; one click opens the fold of a stage, where its months stand."""
    page = opened(1280)
    folds = page.locator("details")
    assert folds.count() == 3 and page.locator("details[open]").count() == 1
    last = folds.nth(2)
    assert not last.locator("table.keep").is_visible()
    last.locator("summary").click()
    assert last.locator("table.keep").is_visible()


@pytest.mark.browser
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_prints_short(opened: Any, paper: str) -> None:
    page = opened(1280, "print")
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", page.pdf(format=paper))) <= 9
