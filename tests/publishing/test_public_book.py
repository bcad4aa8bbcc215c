"""The memory of earlier publications: kept whole, never made anew in silence."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.errors import RillbookError
from pipeline.publishing.public_book import MEMORY, PUBLISHED, read_memory, remember


def made(folder: Path) -> Path:
    (folder / MEMORY).parent.mkdir(parents=True, exist_ok=True)
    return folder / MEMORY


def test_what_is_remembered_comes_back(tmp_path: Path) -> None:
    made(tmp_path)
    remember(tmp_path, b"k" * 32, {"S2": "1", "S1": "0.01"})
    assert read_memory(tmp_path) == (b"k" * 32, {"S1": "0.01", "S2": "1"})
    assert not list(tmp_path.rglob("*.new"))


def test_a_book_that_was_never_published_gets_a_new_secret_each_time(tmp_path: Path) -> None:
    (one, steps), (other, _) = read_memory(tmp_path), read_memory(tmp_path)
    assert len(one) == 32 and one != other and steps == {}


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"key": "xx", "sites": {}}', '{"key": "00", "sites": []}'])
def test_a_damaged_memory_is_an_error_and_stays(tmp_path: Path, text: str) -> None:
    path = made(tmp_path)
    path.write_text(text)
    with pytest.raises(RillbookError, match="Restore this file from a copy"):
        read_memory(tmp_path)
    assert path.read_text() == text


def test_a_memory_that_is_gone_after_a_publication_is_an_error(tmp_path: Path) -> None:
    (tmp_path / PUBLISHED).mkdir(parents=True)
    with pytest.raises(RillbookError, match="is gone"):
        read_memory(tmp_path)
