"""Ratios, side by side in one run: maps of 100,000 finds against an empty folium page in headless Chromium; and how they pan.

Run with ``python tests/benchmarks/bench_map.py [FINDS]``. It prints sizes, ratios and the times that they come from; it judges nothing.
"""

from __future__ import annotations

import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pipeline.maps import page as map_page
from pipeline.maps import parts as map_parts
from pipeline.publishing import protect
from pipeline.settings import Settings, parse_settings
from schemas.tables import fields

ROUNDS = 5
SITES = 400
PANS = 20
TOML = """
[book]
title = "Invented finds for a timing"
invented = true
time_zone = "America/New_York"
[[taxon]]
code = "A"
scientific_name = "Invented alpha"
group = "cool_stream"
[[taxon]]
code = "B"
scientific_name = "Invented beta"
group = "cool_stream"
"""
WATER = ["rock_in_flow", "leaf_pack", "gravel_gaps", "pool_bed"]
LAND = ["rock_at_edge", "under_log", "on_surface", "rock_on_bank", "leaf_litter"]


def declared(table: str, rows: dict[str, Any]) -> pd.DataFrame:
    """Rows with every declared field, missing where not given."""
    kinds = {"real": "float64", "whole": "Int64", "yes_no": "boolean", "day": "datetime64[us]"}
    frame = pd.DataFrame(rows).reindex(columns=list(fields(table)))
    return frame.astype({name: kinds.get(field.kind, "str") for name, field in fields(table).items()})


def invented(n_finds: int) -> protect.BookRows:
    """So many finds at 400 sites over five years, drawn at random."""
    draw = np.random.default_rng(1)
    n_visits = max(n_finds // 8, 1)
    sites = declared("sites", {
        "site_id": [f"S{n}" for n in range(SITES)], "site_name": [f"Invented place {n}" for n in range(SITES)], "habitat": "stream",
        "latitude": draw.uniform(35.0, 38.0, SITES).round(5), "longitude": draw.uniform(-84.0, -80.0, SITES).round(5), "datum": "WGS84",
        "coordinate_uncertainty_m": 30.0,
    })  # fmt: skip
    days = pd.to_datetime("2021-01-01") + pd.to_timedelta(draw.integers(0, 1825, n_visits), unit="D")
    visits = declared("visits", {
        "visit_id": [f"V{n}" for n in range(n_visits)], "site_id": [f"S{n}" for n in draw.integers(0, SITES, n_visits)],
        "visit_date": days, "protocol": "night_search", "target_taxa": "A|B", "all_counted": True, "search_minutes": 60.0,
    })  # fmt: skip
    stages = draw.choice(
        ["larva", "adult", "juvenile", "metamorph", "hatchling", "egg_mass"], n_finds, p=[0.4, 0.3, 0.15, 0.07, 0.06, 0.02]
    )
    wet = np.isin(stages, ["larva", "hatchling", "egg_mass"])
    of_visit = draw.integers(0, n_visits, n_finds)
    course = 10 + 8 * np.sin(2 * np.pi * (days.day_of_year.to_numpy()[of_visit] - 110) / 365) + draw.normal(0, 1.5, n_finds)
    finds = declared("finds", {
        "find_id": [f"F{n}" for n in range(n_finds)], "visit_id": [f"V{n}" for n in of_visit], "taxon": draw.choice(["A", "B"], n_finds),
        "life_stage": stages, "count": draw.integers(1, 4, n_finds),
        "microhabitat": np.where(wet, draw.choice(WATER, n_finds), draw.choice(LAND, n_finds)),
        "water_temp_c": course.round(1), "substrate_temp_c": course.round(1), "air_temp_c": (course + 2).round(1),
    })  # fmt: skip
    return protect.BookRows(sites, visits, finds, declared("availability", {"point_id": []}))


def write_maps(folder: Path, rows: protect.BookRows, settings: Settings) -> dict[str, Path]:
    """Both maps, and the seconds that each took."""
    start = time.perf_counter()
    tables, _ = protect.public_rows(rows, settings, b"key of a timing", {})
    print(f"protecting: {time.perf_counter() - start:.1f} s")
    start = time.perf_counter()
    public = map_page.write(map_parts.public_parts(tables, (), settings), folder)
    print(f"public map written: {time.perf_counter() - start:.1f} s")
    start = time.perf_counter()
    known = {"sites": rows.sites, "visits": rows.visits, "finds": rows.finds, "availability": rows.availability}
    exact = map_page.write(map_parts.exact_parts(known, settings), folder)
    print(f"exact map written: {time.perf_counter() - start:.1f} s")
    return {"public map": public, "exact map": exact}


def write_empty(folder: Path) -> Path:
    """An empty folium page with the very libraries of the maps inside, because no network is there to ask."""
    import folium

    drawn = folium.Map(location=[36.5, -82.0], zoom_start=7, tiles=None)
    root = drawn.get_root()
    root.render()
    scripts, style = map_page._vendor_js(), map_page._vendor_css()
    path = folder / "empty.html"
    body = f"<body>{root.html.render()}<script>{root.script.render()}</script></body>"
    head = f'<head><meta charset="utf-8"><style>{style}</style><style>.folium-map {{ height: 600px; }}</style>{scripts}</head>'
    path.write_text(f"<!DOCTYPE html><html>{head}{body}</html>", encoding="utf-8")
    return path


def opening_ms(browser: Any, path: Path, width: int) -> float:
    """Milliseconds from asking for a page until it is loaded, its marks drawn and one frame painted."""
    page = browser.new_context(offline=True, viewport={"width": width, "height": 900}).new_page()
    page.goto("about:blank")
    start = time.perf_counter()
    page.goto(path.as_uri())
    page.evaluate("() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
    taken = (time.perf_counter() - start) * 1000
    page.context.close()
    return taken


def panning_ms(browser: Any, path: Path, width: int, zoom_in: int) -> list[float]:
    """Milliseconds of each of a row of pans by a third of the map, until the next frame is painted."""
    page = browser.new_context(offline=True, viewport={"width": width, "height": 900}).new_page()
    page.goto(path.as_uri())
    script = """([pans, zoom]) => new Promise(async done => {
        const map = window.rillbookMap, taken = [];
        const frame = () => new Promise(next => requestAnimationFrame(() => requestAnimationFrame(next)));
        map.setView(map.getCenter(), map.getZoom() + zoom, { animate: false });
        await frame();
        for (let turn = 0; turn < pans; turn += 1) {
            const start = performance.now(), step = map.getSize().x / 3 * (turn % 4 < 2 ? 1 : -1);
            map.panBy([step, turn % 2 ? step : 0], { animate: false });
            await frame();
            taken.push(performance.now() - start);
        }
        done([taken, document.querySelectorAll('.mark').length]);
    })"""
    taken, marks = page.evaluate(script, [PANS, zoom_in])
    page.context.close()
    print(f"    {marks} symbols on the screen")
    return list(taken)


def main(n_finds: int) -> None:
    """Write the maps, open them and an empty page in turn, and print what it took."""
    from playwright.sync_api import sync_playwright

    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    with tempfile.TemporaryDirectory() as name, sync_playwright() as driver:
        folder = Path(name)
        files = write_maps(folder, invented(n_finds), parse_settings(TOML, "timing"))
        for words, path in files.items():
            print(f"{words} of {n_finds} finds: {path.stat().st_size / 1e6:.2f} MB")
        everything = {"empty folium page": write_empty(folder), **files}
        browser = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        for width in (1280, 375):
            taken: dict[str, list[float]] = {words: [] for words in everything}
            for _ in range(ROUNDS):
                for words, path in everything.items():
                    taken[words].append(opening_ms(browser, path, width))
            middle = {words: statistics.median(times) for words, times in taken.items()}
            for words, ms in middle.items():
                ratio = ms / middle["empty folium page"]
                print(f"{width} px, {words}: opens in {ms:.0f} ms, {ratio:.2f} × an empty folium page (median of {ROUNDS})")
            for words, path in files.items():
                for zoom_in in (0, 3):
                    times = panning_ms(browser, path, width, zoom_in)
                    told = f"a pan takes {statistics.median(times):.0f} ms, the slowest {max(times):.0f} ms"
                    print(f"{width} px, {words}, zoomed in by {zoom_in}: {told}")
        browser.close()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
