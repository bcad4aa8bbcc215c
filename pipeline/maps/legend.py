"""The legend beside a map: what can be chosen, what can be switched, what the symbols mean."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import urlsplit

import pandas as pd

from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.maps.frames import map_figures
from pipeline.maps.layers import (
    FEW_WORDS,
    HEAT,
    HIDDEN_AT_FIRST,
    HIDDEN_AT_FIRST_PUBLIC,
    LAYER_WORDS,
    MEDIA,
    SYMBOLS,
    heat_words,
    safe,
    symbol,
)
from pipeline.maps.lines import BORDER
from pipeline.maps.parts import MapParts


def _choice(name: str, words: str, options: Sequence[tuple[Any, str]], every: tuple[int, str]) -> str:
    listed = "".join(f'<option value="{value}">{safe(text)}</option>' for value, text in [every, *options])
    return f'<label for="{name}">{words}</label><select id="{name}">{listed}</select>'


def _box(name: str, words: str, checked: bool = False) -> str:
    return f'<label><input type="checkbox" id="{name}"{" checked" if checked else ""}>{words}</label>'


def legend(parts: MapParts) -> str:
    """The legend of a map with its choices, as HTML; empty parts have none."""
    cells, private = parts.cells, parts.private
    years = range(int(cells["year_from"].min()), int(cells["year_to"].max()) + 1) if cells["year_from"].notna().any() else range(0)
    taxa = [(number, name) for number, name in enumerate(sorted(set(cells["taxon"].unique()))) if name]
    present = set(cells["layer"].unique())
    told = set(cells.loc[~cells["few"], "medium"])
    media = [(number, words) for number, (medium, words) in enumerate(MEDIA.items()) if medium in told]
    asked = [
        _choice("month", "Month", list(enumerate(MONTH_NAMES, 1)), (0, "all months")),
        _choice("year", "Year", [(year, str(year)) for year in years], (0, "all years")),
        _choice("taxon", "Taxon", taxa, (-1, "all taxa")),
        _choice("medium", "Where", media, (-1, "everywhere")),
    ]
    boxes = "".join(
        _box(f"layer-{one}", f"{symbol(one)} {LAYER_WORDS[one]}", one not in (HIDDEN_AT_FIRST if private else HIDDEN_AT_FIRST_PUBLIC))
        for one in SYMBOLS
        if one in present
    )
    swatches = "".join(
        f'<li><span style="background:{colour}"></span>{words}</li>' for colour, words in zip(HEAT, heat_words(), strict=True)
    )
    return (
        f'<div class="asked">{"".join(asked)}</div><fieldset id="layers"><legend>Layers</legend>{boxes}</fieldset>'
        f'<fieldset class="more"><legend>Beside them</legend>{_box("heat", "Colour by temperature where the animal was")}'
        f'<ul class="heat" id="heat-key" hidden>{swatches}'
        f"<li>The number under a symbol is the median in °C; – means no temperature.</li></ul>"
        f"{_more(parts)}</fieldset>{_legend_words(cells, private)}"
    )


def _more(parts: MapParts) -> str:
    boxes = [] if any(kind == BORDER for kind, _ in parts.lines.drawn) else [_box("outline", "State borders, roughly", True)]
    if parts.lines.drawn:
        boxes.append(_box("lines", "Streams, lakes, ridges and borders that were given", True))
    if parts.private and parts.cells["coordinate_uncertainty_m"].notna().any():
        boxes.append(_box("circles", "How surely the place is known: the circle holds the site"))
    if parts.finds is not None and parts.finds["own_latitude"].notna().any():
        boxes.append(_box("own", "Single finds where they were made"))
    if parts.tiles:
        host = safe(urlsplit(parts.tiles).hostname)
        boxes.append(_box("tiles", f"Background map from {host}"))
        boxes.append(
            f'<p class="warning">Switched on, the background is asked of {host}: whoever runs it sees which places you look at, '
            "and from where. Off, this page asks nobody for anything.</p>"
        )
    return "".join(boxes)


def _legend_words(cells: pd.DataFrame, private: bool) -> str:
    steps = [] if private else sorted({str(step) for step in cells["step"].unique()}, key=float)
    edges = map_figures()["count_breaks"].split("|")
    said = [
        f"{symbol('adult', [6, 7])} The twelve cells beside a symbol are the months, a row a quarter: January to March on top. Dark cells: "
        "the months in which it was seen (here June and July).",
        f"A symbol grows with the number of animals, or of visits: a size larger from {', '.join(edges[:-1])} and {edges[-1]} on. "
        + (
            "Sites that lie close together share their symbols; zoom in to part them."
            if private
            else "Squares too small for their symbols are put together in blocks with a dotted edge; zoom in to part them."
        ),
        "Click a symbol or a square for its figures.",
    ]
    if private:
        said.append("A black dot is a site; a thin line leads to it from its symbols.")
    else:
        said.append(
            f"Sides of the squares: {' and '.join(f'{step}°' for step in steps)}. "
            f"“{FEW_WORDS.capitalize()}” means: it was found, and no more is shown."
        )
    if len(steps) > 1:
        said.append(
            "The larger squares have a dashed edge, and so have their symbols. Where smaller squares lie in one, its "
            "symbols stand below the map."
        )
    said.append(
        "Temperatures are those read where the animals were: in water the water, on land under cover the ground, "
        "at the water's edge the ground or the water, in the open the air. With several cells together, a colour "
        "is the middle of their medians."
    )
    return "".join(f"<p>{text}</p>" for text in said)
