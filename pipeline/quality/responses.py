"""The response model of the TDWG Biodiversity Data Quality tests, and what several tests share: empty, numbers, vocabularies.

Source: TDWG Biodiversity Data Quality Interest Group, Task Group 2 (2026), The Biodiversity Data Quality (BDQ) Standard, draft for review
of 2026-06-03, CC BY 4.0. It is a draft, not ratified.
"""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import NamedTuple

from pipeline.settings import data_file

RAN = "RUN_HAS_RESULT"
INTERNAL = "INTERNAL_PREREQUISITES_NOT_MET"
EXTERNAL = "EXTERNAL_PREREQUISITES_NOT_MET"
AMENDED, FILLED_IN, NOT_AMENDED = "AMENDED", "FILLED_IN", "NOT_AMENDED"
COMPLIANT, NOT_COMPLIANT = "COMPLIANT", "NOT_COMPLIANT"
POTENTIAL_ISSUE, NOT_ISSUE = "POTENTIAL_ISSUE", "NOT_ISSUE"
NOT_REPORTED = "NOT_REPORTED"

Value = str | None
# The standard's Empty: nothing, or only U+0000 to U+0020
BLANKS = "".join(map(chr, range(0x21)))
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_WHOLE = re.compile(r"-?\d{1,9}", re.ASCII)
NAMESPACES = {"type": "dc:type", "license": "dcterms:license"}
SHORTEST_ABBREVIATION, SHORTEST_SLIP = 3, 4


class Response(NamedTuple):
    """What one test says of one record.

    Attributes
    ----------
    status : str
        Whether the test ran, or which proposal it makes.
    result : str
        The verdict, the number, or for a proposal a JSON object of term to value; empty where the test could not run.
    comment : str
        Why, for a person.
    """

    status: str
    result: str
    comment: str


@dataclass(frozen=True)
class Test:
    """One test as published.

    Attributes
    ----------
    run : callable
        The function, named after the published label; its docstring gives the expected response in our words.
    guid : str
        Identifier; https://rs.tdwg.org/bdqtest/terms/ in front of it makes an address.
    version : str
        Day on which its specification was last changed.
    terms : tuple of str
        Darwin Core terms that it reads, without namespace, in the order of the function's arguments.
    """

    run: Callable[..., Response]
    guid: str
    version: str
    terms: tuple[str, ...]

    @property
    def label(self) -> str:
        """The published label."""
        return self.run.__name__.upper()

    @property
    def kind(self) -> str:
        """Validation, issue, amendment or measure."""
        return self.label.partition("_")[0].lower()

    @property
    def expected(self) -> str:
        """The expected response, in our words, from the function's docstring."""
        return " ".join((self.run.__doc__ or "").split())


def empty(value: Value) -> bool:
    """Whether a value is missing, or only blanks and control characters."""
    return value is None or not value.strip(BLANKS)


def number(value: Value) -> float | None:
    """Read a decimal number; None where the text is none, also with a letter or a blank beside it."""
    return float(value) if value is not None and _NUMBER.fullmatch(value) else None


def whole(value: Value) -> int | None:
    """Read a whole number; None where the text is none."""
    return int(value) if value is not None and _WHOLE.fullmatch(value) else None


def internal(comment: str) -> Response:
    """Say that the record itself lacks what the test needs."""
    return Response(INTERNAL, "", comment)


def external(authority: str) -> Response:
    """Say that an outside list that the test needs is not at hand."""
    return Response(EXTERNAL, "", f"the list {authority} is not at hand")


def verdict(good: bool, comment: str, otherwise: str = "") -> Response:
    """Answer a validation; `otherwise` is the comment where it fails."""
    return Response(RAN, COMPLIANT if good else NOT_COMPLIANT, comment if good or not otherwise else otherwise)


def not_empty(value: Value, term: str) -> Response:
    """Answer a validation that asks only for a value."""
    return verdict(not empty(value), f"{term} has a value", f"{term} is empty")


def issue(found: bool, term: str) -> Response:
    """Answer a test for a possible issue: a value stands in `term`, or none does."""
    return Response(RAN, POTENTIAL_ISSUE, f"{term} has a value") if found else Response(RAN, NOT_ISSUE, f"{term} is empty")


def in_range(value: Value, term: str, low: float, high: float) -> Response:
    """Answer whether a number lies within a closed span; what is no number cannot be answered."""
    given = number(value)
    if given is None:
        return internal(f"{term} is empty or no number")
    return verdict(low <= given <= high, f"{term} is within {low:g} to {high:.10g}", f"{term} is outside {low:g} to {high:.10g}")


def proposal(status: str, comment: str, **values: str) -> Response:
    """Propose values; keywords are terms without namespace. A proposal is never applied by rillbook."""
    terms = {NAMESPACES.get(term, f"dwc:{term}"): value for term, value in values.items()}
    return Response(status, json.dumps(terms, ensure_ascii=False, separators=(",", ":")), comment)


def no_proposal(comment: str) -> Response:
    """Propose nothing."""
    return Response(NOT_AMENDED, "", comment)


@cache
def parameter(name: str) -> str:
    """Default of a parameter of the tests, as text; they stand in data/reference/quality_parameters.csv."""
    text = data_file("reference/quality_parameters.csv").read_text(encoding="utf-8")
    return {row["name"]: row["value"] for row in csv.DictReader(text.splitlines())}[name]


@cache
def authority(name: str) -> Mapping[str, tuple[str, str]] | None:
    """A list that values are held against.

    Parameters
    ----------
    name : str
        A list of data/reference/quality_vocabularies.csv, or ``countryCode``: ISO 3166-1 alpha-2 as the time zone data hold it, with
        ``XZ`` high seas and ``ZZ`` unknown.

    Returns
    -------
    mapping of str to (str, str), or None
        What may be written, to the term that is meant and its kind (term, label, synonym, roman); None where there is no such list.
    """
    if name == "countryCode":
        text = resources.files("tzdata").joinpath("zoneinfo", "iso3166.tab").read_text(encoding="utf-8")
        pairs = [line.split("\t") for line in text.splitlines() if line and not line.startswith("#")]
        known = {code: (code, "term") for code, _ in pairs} | {country: (code, "synonym") for code, country in pairs}
        return known | {"XZ": ("XZ", "term"), "ZZ": ("ZZ", "term")}
    text = data_file("reference/quality_vocabularies.csv").read_text(encoding="utf-8")
    rows = [row for row in csv.DictReader(text.splitlines()) if row["vocabulary"] == name]
    return {row["written"]: (row["term"], row["kind"]) for row in rows} or None


def in_vocabulary(value: Value, term: str, source: str, kinds: tuple[str, ...] = ("term",)) -> Response:
    """Answer whether a value is exactly a term of a list: case and blanks count."""
    known = authority(source)
    if known is None:
        return external(source)
    if empty(value):
        return internal(f"{term} is empty")
    return verdict(known.get(value or "", ("", ""))[1] in kinds, f"{term} is in its list", f"{term} is not in its list")


def standardized(value: Value, term: str, source: str, abbreviations: bool = True) -> Response:
    """Propose the term of a list that a value can only mean.

    Case, blanks and full stops are overlooked; with `abbreviations`, so are a beginning of three letters or more and one letter left
    out of four or more, where just one term fits.
    """
    known = authority(source)
    if known is None:
        return external(source)
    if empty(value):
        return internal(f"{term} is empty")
    written = value or ""
    if known.get(written, ("", ""))[1] == "term":
        return no_proposal(f"{term} is in its list")
    meant = _meant(written, source, abbreviations)
    return proposal(AMENDED, f"{term} can only mean {meant}", **{term: meant}) if meant else no_proposal(f"{term} cannot be told for sure")


@cache
def folded(source: str) -> dict[str, str]:
    """What may be written without regard to case, blanks and signs, to the term that is meant."""
    return {fold(written): term for written, (term, _) in (authority(source) or {}).items()}


def fold(text: str) -> str:
    """Lower case, letters and digits only."""
    return "".join(sign for sign in text.casefold() if sign.isalnum() or sign in "♂♀")


def _meant(written: str, source: str, abbreviations: bool) -> str:
    short, terms = fold(written), folded(source)
    if short in terms:
        return terms[short]
    if not abbreviations or not short.isalpha():
        return ""
    begun = {term for whole_word, term in terms.items() if len(short) >= SHORTEST_ABBREVIATION and whole_word.startswith(short)}
    slipped = {term for whole_word, term in terms.items() if len(short) >= SHORTEST_SLIP and _lacks_one(short, whole_word)}
    fitting = begun or slipped
    return fitting.pop() if len(fitting) == 1 else ""


def _lacks_one(short: str, word: str) -> bool:
    return len(word) == len(short) + 1 and any(word[:place] + word[place + 1 :] == short for place in range(1, len(word)))
