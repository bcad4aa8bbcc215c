"""The care sheet: what it says, what it must never say, and how it looks in a browser and on paper."""

from __future__ import annotations

import math
import re
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from conftest import offline_pages
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from pipeline.care.months import row_fahrenheit
from pipeline.care.sheet import page, write
from pipeline.errors import RillbookError
from pipeline.settings.limits import published_guidance
from pipeline.writing.words import fahrenheit, number
from schemas.frames import TARGET_COLUMNS, Readings, check_targets

HOSTILE = "<img src=x onerror=alert(1)> & ${title}"
NORTH, SOUTH = "north fork, 300–600 m", "south fork, 600–900 m"
SITE = "SECRET-SPRING"


def reading_rows(population: str, stage: str, medium: str, month: int, values: list[float], **changes: Any) -> list[dict[str, Any]]:
    rows = []
    for k, value in enumerate(values):
        year = 2019 + k % 3
        row = {
            "taxon": "INVA",
            "population": population,
            "life_stage": stage,
            "medium": medium,
            "month": month,
            "site": f"{SITE}-{k % 7}",
            "visit_id": f"VISIT-{month}-{k % 14}",
            "date": pd.Timestamp(year, month, 1 + k % 27),
            "year": year,
            "hour": float(k % 24),
            "night": k % 4 == 0,
            "value": value,
            "accuracy_c": 0.5 if k % 3 else None,
            "from_visit": k % 5 == 0,
            "medium_assumed": False,
            "at_nest": False,
            "depth_cm": None,
            "n_animals": 1 + k % 2,
        }
        rows.append({**row, **changes})
    return rows


def target_row(population: str, stage: str, medium: str, month: str, values: list[float], **changes: Any) -> dict[str, Any]:
    """A row of targets as the method would fill it from a sample of readings; quantiles unrounded, grade C."""
    row: dict[str, Any] = dict.fromkeys(TARGET_COLUMNS, math.nan)
    row.update(taxon="INVA", population=population, life_stage=stage, medium=medium, month=month)
    row.update(quantity="temperature", unit="°C", basis="observed", status="refused", reason="", borrowed_from="", grade="D")
    row.update(ceiling_bound_by="cap of the group; not from the records", cut_by_ceiling=False)
    n = len(values)
    row.update(n_readings=n, n_animals=n, n_visits=n, n_dates=min(n, 9), n_sites=min(n, 7), n_years=3)
    if values:
        p05, p25, p50, p75, p95 = (float(x) for x in np.quantile(values, [0.05, 0.25, 0.5, 0.75, 0.95], method="inverted_cdf"))
        row.update(min=min(values), max=max(values), p05=p05, p25=p25, p50=p50, p75=p75, p95=p95)
    if len(values) >= 10:
        row.update(status="target", grade="C", set_point=math.floor(row["p50"]), band_high=math.floor(row["p75"]))
        row.update(band_low=min(math.ceil(row["p25"]), row["band_high"]), act_line=math.floor(row["p75"] + 2))
        row.update(band_low=min(row["band_low"], row["set_point"]), day_shift=0.0)
        row.update(set_point_low=row["set_point"], set_point_high=row["set_point"])
    return {**row, **changes}


def spread(middle: float, n: int) -> list[float]:
    return [round(middle + 2.4 * math.sin(k * 2.399), 1) for k in range(n)]


def study() -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame, dict[str, Any]]:
    """Larvae strong in the north and provisional in the south, adults with a winter, eggs refused."""
    targets, readings = [], []
    middles = {3: 6.4, 4: 8.2, 5: 10.7, 6: 13.3, 7: 15.2, 8: 15.6, 9: 13.8, 10: 10.1, 11: 7.3}
    north = {"ceiling": 18.0, "p95_bound": 19.4, "allowance": 1.3, "ceiling_bound_by": "second-warmest day of the records"}
    for month, middle in middles.items():
        values = spread(middle, 3 if month == 11 else 8 if month == 10 else 40)
        readings += reading_rows(NORTH, "larva", "water", month, values)
        row = target_row(NORTH, "larva", "water", str(month), values, **north)
        if month not in (10, 11):
            row.update(grade="B", p50_low=row["p50"] - 0.8, p50_high=row["p50"] + 0.9)
        if month == 8:
            row.update(band_high=17.0, cut_by_ceiling=True)
        if month == 10:
            row.update(status="borrowed", borrowed_from="9", grade="C", reason="4 dates of 6 needed; borrowed from September")
            row.update(set_point=10.0, set_point_low=10.0, set_point_high=10.0, band_low=9.0, band_high=12.0, act_line=14.0, day_shift=0.0)
        if month == 11:
            row.update(reason="fewer than 3 sites")
        row.update(act_line=min(row["act_line"], 17.5) if pd.notna(row["act_line"]) else math.nan)
        targets.append(row)
    for month in (1, 2, 12):
        targets.append(target_row(NORTH, "larva", "water", str(month), [], reason="no readings", **north))
    warm = [row["value"] for row in readings if row["month"] in (6, 7, 8, 9)]
    targets.append(target_row(NORTH, "larva", "water", "warm", warm, grade="B", p50_low=13.9, p50_high=15.2, **north))
    values = spread(12.4, 14)
    readings += reading_rows(SOUTH, "larva", "water", 6, values, year=2021, date=pd.Timestamp(2021, 6, 9), night=False)
    targets.append(target_row(SOUTH, "larva", "water", "6", values, ceiling=16.0))
    for month, middle in {1: 5.1, 2: 5.6, 7: 14.9}.items():
        values = spread(middle, 30)
        readings += reading_rows(NORTH, "adult", "land", month, values)
        row = target_row(NORTH, "adult", "land", str(month), values, ceiling=19.5, floor=4.0, grade="A", p95_bound=20.9, allowance=1.0)
        targets.append({**row, "band_low": max(4, math.floor(middle - 1))})
    values = [11.2, 11.9]  # beside the eggs, not at the nest: such a cell has readings and no row of targets
    readings += reading_rows(NORTH, "egg_mass", "water", 7, values, at_nest=False)
    types = {"month": "Int64", "year": "Int64", "n_animals": "Int64", "night": "boolean"}
    frame = pd.DataFrame(readings, columns=[name for name in Readings.to_schema().columns if name != "visit_ids"]).astype(types)
    taxa = pd.DataFrame([{"code": "INVA", "scientific_name": "Inventa fontinalis", "rank": "species", "group": "cool_stream"}])
    excluded = [("INVA", "larva", "sick or dead", 4), ("OTHER", "adult", "not of this page", 9)]
    facts = {
        "title": f"Survey of the {HOSTILE} rill",
        "invented": True,
        "author": "nobody; it is made up",
        "licence": "CC-BY-4.0",
        "seed": 11,
        "method_version": "1",
        "input_hash": "sha256:" + "0a1b2c3d" * 8,
        "time_zone": "America/New_York",
        "notes": ["Mean canopy 71 %; sites lie from 310 to 840 m."],
        "exclusions": pd.DataFrame(excluded, columns=["taxon", "life_stage", "reason", "n_finds"]),
        "allowances": {("INVA", NORTH, "larva", "water"): {"thermometer": 0.5, "daytime": 0.8}},
        "cooling_c_per_hour": 2.0,
    }
    return check_targets(pd.DataFrame(targets, columns=list(TARGET_COLUMNS))), frame, taxa, facts


def sheet(**changes: Any) -> str:
    targets, readings, taxa, facts = study()
    return page("INVA", targets, readings, taxa, {**facts, **changes})


class Text(HTMLParser):
    """Collects tags, attributes and the text a reader sees."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.parts: list[str] = []
        self.inside: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag in ("style", "svg"):
            self.inside.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if self.inside and self.inside[-1] == tag:
            self.inside.pop()

    def handle_data(self, data: str) -> None:
        if not self.inside:
            self.parts.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.parts).split())


@pytest.fixture(scope="module")
def html() -> str:
    return sheet()


@pytest.fixture(scope="module")
def text(html: str) -> str:
    return Text(html).text


def rows_of(html: str, heading: str) -> dict[str, str]:
    """Text of the rows of the keeper's table under a heading, by month."""
    part = html[html.index("<main>") :]
    table = part[part.index(heading) :]
    table = table[table.index('<table class="keep"') : table.index("</table>")]
    rows = [Text(row).text for row in re.findall(r"<tr.*?</tr>", table, flags=re.DOTALL)[1:]]
    return {row.split(" ", 1)[0]: row.split(" ", 1)[1] for row in rows}


# °F. Definition of the degree Fahrenheit: °F = 1.8 °C + 32; 20 °C is 68 °F and 10 °C is 50 °F exactly.
@pytest.mark.parametrize(
    ("printed", "up", "expected"), [(20.0, False, 68), (10.0, True, 50), (14.0, False, 57), (14.0, True, 58), (19.5, False, 67)]
)
def test_fahrenheit(printed: float, up: bool, expected: int) -> None:
    assert fahrenheit(printed, up=up) == expected


def test_fahrenheit_is_within_a_degree_and_never_on_the_unsafe_side() -> None:
    for printed in np.arange(-1.0, 26.0, 0.5):
        exact = printed * 1.8 + 32
        assert exact - 1 < fahrenheit(printed) <= exact <= fahrenheit(printed, up=True) < exact + 1


DEGREES = (st.integers(0, 900) | st.integers(0, 2200)).map(lambda hundredths: hundredths / 100)


@settings(max_examples=1000)
@given(
    st.tuples(DEGREES, DEGREES, DEGREES).map(sorted),
    st.sampled_from("ABC"),
    st.integers(4, 22),
    st.none() | st.integers(1, 8),
)
def test_fahrenheit_keeps_the_order_of_the_row(quantiles: list[float], grade: str, ceiling: int, floor: int | None) -> None:
    # Rows rounded and cut as method §5 says, written here anew.
    p25, p50, p75 = quantiles
    step = 0.5 if grade == "A" else 1.0
    high = math.floor(min(p75, ceiling - 1) / step) * step
    aim = min(math.floor(p50 / step) * step, high)
    assume(floor is None or floor <= aim)
    low = min(math.ceil(max(p25, floor or 0) / step) * step, aim)
    act = math.floor(min(ceiling, p75 + 2) / step) * step
    record = {"band_low": low, "set_point": aim, "band_high": high, "act_line": act}
    warm = row_fahrenheit(record, floor)
    assert warm["low"] <= warm["aim"] <= warm["high"] <= warm["act"] <= fahrenheit(ceiling)
    assert floor is None or warm["low"] >= min(fahrenheit(floor, up=True), warm["high"])
    assert (warm["high"] - 32) / 1.8 <= high + 1e-9 and (warm["act"] - 32) / 1.8 <= act + 1e-9


def test_borrowed_and_cut_rows(html: str) -> None:
    rows = rows_of(html, "Larvae, in water, north")
    assert "9–12 °C 49–53 °F" in rows["October"] and "14–17 °C 58–62 °F" in rows["August"]
    assert "4 dates of 6 needed; borrowed from September" in rows["October"] and rows["October"].count("borrowed from") == 1
    assert "the field was warmer; the cap holds" in rows["August"]
    assert "B fair" in rows["March"] and "borrowed; own: C provisional" in rows["October"]


def test_months_without_a_line_are_said_in_one_line(html: str) -> None:
    rows = rows_of(html, "Larvae, in water, north")
    assert tuple(rows) == ("March", "April", "May", "June", "July", "August", "September", "October")
    part = Text(html[html.index("Larvae, in water, north") :]).text
    assert "No line: January, February, December (no readings); November (fewer than 3 sites)." in part


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
    assert "CC-BY-4.0" in text and "seed 11" in text and "sha256:0a1b2c3d" in text


def test_a_study_that_is_not_invented_has_no_banner() -> None:
    assert "nvented study" not in Text(sheet(invented=False)).text


def test_ceiling_is_marked_and_floor_or_its_absence_said(html: str, text: str) -> None:
    ceilings = re.findall(r'<p class="ceiling">(.*?)</p>', html)
    assert len(ceilings) == 3 and all("not a temperature to keep" in words for words in ceilings), "none for a stage without a target"
    assert "Ceiling 18 °C (64 °F): not a temperature to keep" in text
    assert "Floor 4 °C (40 °F): do not go below." in text
    assert "No floor: winter unknown. Do not go below the lowest month measured (June, band from 12 °C (53 °F))." in text
    assert "12–14 °C 53–57 °F" in rows_of(html, "Larvae, in water, south")["June"]


def test_evidence(text: str) -> None:
    assert "291 readings at 436 animals" in text
    assert "at 7 sites in 3 years (2019, 2020, 2021)" in text
    assert "±0.5 °C for 189 readings; accuracy not noted for 102 readings" in text
    assert (
        "19.4 °C, before the allowances" in text
        and "thermometer 0.5 °C; daytime 0.8 °C" in text
        and "second-warmest day of the records" in text
    )
    assert "All readings are from 2021: this speaks of that year only." in text
    assert "Night is unknown" in text and "Winter is unknown." in text
    assert "observed only" in text and "tolerate" not in text
    assert "n_eff" not in text and "Wilks" not in text  # method §4: they stand in the method notes
    assert "Larvae sick or dead 4" in text and "not of this page" not in text
    assert "none: too few sites or dates" in text


def test_refusals_and_guidance_stand_apart(text: str) -> None:
    after = text[text.index("What has no target, and why") :]
    assert "January to June, August to December: no readings; July: not read at the nest." in after
    guidance = after[after.index("Guidance for the group, not from this study") : after.index("When it gets too warm")]
    assert "the ceiling, the floor and the bands above win" in guidance
    assert "judgement; no source" in guidance


def test_guidance_never_repeats_what_the_page_forbids() -> None:
    rows = [
        ("cool_stream", "larva", "guide_active_high", 16.0, "a"),
        ("cool_stream", "larva", "guide_act_above", 16.5, "b"),
        ("cool_stream", "adult", "guide_winter_low", 3.9, "c"),
        ("cool_stream", "adult", "guide_act_above", 19.0, "d"),
    ]
    frame = pd.DataFrame(rows, columns=["taxon_or_group", "life_stage", "quantity", "value", "note"])
    frame = frame.assign(unit="°C", kind="judgement", source="")
    text = Text(sheet(guidance=frame)).text
    assert "active high 16 °C (60 °F). a" in text  # the southern larvae's ceiling is 16
    assert "act above: above a ceiling of this page, so not repeated. b" in text
    assert "winter low: below a floor of this page, so not repeated. c" in text
    assert "act above 19 °C (66 °F). d" in text


def test_guidance_of_the_limits_file_is_shown_when_none_is_given(text: str) -> None:
    note = published_guidance("cool_stream", "egg_mass")["note"].iloc[0]
    assert note.rstrip(".") in text


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
    path = write(tmp_path / "out", "INVA", shuffled[1], shuffled[0], taxa, facts)
    assert path.name == "care_sheet_INVA.html"
    assert path.read_bytes() == html.encode()
    assert not re.search(r"20\d\d-\d\d-\d\d", html)


@pytest.mark.parametrize(
    ("column", "value", "message"),
    [
        ("band_high", 18.0, "is the ceiling itself"),
        ("band_high", 12.0, "highest set point, 15 °C, stands above the top of the band, 12 °C"),
        ("act_line", 18.5, "act line, 18.5 °C, stands above the ceiling, 18 °C"),
        ("band_low", 15.5, "bottom of the band, 15.5 °C, stands above the lowest set point, 15 °C"),
        ("floor", 14.5, "floor, 14.5 °C, stands above the bottom of the band"),
        ("set_point", math.nan, "a target without a set point"),
    ],
)
def test_a_sheet_that_contradicts_itself_is_not_written(column: str, value: float, message: str) -> None:
    targets, readings, taxa, facts = study()
    july = (targets["population"] == NORTH) & (targets["life_stage"] == "larva") & (targets["month"] == "7")
    targets.loc[july, column] = value
    if message == "is the ceiling itself":
        targets.loc[july, "act_line"] = 18.0
    if column == "floor":
        others = (targets["population"] == NORTH) & (targets["life_stage"] == "larva") & ~july
        targets.loc[others & (targets["status"] != "refused"), "status"] = "refused"
    with pytest.raises(RillbookError, match=re.escape(message)):
        page("INVA", targets, readings, taxa, facts)


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


def test_numbers_are_written_as_people_read_them() -> None:
    assert [number(12.0), number(12.5), number(-0.5), number(-0.04, 1), number(7.26, 1)] == ["12", "12.5", "−0.5", "0.0", "7.3"]


# The browser: what a person sees, with no network.
@pytest.fixture(scope="module")
def opened(chromium: str, tmp_path_factory: pytest.TempPathFactory) -> Any:
    targets, readings, taxa, facts = study()
    path = write(tmp_path_factory.mktemp("sheet"), "INVA", targets, readings, taxa, facts)
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
