"""All tests of the TDWG Biodiversity Data Quality standard that rillbook answers, those it leaves out, and where the rows differ."""

from __future__ import annotations

from pipeline.quality import names as quality_name
from pipeline.quality import record as quality_other
from pipeline.quality import space as quality_space
from pipeline.quality import time as quality_time
from pipeline.quality.responses import Test

DIMENSIONS: dict[str, tuple[Test, ...]] = {
    "space": quality_space.TESTS,
    "time": quality_time.TESTS,
    "name": quality_name.TESTS,
    "other": quality_other.TESTS,
}
TESTS: tuple[Test, ...] = tuple(test for tests in DIMENSIONS.values() for test in tests)

_BOUNDARIES = "it needs the boundaries of countries, states and their seas, which do not ship with rillbook"
_GAZETTEER = "it needs a gazetteer, an outside service"
_BACKBONE = "it needs a taxonomic authority, an outside service; loading holds the book's own taxa against rillbook.toml"
LEFT_OUT: dict[str, str] = {
    "AMENDMENT_COORDINATES_TRANSPOSED": _BOUNDARIES,
    "AMENDMENT_COUNTRYCODE_FROM_COORDINATES": _BOUNDARIES,
    "ISSUE_COORDINATES_CENTEROFCOUNTRY": _BOUNDARIES,
    "VALIDATION_COORDINATESCOUNTRYCODE_CONSISTENT": _BOUNDARIES,
    "VALIDATION_COORDINATESSTATEPROVINCE_CONSISTENT": _BOUNDARIES,
    "VALIDATION_COORDINATESTERRESTRIALMARINE_CONSISTENT": _BOUNDARIES,
    "VALIDATION_COUNTRY_FOUND": _GAZETTEER,
    "VALIDATION_COUNTRYCOUNTRYCODE_CONSISTENT": _GAZETTEER,
    "VALIDATION_COUNTRYSTATEPROVINCE_UNAMBIGUOUS": _GAZETTEER,
    "VALIDATION_STATEPROVINCE_FOUND": _GAZETTEER,
    "AMENDMENT_GEODETICDATUM_ASSUMEDDEFAULT": "it needs the widest move between datums at each place; rillbook never assumes a datum",
    "tests of kingdom, phylum, class, order, family, genus and scientificName against an authority": _BACKBONE,
    "tests of pathway, typeStatus, namePublishedInYear and annotations": "the survey records none of them",
    "tests of temperature, humidity, microhabitat, substrate or effort": "there is none; rillbook's own rules check them at loading",
}
"""Published tests, or groups of them, that are not answered, each with the reason."""

CONTRADICTIONS: tuple[tuple[str, str, str, str], ...] = (
    ("887", "VALIDATION_COORDINATEUNCERTAINTY_INRANGE", "x: cannot run", "fails"),
    ("566, 567, 568", "AMENDMENT_OCCURRENCESTATUS_ASSUMEDDEFAULT", "a status is there: nothing is proposed", "cannot run"),
    ("1052", "AMENDMENT_EVENTDATE_FROM_YEARSTARTDAYOFYEARENDDAYOFYEAR", "year X: cannot run", "nothing is proposed"),
    ("682", "AMENDMENT_EVENTDATE_FROM_VERBATIM", "X: cannot run", "nothing is proposed"),
    ("1104", "VALIDATION_TAXONRANK_STANDARD", "especie: passes", "not the term itself, so it fails"),
    ("1208", "VALIDATION_DEGREEOFESTABLISHMENT_STANDARD", "spreading: passes", "not in the TDWG vocabulary of 2025-07-10, so it fails"),
)
"""Rows that contradict the text or a vocabulary: numbers, test, what the row says, what the text says. The row decides."""

MOST_TERMS = 8
SOURCE = (
    "TDWG Biodiversity Data Quality Interest Group, Task Group 2 (2026), The Biodiversity Data Quality (BDQ) Standard, draft for review of "
    "2026-06-03, Biodiversity Information Standards (TDWG), CC BY 4.0"
)


def documentation() -> str:
    """The part of docs/quality.md that follows from the declarations; a test compares."""
    lines = []
    for dimension, tests in DIMENSIONS.items():
        lines += [f"### {dimension.capitalize()}", "", "| test | expected response | terms | id, version |", "|---|---|---|---|"]
        for test in tests:
            terms = ", ".join(test.terms) if len(test.terms) <= MOST_TERMS else f"{len(test.terms)} terms"
            lines.append(f"| `{test.label}` | {test.expected} | {terms} | `{test.guid}`, {test.version} |")
        lines.append("")
    lines += ["## Left out", "", "| test | why |", "|---|---|"]
    lines += [f"| {f'`{name}`' if name.isupper() else name} | {reason} |" for name, reason in LEFT_OUT.items()]
    lines += ["", "## Where published rows and text differ", "", "| rows | test | the row says | the text says |", "|---|---|---|---|"]
    lines += [f"| {rows} | `{name}` | {row_says} | {text_says} |" for rows, name, row_says, text_says in CONTRADICTIONS]
    return "\n".join(lines) + "\n"
