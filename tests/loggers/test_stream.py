"""Lines taken from a stream of bytes: all of them, once, many at once and one by one, in every encoding."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.loggers import stream as streams
from pipeline.loggers.stream import one_by_one, opened, put_back, take
from pipeline.loggers.text import WINDOWS, lines_of

TEXT = "a,1 °C\r\nb,2\nc\r\n\nd\re,3\n\r\n" + "long " * 100 + "\nlast"


@pytest.fixture(params=[1, 3, 1 << 17])
def part(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Bytes that are read at once, few enough to part signs and ends of lines."""
    monkeypatch.setattr(streams, "PART", request.param)


def written(folder: Path, encoding: str, text: str = TEXT) -> Path:
    path = folder / "a.csv"
    path.write_bytes(text.encode("cp1252" if encoding == WINDOWS else encoding))
    return path


@pytest.mark.usefixtures("part")
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", WINDOWS])
def test_lines_one_by_one_are_those_of_the_reader_of_text(encoding: str, tmp_path: Path) -> None:
    path = written(tmp_path, encoding)
    with opened(path, encoding) as stream:
        assert list(one_by_one(stream)) == list(lines_of(path, encoding)) == TEXT.splitlines(keepends=True)


@pytest.mark.usefixtures("part")
@pytest.mark.parametrize("lines", [1, 2, 5, 100])
def test_lines_at_once_are_parts_of_the_text_that_end_with_a_line_feed(lines: int, tmp_path: Path) -> None:
    with opened(written(tmp_path, "utf-16"), "utf-16") as stream:
        parts = list(iter(lambda: take(stream, lines), b""))
    assert b"".join(parts).decode() == TEXT
    assert all(part.count(b"\n") == lines for part in parts[:-1])


@pytest.mark.usefixtures("part")
def test_what_is_put_back_is_taken_again_and_only_what_was_asked_for_is_taken(tmp_path: Path) -> None:
    with opened(written(tmp_path, "utf-8"), "utf-8") as stream:
        first = take(stream, 2)
        put_back(stream, first)
        lines = one_by_one(stream)
        assert [next(lines), next(lines), next(lines)] == ["a,1 °C\r\n", "b,2\n", "c\r\n"]
        assert take(stream, 2) == b"\nd\re,3\n"
        put_back(stream, b"\nd\re,3\n")
        assert take(stream, 1) == b"\n" and next(one_by_one(stream)) == "d\r"
        assert take(stream, 1) == b"e,3\n"


def test_a_file_that_is_not_what_it_says_is_told(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes("a,1\n".encode("utf-16") + b"x")
    with opened(path, "utf-16") as stream, pytest.raises(UnicodeError):
        list(iter(lambda: take(stream, 10), b""))
