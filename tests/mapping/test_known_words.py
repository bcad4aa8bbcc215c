"""The word lists name only fields and codes that there are."""

from __future__ import annotations

import pytest

from pipeline.mapping.known_words import CODE_WORDS, HEADINGS, tokens
from schemas.tables import fields
from schemas.vocabulary import codes


def test_words_lead_to_fields_and_codes_that_exist() -> None:
    for path in HEADINGS:
        table, name = path.split(".")
        assert name in fields(table), path
    for vocabulary, words in CODE_WORDS.items():
        assert set(words.values()) <= set(codes(vocabulary)), vocabulary


@pytest.mark.parametrize(
    ("heading", "words"),
    [
        ("StartWaterTemp", ("start", "water", "temp")),
        ("Water_temp (F)", ("water", "temp", "f")),
        ("pH", ("ph",)),
        ("SAgeID", ("s", "age", "id")),
        ("Latitude83", ("latitude", "83")),
    ],
)
def test_words_of_a_heading(heading: str, words: tuple[str, ...]) -> None:
    assert tokens(heading) == words
