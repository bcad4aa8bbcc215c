"""Where a word of a column map stands, so that a map's own mistakes are named by their line."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from pipeline.errors import RillbookError


def words(value: Any, word: str, where: str) -> dict[str, Any]:
    """A table of words, or the error that names its line."""
    if not isinstance(value, dict):
        raise RillbookError(f"{word} must be a table of words, not {value!r}.", "Mend it.", where)
    return value


def texts(value: Any, word: str, where: str) -> tuple[str, ...]:
    """A list of texts or numbers, as text; a text alone would fall apart into its letters."""
    if not isinstance(value, list) or not all(type(one) in (str, int, float) for one in value):
        raise RillbookError(f"{word} must be a list in square brackets, not {value!r}.", "Mend it.", where)
    return tuple(str(one) for one in value)


NAMED = 5


@dataclass(frozen=True)
class Place:
    """Finds the line of a word, so that a map's own mistakes can be named; `first` is the line from which it looks."""

    text: str
    where: str
    first: int = 1

    def within(self, number: int) -> Place:
        """The same for the words of one [[source]], counted from 0."""
        lines = enumerate(self.text.splitlines(), 1)
        starts = [place for place, line in lines if re.match(r"\s*\[\[\s*source\s*\]\]", line)]
        return replace(self, first=starts[number]) if number < len(starts) else self

    def at(self, word: str, table: str = "") -> str:
        """Where a word stands, or where it is first met."""
        return self.key(word, table) or next((self._line(number) for number, line in self._lines() if word in line), self.where)

    def quoted(self, text: str) -> str:
        """Where a text stands in quote marks, or as a key."""
        marked = (f'"{text}"', f"'{text}'")
        return next((self._line(number) for number, line in self._lines() if any(one in line for one in marked)), self.at(text))

    def key(self, word: str, table: str = "") -> str:
        """Where a word stands as a key or a heading; empty where it does not."""
        current = ""
        for number, line in self._lines():
            if header := re.match(r"\s*\[+\s*([^\]]+?)\s*\]+", line):
                current = header[1].removeprefix("source.")
                if current in (word, f"{table}.{word}"):
                    return self._line(number)
            elif (not table or current == table or current.startswith(f"{table}.")) and re.match(
                rf"\s*(\S+\.)?[\"']?{re.escape(word)}[\"']?(\.\S+)?\s*=", line
            ):
                return self._line(number)
        return ""

    def _lines(self) -> list[tuple[int, str]]:
        return list(enumerate(self.text.splitlines(), 1))[self.first - 1 :]

    def _line(self, number: int) -> str:
        return f"{self.where}, line {number}"

    def known(self, entry: dict[str, Any], known: tuple[str, ...], table: str = "", where: str = "") -> None:
        """Refuse a word that is not among those known here."""
        for word in entry:
            if word not in known:
                raise RillbookError(f"unknown word {word!r}.", f"Known here: {', '.join(known)}.", where or self.at(word, table))


def refuse_open(document: dict[str, Any], place: Place) -> None:
    """Refuse a map that holds a question, or a guess that nobody has confirmed.

    Raises
    ------
    RillbookError
        Naming the first question with its line, or the guesses.
    """
    for number, part in enumerate([document.get("reading", {}), *_listed(document.get("source", []))]):
        here = place.within(number - 1) if number else place
        for trail in _questions(part):
            asked = f"{trail[-1]} of {'.'.join(trail[:-1])}" if len(trail) > 1 else trail[0]
            line = (here.key(trail[1], trail[0]) if len(trail) > 1 else "") or here.at(trail[0], "" if number else "reading")
            remedy = "Write what is right in its place; the reason why it is asked stands above that line."
            raise RillbookError(f"{asked} is still 'ask'.", remedy, line)
    guesses = texts(document.get("confirm", []), "confirm", place.at("confirm"))
    if guesses:
        more = f", and {len(guesses) - NAMED} more" if len(guesses) > NAMED else ""
        remedy = "Look at the line of each, mend it if it is wrong, and take its name out of the list confirm."
        count = f"{len(guesses)} guess{'es' if len(guesses) > 1 else ''} of the map"
        raise RillbookError(f"{count} not confirmed: {', '.join(guesses[:NAMED])}{more}.", remedy, place.at("confirm"))


def _listed(sources: Any) -> list[Any]:
    return sources if isinstance(sources, list) else []


def _questions(part: Any, trail: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """Where the word ``ask`` stands as a value; in lists it is a text of the sheet."""
    if isinstance(part, dict):
        for word, value in part.items():
            yield from _questions(value, (*trail, str(word)))
    elif part == "ask" and trail:
        yield trail
