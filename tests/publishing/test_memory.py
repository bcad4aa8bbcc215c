"""What a book remembers of its publications, and that nothing shown later narrows it down."""

from __future__ import annotations

import json
import stat
from dataclasses import replace
from pathlib import Path

import pytest

from pipeline.errors import RillbookError
from pipeline.publishing.memory import MEMORY, PUBLISHED, Memory, narrowed, read_memory, remember
from pipeline.publishing.shown import Shown

FINE, COARSE = Shown("0.1", 36.2, -82.0), Shown("1", 36.0, -82.0)


def test_what_is_remembered_is_read_again(tmp_path: Path):
    memory = Memory(b"k" * 32, allowed=[{"on": "2024-01-01", "by": "AB", "reason": "agreed", "sites": "S9"}])
    remember(tmp_path, memory, {"S1": FINE})
    again = read_memory(tmp_path)
    assert again == replace(memory, sites={"S1": FINE}, history={"S1": [FINE]})
    remember(tmp_path, again, {"S1": COARSE})
    assert read_memory(tmp_path).history == {"S1": [FINE, COARSE]}


def test_visits_are_remembered_with_their_site(tmp_path: Path):
    remember(tmp_path, Memory(b"k" * 32, visits={"V1": "S1"}), {"S1": FINE}, {"V2": "S2", "V1": "S9"})
    assert read_memory(tmp_path).visits == {"V1": "S9", "V2": "S2"}


def test_only_the_owner_may_read_it(tmp_path: Path):
    remember(tmp_path, Memory(b"k" * 32), {"S1": FINE})
    assert stat.S_IMODE((tmp_path / MEMORY).stat().st_mode) == 0o600


def test_a_file_of_an_earlier_version_is_read(tmp_path: Path):
    (tmp_path / MEMORY).write_text(json.dumps({"key": "00" * 32, "sites": {"S1": "0.1"}}), encoding="utf-8")
    assert read_memory(tmp_path) == Memory(bytes(32), {"S1": Shown("0.1")})


@pytest.mark.parametrize(
    "kept",
    ["[]", '{"key": "zz", "sites": {}}', '{"key": "00", "sites": {"S1": 1}}', '{"key": "00", "sites": {"S1": {"size": "1"}}}'],
)
def test_a_damaged_file_is_an_error_and_never_made_anew(tmp_path: Path, kept: str):
    (tmp_path / MEMORY).write_text(kept, encoding="utf-8")
    with pytest.raises(RillbookError, match="cannot be read"):
        read_memory(tmp_path)


@pytest.mark.parametrize(
    ("before", "now", "narrower"),
    [
        pytest.param(COARSE, FINE, True, id="a line was taken out of the file"),
        pytest.param(FINE, Shown("0.1", 36.1, -82.0), True, id="two squares of one code"),
        pytest.param(FINE, COARSE, False, id="a larger square that holds the first"),
        pytest.param(FINE, FINE, False, id="the same"),
        pytest.param(FINE, Shown("0.1", 36.5, -82.0, 1), False, id="other codes, nothing in common"),
        pytest.param(Shown("0.1"), FINE, False, id="an earlier version did not say where"),
    ],
)
def test_what_an_observer_of_all_publications_would_learn_is_noticed(before: Shown, now: Shown, narrower: bool):
    assert narrowed(Memory(b"", history={"S1": [before]}), {"S1": now, "S2": FINE}) == (["S1"] if narrower else [])


def test_a_book_that_was_never_published_gets_a_new_secret_each_time(tmp_path: Path):
    one, other = read_memory(tmp_path), read_memory(tmp_path)
    assert len(one.key) == 32 and one.key != other.key and one.sites == {}


def test_a_memory_that_is_gone_after_a_publication_is_an_error(tmp_path: Path):
    (tmp_path / PUBLISHED).mkdir(parents=True)
    with pytest.raises(RillbookError, match="is gone"):
        read_memory(tmp_path)
