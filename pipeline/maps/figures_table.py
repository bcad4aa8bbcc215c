"""The table of the map's figures, and their words."""

from __future__ import annotations

from typing import Any

import pandas as pd

from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.maps.frames import AVAILABLE, EFFORT, NOTHING, many, map_figures
from pipeline.maps.layers import FEW_WORDS, LAYER_WORDS, MEDIA, safe
from pipeline.maps.public import SEVERAL
from pipeline.writing.spreadsheet import csv_text
from schemas.frames.maps import SITE, SQUARE
from schemas.vocabulary import vocabulary


def months_words(months: Any) -> str:
    """Write the months of a cell: one, a run, or a list; nothing where they are not shown."""
    if not isinstance(months, str):
        return ""
    numbers = sorted(int(month) for month in months.split("|"))
    if len(numbers) > 2 and numbers[-1] - numbers[0] == len(numbers) - 1:
        return f"{MONTH_NAMES[numbers[0] - 1]} to {MONTH_NAMES[numbers[-1] - 1]}"
    return ", ".join(MONTH_NAMES[number - 1] for number in numbers)


def degrees(value: float, letters: str) -> str:
    """Degrees with the letter of their half of the globe."""
    return f"{abs(value):g}° {letters[int(value < 0)]}"


def place_words(row: Any, private: bool) -> str:
    """Name a place, escaped: the site, or the sides of the square."""
    if private:
        name = f", {safe(row.site_name)}" if safe(row.site_name) else ""
        return f"{safe(row.site_id)}{name}; {row.latitude:.5f}, {row.longitude:.5f}"
    return f"{degrees(row.south, 'NS')} to {degrees(row.north, 'NS')}, {degrees(row.west, 'EW')} to {degrees(row.east, 'EW')}"


def as_csv(cells: pd.DataFrame) -> str:
    """The cells of a map as CSV, all of them, units in the headings; text that a spreadsheet would run has an apostrophe before it.

    Its columns are those of :class:`schemas.frames.maps.PublicCells` or :class:`schemas.frames.maps.ExactCells`, whatever is known.
    """
    # a year of 2022.0 is a year of 2022, and 14.399999999999999 °C a sum of the machine
    whole = {name: "Int64" for name in cells if name.startswith(("n_", "year_"))}
    return csv_text(cells.astype(whole).round({name: 2 for name in cells if name.startswith("temp_")}))


def both_scales(celsius: float) -> str:
    """A temperature that was read (°C), and the nearest whole °F; lines to keep animals by are rounded otherwise, in the safe direction."""
    return f"{celsius:.1f} °C ({celsius * 1.8 + 32:.0f} °F)"


def _temperature_words(row: Any) -> str:
    if row.few or not row.n_readings > 0:
        return ""
    if row.n_readings == 1:
        return f"{both_scales(row.temp_median_c)}, one reading"
    if pd.isna(row.temp_median_c):
        return f"{both_scales(row.temp_min_c)} to {both_scales(row.temp_max_c)}, {row.n_readings:.0f} readings"
    middle = f"median {both_scales(row.temp_median_c)}"
    return f"{middle}, range {row.temp_min_c:.1f} to {row.temp_max_c:.1f} °C, {row.n_readings:.0f} readings"


def _count_words(row: Any) -> tuple[str, str]:
    if row.few:
        return "", FEW_WORDS
    if not row.n_visits:
        return str(int(row.n_animals) or ""), many(int(row.n_finds), "find", "finds")
    visits = many(int(row.n_visits), "visit", "visits")
    if row.layer == NOTHING:
        return "", f"not found on {int(row.n_without)} of {visits} that looked for it"
    if row.layer == EFFORT:
        minutes = f", {int(row.search_minutes)} minutes of search noted" if row.search_minutes > 0 else ""
        return "", f"{visits}{minutes}{f'; nothing found on {int(row.n_without)}' if row.n_without else ''}"
    if row.layer == AVAILABLE:
        return "", f"{many(int(row.n_finds), 'point', 'points')} on {visits}"
    return str(int(row.n_animals)), f"{many(int(row.n_finds), 'find', 'finds')} on {visits}"


def table_rows(cells: pd.DataFrame, private: bool) -> tuple[pd.DataFrame, str]:
    """Choose the rows of the table: the cells, or where they are too many for a page fewer and coarser ones.

    Returns
    -------
    DataFrame
        For :func:`table`.
    str
        What was left out, in a sentence; empty where nothing was.
    """
    most = int(map_figures()["table_rows_most"])
    if len(cells) <= most:
        return cells, ""
    place = SITE if private else SQUARE
    shown = cells[~cells["layer"].isin([NOTHING, EFFORT])]
    sums = {name: (name, "sum") for name in ("n_finds", "n_animals", "n_readings")}
    ends = {"temp_min_c": ("temp_min_c", "min"), "temp_max_c": ("temp_max_c", "max")}
    said = ""
    for keys, lost in (
        ([*place, "layer", "taxon"], "months"),
        ([*place, "layer"], "months, taxa"),
        (["layer", "taxon"], "months, places"),
    ):
        said = lost
        rows = shown.groupby([*keys, "few"], dropna=False, sort=False).agg(**sums, **ends).reset_index()
        if len(rows) <= most:
            break
    rows = rows.assign(medium=SEVERAL, microhabitats="", n_visits=0, n_without=0, search_minutes=0.0, temp_median_c=float("nan"))
    if "taxon" not in rows:
        rows = rows.assign(taxon="")
    return rows, f"The table would have {len(cells)} lines; this one leaves out {said} and searches. The map shows them."


def table(rows: pd.DataFrame, private: bool) -> str:
    """The figures of the marks as an HTML table, for readers without the map."""
    placed = "site_id" in rows or "south" in rows
    dated = "months" in rows
    heads = [
        *(["Site" if private else "Square"] * placed),
        "Layer",
        "Taxon",
        "Where",
        *(["Month", "Year"] * dated),
        "Animals",
        "Finds and visits",
    ]
    heads += ["Temperature", "Microhabitats"]
    listed = vocabulary("microhabitat")
    lines = []
    for row in rows.itertuples(index=False):
        animals, finds = _count_words(row)
        micro = "; ".join(safe(listed[code]["definition"] if code in listed else code) for code in row.microhabitats.split("|") if code)
        cells = [place_words(row, private)] if placed else []
        where = "" if row.few or row.layer in (NOTHING, EFFORT) else MEDIA[row.medium]
        cells += [LAYER_WORDS[row.layer], f"<i>{safe(row.taxon)}</i>" if row.taxon else "", where]
        if dated:
            years = "" if row.few else f"{row.year_from:.0f}" + (f" to {row.year_to:.0f}" if row.year_to > row.year_from else "")
            cells += [months_words(row.months), years]
        cells += [animals, finds, _temperature_words(row), micro]
        lines.append(f'<tr><th scope="row">{cells[0]}</th>{"".join(f"<td>{cell}</td>" for cell in cells[1:])}</tr>')
    top = "".join(f'<th scope="col">{head}</th>' for head in heads)
    return f"<table><thead><tr>{top}</tr></thead><tbody>{''.join(lines)}</tbody></table>"
