"""Where a word of a column map stands: a mistake is named by its line."""

from __future__ import annotations

import pytest

from pipeline.errors import RillbookError
from pipeline.mapping.map_place import Place, texts, words

TEXT = """title = "Invented"
[reading]
missing = ["NA"]
[[source]]
file = "a.csv"
[source.sites]
site_id = "Site"
[[source]]
file = "b.csv"
[source.visits]
visit_id = { column = "Visit", case = "upper" }
site_id = 'Other site'
"""
PLACE = Place(TEXT, "map.toml")


def test_a_word_is_found_as_a_key_or_a_heading() -> None:
    assert PLACE.key("missing") == "map.toml, line 3" and PLACE.key("sites") == "map.toml, line 6"
    assert PLACE.key("site_id") == "map.toml, line 7" and PLACE.key("site_id", "visits") == "map.toml, line 12"
    assert PLACE.key("case") == "" and PLACE.key("Site") == "", "no key of its own line"


def test_a_word_within_a_line_and_one_that_is_nowhere() -> None:
    assert PLACE.at("case") == "map.toml, line 11" and PLACE.at("nowhere") == "map.toml"
    assert PLACE.quoted("Other site") == "map.toml, line 12" and PLACE.quoted("Site") == "map.toml, line 7"


def test_a_source_is_searched_from_its_own_line_on() -> None:
    second = PLACE.within(1)
    assert second.key("file") == "map.toml, line 9" and second.key("site_id") == "map.toml, line 12"
    assert PLACE.within(0).key("file") == "map.toml, line 5"
    assert PLACE.within(7) == PLACE, "no such source: look everywhere"


def test_an_unknown_word_is_refused_with_its_line_and_those_known() -> None:
    PLACE.known({"missing": []}, ("missing",))
    with pytest.raises(RillbookError, match=r"map\.toml, line 3: unknown word 'missing'.*absent, empty"):
        PLACE.known({"missing": []}, ("absent", "empty"))


def test_tables_and_lists_are_told_from_texts() -> None:
    assert words({"a": 1}, "wide", "m") == {"a": 1} and texts(["a", 1, 2.5], "missing", "m") == ("a", "1", "2.5")
    assert texts([], "missing", "m") == ()
    for bad in ("NA", [["NA"]], [True], {"a": 1}, None):
        with pytest.raises(RillbookError, match="missing must be a list"):
            texts(bad, "missing", "m")
    with pytest.raises(RillbookError, match="wide must be a table of words"):
        words(["a"], "wide", "m")
