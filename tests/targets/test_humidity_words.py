"""Humidity in the words of a page."""

from __future__ import annotations

from humid_studies import BOOK, derive, empty, study
from small_book import FIND, SITE, VISIT
from small_book import book as small_book

from pipeline.targets import humidity as own
from pipeline.targets import humidity_words
from pipeline.targets.humidity_evidence import wetness_noted


def test_hand_tests_are_counted_under_cover_and_at_the_edge() -> None:
    rows = [
        {**FIND, "microhabitat": "under_log", "substrate_wetness": "moist"},
        {**FIND, "find_id": "F2", "microhabitat": "wet_rock", "substrate_wetness": "drips"},
        {**FIND, "find_id": "F3", "microhabitat": "on_surface", "substrate_wetness": "dry"},
        {**FIND, "find_id": "F4", "microhabitat": "under_log", "substrate_wetness": "dry", "condition": "dead"},
        {**FIND, "find_id": "F5", "microhabitat": "under_log"},
    ]
    noted = wetness_noted(small_book(sites=[SITE], visits=[VISIT], finds=rows), BOOK)
    assert dict(zip(noted["wetness"], noted["n_finds"], strict=True)) == {"drips": 1, "moist": 1}
    words = humidity_words.humidity_rows(None, own.humidity_figures(empty()), wetness=noted)
    assert words[1]["text"].startswith("drips 1, moist 1,")


def test_refuge_has_the_hand_test_and_no_figure() -> None:
    words = humidity_words.refuge_words()
    assert not any(letter.isdigit() for letter in words)
    for word in ("drips", "wet shine", "moist", "dry"):
        assert word in words


def test_page_says_nothing_beyond_what_it_allows() -> None:
    frame = study([8.2, 21.9], [85, 90])
    target = derive(frame).iloc[0].to_dict()
    rows = humidity_words.humidity_rows(target, own.humidity_figures(frame), ceiling=19.0, floor=10.0)
    degrees = [int(word) for row in rows if row["part"] == "table" for word in row["label"].split() if word.isdigit()]
    assert min(degrees) == 10 and max(degrees) == 19
    assert [row["part"] for row in rows][:2] == ["refuge", "open"] and rows[-1]["label"] == "formula"
    none = humidity_words.humidity_rows(target, own.humidity_figures(frame), ceiling=5.0)
    assert not [row for row in none if row["part"] == "table"]


def test_field_humidity_above_90_is_printed_as_a_span() -> None:
    figures = own.humidity_figures(study(15, [80, 85, 97], night=False))
    (found,) = [row["text"] for row in humidity_words.humidity_rows(None, figures) if row["part"] == "found"]
    assert "80 %, median 85 %, 90–100 %" in found and "97" not in found
    assert "0 % by night" in found and "By night only" not in found
