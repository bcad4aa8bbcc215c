"""A book's settings, read from its `rillbook.toml`, and the files that ship with the package."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from pipeline.errors import RillbookError
from schemas.vocabulary import codes

FILE_NAME = "rillbook.toml"
DEFAULTS: dict[str, Any] = {
    "title": "",
    "invented": False,
    "time_zone": "",
    "public_precision_deg": "0.1",
    "licence": "",
    "author": "",
    "warm_months": [6, 7, 8, 9],
    "cold_months": [12, 1, 2, 3],
    "seed": 1,
}
TAXON_DEFAULTS: dict[str, Any] = {
    "code": None,
    "scientific_name": None,
    "rank": "species",
    "group": None,
    "sensitivity": None,
    "paedomorphic": False,
    "overlap_svl_low_mm": None,
    "overlap_svl_high_mm": None,
    "aliases": "",
}


@dataclass(frozen=True)
class Area:
    """Part of a study area.

    Attributes
    ----------
    code : str
        Code that a site's `study_area` names; no place name.
    kind : str
        ``circle`` (latitude, longitude, radius in km) or ``box`` (south, west, north, east).
    numbers : tuple of float
        The numbers of the kind, degrees and km.
    """

    code: str
    kind: str
    numbers: tuple[float, ...]


@dataclass(frozen=True)
class Settings:
    """What `rillbook.toml` states; see docs/book.md."""

    title: str
    invented: bool
    time_zone: str
    public_precision_deg: str
    licence: str
    author: str
    warm_months: tuple[int, ...]
    cold_months: tuple[int, ...]
    seed: int
    areas: tuple[Area, ...] = ()
    taxa: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(TAXON_DEFAULTS)))


def data_file(name: str) -> Traversable:
    """Find a file that ships with rillbook.

    Parameters
    ----------
    name : str
        Path below `data/`, such as ``"reference/limits.csv"``.

    Returns
    -------
    importlib.resources Traversable
        In the installed package, or in the `data/` folder beside `pipeline/` in a bare checkout.
    """
    try:
        return resources.files("rillbook_data").joinpath(name)
    except ModuleNotFoundError:
        return Path(__file__).resolve().parent.parent.joinpath("data", name)


def read_settings(folder: Path) -> Settings:
    """Read the settings of a book.

    Parameters
    ----------
    folder : Path
        The book's folder.

    Returns
    -------
    Settings

    Raises
    ------
    RillbookError
        The file is missing or says something that it must not; the message names the file and the word.
    """
    path = folder / FILE_NAME
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise RillbookError(f"{folder} is not a book: it has no {FILE_NAME}.", f"Make one with `rillbook init {folder}`.") from None
    except (OSError, UnicodeDecodeError) as problem:
        raise RillbookError(f"{path} cannot be read: {problem}.", "Save it as UTF-8 text.") from None
    return parse_settings(text, str(path))


def parse_settings(text: str, where: str) -> Settings:
    """Read settings from the text of a `rillbook.toml`; `where` names the file in errors."""
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise RillbookError(f"not valid TOML: {problem}.", "Mend that line.", where) from None
    _refuse_unknown(document, ("book", "area", "taxon"), where)
    book = document.get("book", {})
    _refuse_unknown(book, DEFAULTS, f"{where}, [book]")
    values = {**DEFAULTS, **book}
    for months in ("warm_months", "cold_months"):
        if not all(isinstance(month, int) and 1 <= month <= 12 for month in values[months]):
            raise RillbookError(f"{months} must be a list of whole numbers from 1 to 12.", "Mend it.", where)
        values[months] = tuple(values[months])
    values["public_precision_deg"] = str(values["public_precision_deg"])
    if values["public_precision_deg"] not in codes("public_precision"):
        raise RillbookError(f"public_precision_deg {values['public_precision_deg']!r} is not one of {', '.join(codes('public_precision'))}.", "Mend it.", where)
    try:
        ZoneInfo(values["time_zone"])
    except (KeyError, ValueError, OSError):
        raise RillbookError(
            f"time_zone {values['time_zone']!r} is not a known time zone.", 'Write one such as time_zone = "America/New_York".', where
        ) from None
    areas = tuple(_area(entry, where) for entry in document.get("area", []))
    return Settings(**values, areas=areas, taxa=_taxa(document.get("taxon", []), where))


def _refuse_unknown(entry: dict[str, Any], known: Any, where: str) -> None:
    for word in entry:
        if word not in known:
            raise RillbookError(f"unknown word {word!r}.", f"Known here: {', '.join(known)}.", where)


def _area(entry: dict[str, Any], where: str) -> Area:
    _refuse_unknown(entry, ("code", "circle", "box"), f"{where}, [[area]]")
    for kind, length in (("circle", 3), ("box", 4)):
        if kind in entry and len(entry[kind]) == length and entry.get("code"):
            return Area(str(entry["code"]), kind, tuple(float(number) for number in entry[kind]))
    raise RillbookError(
        "an [[area]] needs a code and either circle = [latitude, longitude, km] or box = [south, west, north, east].", "Mend it.", where
    )


def _taxa(entries: list[dict[str, Any]], where: str) -> pd.DataFrame:
    rows = []
    for entry in entries:
        _refuse_unknown(entry, TAXON_DEFAULTS, f"{where}, [[taxon]]")
        row = {**TAXON_DEFAULTS, **entry}
        for word in ("code", "scientific_name", "group"):
            if not row[word]:
                raise RillbookError(f"a [[taxon]] has no {word}.", "Every taxon needs code, scientific_name and group.", where)
        if not re.fullmatch(r"[A-Za-z0-9_.-]+", row["code"]):
            raise RillbookError(f"taxon code {row['code']!r} may hold letters, digits, _ . and - only.", "Mend it.", where)
        row["aliases"] = "|".join(row["aliases"]) if isinstance(row["aliases"], list) else row["aliases"]
        row["sensitivity"] = None if row["sensitivity"] is None else str(row["sensitivity"])
        rows.append(row)
    frame = pd.DataFrame(rows, columns=list(TAXON_DEFAULTS))
    repeated = frame["code"][frame["code"].duplicated()]
    if len(repeated):
        raise RillbookError(f"taxon {repeated.iloc[0]!r} is declared twice.", "Keep one.", where)
    for word, name in (("group", "taxon_group"), ("rank", "taxon_rank"), ("sensitivity", "public_precision")):
        for value in frame[word].dropna():
            if value not in codes(name):
                raise RillbookError(f"taxon {word} {value!r} is not one of {', '.join(codes(name))}.", "Mend it.", where)
    types = {name: "str" for name in ("code", "scientific_name", "rank", "group", "sensitivity", "aliases")}
    return frame.astype({**types, "paedomorphic": "boolean", "overlap_svl_low_mm": "float64", "overlap_svl_high_mm": "float64"})
