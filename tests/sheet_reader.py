"""Reads a written care sheet as a person would: its sections, what each advises, and what it forbids."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"br", "col", "meta", "img", "link", "hr", "input", "path", "use", "rect", "line"}
NUMBER = r"[−-]?\d+(?:\.\d+)?"
FAHRENHEIT = re.compile(rf"({NUMBER})(?:\s*(?:–|to)\s*({NUMBER}))?\s*°F")
DEGREES = re.compile(rf"({NUMBER})(?:\s*(?:–|to)\s*({NUMBER}))?\s*°C")
RATE = re.compile(rf"{NUMBER}\s*°C (?:a week|an hour)")
LIMITS = re.compile(r"Ceiling .*?not a temperature to keep|Floor .*?do not go below|Do not go below the lowest month measured \(.*?\)\)")
ADVICE = ("keep", "weeks", "spots", "least", "lines")
"""Classes of the parts that say what to do."""

REFUSED = "refused"
"""Class of the rows that give no advice but the reason why there is none, with the figures that speak against it."""


@dataclass
class Section:
    """One stage in one medium, or another part of the page that has a heading of its own."""

    label: str
    classes: tuple[str, ...]
    ceiling: float | None = None
    floor: float | None = None
    advised: list[float] = field(default_factory=list)
    acts: list[float] = field(default_factory=list)
    advice_text: str = ""
    text: str = ""
    what: str = ""

    @property
    def advised_in_words(self) -> list[float]:
        """Every temperature in °C that the advising parts name, rates left out."""
        return degrees_in(self.advice_text)


def degrees_in(text: str, unit: re.Pattern[str] = DEGREES) -> list[float]:
    """Temperatures in °C in a text, or in °F; a rate such as "1 °C a week" is none."""
    found = unit.findall(RATE.sub("", " ".join(text.replace("\N{NO-BREAK SPACE}", " ").split())))
    return [float(number.replace("−", "-")) for pair in found for number in pair if number]


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.sections: list[Section] = []
        self.open: list[tuple[str, Section | None, tuple[str, ...]]] = []
        self.hidden = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        known = {name: value or "" for name, value in attrs}
        classes = tuple(known.get("class", "").split())
        section = None
        if tag == "section":
            section = Section(known.get("aria-labelledby", ""), classes)
            section.ceiling = float(known["data-ceiling"]) if "data-ceiling" in known else None
            section.floor = float(known["data-floor"]) if "data-floor" in known else None
            section.what = known.get("data-what", "")
            self.sections.append(section)
        inside = self.current
        if inside is not None:
            inside.advised += [float(one) for one in known.get("data-advised", "").split()]
            inside.acts += [float(one) for one in known.get("data-act", "").split()]
        if tag in ("svg", "style"):
            self.hidden += 1
        if tag not in VOID:
            self.open.append((tag, section, classes))

    def handle_endtag(self, tag: str) -> None:
        if tag in VOID:
            return
        if tag in ("svg", "style"):
            self.hidden -= 1
        assert self.open and self.open[-1][0] == tag, f"</{tag}> closes <{self.open[-1][0] if self.open else 'nothing'}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        inside = self.current
        if inside is None or self.hidden:
            return
        inside.text += data + " "
        around = {one for _, _, classes in self.open for one in classes}
        if around & set(ADVICE) and REFUSED not in around:
            inside.advice_text += data + " "

    @property
    def current(self) -> Section | None:
        return next((section for _, section, _ in reversed(self.open) if section is not None), None)


def sections(html: str) -> list[Section]:
    """Sections of a care sheet in their order; a section within another is apart from it."""
    reader = _Reader()
    reader.feed(html)
    for section in reader.sections:
        section.text = " ".join(section.text.split())
    return reader.sections


def cells(html: str) -> list[Section]:
    """Sections of the stages with a target."""
    return [section for section in sections(html) if "cell" in section.classes]


def contradictions(html: str, margin: float) -> list[str]:
    """Where one part of the page advises what another forbids.

    `margin` is how far under the ceiling all advice for long must stay, °C.
    """
    found = []
    for one in sections(html):
        ceiling = float("inf") if one.ceiling is None else one.ceiling
        floor = float("-inf") if one.floor is None else one.floor
        found += [f"{one.label}: advises {value} under a ceiling of {ceiling}" for value in one.advised if value > ceiling - margin]
        found += [f"{one.label}: acts at {value} over a ceiling of {ceiling}" for value in one.acts if value > ceiling]
        found += [f"{one.label}: {value} below a floor of {floor}" for value in (*one.advised, *one.acts) if value < floor]
        found += [f"{one.label}: says {value} over {ceiling}" for value in one.advised_in_words if value > ceiling]
        found += [f"{one.label}: says {value} below {floor}" for value in one.advised_in_words if value < floor]
        limits = degrees_in(" ".join(LIMITS.findall(one.text)), FAHRENHEIT)
        if limits and one.ceiling is not None:
            found += [
                f"{one.label}: says {value} °F over {limits[0]}" for value in degrees_in(one.advice_text, FAHRENHEIT) if value > limits[0]
            ]
            found += [
                f"{one.label}: says {value} °F below {limits[-1]}"
                for value in degrees_in(one.advice_text, FAHRENHEIT)
                if value < limits[-1]
            ]
    return found


@dataclass
class CardRow:
    """One row of a card's table: a stage in a place."""

    label: str
    ceiling: float
    floor: float
    advised: list[float]
    acts: list[float]
    text: str

    def belongs_to(self, one: Section) -> bool:
        """Whether a section of the care sheet is of the same stage and place."""
        return one.ceiling == self.ceiling and (one.what + ",").startswith(self.label + ",")

    def stands_in(self, one: Section) -> bool:
        """Whether every figure of the row stands in the section."""
        return set(self.advised) <= set(one.advised) and set(self.acts) <= set(one.acts)


def card_rows(html: str) -> list[CardRow]:
    """Rows of a card's table, read from what they print for a reader and from their attributes."""
    rows = []
    for attributes, body in re.findall(r"<tr((?:\s+data-[a-z]+=\"[^\"]*\")+)>(.*?)</tr>", html, flags=re.DOTALL):
        known = dict(re.findall(r'data-([a-z]+)="([^"]*)"', attributes))
        advised = [float(one) for part in re.findall(r'data-advised="([^"]*)"', body) for one in part.split()]
        acts = [float(one) for one in re.findall(r'data-act="([^"]*)"', body)]
        text = " ".join(re.sub("<[^>]+>", " ", body).replace("\N{NO-BREAK SPACE}", " ").split()).replace(" ,", ",")
        limits = float(known.get("ceiling", "inf")), float(known.get("floor", "-inf"))
        rows.append(CardRow(known["row"].split(" (")[0], *limits, advised, acts, text))
    return rows


def card_contradictions(html: str, margin: float) -> list[str]:
    """Where a row of a card advises what it forbids; `margin` as in :func:`contradictions`."""
    found = []
    for row in card_rows(html):
        found += [f"{row.label}: advises {value} under {row.ceiling}" for value in row.advised if value > row.ceiling - margin]
        found += [f"{row.label}: {value} below {row.floor}" for value in row.advised if value < row.floor]
        found += [f"{row.label}: acts at {value} over {row.ceiling}" for value in row.acts if value > row.ceiling - 0.5]
        found += [f"{row.label}: says {value} over {row.ceiling}" for value in degrees_in(row.text) if value > row.ceiling]
    return found
