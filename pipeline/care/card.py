"""The card: one sheet of paper for a taxon and population, what a keeper copies. The care sheet is the evidence behind it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.care.evidence import ByCell, sites_told
from pipeline.care.panels import year_panel
from pipeline.care.season_cells import Seasons, as_degrees, season_cells, seasons_of, span_in_words
from pipeline.settings import DEFAULTS
from pipeline.settings.limits import judgement
from pipeline.targets.figures import n_visits
from pipeline.writing.page import environment
from pipeline.writing.site_counts import told_of_cell
from pipeline.writing.words import GRADES, MEDIA, STAGES, Cell, Row, counted, figure, month_runs, named
from schemas.enums import Status
from schemas.vocabulary import CONSTANT, codes, has_trait, trait

CELL = ["taxon", "population", "life_stage", "medium"]
SEASON_ORDER = ("spring", "summer", "autumn", "winter")


def card_page(
    taxon: str, population: str | None, targets: pd.DataFrame, readings: pd.DataFrame, taxa: pd.DataFrame, facts: Mapping[str, Any]
) -> str:
    """Write the card of one taxon and population.

    Parameters
    ----------
    taxon : str
        Code of the taxon.
    population : str or None
        The population; None for animals of unknown origin: of each stage and place the population with the coolest lines.
    targets, readings, taxa, facts
        As `pipeline.care.sheet.page`; ``site_spans`` (taxon to a sentence on the sites) and ``further`` may be missing.

    Returns
    -------
    str
        One HTML page that needs no other file and prints on the two sides of one sheet.
    """
    known = taxa[taxa["code"] == taxon].iloc[0]
    mine = _own(targets, taxon)
    cells = _cells(mine, population)
    several = mine.loc[mine["status"] != Status.REFUSED, "population"].nunique() > 1
    rows, seasons = card_table(taxon, population, targets, readings, taxa, facts)
    return str(
        environment("care")
        .get_template("card.html")
        .render(
            facts={"method_version": "", **facts},
            name=str(known["scientific_name"]),
            code=taxon,
            population=population,
            several=several,
            origin=facts.get("site_spans", {}).get(taxon, ""),
            both_ways=known["group"] in CONSTANT,
            seasons=seasons,
            rows=rows,
            silent=_without_target(mine, population, {(key[2], key[3]) for key in cells}),
            humidity=_humidity(cells, facts.get("statements", {})),
            water=_water(cells, facts.get("further", {}).get("water")),
            cooling=(judgement("cooling_rate"), judgement("cooling_rate") * 1.8),
            sheet=f"care_sheet_{taxon}.html",
        )
    )


def card_table(
    taxon: str, population: str | None, targets: pd.DataFrame, readings: pd.DataFrame, taxa: pd.DataFrame, facts: Mapping[str, Any]
) -> tuple[list[Row], list[tuple[str, str]]]:
    """As :func:`card_rows`; taken from ``card_tables`` of the facts (taxon and population to a table) where it is made already."""
    made: Mapping[Any, tuple[list[Row], list[tuple[str, str]]]] = facts.get("card_tables", {})
    return made[taxon, population] if (taxon, population) in made else card_rows(taxon, population, targets, readings, taxa, facts)


def card_rows(
    taxon: str, population: str | None, targets: pd.DataFrame, readings: pd.DataFrame, taxa: pd.DataFrame, facts: Mapping[str, Any]
) -> tuple[list[Row], list[tuple[str, str]]]:
    """Rows of a card's table, and its seasons with their months in words; arguments as :func:`card_page`."""
    mine = _own(targets, taxon)
    tabled, given = ByCell(mine), ByCell(readings[readings["taxon"] == taxon])
    seasons = seasons_of(facts.get("warm_months", DEFAULTS["warm_months"]), facts.get("cold_months", DEFAULTS["cold_months"]))
    both_ways = taxa.set_index("code").loc[taxon, "group"] in CONSTANT
    several = mine.loc[mine["status"] != Status.REFUSED, "population"].nunique() > 1
    unknown = population is None and several
    rows = [
        _row(key, tabled.rows(key), given.rows(key), tabled.records(key), seasons, both_ways, unknown, number, facts)
        for number, key in enumerate(_cells(mine, population), start=1)
    ]
    return rows, [(season, span_in_words(seasons[season])) for season in SEASON_ORDER if seasons[season]]


def cards(
    out: Path, taxon: str, targets: pd.DataFrame, readings: pd.DataFrame, taxa: pd.DataFrame, facts: Mapping[str, Any]
) -> dict[Path, str]:
    """Cards of one taxon, by their paths under `out`.

    The first is card_<taxon>.html: of several populations that of animals of unknown origin.
    """
    mine = _own(targets, taxon)
    populations = sorted(mine.loc[mine["status"] != Status.REFUSED, "population"].unique())
    wanted: dict[str, str | None] = {f"card_{taxon}.html": populations[0] if len(populations) == 1 else None if populations else ""}
    if len(populations) > 1:
        wanted |= {f"card_{taxon}_{_file_safe(name)}.html": name for name in populations}
    return {out / name: card_page(taxon, population, targets, readings, taxa, facts) for name, population in wanted.items()}


def _file_safe(population: str) -> str:
    return re.sub(r"[^A-Za-z0-9-]+", "-", population).strip("-") or "unnamed"


def _own(frame: pd.DataFrame, taxon: str) -> pd.DataFrame:
    mine = frame[frame["taxon"] == taxon]
    return mine.assign(population=mine["population"].fillna("").astype(str), month=mine["month"].astype(str).str.replace(".0", ""))


def _cells(targets: pd.DataFrame, population: str | None) -> list[Cell]:
    """Stages and places with a target in some month, in the order of a reader: adults and larvae first, hatchlings and eggs last."""
    months = targets[targets["month"].str.isdigit() & (targets["status"] != Status.REFUSED)]
    if population is not None:
        months = months[months["population"] == population]
    lines = months.groupby(CELL, as_index=False).agg(ceiling=("ceiling", "min"), warmest=("set_point_high", "max"))
    lines = lines.sort_values(["ceiling", "warmest", "population"]).drop_duplicates(["life_stage", "medium"])
    place = {code: number for number, code in enumerate(codes("life_stage"))}
    media = list(MEDIA)
    keys = [tuple(key) for key in lines[CELL].itertuples(index=False, name=None)]
    return sorted(keys, key=lambda key: (int(trait("life_stage", key[2], "card_order")), place.get(key[2], 99), media.index(key[3])))


def _row(
    key: Cell,
    rows: pd.DataFrame,
    read: pd.DataFrame,
    records: list[Row],
    seasons: Seasons,
    both_ways: bool,
    origin_unknown: bool,
    number: int,
    facts: Mapping[str, Any],
) -> Row:
    """Everything that the card says of one stage in one place."""
    _, population, stage, medium = key
    months = months_of(records)
    first = rows.iloc[0]
    ceiling, floor = figure(first["ceiling"]), figure(first["floor"])
    borrows = has_trait("life_stage", stage, "lends") and not both_ways
    what = f"{named(STAGES, stage)}, {named(MEDIA, medium)}"
    values = {int(month): part.tolist() for month, part in read.groupby("month")["value"]}
    silent = [month for month, row in months.items() if not row["n_readings"]]
    few = [month for month, row in months.items() if row["n_readings"] and row["status"] == Status.REFUSED]
    told = [month_runs(silent), *([f"too little read in {month_runs(few)}"] if few else [])]
    return {
        "what": what,
        "population": population if origin_unknown else "",
        "ceiling": ceiling,
        "ceiling_words": as_degrees(ceiling) if ceiling is not None else "",
        "floor": floor,
        "floor_words": as_degrees(floor, up=True) if floor is not None else "",
        "cells": season_cells(months, seasons, borrows, both_ways),
        "evidence": _evidence(rows, read, sites_told(key, read, facts)),
        "silent": "; ".join(part for part in told if part),
        "bound_by": str(first["ceiling_bound_by"]),
        "cut": month_runs(month for month, row in months.items() if row["cut_by_ceiling"] and row["status"] != Status.REFUSED),
        "panel": year_panel(what, months, values, ceiling, f"panel-{number}"),
    }


def months_of(rows: Iterable[Row]) -> dict[int, Row]:
    """Months 1 to 12 to their rows of the targets; a month without a row has no readings and no target."""
    nothing = {"status": Status.REFUSED, "n_readings": 0, "cut_by_ceiling": False}
    given = {int(row["month"]): row for row in rows if str(row["month"]).isdigit()}
    return {month: given.get(month, nothing) for month in range(1, 13)}


def _evidence(rows: pd.DataFrame, read: pd.DataFrame, n_sites: int) -> str:
    """How much stands behind a row, in one line; animals are animals and visits are visits."""
    months = rows[rows["month"].str.isdigit()]
    grades = sorted(set(months.loc[months["status"] == Status.TARGET, "grade"]))
    words = " to ".join(dict.fromkeys(GRADES[grade] for grade in (grades[:1] + grades[-1:])))
    parts = [
        counted(read["n_animals"].sum(), "animal"), counted(n_visits(read), "visit"), counted(read["date"].nunique(), "date"),
        told_of_cell(rows, n_sites), counted(read["year"].nunique(), "year"),
    ]  # fmt: skip
    return f"{', '.join(parts)}; {words or 'borrowed only'}"


def _without_target(targets: pd.DataFrame, population: str | None, shown: set[tuple[str, str]]) -> str:
    """Stages and places that were read and have no target, in one line."""
    mine = targets if population is None else targets[targets["population"] == population]
    pairs = [pair for pair in dict.fromkeys(mine[["life_stage", "medium"]].itertuples(index=False, name=None)) if pair not in shown]
    told = [f"{named(STAGES, stage).lower()} {named(MEDIA, medium)}" for stage, medium in pairs]
    stages = {stage for stage, _ in shown} | {stage for stage, _ in pairs}
    unread = [stage for stage in codes("life_stage") if has_trait("life_stage", stage, "told") and stage not in stages]
    return "; ".join([*told, *(named(STAGES, stage).lower() for stage in unread)])


def _humidity(cells: Iterable[Cell], statements: Mapping[tuple[str, str, str], Mapping[str, Any]]) -> list[tuple[str, str]]:
    """The two statements and the hand test, each once."""
    lines: dict[tuple[str, str], list[str]] = {}
    for taxon, population, stage, _ in cells:
        for line in statements.get((taxon, population, stage), {}).get("humidity", ()):
            if line["part"] in ("refuge", "open") and line["label"] != "hand tests noted":
                lines.setdefault((line["label"], line["text"]), []).append(named(STAGES, stage).lower())
    figures = [(f"Open part, {', '.join(dict.fromkeys(who))}", text) for (label, text), who in lines.items() if label != "refuge"]
    told = [line for line in figures if not line[1].startswith("No figure")]
    refuge = [("Refuge", text) for label, text in lines if label == "refuge"][:1]
    nothing = [("Open part", "No figure: too little was read at animals in the open by night. Keep to the refuge and its hand test.")]
    return refuge + (told or (nothing if refuge else []))


def _water(cells: Iterable[Cell], water: pd.DataFrame | None) -> list[str]:
    """Bands of what was found, with units: of each quantity the stage with most visits."""
    if water is None or water.empty:
        return []
    keys = {key[:3] for key in cells}
    own = water[[tuple(key) in keys for key in water[CELL[:3]].fillna("").astype(str).itertuples(index=False, name=None)]]
    found = own[own["status"] == Status.FOUND].assign(warm=lambda rows: rows["season"] == "warm")
    found = found.sort_values(["warm", "n_visits"], ascending=False).drop_duplicates(["quantity", "unit"])
    told: dict[str, list[str]] = {}
    for row in found.itertuples():
        when = row.season if row.season.endswith("months") else f"{row.season} months"
        band = f"{_quantity(row.quantity)} {row.band_low:g} to {row.band_high:g}{f' {row.unit}' if row.unit else ''}"
        told.setdefault(f"{named(STAGES, row.life_stage).lower()}, {when}", []).append(band)
    return [f"{', '.join(bands)} ({who})" for who, bands in told.items()]


def _quantity(name: str) -> str:
    return {"ph": "pH", "oxygen": "oxygen", "saturation": "oxygen"}.get(name, name)
