"""docs/column_maps.md names every word of the map language, and its examples do what it says."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from pipeline.book.connection import open_book
from pipeline.book.current import current_rows
from pipeline.commands import run
from pipeline.mapping.column_map import CELL_WORDS, FIELD_WORDS, READING_WORDS, SOURCE_WORDS, parse_map
from pipeline.reading.values import CLOCKS, DATE_ORDERS, UNITS, Style, read_column
from schemas.tables import fields

SETTINGS = """
[book]
time_zone = "America/New_York"
[[taxon]]
code = "DFUS"
scientific_name = "Desmognathus fuscus"
group = "cool_stream"
[[taxon]]
code = "EBIS"
scientific_name = "Eurycea bislineata"
group = "cool_stream"
"""


@pytest.fixture(scope="module")
def page(root: Path) -> str:
    return (root / "docs" / "column_maps.md").read_text(encoding="utf-8")


def maps(page: str) -> list[str]:
    return re.findall(r"```toml\n(.*?)```", page, flags=re.S)


def test_page_names_every_word(page: str) -> None:
    units = [unit for known in UNITS.values() for unit in known]
    tables = [f"[source.{word}]" for word in SOURCE_WORDS if word in ("sites", "visits", "finds", "availability", "no_find", "wide")]
    words = {*READING_WORDS, *CELL_WORDS, *FIELD_WORDS, *DATE_ORDERS, *CLOCKS, *units, *tables, "file", "sheet", "unused", "field"}
    assert not [word for word in sorted(words) if f"`{word}`" not in page and f"`{word} " not in page]


def test_examples_are_maps(page: str) -> None:
    examples = maps(page)
    assert len(examples) == 4
    for example in examples:
        assert parse_map(example, "example").sources


def test_first_example_makes_what_the_page_says(page: str, tmp_path: Path) -> None:
    """Two sites, two visits, one of them without a find, two finds; 55.4 °F is 13 °C."""
    lines = page.split("| Stream |", 1)[1].split("\n\n", 1)[0]
    cells = [[cell.strip() for cell in line.strip("| ").split(" |")] for line in ("Stream |" + lines).splitlines()]
    sheet = pd.DataFrame(cells[2:], columns=cells[0])
    sheet.to_csv(tmp_path / "my_sheet.csv", index=False)
    (tmp_path / "my_sheet.toml").write_text(maps(page)[0], encoding="utf-8")
    run.init(tmp_path / "book", SETTINGS)
    report = run.load_files(tmp_path / "book", [tmp_path / "my_sheet.csv"], tmp_path / "my_sheet.toml", today=date(2025, 1, 1))
    assert report.held.empty
    with open_book(tmp_path / "book") as connection:
        visits, finds, sites = (current_rows(connection, table) for table in ("visits", "finds", "sites"))
    assert (len(sites), len(visits), len(finds)) == (2, 2, 2)
    assert list(visits["water_temp_c"].fillna(-1)) == pytest.approx([13, -1])
    assert list(visits["start_time"]) == ["21:40", "20:15"]
    assert set(visits["visit_id"]) - set(finds["visit_id"]) == {"Mill-3_2024-06-01"}
    assert finds.set_index("taxon")["life_stage"].to_dict() == {"DFUS": "larva", "EBIS": "undetermined"}
    assert set(sites["waterbody"]) == {"Mill"}


def test_night_clock_table(page: str) -> None:
    table = page.split("| written | read |", 1)[1].split("\n\n", 1)[0]
    rows = [re.findall(r"`([\d:]+)`|\| ([\d:]+) \|", line) for line in table.splitlines()[2:]]
    for row in rows:
        read = next(after for _, after in row if after)
        for written in (before for before, _ in row if before):
            typed = read_column(pd.Series([written], dtype="str"), fields("visits")["start_time"], Style(clock="night"))
            assert typed.values.tolist() == [read], written
    assert len(rows) == 5
