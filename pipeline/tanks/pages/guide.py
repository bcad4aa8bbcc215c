"""The guide to hand on: the keeper's own words, section by section, beside the numbers that the records gave; nothing is filled in."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.errors import RillbookError
from pipeline.tanks import advice
from pipeline.tanks.pages.page import save
from pipeline.writing.page import render
from pipeline.writing.site_counts import in_class
from pipeline.writing.words import MEDIA, STAGES, advised, degrees, fahrenheit, month_name, named
from schemas.enums import Status

SECTIONS = (
    ("range", "Range and habitat", "Name no place from which animals can be taken."),
    ("breeding", "Breeding", "Leave eggs where they are; figures for larvae or adults do not hold for eggs."),
    ("larvae", "Larvae", "Larvae of different sizes eat one another."),
    ("housing", "Housing by stage", "An animal that loses its gills must be able to leave the water."),
    ("feeding", "Feeding", "Food from outside can bring disease and poison."),
    ("water", "Water", "Treat and test first: any chlorine harms. Waste water never goes untreated into a drain or a stream."),
    ("lids", "Lids", "They climb. A lid must close tightly and let air through."),
    ("light", "Light", "A lamp warms the water: watch the thermometer."),
    ("illness", "Illness", "This page is no veterinary advice: call a licensed veterinarian."),
)
MOST_BYTES = 200_000


def notes_of(folder: Path, taxon: str) -> dict[str, str]:
    """Texts of the sections; those of the taxon before those of the book.

    Parameters
    ----------
    folder : Path
        The book's folder ``notes``.
    taxon : str
        Taxon code.

    Returns
    -------
    dict of str to str
        Section to its Markdown; sections without a file are missing.

    Raises
    ------
    RillbookError
        A file cannot be read, is no UTF-8, or is too long to be notes.
    """
    found = {}
    for name, *_ in SECTIONS:
        path = next((path for path in (folder / taxon / f"{name}.md", folder / f"{name}.md") if path.is_file()), None)
        if path is None:
            continue
        try:
            content = path.read_bytes()
            if len(content) > MOST_BYTES:
                raise RillbookError("the file is too long for a section of a guide.", "Keep to a few pages.", str(path))
            found[name] = content.decode("utf-8-sig").strip()
        except UnicodeDecodeError:
            raise RillbookError("the file is not UTF-8 text.", "Save it as UTF-8 text.", str(path)) from None
        except OSError as problem:
            raise RillbookError(f"the file cannot be read ({problem.strerror}).", "Check its rights.", str(path)) from None
    return {name: text for name, text in found.items() if text}


def as_html(markdown: str) -> str:
    """Markdown as HTML: CommonMark by markdown-it; HTML in it is shown as text, pictures are left out, links show where they lead.

    Parameters
    ----------
    markdown : str
        A keeper's words.

    Returns
    -------
    str
        Safe to put into a page.
    """
    from markdown_it import MarkdownIt

    parser = MarkdownIt("commonmark", {"html": False}).disable(["image"])
    return str(parser.render(markdown))


def write_guide(path: Path, taxon: str, name: str, notes: dict[str, str], targets: pd.DataFrame, about: dict[str, Any]) -> Path:
    """Write the guide of one taxon.

    Parameters
    ----------
    path : Path
        The file.
    taxon, name : str
        Code and scientific name.
    notes : dict
        As :func:`notes_of`.
    targets : DataFrame
        Columns of ``schemas.frames.targets.TARGET_COLUMNS``, °C.
    about : dict
        ``invented``, ``source``, ``author``.

    Returns
    -------
    Path
    """
    sections = [
        {"title": title, "caution": caution, "file": f"notes/{section}.md", "html": as_html(notes[section]) if section in notes else ""}
        for section, title, caution in SECTIONS
    ]
    text = render(
        "tanks", "guide.html",
        title=f"{name}: a guide", settings={"invented": about["invented"]}, name=name, about=about, sections=sections,
        tables=number_tables(targets[targets["taxon"] == taxon]), vet=advice.VET, vet_source=advice.VET_SOURCE,
    )  # fmt: skip
    return save(path, text)


def number_tables(targets: pd.DataFrame) -> list[dict[str, Any]]:
    """The derived numbers by population, stage and medium: a row a month with a target, each with its grade and counts."""
    tables = []
    for (population, stage, medium), rows in targets.groupby(["population", "life_stage", "medium"], sort=False):
        months = rows[rows["month"].astype("str").str.isdigit() & (rows["status"] != Status.REFUSED)]
        if months.empty:
            continue
        ceiling, floor = months["ceiling"].min(), months["floor"].max()
        title = f"{named(STAGES, stage)} {MEDIA.get(medium, medium)}" + (f", {population}" if population else "")
        tables.append({
            "title": title,
            "ceiling": "" if ceiling != ceiling else degrees(ceiling, fahrenheit(ceiling)),
            "floor": "not known" if floor != floor else degrees(floor, fahrenheit(floor, up=True)),
            "rows": [
                {
                    "month": month_name(row["month"]), "hold": advised(row["set_point_low"], row["set_point_high"], None),
                    "band": f"{_rounded(row['band_low'], True)} to {_rounded(row['band_high'])}",
                    "act": degrees(row["act_line"], fahrenheit(row["act_line"])), "grade": row["grade"],
                    "from": f"{row['n_readings']} readings, {row['n_visits']} visits, {in_class(row['n_sites'])}"
                    + (f"; borrowed from {month_name(row['borrowed_from'])}" if row["status"] == Status.BORROWED else ""),
                }
                for row in months.to_dict("records")
            ],
        })  # fmt: skip
    return tables


def _rounded(value: float, up: bool = False) -> str:
    return degrees(value, fahrenheit(value, up=up))
