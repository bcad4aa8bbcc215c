"""Symbols, words and figures of a map's layers: the document that the page's script draws, the legend, and the table."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from typing import Any

import pandas as pd

from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.maps.frames import AVAILABLE, EFFORT, IN_DOUBT, LAYERS, NOTHING, STAGES, map_figures
from pipeline.maps.public import SEVERAL
from schemas.frames.maps import SITE, SQUARE
from schemas.vocabulary import in_words, trait, vocabulary

MEDIA = {
    "": "place not noted",
    "water": "in water",
    "edge": "at the water's edge",
    "land": "on land under cover",
    "surface": "in the open",
    SEVERAL: "in several places",
}


def _drawing(stage: str) -> tuple[str, str, str]:
    letter, colour, outline = (trait("life_stage", stage, which) for which in ("letter", "colour", "outline"))
    return letter or stage[:1].upper(), colour, outline


# Letter, colour and outline of a symbol.
SYMBOLS: dict[str, tuple[str, str, str]] = {
    **{stage: _drawing(stage) for stage in STAGES},
    IN_DOUBT: ("?", "#eeeeee", "M9 2H19L26 9V17L19 24H9L2 17V9Z"),
    NOTHING: ("0", "#ffffff", "M4 13a10 10 0 1 0 20 0a10 10 0 1 0-20 0Z"),
    EFFORT: ("V", "#ffffff", "M2 5H26V17L14 25L2 17Z"),
    AVAILABLE: ("R", "#ffffff", "M9 2H19V8H25V18H19V24H9V18H3V8H9Z"),
}
LAYER_WORDS = {stage: in_words(stage) for stage in STAGES} | {
    IN_DOUBT: "In doubt: a flag not settled",
    NOTHING: "Searched, not found",
    EFFORT: "Visits",
    AVAILABLE: "Readings where no animal was",
}
# What a symbol grows with, and which number of a cell that is in the page's script.
COUNTED = {NOTHING: ("n_without", 10), EFFORT: ("n_visits", 9), AVAILABLE: ("n_finds", 7)}
ANIMALS = ("n_animals", 8)
FEW_WORDS = "too few to say more"
HIDDEN_AT_FIRST = (EFFORT, AVAILABLE)
# a stranger asks where stages are; what nobody could tell a stage of comes at a click
HIDDEN_AT_FIRST_PUBLIC = (*HIDDEN_AT_FIRST, IN_DOUBT, "undetermined")
# Five steps of cividis (Nuñez et al. 2018), which grows lighter all the way, so that it reads in grey; values from memory.
HEAT = ("#00224e", "#35456c", "#7d7c78", "#b8a96b", "#fee838")
LIGHT_INK = 2


def safe(text: Any) -> str:
    """Make any text harmless in HTML, in the JavaScript template literals that folium writes, and in the templates that it makes of them.

    Parameters
    ----------
    text : object
        What a person typed; missing gives an empty text.

    Returns
    -------
    str
        With ``& < > " '`` and ``$``, backtick, backslash and braces as entities, and line ends as blanks.
    """
    if text is None or (not isinstance(text, str) and pd.isna(text)):
        return ""
    escaped = html.escape(str(text), quote=True)
    return re.sub(r"[$`\\{}]", lambda found: f"&#{ord(found.group())};", re.sub(r"[\r\n\u2028\u2029]+", " ", escaped))


def plain(text: Any) -> str:
    """A person's text as it is, missing as an empty one, line ends as blanks."""
    return "" if text is None or (not isinstance(text, str) and pd.isna(text)) else re.sub(r"[\r\n\u2028\u2029]+", " ", str(text))


def embed(document: Any) -> str:
    """Write a document as JSON that nothing in a page takes for anything else: markup and template signs as escapes."""
    text = json.dumps(document, ensure_ascii=False, separators=(",", ":"), allow_nan=False)

    def in_a_text(found: re.Match[str]) -> str:
        return re.sub(r"[<>&$`{}'\u2028\u2029]", lambda sign: f"\\u{ord(sign.group()):04x}", found.group())

    return re.sub(r'"(?:[^"\\]|\\.)*"', in_a_text, text)


def packed(numbers: Iterable[int]) -> str:
    """Write whole numbers as text of half the length of their digits, which a browser reads in less time.

    Parameters
    ----------
    numbers : iterable of int

    Returns
    -------
    str
        For each number the signs of its parts of five bits, lowest first: the sign of the number is the lowest bit, a part that another
        follows has 32 added, and each part plus 63 is the code of its sign ("?" to "~"). No sign of markup occurs in it.
    """
    known: dict[int, str] = {}

    def written(number: int) -> str:
        left, signs = (~(number << 1) if number < 0 else number << 1), ""
        while left >= 32:
            signs += chr(63 + (left & 31 | 32))
            left >>= 5
        return signs + chr(63 + left)

    return "".join(known.get(number) or known.setdefault(number, written(number)) for number in numbers)


def symbol(layer: str, months: Iterable[int] = ()) -> str:
    """A layer's symbol for the legend, as an SVG element; `months` are the dark cells of the year right of it."""
    letter, colour, outline = SYMBOLS[layer]
    seen = set(months)
    year = [(29.5 + 5.5 * ((month - 1) % 3), 3 + 7 * ((month - 1) // 3), month in seen) for month in range(1, 13)] if seen else []
    cells = "".join(
        f'<path d="M{x:g} {y:g}h4.5v6h-4.5z" fill="{"#000" if dark else "#fff"}" stroke="{"#000" if dark else "#999"}"/>'
        for x, y, dark in year
    )
    baseline, wide = trait("life_stage", layer, "letter_y"), 48 if seen else 28
    return (
        f'<svg width="{wide}" height="34" viewBox="0 0 {wide} 34" aria-hidden="true">'
        f'<path d="{outline}" fill="{colour}" stroke="#000" stroke-width="1.5"/>'
        f'<text x="14" y="{baseline}" text-anchor="middle" font-size="11" font-weight="bold">{letter}</text>'
        f'<g stroke-width="0.7">{cells}</g></svg>'
    )


def heat_breaks() -> list[float]:
    """Edges of the colours of temperature, °C."""
    return [float(edge) for edge in map_figures()["temperature_breaks_c"].split("|")]


def heat_words() -> list[str]:
    """What each colour of temperature stands for."""
    edges = heat_breaks()
    middle = [f"{low:g} to {high:g} °C" for low, high in pairwise(edges)]
    return [f"below {edges[0]:g} °C", *middle, f"{edges[-1]:g} °C and above"]


def document(cells: pd.DataFrame, finds: pd.DataFrame | None, lines: Sequence[Any], private: bool) -> dict[str, Any]:
    """All that the page's script draws.

    Parameters
    ----------
    cells : DataFrame
        From `public_cells` or `exact_cells`.
    finds : DataFrame or None
        Single finds; for the exact map alone.
    lines : sequence
        Lines to draw, each ``(kind, [(latitude, longitude), …])`` in degrees.
    private : bool
        The cells are exact.

    Returns
    -------
    dict
        Ready for :func:`embed`. `cells` is one row of whole numbers: place, layer, taxon, medium, number of cells that follow; and for each
        of these the month, or 12 and a sum of powers of two, January 1, or 0 where the cell is `few` and nothing more is told; first year
        after `year`, years after that; then of searches visits, visits without, minutes; of all else finds, animals, visits, microhabitats
        as a sum of powers of two, readings, and where there are any the median in tenths of °C, and where there are several how far
        below it the lowest lies, and the highest above it. `first` is what all cells of a place and layer come to: place, layer, what its
        symbol grows with, months as a sum of powers of two.
    """
    keys = SITE if private else SQUARE
    places = cells[keys].drop_duplicates(keys[0] if private else keys[:3], ignore_index=True)
    by = {key: number for number, key in enumerate(_place_keys(places, private))}
    taxa = sorted(set(cells["taxon"].unique()))
    microhabitats = sorted({code for text in set(cells["microhabitats"].unique()) for code in text.split("|")} - {""})
    present = set(cells["layer"].unique())
    layers = [layer for layer in LAYERS if layer in present]
    first_year = int(cells["year_from"].min()) if cells["year_from"].notna().any() else 0
    index = {
        "layer": {one: number for number, one in enumerate(layers)},
        "taxon": {one: number for number, one in enumerate(taxa)},
        "medium": {one: number for number, one in enumerate(MEDIA)},
        "microhabitat": {one: number for number, one in enumerate(microhabitats)},
    }
    return {
        "private": private,
        "places": [_place(row, private) for row in places.itertuples(index=False)],
        "layers": [[*SYMBOLS[layer], LAYER_WORDS[layer], layer, COUNTED.get(layer, ANIMALS)[1]] for layer in layers],
        "taxa": [plain(name) for name in taxa],
        "media": list(MEDIA.values()),
        "microhabitats": [plain(vocabulary("microhabitat").get(code, {}).get("definition", code)) for code in microhabitats],
        "months": MONTH_NAMES,
        "n_cells": len(cells),
        "year": first_year,
        "cells": _runs(cells, by, index, private, first_year),
        "first": _sums(cells, by, index["layer"], private),
        "finds": [] if finds is None else _finds(finds, by, index),
        "lines": [[kind, [[round(float(y), 5), round(float(x), 5)] for y, x in points]] for kind, points in lines],
        "heat": [heat_breaks(), HEAT, heat_words(), LIGHT_INK],
        "sizes": [int(edge) for edge in map_figures()["count_breaks"].split("|")],
        "few": FEW_WORDS,
    }


def _place_keys(frame: pd.DataFrame, private: bool) -> list[Any]:
    keys = frame["site_id" if private else "step"].to_numpy(dtype=object).tolist()
    return keys if private else list(zip(keys, frame["south"].tolist(), frame["west"].tolist(), strict=True))


def _place(row: Any, private: bool) -> list[Any]:
    if not private:
        return [float(row.south), float(row.west), float(row.step)]
    uncertainty = None if pd.isna(row.coordinate_uncertainty_m) else float(row.coordinate_uncertainty_m)
    return [round(row.latitude, 5), round(row.longitude, 5), uncertainty, plain(row.site_id), plain(row.site_name), plain(row.remarks)]


def _runs(cells: pd.DataFrame, by: dict[Any, int], index: dict[str, dict[Any, int]], private: bool, first_year: int) -> list[int]:
    """Cells as whole numbers, those of one place, layer, taxon and medium behind one head of five numbers: browsers read that fast."""
    numbers: list[int] = []
    head: tuple[int, ...] = ()
    length = 0
    heads = [[by[key] for key in _place_keys(cells, private)]]
    heads += [[index[name][one] for one in cells[name].to_numpy(dtype=object)] for name in ("layer", "taxon", "medium")]
    for own, few, cell in zip(zip(*heads, strict=True), cells["few"].tolist(), _cells(cells, index, first_year), strict=True):
        if own != head:
            head = own
            length = len(numbers) + len(own)
            numbers += [*own, 0]
        numbers[length] += 1
        numbers += [0] if few else _cell(*cell)
    return numbers


def _cells(cells: pd.DataFrame, index: dict[str, dict[Any, int]], first_year: int) -> Iterator[tuple[Any, ...]]:
    """What :func:`_cell` is made of; each distinct text is read once."""
    when = {text: _when(text) for text in cells["months"].unique() if isinstance(text, str)}
    bits = {text: sum(1 << index["microhabitat"][code] for code in text.split("|") if code) for text in cells["microhabitats"].unique()}
    names = ["n_visits", "n_without", "search_minutes", "n_finds", "n_animals", "n_readings", "temp_median_c", "temp_min_c", "temp_max_c"]
    years = cells["year_from"] - first_year, cells["year_to"] - cells["year_from"]
    searched = cells["layer"].isin([NOTHING, EFFORT])
    columns = [searched, cells["months"].map(when), *years, cells["microhabitats"].map(bits), *(cells[name] for name in names)]
    return zip(*(column.tolist() for column in columns), strict=True)


def _when(text: str) -> int:
    months = [int(month) for month in text.split("|")]
    return months[0] if len(months) == 1 else 12 + sum(1 << (month - 1) for month in months)


def _sums(cells: pd.DataFrame, by: dict[Any, int], layers: dict[str, int], private: bool) -> list[list[int]]:
    """What a page shows before anybody chooses, so that it need not read all cells first."""
    number = cells[ANIMALS[0]]
    for layer, (name, _) in COUNTED.items():
        number = number.mask(cells["layer"] == layer, cells[name])
    found: dict[tuple[int, int], list[int]] = {}
    year = {text: sum(1 << (int(month) - 1) for month in text.split("|")) for text in cells["months"].unique() if isinstance(text, str)}
    told = cells["layer"].to_numpy(dtype=object), number.fillna(0), cells["months"].map(year), cells["few"]
    for key, layer, n, months, few in zip(_place_keys(cells, private), *told, strict=True):
        mine = found.setdefault((by[key], layers[layer]), [0, 0])
        if not few:
            mine[0] += int(n)
            mine[1] |= int(months)
    return [[place, layer, *sums] for (place, layer), sums in found.items()]


def _cell(
    searched: bool, when: float, year: float, years: float, found: int, visits: float, without: float, minutes: float, finds: float,
    animals: float, readings: float, median: float, lowest: float, highest: float,
) -> list[int]:  # fmt: skip
    start = [int(when), int(year), int(years)]
    if searched:
        return [*start, int(visits), int(without), round(minutes)]
    start += [int(finds), int(animals), int(visits), found, int(readings)]
    if not readings:
        return start
    middle, low, high = (round(value * 10) for value in (median, lowest, highest))
    return [*start, middle] if readings == 1 else [*start, middle, middle - low, high - middle]


def _finds(finds: pd.DataFrame, by: dict[Any, int], index: dict[str, dict[Any, int]]) -> list[list[Any]]:
    listed = []
    for row in finds.itertuples(index=False):
        if row.site_id not in by:
            continue
        own = [] if pd.isna(row.own_latitude) or pd.isna(row.own_longitude) else [round(row.own_latitude, 5), round(row.own_longitude, 5)]
        where = index["microhabitat"].get(row.microhabitat, -1)
        tenths = -999 if pd.isna(row.temp_c) else round(row.temp_c * 10)
        listed.append([
            by[row.site_id], index["layer"][row.layer], index["taxon"][row.taxon], index["medium"][row.medium], int(row.month),
            int(row.year),
            f"{row.visit_date:%Y-%m-%d}", int(row.n_animals), where, tenths, plain(row.find_id), plain(row.find_remarks), *own,
        ])  # fmt: skip
    return listed
