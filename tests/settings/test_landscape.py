"""What a book states under `[map]`."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.errors import RillbookError
from pipeline.settings import parse_settings, read_settings
from pipeline.settings.landscape import Landscape

BOOK = '[book]\ntime_zone = "America/New_York"\n'


def test_a_file_of_lines_is_sought_from_the_book(tmp_path):
    (tmp_path / "rillbook.toml").write_text(
        BOOK + '[map]\nlines = "maps/streams.gpkg"\nlines_from = "the state\'s\\n survey"\n', encoding="utf-8"
    )
    assert read_settings(tmp_path).landscape == Landscape(tmp_path / "maps" / "streams.gpkg", "the state's survey")
    assert parse_settings(BOOK, "test").landscape == Landscape(None, "")
    whole = parse_settings(BOOK + '[map]\nlines = "/data/streams.gpkg"\n', "test").landscape
    assert whole == Landscape(Path("/data/streams.gpkg"), "")


@pytest.mark.parametrize(
    ("text", "said"), [("line = 'x'", "unknown word 'line'"), ("lines = 3", "lines must be"), ("lines_from = ' '", "lines_from must be")]
)
def test_what_it_cannot_be_is_refused_with_its_place(text, said):
    with pytest.raises(RillbookError, match=said) as problem:
        parse_settings(f"{BOOK}[map]\n{text}\n", "rillbook.toml")
    assert "[map]" in str(problem.value)
