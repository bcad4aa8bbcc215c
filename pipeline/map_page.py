"""The maps: grid squares for everyone, exact places for the keeper of the book. The one door to folium."""

from __future__ import annotations

import base64
import html
import re
import string
from collections.abc import Callable, Iterable, Sequence
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pipeline.places import WITHHELD, Square, grid_square, grid_step, read_verbatim_coordinates, to_wgs84
from pipeline.settings import Settings
from schemas.vocabulary import codes, medium_of, vocabulary

SECRET_HABITATS = ("spring", "seep", "cave")
SECRET_MICROHABITATS = ("seep_water", "seep_edge", "cave_wall")
SECRET_GROUPS = ("warm_spring", "cave")
SECRET_STEP = "1"
NEST_MICROHABITATS = ("nest_water", "nest_edge")

SQUARE = ["step", "south", "west", "north", "east"]
EXACT = ["site_id", "site_name", "remarks", "latitude", "longitude"]
READINGS = ["water_temp_c", "substrate_temp_c", "air_temp_c"]
KINDS = ["life_stage", "month", "taxon", "medium"]
FIGURES = ["n_finds", "n_animals", "n_readings", "temp_median_c", "temp_min_c", "temp_max_c", "microhabitats"]
SEARCHES = ["month", "n_visits", "taxa"]

MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December")
MEDIA = {"water": "in water", "edge": "at the water's edge", "land": "on land under cover", "surface": "in the open", "": "place not noted"}
NOTHING = "nothing_found"
# Letter, colour and outline of a symbol. Colours: the palette of Okabe & Ito 2008, safe for colour-blind readers (values from memory).
SYMBOLS: dict[str, tuple[str, str, str]] = {
    "egg_mass": ("E", "#f0e442", "M3 13a11 8 0 1 0 22 0a11 8 0 1 0-22 0Z"),
    "hatchling": ("H", "#e69f00", "M2 4H26L14 25Z"),
    "larva": ("L", "#56b4e9", "M4 13a10 10 0 1 0 20 0a10 10 0 1 0-20 0Z"),
    "metamorph": ("M", "#009e73", "M14 1L26 13L14 25L2 13Z"),
    "juvenile": ("J", "#cc79a7", "M14 1L26 23H2Z"),
    "adult": ("A", "#d55e00", "M4 3H24V23H4Z"),
    "undetermined": ("U", "#bbbbbb", "M8 3H20L26 13L20 23H8L2 13Z"),
    NOTHING: ("0", "#ffffff", "M4 13a10 10 0 1 0 20 0a10 10 0 1 0-20 0Z"),
}
STAGE_WORDS = {stage: stage.replace("_", " ").capitalize() for stage in SYMBOLS} | {NOTHING: "Searched, nothing found"}
GRATICULE_STEPS = (30.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001)


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


def public_marks(sites: pd.DataFrame, visits: pd.DataFrame, finds: pd.DataFrame, taxa: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Summarise the finds that may be shown, by grid square.

    Parameters
    ----------
    sites, visits, finds, taxa : DataFrame
        Current views of the book.
    settings : Settings
        Its public precision is the finest step of any square.

    Returns
    -------
    DataFrame
        One row a grid square, life stage, month, taxon and medium, ordered by square from south and west: `step` (text) and
        `south`, `west`, `north`, `east` in degrees WGS 84; `life_stage`, `month` (1 to 12), `taxon` (scientific name),
        `medium`; `n_finds`, `n_animals`, `n_readings`; `temp_median_c`, `temp_min_c`, `temp_max_c` in °C; `microhabitats`,
        codes separated by ``|``. No site, day, year or clock.

    Notes
    -----
    A find stands in its site's square at the coarsest class of book, taxon and site; springs, seeps and caves never finer
    than 1 degree; eggs and nests are left out. Chapman 2020, Current Best Practices for Generalizing Sensitive Species
    Occurrence Data.
    """
    placed = _public_finds(sites, visits, finds, taxa, settings)
    return _summary(placed[placed["left_out"] == ""], [*SQUARE, *KINDS])


def public_searches(sites: pd.DataFrame, visits: pd.DataFrame, finds: pd.DataFrame, taxa: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Count the visits that found nothing, by grid square.

    Parameters
    ----------
    sites, visits, finds, taxa, settings
        As for :func:`public_marks`.

    Returns
    -------
    DataFrame
        One row a grid square, month and set of target taxa: the columns of a square, `month`, `n_visits`, `taxa`. A visit
        that names no target may have looked for any taxon of the book, and takes the coarsest class of them all.
    """
    empty = _public_empty_visits(sites, visits, finds, taxa, settings)
    return _count_visits(empty[empty["left_out"] == ""], SQUARE)


def exact_marks(sites: pd.DataFrame, visits: pd.DataFrame, finds: pd.DataFrame, taxa: pd.DataFrame) -> pd.DataFrame:
    """Summarise all finds by site, with the exact place; never to be shared.

    Returns
    -------
    DataFrame
        As :func:`public_marks`, with `site_id`, `site_name`, `remarks`, `latitude`, `longitude` (degrees WGS 84) in place of the
        square; eggs and nests are in it, sites without coordinates are not.
    """
    placed = _joined_finds(_site_places(sites), visits, finds, taxa)
    return _summary(placed[placed["latitude"].notna()], [*EXACT, *KINDS])


def exact_searches(sites: pd.DataFrame, visits: pd.DataFrame, finds: pd.DataFrame, taxa: pd.DataFrame) -> pd.DataFrame:
    """Count the visits that found nothing by site, with the exact place; columns as :func:`public_searches` and :func:`exact_marks`."""
    empty = _empty_visits(_site_places(sites), visits, finds, taxa)
    return _count_visits(empty[empty["latitude"].notna()], EXACT)


def public_facts(sites: pd.DataFrame, visits: pd.DataFrame, finds: pd.DataFrame, taxa: pd.DataFrame, settings: Settings) -> dict[str, Any]:
    """What the public page says beside its marks: title, licence, and what was left out, counted in words."""
    reasons = _public_finds(sites, visits, finds, taxa, settings)["left_out"]
    searches = _public_empty_visits(sites, visits, finds, taxa, settings)["left_out"]
    notes = [
        "Each find stands in the grid square of the site where it was met. Where a symbol stands inside its square means nothing.",
        "Seeps, springs and caves stand in squares of 1° or are not shown. Days and clock times are not shown.",
        _counted((reasons == "egg").sum(), "find of eggs or at a nest", "finds of eggs or at nests", "left out, always"),
        _counted((reasons == WITHHELD).sum(), "find", "finds", "left out because the place is withheld"),
        _counted((searches == WITHHELD).sum(), "visit without finds", "visits without finds", "left out because the place is withheld"),
        *_no_place_notes(sites, (reasons == "no place").sum()),
    ]
    return {**_book_facts(settings), "notes": [note for note in notes if note]}


def exact_facts(sites: pd.DataFrame, visits: pd.DataFrame, finds: pd.DataFrame, settings: Settings) -> dict[str, Any]:
    """What the exact page says beside its marks."""
    places = _site_places(sites)
    placeless = visits.loc[visits["site_id"].isin(places.loc[places["latitude"].isna(), "site_id"]), "visit_id"]
    n_finds = int(finds["visit_id"].isin(placeless).sum())
    return {**_book_facts(settings), "notes": [note for note in _no_place_notes(sites, n_finds) if note]}


def _book_facts(settings: Settings) -> dict[str, Any]:
    return {"title": settings.title, "invented": settings.invented, "licence": settings.licence, "author": settings.author}


def _no_place_notes(sites: pd.DataFrame, n_finds: int) -> list[str]:
    n_sites = int(_site_places(sites)["latitude"].isna().sum())
    there = f"not on the map for want of coordinates; {_many(n_finds, 'find was', 'finds were')} made there"
    return [_counted(n_sites, "site", "sites", there)]


def _many(number: int, one: str, several: str) -> str:
    return f"{number} {one if number == 1 else several}"


def _counted(number: int, one: str, several: str, what: str) -> str:
    return "" if number == 0 else f"{_many(number, one, several)} {'is' if number == 1 else 'are'} {what}."


def _site_places(sites: pd.DataFrame) -> pd.DataFrame:
    """Sites with WGS 84 coordinates, taken from the coordinates as written where the numbers are missing."""
    places = sites.copy()
    written = [read_verbatim_coordinates(text) for text in places["verbatim_coordinates"]]
    read = pd.DataFrame(
        [point or (np.nan, np.nan) for point in written], columns=["latitude", "longitude"], index=places.index, dtype=float
    )
    missing = places["latitude"].isna() | places["longitude"].isna()
    both = places[["latitude", "longitude"]].astype(float).mask(missing, read)
    places["latitude"], places["longitude"], _, _ = to_wgs84(both["latitude"], both["longitude"], places["datum"])
    return places


def _joined_finds(places: pd.DataFrame, visits: pd.DataFrame, finds: pd.DataFrame, taxa: pd.DataFrame) -> pd.DataFrame:
    """Finds with their site's place and class, their month, taxon, medium and temperature."""
    named = taxa.rename(columns={"code": "taxon", "group": "taxon_group"})[["taxon", "scientific_name", "sensitivity", "taxon_group"]]
    own = finds[["visit_id", "taxon", "life_stage", "count", "microhabitat", "condition", "reading_place", *READINGS]]
    of_visit = visits[["visit_id", "site_id", "visit_date"]].assign(visit_water_c=visits["water_temp_c"])
    of_site = places[[*EXACT, "habitat", "public_precision_deg"]]
    joined = own.merge(of_visit, on="visit_id").merge(of_site, on="site_id").merge(named, on="taxon", how="left")
    joined["medium"] = joined["microhabitat"].map(lambda code: medium_of(code) if isinstance(code, str) else "")
    joined["month"] = pd.to_datetime(joined["visit_date"]).dt.month
    joined["temp_c"] = _temperature_c(joined)
    return joined.assign(taxon=joined["scientific_name"].fillna(joined["taxon"]))


def _temperature_c(joined: pd.DataFrame) -> pd.Series:
    """Temperature read where the animal was, °C: the medium decides which reading may stand for it."""
    water, substrate, air, of_visit = (joined[name].astype(float) for name in [*READINGS, "visit_water_c"])
    channel = joined["microhabitat"].isin([code for code, row in vocabulary("microhabitat").items() if row["in_channel"] == "yes"])
    elsewhere = joined["reading_place"].isin(["beside", "reach"])
    chosen = np.select(
        [joined["medium"] == medium for medium in ("water", "edge", "land", "surface")],
        [water.mask(elsewhere & ~channel), substrate.fillna(water).mask(elsewhere), substrate.mask(elsewhere), air],
        np.nan,
    )
    well = joined["condition"].isna() | (joined["condition"] == "well")
    return pd.Series(chosen, index=joined.index).fillna(of_visit.where(channel)).where(well)


def _summary(placed: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    repeated = placed.duplicated([*keys, "visit_id", "temp_c"])
    readings = placed.assign(temp_c=placed["temp_c"].mask(repeated), count=placed["count"].astype("int64"))
    grouped = readings.groupby(keys, dropna=False, sort=False)
    table = grouped.agg(
        n_finds=("count", "size"),
        n_animals=("count", "sum"),
        n_readings=("temp_c", "count"),
        temp_median_c=("temp_c", "median"),
        temp_min_c=("temp_c", "min"),
        temp_max_c=("temp_c", "max"),
        microhabitats=("microhabitat", lambda codes_there: "|".join(sorted(set(codes_there.dropna())))),
    ).reset_index()
    return _in_order(table, [*keys, *FIGURES])


def _in_order(table: pd.DataFrame, columns: list[str]) -> pd.DataFrame:
    place = ["south", "west", "step"] if "south" in columns else ["latitude", "longitude", "site_id"]
    rank = {stage: number for number, stage in enumerate(codes("life_stage"))}
    by = [*place, *(name for name in (*KINDS, "taxa") if name in columns)]
    return table.sort_values(by, key=lambda column: column.map(rank) if column.name == "life_stage" else column, ignore_index=True)[columns]


def _public_finds(sites: pd.DataFrame, visits: pd.DataFrame, finds: pd.DataFrame, taxa: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    joined = _joined_finds(_site_places(sites), visits, finds, taxa)
    secret = joined["habitat"].isin(SECRET_HABITATS) | joined["microhabitat"].isin(SECRET_MICROHABITATS)
    secret |= joined["taxon_group"].isin(SECRET_GROUPS)
    # A taxon that the book does not know has no class, and none is not leave to show it.
    sensitivity = joined["sensitivity"].where(joined["scientific_name"].notna(), WITHHELD)
    classes = zip(sensitivity, joined["public_precision_deg"], secret, strict=True)
    joined["step"] = [grid_step(settings.public_precision_deg, taxon, site, SECRET_STEP if hide else None) for taxon, site, hide in classes]
    egg = (joined["life_stage"] == "egg_mass") | joined["microhabitat"].isin(NEST_MICROHABITATS)
    return _in_squares(joined, egg)


def _in_squares(joined: pd.DataFrame, egg: pd.Series | bool) -> pd.DataFrame:
    """Say why a row is left out, if it is, and give the others the square of their site."""
    placeless = joined["latitude"].isna() | joined["longitude"].isna()
    reason = np.select([egg, placeless, joined["step"] == WITHHELD], ["egg", "no place", WITHHELD], "")
    points = list(zip(joined["latitude"], joined["longitude"], joined["step"], strict=True))
    shown = {point for point, why in zip(points, reason, strict=True) if why == ""}
    squares: dict[tuple[float, float, str], Square] = {point: grid_square(*point) for point in shown}
    found = [squares.get(point, (np.nan,) * 4) for point in points]
    sides = pd.DataFrame(found, columns=SQUARE[1:], index=joined.index, dtype=float)
    return pd.concat([joined, sides], axis=1).assign(left_out=reason)


def _empty_visits(places: pd.DataFrame, visits: pd.DataFrame, finds: pd.DataFrame, taxa: pd.DataFrame) -> pd.DataFrame:
    held = visits["incomplete"].fillna(False).astype(bool) if "incomplete" in visits else pd.Series(False, index=visits.index)
    empty = visits.loc[~held & ~visits["visit_id"].isin(finds["visit_id"]), ["visit_id", "site_id", "visit_date", "target_taxa"]]
    joined = empty.merge(places[[*EXACT, "habitat", "public_precision_deg"]], on="site_id")
    joined["month"] = pd.to_datetime(joined["visit_date"]).dt.month
    lists = [text.split("|") if isinstance(text, str) else [] for text in joined["target_taxa"]]
    joined["targets"] = [tuple(sorted({code.strip() for code in several} - {""})) for several in lists]
    names = dict(zip(taxa["code"], taxa["scientific_name"], strict=True))
    joined["taxa"] = ["|".join(sorted(names.get(code, code) for code in targets)) for targets in joined["targets"]]
    return joined


def _public_empty_visits(
    sites: pd.DataFrame, visits: pd.DataFrame, finds: pd.DataFrame, taxa: pd.DataFrame, settings: Settings
) -> pd.DataFrame:
    joined = _empty_visits(_site_places(sites), visits, finds, taxa)
    finest = codes("public_precision")[-1]
    of_group = [SECRET_STEP if group in SECRET_GROUPS else finest for group in taxa["group"]]
    step_of = dict(zip(taxa["code"], map(grid_step, taxa["sensitivity"], of_group), strict=True))
    steps = []
    for targets, site, habitat in zip(joined["targets"], joined["public_precision_deg"], joined["habitat"], strict=True):
        of_taxa = [step_of.get(code, WITHHELD) for code in targets or step_of]
        steps.append(grid_step(settings.public_precision_deg, site, SECRET_STEP if habitat in SECRET_HABITATS else None, *of_taxa))
    return _in_squares(joined.assign(step=pd.Series(steps, index=joined.index, dtype="str")), False)


def _count_visits(empty: pd.DataFrame, place: list[str]) -> pd.DataFrame:
    table = empty.groupby([*place, "month", "taxa"], dropna=False, sort=False).agg(n_visits=("visit_id", "size")).reset_index()
    return _in_order(table, [*place, *SEARCHES])


def page(marks: pd.DataFrame, visits_without_finds: pd.DataFrame, facts: dict[str, Any], private: bool) -> str:
    """Draw one map as one HTML file that needs no network.

    Parameters
    ----------
    marks, visits_without_finds : DataFrame
        From :func:`public_marks` and :func:`public_searches`, or from :func:`exact_marks` and :func:`exact_searches`.
    facts : dict
        `title`, `invented`, `licence`, `author` and `notes`, sentences for the foot of the page.
    private : bool
        The marks are exact places; the page says so in a banner.

    Returns
    -------
    str
        The page; the same marks and facts always give the same text.
    """
    rows = _display_rows(marks, visits_without_finds)
    title = facts["title"] or "Map of finds"
    words = {
        "title": safe(title),
        "subtitle": "Exact places of finds" if private else "Finds by grid square",
        "banners": _banners(facts, private),
        "legend": _legend(rows, private),
        "map": _folium_map(rows, private) if len(rows) else '<p class="nothing">There is nothing to show yet.</p>',
        "table": _table(rows, private),
        "notes": "".join(f"<li>{safe(note)}</li>" for note in facts["notes"]),
        "credit": safe(". ".join(text for text in (facts["author"], facts["licence"]) if text)),
        "month_rules": "\n".join(f'[data-month="{m}"] .by-month:not(.m{m}){{display:none}}' for m in range(1, 13)),
        "vendor_css": _vendor_css() if len(rows) else "",
        "vendor_js": _vendor_js() if len(rows) else "",
    }
    template = resources.files("pipeline").joinpath("templates", "map.html").read_text(encoding="utf-8")
    return string.Template(template).substitute(words)


def _display_rows(marks: pd.DataFrame, searches: pd.DataFrame) -> list[Any]:
    """Marks and empty visits in one list, with a place that is a square in both kinds of page."""
    rows = pd.concat([marks, searches.assign(life_stage=NOTHING)], ignore_index=True) if len(searches) else marks.copy()
    if "south" not in rows:
        rows["south"] = rows["north"] = rows["latitude"]
        rows["west"] = rows["east"] = rows["longitude"]
        rows["step"] = rows["site_id"]
    for name in SEARCHES[1:]:
        if name not in rows:
            rows[name] = None
    return list(rows.sort_values(["south", "west", "step"], kind="stable").itertuples(index=False, name="Row"))


def _grouped(rows: Iterable[Any], key: Callable[[Any], Any]) -> dict[Any, list[Any]]:
    groups: dict[Any, list[Any]] = {}
    for row in rows:
        groups.setdefault(key(row), []).append(row)
    return groups


def _square(row: Any) -> tuple[float, float, float, float]:
    return float(row.south), float(row.west), float(row.north), float(row.east)


def _banners(facts: dict[str, Any], private: bool) -> str:
    texts = [("invented", "Invented study. No animal, place or person in it is real.")] if facts["invented"] else []
    texts += [("private", "Exact places. Do not share.")] if private else []
    return "".join(f'<p class="banner {kind}" role="note">{text}</p>' for kind, text in texts)


def _symbol(stage: str, months: Iterable[int], dashed: bool = False, label: str = "") -> str:
    letter, colour, outline = SYMBOLS[stage]
    seen = set(months)
    bars = [(2 + 2.1 * (month - 1), month in seen) for month in range(1, 13)]
    ticks = "".join(f'<path d="M{x:.1f} {"26v7" if tall else "31v2"}" stroke="{"#000" if tall else "#888"}"/>' for x, tall in bars)
    dash = ' stroke-dasharray="3 2"' if dashed else ""
    baseline = {"hatchling": 14, "juvenile": 20}.get(stage, 17)
    return (
        f'<svg width="28" height="34" viewBox="0 0 28 34" aria-hidden="true">'
        f'<rect width="28" height="34" fill="#fff" fill-opacity="0.85" rx="3"/>'
        f'<path d="{outline}" fill="{colour}" stroke="#000" stroke-width="1.5"{dash}/>'
        f'<text x="14" y="{baseline}" text-anchor="middle" font-size="11" font-weight="bold">{letter}</text>'
        f'<g stroke-width="1.3">{ticks}</g></svg>' + (f'<span class="unseen">{label}</span>' if label else "")
    )


def _steps(rows: list[Any]) -> list[str]:
    return sorted({str(row.step) for row in rows}, key=float)


def _legend(rows: list[Any], private: bool) -> str:
    options = "".join(f'<option value="{number}">{name}</option>' for number, name in enumerate(MONTHS, 1))
    steps = [] if private else _steps(rows)
    squares = "<p>A dot is a site; its symbols hang below it. Zoom in where they overlap.</p>" if private else ""
    squares += f"<p>Sides of the squares: {' and '.join(f'{step}°' for step in steps)}.</p>" if steps else ""
    if len(steps) > 1:
        squares += "<p>The larger squares have a dashed edge. Their symbols have one too, and may belong anywhere in the square.</p>"
    return (
        f'<div id="layers"></div><p><label>Show <select id="month"><option value="">all months</option>{options}</select></label></p>'
        f"<p>{_symbol('adult', [6, 7])} The twelve ticks under a symbol are January to December. "
        "Tall ticks: the months in which it was seen (here June and July).</p>"
        f"{squares}<p>Temperatures are those read where the animals were: in water the water, on land under cover the ground, "
        "at the water's edge the ground or the water, in the open the air.</p>"
    )


def _degrees(value: float, letters: str) -> str:
    return f"{abs(value):g}° {letters[value < 0]}"


def _place_words(row: Any, private: bool) -> str:
    if private:
        name = f", {safe(row.site_name)}" if safe(row.site_name) else ""
        return f"{safe(row.site_id)}{name}; {row.latitude:.5f}, {row.longitude:.5f}"
    return f"{_degrees(row.south, 'NS')} to {_degrees(row.north, 'NS')}, {_degrees(row.west, 'EW')} to {_degrees(row.east, 'EW')}"


def _temperature_words(row: Any) -> str:
    if not row.n_readings > 0:
        return "no temperature"
    if row.n_readings == 1:
        return f"{row.temp_median_c:.1f} °C, one reading"
    return f"median {row.temp_median_c:.1f} °C, range {row.temp_min_c:.1f} to {row.temp_max_c:.1f}, {row.n_readings:.0f} readings"


def _microhabitat_words(row: Any) -> str:
    listed = vocabulary("microhabitat")
    return "; ".join(safe(listed[code]["definition"]) if code in listed else safe(code) for code in row.microhabitats.split("|") if code)


def _target_words(row: Any) -> str:
    return ", ".join(f"<i>{safe(name)}</i>" for name in row.taxa.split("|")) if row.taxa else "not noted"


def _popup(rows: list[Any], private: bool) -> str:
    """Text of a popup: a heading a month, a line a taxon and medium."""
    first = rows[0]
    blocks = [f'<h2>{STAGE_WORDS[first.life_stage]}</h2><p class="place">{_place_words(first, private)}</p>']
    if private and safe(first.remarks):
        blocks.append(f"<p>{safe(first.remarks)}</p>")
    for month, of_month in sorted(_grouped(rows, lambda row: int(row.month)).items()):
        blocks.append(f"<h3>{MONTHS[month - 1]}</h3>")
        blocks += [f"<p>{_popup_line(row)}</p>" for row in of_month]
    return "".join(blocks)


def _popup_line(row: Any) -> str:
    if row.life_stage == NOTHING:
        return f"{_many(int(row.n_visits), 'visit', 'visits')}, nothing found. Looked for: {_target_words(row)}"
    if row.life_stage == "egg_mass":
        counts = _many(int(row.n_animals), "clutch", "clutches")
    else:
        counts = f"{_many(int(row.n_animals), 'animal', 'animals')} in {_many(int(row.n_finds), 'find', 'finds')}"
    return f"<i>{safe(row.taxon)}</i>, {MEDIA[row.medium]}: {counts}; {_temperature_words(row)}. {_microhabitat_words(row)}."


def _table(rows: list[Any], private: bool) -> str:
    """The figures of the marks as a table, for readers without the map."""
    heads = ("Site" if private else "Square", "Stage", "Month", "Taxon", "Where", "Animals", "Finds", "Temperature", "Microhabitats")
    lines = []
    for row in rows:
        start = [_place_words(row, private), STAGE_WORDS[row.life_stage], MONTHS[int(row.month) - 1]]
        if row.life_stage == NOTHING:
            cells = [*start, _target_words(row), "", "0", _many(int(row.n_visits), "visit", "visits"), "", ""]
        else:
            figures = [str(int(row.n_animals)), str(int(row.n_finds)), _temperature_words(row), _microhabitat_words(row)]
            cells = [*start, f"<i>{safe(row.taxon)}</i>", MEDIA[row.medium], *figures]
        rest = "".join(f"<td>{cell}</td>" for cell in cells[1:])
        lines.append(f'<tr class="by-month m{int(row.month)}"><th scope="row">{cells[0]}</th>{rest}</tr>')
    top = "".join(f'<th scope="col">{head}</th>' for head in heads)
    return f"<table><thead><tr>{top}</tr></thead><tbody>{''.join(lines)}</tbody></table>"


def _folium_map(rows: list[Any], private: bool) -> str:
    """The map as folium's element and script, without folium's own header; ids numbered in order."""
    import folium
    from branca.element import Element

    steps = [] if private else _steps(rows)
    view = _bounds([row for row in rows if private or row.step == steps[0]], private)
    drawn = folium.Map(location=view[0], tiles=None, control_scale=True, zoom_control="bottomright", attribution_control=False,
                       min_zoom=3, max_zoom=18, zoom_snap=0.25)  # fmt: skip
    frame = folium.FeatureGroup(name="Grid", control=False).add_to(drawn)
    _draw_graticule(frame, view, float(steps[0]) if steps else 0.0)
    if not private:
        _draw_squares(frame, rows, steps[0])
    present = {row.life_stage for row in rows}
    stages = [stage for stage in SYMBOLS if stage in present]
    layers = {stage: folium.FeatureGroup(name=f"{_symbol(stage, [])} {STAGE_WORDS[stage]}").add_to(drawn) for stage in stages}
    for (_, west, step), at_place in _grouped(rows, lambda row: (row.south, row.west, row.step)).items():
        if private:
            dot = folium.CircleMarker(_square(at_place[0])[:2], radius=3, color="#000", fill=True, fill_opacity=1, interactive=False)
            dot.add_to(frame)
        if private or step == steps[0]:
            _draw_place(layers, at_place, private)
        else:
            _draw_tab(frame, layers, at_place, line=2 * (steps.index(step) - 1) + round(west / float(step)) % 2)
    folium.LayerControl(collapsed=False).add_to(drawn)
    folium.FitBounds(view, padding_top_left=(40, 18), padding_bottom_right=(40, 80 if len(steps) < 2 else 140)).add_to(drawn)
    figure = drawn.get_root()
    figure.render()
    figure.script.add_child(Element(f"window.rillbookMap = {drawn.get_name()};"))
    text = f"{figure.html.render()}<script>{figure.script.render()}</script>"
    numbers: dict[str, int] = {}
    return re.sub(r"(?<![0-9a-f])[0-9a-f]{32}(?![0-9a-f])", lambda found: str(numbers.setdefault(found.group(), len(numbers))), text)


def _bounds(rows: list[Any], private: bool) -> list[list[float]]:
    """South-west and north-east corner of all squares, or of all sites and a little more."""
    pad = 0.01 if private else 0.0
    south, west, north, east = zip(*(_square(row) for row in rows), strict=True)
    return [[min(south) - pad, min(west) - pad], [max(north) + pad, max(east) + pad]]


def _draw_graticule(layer: Any, bounds: Sequence[Sequence[float]], least: float) -> None:
    """Thin labelled lines, at most seven each way, so that a person can tell where on the globe the map is.

    They are never closer than the grid, so that the public page names no degrees finer than its squares.
    """
    import folium

    (south, west), (north, east) = bounds
    span = max(north - south, east - west)
    step = next((size for size in reversed(GRATICULE_STEPS) if size >= least and span / size <= 6), GRATICULE_STEPS[0])
    for low, high, letters in ((south, north, "NS"), (west, east, "EW")):
        for number in range(int(np.ceil(round(low / step, 6))), int(np.floor(round(high / step, 6))) + 1):
            value = round(number * step, 3)
            line = [(value, west), (value, east)] if letters == "NS" else [(south, value), (north, value)]
            folium.PolyLine(line, color="#777", weight=1, opacity=0.5, interactive=False).add_to(layer)
            anchor = (0, 14) if letters == "NS" else (8, -3)
            label = folium.DivIcon(f"<span>{_degrees(value, letters)}</span>", icon_size=(60, 14), icon_anchor=anchor, class_name="degree")
            folium.Marker(line[0], icon=label, interactive=False, keyboard=False, z_index_offset=-1000).add_to(layer)


def _draw_squares(layer: Any, rows: list[Any], finest: str) -> None:
    import folium

    squares = {(-float(row.step), *_square(row)): str(row.step) for row in rows}
    for (_, south, west, north, east), step in sorted(squares.items()):
        coarse = step != finest
        folium.Rectangle(
            [(south, west), (north, east)], color="#333", weight=2 if coarse else 1.5, dash_array="7 5" if coarse else None,
            fill=True, fill_color="#7a8a70", fill_opacity=0.05 if coarse else 0.16, interactive=False,
        ).add_to(layer)  # fmt: skip


def _by_stage(layers: dict[str, Any], rows: list[Any]) -> dict[str, list[Any]]:
    found = _grouped(rows, lambda row: row.life_stage)
    return {stage: found[stage] for stage in layers if stage in found}


def _draw_place(layers: dict[str, Any], at_place: list[Any], private: bool) -> None:
    """The symbols of one square or site, side by side in the order of the stages."""
    by_stage = _by_stage(layers, at_place)
    columns = int(np.ceil(np.sqrt(len(by_stage))))
    lines = int(np.ceil(len(by_stage) / columns))
    south, _, _, east = _square(at_place[0])
    for number, (stage, rows) in enumerate(by_stage.items()):
        line, column = divmod(number, columns)
        if private:
            anchor, spot = (14 - 30 * column + 15 * (columns - 1), -4 - 36 * line), None
        else:
            # The page's own script moves a symbol from the corner to its share of the square: no degrees but the grid's are written.
            anchor, spot = (14, 17), [south, east, (line + 0.5) / lines, (column + 0.5) / columns]
        _draw_mark(layers[stage], rows, private, anchor, spot=spot)


def _draw_tab(frame: Any, layers: dict[str, Any], at_place: list[Any], line: int) -> None:
    """The symbols of a larger square in a row, which the page's own script keeps at the visible foot of the square."""
    import folium

    south, west, north, east = _square(at_place[0])
    lift = 36 + 38 * line
    words = f"<span>{safe(at_place[0].step)}° square</span>"
    label = folium.DivIcon(html=words, icon_size=(64, 16), icon_anchor=(0, lift - 8), class_name="degree tab")
    folium.Marker((north, west), icon=label, interactive=False, keyboard=False, tab=[south, east]).add_to(frame)
    for number, (stage, rows) in enumerate(_by_stage(layers, at_place).items()):
        _draw_mark(layers[stage], rows, False, (-66 - 30 * number, lift), tab=[south, east])


def _draw_mark(layer: Any, rows: list[Any], private: bool, anchor: tuple[int, int], spot: Any = None, tab: Any = None) -> None:
    import folium

    first = rows[0]
    months = sorted({int(row.month) for row in rows})
    if first.life_stage == NOTHING:
        number = _many(sum(int(row.n_visits) for row in rows), "visit", "visits")
    else:
        number = str(sum(int(row.n_animals) for row in rows))
    title = f"{STAGE_WORDS[first.life_stage]}: {number}"
    icon = folium.DivIcon(
        html=_symbol(first.life_stage, months, tab is not None, f"{title}, {_place_words(first, private)}"),
        icon_size=(28, 34), icon_anchor=anchor, popup_anchor=(14 - anchor[0], -anchor[1]),
        class_name=" ".join(["mark", "by-month", *(f"m{month}" for month in months)]),
    )  # fmt: skip
    popup = folium.Popup(_popup(rows, private), max_width=290, max_height=260)
    corner = (float(first.north), float(first.west))
    folium.Marker(corner, icon=icon, popup=popup, title=title, spot=spot, tab=tab).add_to(layer)


def _vendor(package: str, name: str) -> bytes:
    return resources.files(f"xstatic.pkg.{package}").joinpath("data", *name.split("/")).read_bytes()


def _vendor_css() -> str:
    """Leaflet's style with its pictures inside."""
    style = _vendor("leaflet", "leaflet.css").decode("utf-8")

    def picture(found: re.Match[str]) -> str:
        return f"url(data:image/png;base64,{base64.b64encode(_vendor('leaflet', found.group(1))).decode('ascii')})"

    return re.sub(r"url\((images/[\w.-]+\.png)\)", picture, style)


def _vendor_js() -> str:
    texts = [_vendor("jquery", "jquery.min.js").decode("utf-8"), _vendor("leaflet", "leaflet.js").decode("utf-8")]
    return "\n".join(f"<script>{re.sub(r'//# sourceMappingURL=.*', '', text)}</script>" for text in texts)


def write_public(out: Path, sites: pd.DataFrame, visits: pd.DataFrame, finds: pd.DataFrame, settings: Settings) -> Path:
    """Write the map for everyone to `out/map.html` and return its path."""
    book = (sites, visits, finds, settings.taxa)
    text = page(public_marks(*book, settings), public_searches(*book, settings), public_facts(*book, settings), private=False)
    return _write(out / "map.html", text)


def write_exact(out: Path, sites: pd.DataFrame, visits: pd.DataFrame, finds: pd.DataFrame, settings: Settings) -> Path:
    """Write the map that must not be shared to `out/private/map_exact.html` and return its path."""
    book = (sites, visits, finds, settings.taxa)
    text = page(exact_marks(*book), exact_searches(*book), exact_facts(sites, visits, finds, settings), private=True)
    return _write(out / "private" / "map_exact.html", text)


def _write(path: Path, text: str) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8", newline="\n")
    return path
