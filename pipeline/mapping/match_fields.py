"""Headings of a strange sheet matched to fields, by their words and by what stands under them."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.mapping.column_content import Content
from pipeline.mapping.known_words import CODE_WORDS, HEADINGS, NEUTRAL, OTHER_THINGS
from pipeline.mapping.propose_style import ENOUGH, possible_in_some_unit, readable_as_clock, readable_as_day
from pipeline.reading.units import SPELLINGS, UNITS
from pipeline.reading.values import NO, YES
from schemas.fields import Field
from schemas.tables import fields
from schemas.vocabulary import codes

UNIT_WORDS = frozenset(
    part for spelt in (*SPELLINGS.values(), *(tuple(known) for known in UNITS.values())) for one in spelt for part in one.lower().split()
)
HALF = 0.5
# degrees, minutes and seconds in columns of their own are put together by hand
PARTS_OF_ANGLES = frozenset(("deg", "degrees", "min", "minutes", "sec", "seconds"))


@dataclass(frozen=True)
class Match:
    """A column for a field: how well, whether that is more than a guess, and why."""

    field: str
    column: str
    strength: float
    sure: bool
    reason: str


def match_fields(columns: dict[str, Content]) -> dict[str, Match]:
    """The best column for each field; each column fills one.

    Parameters
    ----------
    columns : dict of str to Content
        The columns of one sheet.

    Returns
    -------
    dict of str to Match
        By field, such as ``visits.water_temp_c``. A field with a second column that would do is a guess, and the reason names that column.
    """
    ranked = sorted(
        (match for content in columns.values() for name in HEADINGS if (match := _match(name, content)) is not None),
        key=lambda match: (-match.strength, -columns[match.column].filled),
    )
    chosen: dict[str, Match] = {}
    rivals: dict[str, list[str]] = {}
    taken: set[str] = set()
    for match in ranked:
        if match.column in taken:
            continue
        if match.field in chosen:
            rivals.setdefault(match.field, []).append(match.column)
            continue
        chosen[match.field] = match
        taken.add(match.column)
    for name, others in rivals.items():
        one, left = chosen[name], [other for other in dict.fromkeys(others) if other not in taken]
        if left:
            reason = f"{one.reason}; {', '.join(left)} would do as well"
            chosen[name] = Match(one.field, one.column, one.strength, False, reason)
    return chosen


def declared(name: str) -> Field:
    """Declaration of a field written with its table, ``visits.water_temp_c``."""
    table, _, own = name.partition(".")
    return fields(table)[own]


def _match(name: str, content: Content) -> Match | None:
    best: tuple[float, bool, str] | None = None
    for phrase in HEADINGS[name].split(", "):
        weak, wanted = phrase.startswith("~"), phrase.lstrip("~").split()
        if not set(wanted) <= set(content.words):
            continue
        left = [one for one in content.words if one not in wanted and one not in NEUTRAL and one not in UNIT_WORDS]
        if any(one in OTHER_THINGS for one in left):
            continue
        strength = 2 * len(wanted) - len(left) - weak
        if best is None or strength > best[0]:
            best = (strength, not weak and not left, " ".join(wanted))
    if best is None:
        return None
    share = fit(content, declared(name))
    if share < (HALF if name in ("sites.stream_order", "finds.life_stage") else ENOUGH):
        return None
    reason = f"the heading says {best[2]!r}"
    return Match(name, content.name, best[0], best[1] and share == 1, reason if share == 1 else f"{reason}; {share:.0%} of the cells fit")


def fit(content: Content, field: Field) -> float:
    """Share of the filled cells that a field could hold, in whatever unit or order; nothing where none is filled."""
    written = content.text.dropna()
    if written.empty:
        return 0.0
    if field.name in ("latitude", "longitude"):
        if content.whole or PARTS_OF_ANGLES & set(content.words):
            return 0.0
        in_span = content.numbers.abs() <= (90 if field.name == "latitude" else 180)
        return max(
            float(in_span[written.index].mean()), content.angles("NS" if field.name == "latitude" else "EW") * (content.numeric == 0)
        )
    if field.name == "count":
        # a count of nothing is no find, and still a count
        return float((content.numbers[written.index] >= 0).mean()) if content.whole or content.numeric < 1 else 0.0
    if field.kind in ("real", "whole"):
        right = content.numeric * possible_in_some_unit(content, field)
        return right if field.kind == "real" or content.whole else 0.0
    if field.kind == "day":
        return readable_as_day(content)
    if field.kind == "clock":
        return readable_as_clock(content)
    if field.kind == "yes_no":
        return float(written.str.casefold().isin([*YES, *NO]).mean())
    if field.kind == "code":
        return float(written.map(lambda one: code_of(one, field) is not None).mean())
    # names and remarks: a column of numbers is none of them
    return 1.0 if field.name in ("animal_id", "photo", "remarks") or content.numeric < HALF else 0.0


def code_of(text: str, field: Field) -> str | None:
    """Code that a text means in the words of many surveys; None where it is not known."""
    folded = text.strip().casefold()
    known = {code.casefold(): code for code in codes(field.vocabulary)}
    return known.get(folded.replace(" ", "_").replace("-", "_")) or CODE_WORDS.get(field.vocabulary, {}).get(folded)
