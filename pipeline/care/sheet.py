"""Care sheets: one self-contained page a taxon, from targets and readings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.care.card import card_table, months_of
from pipeline.care.evidence import ByCell, answers, evidence, fates_of_months, found, silent
from pipeline.care.guidance import guidance_lines
from pipeline.care.months import ceiling_words, floor_words, least_of, month_row, refused_months
from pipeline.care.panels import year_panel
from pipeline.care.parts import detection_lines, logger_words, mosaic_part, night_part, schedule_part
from pipeline.errors import RillbookError
from pipeline.settings.limits import judgement
from pipeline.writing.page import environment
from pipeline.writing.words import MEDIA, STAGES, Cell, Row, figure, month_key, named, number
from schemas.enums import Status
from schemas.vocabulary import CONSTANT, EGGS, codes, trait

PLOTTED_FROM = 10
"""A stage without a target gets a plot from so many readings on: the table tells fewer as well, and empty plots hide the rest."""

SPANS = (*map(str, range(1, 13)), "warm", "cold")
CELL = ["taxon", "population", "life_stage", "medium"]
DAMP = ("surface", "land", "edge")
AQUATIC = ("water", "edge")
KEPT_PARTS = {"humidity": ("refuge", "open", "table"), "water": (Status.FOUND, Status.REFUSED)}
SAID_PARTS = {"humidity": ("found", "note"), "water": ("note",)}


def page(taxon: str, targets: pd.DataFrame, readings: pd.DataFrame, taxa: pd.DataFrame, facts: Mapping[str, Any]) -> str:
    """Write the care sheet of one taxon.

    Parameters
    ----------
    taxon : str
        Code of the taxon.
    targets : DataFrame
        Columns of `schemas.frames.targets.TARGET_COLUMNS`, temperatures in °C; `month` is text, ``1`` to ``12``, ``warm`` or ``cold``.
    readings : DataFrame
        Columns of `schemas.frames.targets.Readings`, °C. No site, visit or date of it is printed.
    taxa : DataFrame
        Columns of `schemas.tables.Taxa`; the row of `taxon` is used.
    facts : mapping
        What else the page states. Required: ``title``, ``invented``, ``author``, ``licence``, ``seed``, ``method_version``,
        ``exclusions`` (DataFrame: taxon, life_stage, reason, n_finds), ``allowances`` (tuple of taxon, population, stage and medium to a
        dict of name to °C), ``input_hash``, ``notes`` (list of str). Optional: ``guidance`` (DataFrame as from
        `pipeline.settings.limits.published_guidance`, which is asked where this is missing), ``cooling_c_per_hour`` (fastest safe cooling),
        ``warm_months``, ``cold_months`` (numbers), ``time_zone``; frames as declared in `schemas.frames.targets`: ``schedule``,
        ``schedule_weeks``, ``schedule_months``, ``night_drop``, ``corrected``, ``selection``, ``detection``; ``logger_record`` (see
        `pipeline.care.parts.logger_words`); ``statements`` (tuple of taxon, population and stage to a dict of ``humidity`` and
        ``water``, lists of lines with ``part``, ``label``, ``text``). What is missing is said to be not known.

    Returns
    -------
    str
        One HTML page that needs no other file; the same bytes for the same input.

    Raises
    ------
    RillbookError
        `taxa` has no such taxon, or a row of the targets contradicts its own ceiling.
    """
    from markupsafe import Markup

    known = taxa[taxa["code"] == taxon]
    if known.empty:
        raise RillbookError(f"there is no taxon {taxon!r} in the book.", "Add it to rillbook.toml as a [[taxon]].")
    mine, read = _only(targets, taxon), _only(readings, taxon)
    mine = mine[mine["quantity"] == "temperature"]
    name, group = str(known["scientific_name"].iloc[0]), str(known["group"].iloc[0])
    parts = ByCell(mine), ByCell(read)
    cells = [_cell(key, index, group, *parts, facts) for index, key in enumerate(_cells(mine, read), start=1)]
    apart = _with_statements(taxon, cells, facts.get("statements", {}))
    pages = environment("care")
    pages.filters["capital"] = _capital
    return str(
        pages.get_template("care_sheet.html").render(
            facts={"time_zone": "", "cooling_c_per_hour": None, **facts},
            name=name,
            code=taxon,
            both_ways=group in CONSTANT,
            cells=[{**cell, "plot": Markup(cell["plot"])} for cell in cells],
            tables=_card_tables(taxon, targets, readings, taxa, facts),
            questions=_questions(cells),
            apart=apart,
            detection=detection_lines(taxon, facts.get("detection")),
            unknown_origin=_unknown_origin(cells),
            exclusions=_exclusions(taxon, facts["exclusions"]),
            guidance=guidance_lines(group, name, cells, facts),
            eggs_silent=not any(cell["stage"] in EGGS and cell["has_target"] for cell in cells),
            number=number,
            water_published=_published_water(taxon, facts.get("statements", {})),
            rate=judgement("schedule_rate"),
        )
    )


def path_of(out: Path, taxon: str) -> Path:
    """Where the care sheet of a taxon lies."""
    return out / f"care_sheet_{taxon}.html"


def _card_tables(
    taxon: str, targets: pd.DataFrame, readings: pd.DataFrame, taxa: pd.DataFrame, facts: Mapping[str, Any]
) -> list[tuple[str, Any, Any]]:
    """The table of each population's card: population, rows, seasons."""
    mine = _only(targets, taxon)
    populations = sorted(mine.loc[mine["status"] != Status.REFUSED, "population"].unique())
    return [(population, *card_table(taxon, population, targets, readings, taxa, facts)) for population in populations]


def _questions(cells: list[Row]) -> list[tuple[str, list[tuple[str, str]]]]:
    """Each question of a veterinarian once, with the answers of the cells; cells of one answer together."""
    asked: dict[str, dict[str, list[str]]] = {}
    for cell in cells:
        for question, answer in cell["answers"]:
            asked.setdefault(question, {}).setdefault(answer, []).append(cell["full"])
    return [
        (question, [("" if len(answers) == 1 else "; ".join(who), answer) for answer, who in answers.items()])
        for question, answers in asked.items()
    ]


def _only(frame: pd.DataFrame, taxon: str) -> pd.DataFrame:
    mine = frame[frame["taxon"] == taxon]
    return mine.assign(population=mine["population"].fillna("").astype(str))


def _cells(targets: pd.DataFrame, readings: pd.DataFrame) -> list[Cell]:
    both = pd.concat([targets[CELL].astype(str), readings[CELL].astype(str)]).drop_duplicates()
    order = {code: (trait("life_stage", code, "card_order"), place) for place, code in enumerate(codes("life_stage"))}
    media = list(MEDIA)
    keys = (tuple(row) for row in both.itertuples(index=False))
    place = {code: number for number, code in enumerate(media)}
    return sorted(keys, key=lambda key: (key[1], order.get(key[2], ("9", 99)), key[2], place.get(key[3], 99), key[3]))


def _cell(key: Cell, index: int, group: str, targets: ByCell, readings: ByCell, facts: Mapping[str, Any]) -> Row:
    """Everything that the page says of one population, stage and medium."""
    _, population, stage, medium = key
    rows, read = targets.rows(key), readings.rows(key)
    records = {month_key(row["month"]): row for row in targets.records(key)}
    ceiling, floor = figure(rows["ceiling"].min()), figure(rows["floor"].max())
    values = {month: tuple(sorted(part)) for month, part in read.groupby("month")["value"]}
    months = [month_row(month, records.get(str(month)), values.get(month, ()), ceiling, floor) for month in range(1, 13)]
    if stage in EGGS and not read["at_nest"].any():
        months = [{**row, "why": "not read at the nest"} if row["kind"] == Status.REFUSED else row for row in months]
    what = f"{named(STAGES, stage)}, {named(MEDIA, medium)}"
    full = what if not population else f"{what}, {population}"
    least = least_of(months, floor)
    has_target = any(row["low"] is not None for row in months)
    plotted = has_target or len(read) >= PLOTTED_FROM
    record = evidence(key, rows, read, facts)
    lines = [found(name, records.get(name), values.get(int(name) if name.isdigit() else 0, ())) for name in SPANS]
    return {
        "id": f"cell-{index}",
        "population": population,
        "stage": stage,
        "medium": medium,
        "what": what,
        "full": full,
        "months": months,
        "has_target": has_target,
        "ceiling": ceiling_words(ceiling),
        "floor_c": floor,
        "least_c": least[0] if least else None,
        "floor": floor_words(floor, months, facts),
        "plot": year_panel(full, months_of(targets.records(key)), values, ceiling if has_target else None, f"plot-{index}")
        if plotted
        else "",
        "year": schedule_part(key, group, facts, least),
        "spots": mosaic_part(key, group, rows, read, facts, least),
        "night": night_part(key, read, facts),
        "refused": refused_months(months),
        "evidence": [*record, *(fates_of_months(months) if has_target else [])],
        "answers": answers(key, rows, read, facts, record, logger_words(key, read, facts)) if has_target else [],
        "has_readings": not read.empty,
        "found": [row for row in lines if row],
        "silent": silent(read, facts),
        "humidity": {},
        "water": {},
    }


def _with_statements(taxon: str, cells: list[Row], statements: Mapping[tuple[str, str, str], Mapping[str, Any]]) -> list[Row]:
    """Give each stage's lines on humidity and water to its first cell in such a medium; return those without such a cell."""
    apart = []
    for (its, population, stage), lines in statements.items():
        if its != taxon:
            continue
        mine = [cell for cell in cells if (cell["population"], cell["stage"]) == (population, stage)]
        for kind, media in (("humidity", DAMP), ("water", AQUATIC)):
            if not lines.get(kind):
                continue
            parts = {"keep": _of_parts(lines[kind], KEPT_PARTS[kind]), "say": _of_parts(lines[kind], SAID_PARTS[kind])}
            hosts = [cell for medium in media for cell in mine if cell["medium"] == medium and cell["has_target"]]
            if hosts:
                hosts[0][kind] = parts
            else:
                apart.append({"stage": named(STAGES, stage), "population": population, "kind": kind, **parts})
    return apart


def _published_water(taxon: str, statements: Mapping[tuple[str, str, str], Mapping[str, Any]]) -> list[Mapping[str, str]]:
    """Limits of water from elsewhere, each once for all stages."""
    lines = [line for key, parts in statements.items() if key[0] == taxon for line in parts["water"] if line["part"] == "published"]
    return list({(line["label"], line["text"]): line for line in lines}.values())


def _capital(text: str) -> str:
    return text if text.startswith("pH") else text[:1].upper() + text[1:]


def _of_parts(lines: Iterable[Mapping[str, str]], parts: tuple[str, ...]) -> list[Mapping[str, str]]:
    return [line for line in lines if line["part"] in parts]


def _unknown_origin(cells: list[Row]) -> list[tuple[str, str, str]]:
    """Coolest ceiling by stage and medium, where a taxon has several populations."""
    if len({cell["population"] for cell in cells}) < 2:
        return []
    coolest: dict[str, Row] = {}
    for cell in cells:
        if cell["ceiling"] and (cell["what"] not in coolest or cell["ceiling"]["c"] < coolest[cell["what"]]["ceiling"]["c"]):
            coolest[cell["what"]] = cell
    return [(what, cell["ceiling"]["words"], cell["population"] or "no population named") for what, cell in coolest.items()]


def _exclusions(taxon: str, exclusions: pd.DataFrame) -> list[tuple[str, str, int]]:
    mine = exclusions[exclusions["taxon"] == taxon]
    return [(named(STAGES, str(row.life_stage)), str(row.reason), int(row.n_finds)) for row in mine.itertuples(index=False)]
