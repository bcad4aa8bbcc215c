"""What may be shared of a book, in open standards, written together under `out/publish/`."""

from __future__ import annotations

import json
import os
import re
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.errors import RillbookError
from pipeline.intake.settings_changed import settled
from pipeline.publishing import darwin_core, data_package, eml, geo_files
from pipeline.publishing.coarse import alone
from pipeline.publishing.memory import PUBLISHED
from pipeline.publishing.protect import Withheld, opaque
from pipeline.publishing.public_book import open_to_all, public_book
from pipeline.publishing.publication import Statement, standard_words, texts
from pipeline.publishing.squares import squares
from pipeline.settings import Settings
from pipeline.writing.files import write_files
from pipeline.writing.spreadsheet import csv_parts, csv_text

ARCHIVE = "darwin_core_archive.zip"


@dataclass(frozen=True)
class Published:
    """What was written, how many rows each table has, what was left out, and how many visits are like no other, of how many."""

    files: list[Path]
    rows: dict[str, int]
    withheld: Withheld
    alone: tuple[int, int]


def publish(
    folder: Path,
    *,
    today: date | None = None,
    anyway: tuple[str, str] | None = None,
    progress: Callable[[str], None] = lambda step: None,
) -> Published:
    """Write everything that may be shared.

    Parameters
    ----------
    folder : Path
        The book.
    today : date, optional
        Day of publication.
    anyway : tuple of str, optional
        Who takes it on, and why, that a site may be known more exactly from all publications together than from the earlier ones.
    progress : callable
        Told of each step.

    Returns
    -------
    Published

    Raises
    ------
    RillbookError
        The book states no title, author or known licence, or names in them what must not be named; nothing of it may be shown; or a file
        cannot be written. What was published before stays then.
    """
    settings, day = settled(folder), (today or date.today()).isoformat()
    licence = _licence(settings)
    progress("protecting places")
    shown = public_book(folder, settings)
    tables, withheld = shown.tables, shown.withheld
    if tables["visits"].empty:
        what = "nothing of this book may be published: every site is withheld or has no coordinates."
        raise RillbookError(what, "docs/publishing.md says what withholds a site.", str(folder))
    tables = {**tables, "squares": squares(tables)}
    said = statement(settings, licence, day, shown.memory.key)
    open_to_all(folder, settings, shown, anyway)
    progress("writing")
    files = _write_all(folder, tables, said)
    _write_codes(folder / "out" / "private", withheld.codes)
    return Published(files, {table: len(frame) for table, frame in tables.items()}, withheld, alone(tables))


def _licence(settings: Settings) -> tuple[str, str]:
    """Name and address of the book's licence."""
    where = "rillbook.toml"
    for name, text in (("title", settings.title), ("author", settings.author)):
        if not text.strip():
            raise RillbookError(f"the book states no {name}.", f'A publication needs one: write {name} = "..." under [book].', where)
    found = standard_words().get(("license", re.sub(r"[\s-]+", "-", settings.licence.strip().lower())))
    if found is None:
        known = [name for (term, _), (name, _) in standard_words().items() if term == "license"]
        what = f"the licence {settings.licence!r} is not one that data portals take."
        what = what if settings.licence.strip() else "the book states no licence."
        raise RillbookError(what, f"Write one of {', '.join(known)} under [book].", where)
    return found


def statement(settings: Settings, licence: tuple[str, str], day: str, key: bytes) -> Statement:
    """What is said of the whole publication."""
    title = " ".join(settings.title.split())
    if settings.invented and "invented" not in title.lower():
        title = f"Invented study: {title}"
    author = " ".join(settings.author.split())
    withheld = (
        "Withheld to protect the sites from collecting, and people: exact places, names of sites, waters, counties and states, elevation, "
        "days and clock times, people, codes of sites, visits, finds, animals, photos and loggers, and remarks; finds of eggs and at "
        "nests; sites and taxa that are marked as withheld; and at a site a taxon that is more sensitive than its square allows. "
        f"Ask {author}: better data may be had on request."
    )
    citation = f"{author} ({day[:4]}). {title}. Version of {day}."
    return Statement(
        title, author, settings.invented, *licence, citation, day, withheld, opaque(key, "dataset", "", ""), settings.contact.strip()
    )


def _write_codes(private: Path, codes: pd.DataFrame) -> None:
    """Write which public code belongs to which row of the book, for those who ask."""
    write_files({private / "public_codes.csv": csv_text(codes)}, "the list of codes")


def _write_all(folder: Path, tables: Mapping[str, pd.DataFrame], said: Statement) -> list[Path]:
    """Write everything beside the place where it belongs, and move it there once all of it is whole."""
    place = folder / PUBLISHED
    try:
        place.mkdir(parents=True, exist_ok=True)
        work = Path(tempfile.mkdtemp(prefix=".publish", dir=place.parent))
        try:
            made = _write_into(work, tables, said)
            for name in made:
                (place / name).parent.mkdir(parents=True, exist_ok=True)
                os.replace(work / name, place / name)
        finally:
            shutil.rmtree(work, ignore_errors=True)
    except OSError as problem:
        raise RillbookError(
            f"the publication cannot be written ({problem.strerror}).", "Close its files in other programs.", str(place)
        ) from None
    return [place / name for name in made]


def _write_into(work: Path, tables: Mapping[str, pd.DataFrame], said: Statement) -> list[str]:
    text = texts(tables)
    frames = darwin_core.archive_frames(tables, text, said)
    contents: dict[str, Iterable[str]] = {darwin_core.FILES[name][0]: csv_parts(frame) for name, frame in frames.items()}
    contents |= {"meta.xml": [darwin_core.meta_xml(frames)], "eml.xml": [eml.eml_xml(tables, said)]}
    _zip(work / ARCHIVE, contents)
    (work / "data_package").mkdir()
    package = {f"{table}.csv": csv_text(frame) for table, frame in text.items()}
    package["datapackage.json"] = _json(data_package.descriptor(said))
    package["README.md"] = data_package.read_me(tables, said)
    for name, content in package.items():
        (work / "data_package" / name).write_text(content, encoding="utf-8", newline="\n")
    geo_files.write_geopackage(work / "squares.gpkg", tables, said)
    geo_files.write_geojson(work / "squares.geojson", tables, said)
    return [ARCHIVE, *(f"data_package/{name}" for name in package), "squares.gpkg", "squares.geojson"]


def _zip(path: Path, contents: Mapping[str, Iterable[str]]) -> None:
    """Write an archive of texts, each given in parts."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, texts in contents.items():
            parts = [text.encode("utf-8") for text in texts]
            # a fixed time: the same rows give the same bytes
            entry = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            entry.compress_type, entry.file_size = zipfile.ZIP_DEFLATED, sum(map(len, parts))
            with archive.open(entry, "w") as file:
                for part in parts:
                    file.write(part)


def _json(document: Any) -> str:
    return json.dumps(document, indent=1, ensure_ascii=False) + "\n"
