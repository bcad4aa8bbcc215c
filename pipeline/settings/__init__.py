"""What a book states in its `rillbook.toml`; beside it the figures of `data/reference` that judge it."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from pipeline.errors import RillbookError
from pipeline.settings.intervals import intervals_of
from pipeline.settings.landscape import Landscape, landscape_of
from pipeline.settings.reports import Parcel, Permit, Reach, common_name_of, detection_of, parcel_of, permit_of, reach_of
from schemas.reference import data_file as data_file
from schemas.tables import fields
from schemas.vocabulary import codes

FILE_NAME = "rillbook.toml"
DEFAULTS: dict[str, Any] = {
    "title": "",
    "invented": False,
    "time_zone": "",
    "public_precision_deg": "0.1",
    "licence": "",
    "author": "",
    "contact": "",
    "warm_months": [6, 7, 8, 9],
    "cold_months": [12, 1, 2, 3],
    "seed": 1,
    "published_with": [],
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
DETECTION = "detection"
COMMON_NAME = "common_name"
# Names that Windows keeps for devices: "Naming Files, Paths, and Namespaces", Microsoft
DEVICE_NAMES = {"CON", "PRN", "AUX", "NUL", *(f"{port}{number}" for port in ("COM", "LPT") for number in range(10))}


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
    contact: str
    warm_months: tuple[int, ...]
    cold_months: tuple[int, ...]
    seed: int
    areas: tuple[Area, ...] = ()
    taxa: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(TAXON_DEFAULTS)))
    detection: dict[str, float] = field(default_factory=dict)
    permits: tuple[Permit, ...] = ()
    parcels: tuple[Parcel, ...] = ()
    published_with: tuple[str, ...] = ()
    intervals: dict[str, int] = field(default_factory=dict)
    common_names: dict[str, str] = field(default_factory=dict)
    reach: Reach = field(default_factory=Reach)
    landscape: Landscape = field(default_factory=Landscape)


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
    except UnicodeDecodeError:
        raise RillbookError("the file is not UTF-8 text.", "Save it as UTF-8 text.", str(path)) from None
    except OSError as problem:
        raise RillbookError(f"the file cannot be read ({problem.strerror}).", "Check its rights.", str(path)) from None
    return parse_settings(text, str(path), folder)


def parse_settings(text: str, where: str, folder: Path = Path()) -> Settings:
    """Read settings from the text of a `rillbook.toml`; `where` names the file in errors, paths in it are read from `folder`."""
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise RillbookError(f"not valid TOML: {problem}.", "Mend that line.", where) from None
    _refuse_unknown(document, ("book", "area", "taxon", "permit", "parcel", "intervals", "plan", "map"), where)
    book = _entries(document, "book", where, one=True)[0]
    _refuse_unknown(book, DEFAULTS, f"{where}, [book]")
    values = {**DEFAULTS, **book}
    _refuse_odd(values, where)
    for months in ("warm_months", "cold_months"):
        values[months] = tuple(values[months])
    areas = tuple(_area(entry, where) for entry in _entries(document, "area", where))
    _refuse_twice([area.code for area in areas], "area", where)
    entries = _entries(document, "taxon", where)
    # what a person states of the search is no property of the taxon, and rows are not held against it
    stated = [(entry.get("code"), entry.pop(DETECTION)) for entry in entries if DETECTION in entry]
    named = [(entry.get("code"), entry.pop(COMMON_NAME)) for entry in entries if COMMON_NAME in entry]
    taxa = _taxa(entries, where)
    permits = tuple(permit_of(entry, tuple(taxa["code"]), where) for entry in _entries(document, "permit", where))
    _refuse_twice([permit.code for permit in permits], "permit", where)
    parcels = tuple(parcel_of(entry, where) for entry in _entries(document, "parcel", where))
    _refuse_twice([parcel.code for parcel in parcels], "parcel", where)
    detection = {str(code): detection_of(share, f"{where}, taxon {code}") for code, share in stated}
    intervals = intervals_of(_entries(document, "intervals", where, one=True)[0], where)
    common_names = {str(code): common_name_of(name, f"{where}, taxon {code}") for code, name in named}
    reach = reach_of(_entries(document, "plan", where, one=True)[0], where)
    landscape = landscape_of(_entries(document, "map", where, one=True)[0], where, folder)
    return Settings(
        **values,
        areas=areas,
        taxa=taxa,
        detection=detection,
        permits=permits,
        parcels=parcels,
        intervals=intervals,
        common_names=common_names,
        reach=reach,
        landscape=landscape,
    )


def _entries(document: dict[str, Any], word: str, where: str, one: bool = False) -> list[dict[str, Any]]:
    """Tables of a name, as a list."""
    found = document.get(word, {} if one else [])
    entries = [found] if one else found
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        heading = f"[{word}]" if one else f"[[{word}]]"
        raise RillbookError(f"{word} must stand as a heading {heading} with its words below.", "Mend it.", where)
    return entries


def _refuse_odd(values: dict[str, Any], where: str) -> None:
    """Check the words of [book]; the precision becomes the text of its code."""
    for word, default in DEFAULTS.items():
        if isinstance(default, str) and word != "public_precision_deg" and not isinstance(values[word], str):
            raise RillbookError(f"{word} must be a text in quote marks.", "Mend it.", where)
    for months in ("warm_months", "cold_months"):
        listed = values[months]
        fine = isinstance(listed, list) and all(type(month) is int and 1 <= month <= 12 for month in listed)
        if not fine or not listed or len(set(listed)) < len(listed):
            raise RillbookError(f"{months} must be a list of whole numbers from 1 to 12, each once.", "Mend it.", where)
    if not isinstance(values["invented"], bool):
        raise RillbookError("invented must be true or false.", "Write it without quote marks.", where)
    if type(values["seed"]) is not int or values["seed"] < 0:
        raise RillbookError("seed must be a whole number, 0 or more.", "Mend it.", where)
    others = values["published_with"]
    if not isinstance(others, list) or not all(isinstance(one, str) and one.strip() for one in others):
        raise RillbookError("published_with must be a list of folders of other books, each in quote marks.", "Mend it.", where)
    values["public_precision_deg"] = precision = str(values["public_precision_deg"])
    if precision not in codes("public_precision"):
        raise RillbookError(f"public_precision_deg {precision!r} is not one of {', '.join(codes('public_precision'))}.", "Mend it.", where)
    try:
        ZoneInfo(values["time_zone"])
    except (KeyError, ValueError, OSError):
        raise RillbookError(
            f"time_zone {values['time_zone']!r} is not a known time zone.", 'Write one such as time_zone = "America/New_York".', where
        ) from None


def _refuse_twice(names: list[str], word: str, where: str) -> None:
    for place, name in enumerate(names):
        # letters are folded when sheets are read
        if name.casefold() in (other.casefold() for other in names[:place]):
            raise RillbookError(f"{word} {name!r} is declared twice.", "Keep one.", where)


def _refuse_unknown(entry: dict[str, Any], known: Any, where: str) -> None:
    for word in entry:
        if word not in known:
            raise RillbookError(f"unknown word {word!r}.", f"Known here: {', '.join(known)}.", where)


def _area(entry: dict[str, Any], where: str) -> Area:
    _refuse_unknown(entry, ("code", "circle", "box"), f"{where}, [[area]]")
    kinds = [kind for kind in ("circle", "box") if kind in entry]
    if not entry.get("code") or len(kinds) != 1 or not _are_numbers(entry[kinds[0]], 3 if kinds == ["circle"] else 4):
        raise RillbookError(
            "an [[area]] needs a code and either circle = [latitude, longitude, km] or box = [south, west, north, east].", "Mend it.", where
        )
    code, kind, numbers = str(entry["code"]), kinds[0], tuple(float(number) for number in entry[kinds[0]])
    latitudes, longitudes = (numbers[:1], numbers[1:2]) if kind == "circle" else (numbers[::2], numbers[1::2])
    on_earth = all(abs(number) <= 90 for number in latitudes) and all(abs(number) <= 180 for number in longitudes)
    in_order = numbers[2] > 0 if kind == "circle" else numbers[0] < numbers[2] and numbers[1] < numbers[3]
    if not on_earth or not in_order:
        remedy = "Latitudes go from -90 to 90, longitudes from -180 to 180, south below north, west below east, km above 0."
        raise RillbookError(f"area {code!r} lies nowhere.", remedy, where)
    return Area(code, kind, numbers)


def _are_numbers(numbers: Any, length: int) -> bool:
    return isinstance(numbers, list) and len(numbers) == length and all(type(number) in (int, float) for number in numbers)


def _taxa(entries: list[dict[str, Any]], where: str) -> pd.DataFrame:
    rows = [_taxon(entry, where) for entry in entries]
    frame = pd.DataFrame(rows, columns=list(TAXON_DEFAULTS))
    _refuse_twice(list(frame["code"]), "taxon", where)
    spellings = {code.casefold(): code for code in frame["code"]}
    for code, aliases in zip(frame["code"], frame["aliases"], strict=True):
        for alias in filter(None, aliases.split("|")):
            if spellings.setdefault(alias.casefold(), code) != code:
                raise RillbookError(f"alias {alias!r} belongs to {spellings[alias.casefold()]} and to {code}.", "Keep one.", where)
    types = {name: "str" for name in ("code", "scientific_name", "rank", "group", "sensitivity", "aliases")}
    return frame.astype({**types, "paedomorphic": "boolean", "overlap_svl_low_mm": "float64", "overlap_svl_high_mm": "float64"})


def _taxon(entry: dict[str, Any], where: str) -> dict[str, Any]:
    _refuse_unknown(entry, (*TAXON_DEFAULTS, DETECTION, COMMON_NAME), f"{where}, [[taxon]]")
    row = {**TAXON_DEFAULTS, **entry}
    for word in ("code", "scientific_name", "group"):
        if not row[word]:
            raise RillbookError(f"a [[taxon]] has no {word}.", "Every taxon needs code, scientific_name and group.", where)
        if not isinstance(row[word], str):
            raise RillbookError(f"taxon {word} {row[word]!r} must be a text in quote marks.", "Mend it.", where)
    if not re.fullmatch(r"[A-Za-z0-9_.-]+", row["code"]):
        raise RillbookError(f"taxon code {row['code']!r} may hold letters, digits, _ . and - only.", "Mend it.", where)
    if not re.search(r"[A-Za-z0-9]", row["code"]) or row["code"].endswith(".") or row["code"].split(".")[0].upper() in DEVICE_NAMES:
        raise RillbookError(f"taxon code {row['code']!r} cannot be part of a file's name everywhere.", "Choose another code.", where)
    where = f"{where}, taxon {row['code']}"
    aliases = row["aliases"] if isinstance(row["aliases"], list) else [row["aliases"]]
    if not all(isinstance(alias, str) for alias in aliases):
        raise RillbookError("aliases must be a list of texts in quote marks.", "Mend it.", where)
    row["aliases"] = "|".join(alias.strip() for alias in aliases)
    row["sensitivity"] = None if row["sensitivity"] is None else str(row["sensitivity"])
    for word, name in (("group", "taxon_group"), ("rank", "taxon_rank"), ("sensitivity", "public_precision")):
        if row[word] is not None and row[word] not in codes(name):
            raise RillbookError(f"{word} {row[word]!r} is not one of {', '.join(codes(name))}.", "Mend it.", where)
    if not isinstance(row["paedomorphic"], bool):
        raise RillbookError("paedomorphic must be true or false.", "Write it without quote marks.", where)
    _refuse_odd_overlap(row["overlap_svl_low_mm"], row["overlap_svl_high_mm"], where)
    return row


def _refuse_odd_overlap(low: Any, high: Any, where: str) -> None:
    for word, number in (("overlap_svl_low_mm", low), ("overlap_svl_high_mm", high)):
        span = fields("taxa")[word].possible or (0.0, 0.0)
        if number is not None and (type(number) not in (int, float) or not span[0] <= number <= span[1]):
            raise RillbookError(f"{word} must be a number from {span[0]:g} to {span[1]:g}.", "Mend it.", where)
    if low is not None and high is not None and low > high:
        raise RillbookError("overlap_svl_low_mm is above overlap_svl_high_mm.", "Check their order.", where)
