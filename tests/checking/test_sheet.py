"""What is held back keeps its place and its exact text."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from checked_sheets import CASES, base, run, write

from pipeline.settings import Settings, read_settings


@pytest.fixture(scope="module")
def book() -> Settings:
    return read_settings(CASES / "base")


def test_held_text_is_the_exact_text_of_the_sheet(book: Settings, tmp_path: Path) -> None:
    sheet = "find_id,visit_id,taxon,life_stage,count,microhabitat,svl_mm,remarks\n"
    sheet += ' X1 ,V1,GPOR,adult,1,rock_in_flow,"  ca. 40, maybe ",\nX2,V1,NOPE ,adult,1,rock_in_flow,,"two\nlines"\n'
    checked = run([*base(), *write(tmp_path, more=sheet)], book)
    assert dict(zip(checked.held["field"], checked.held["text"], strict=True)) == {"svl_mm": "  ca. 40, maybe ", "taxon": "NOPE "}
    assert checked.held.set_index("field")["line"].to_dict() == {"svl_mm": 2, "taxon": 3}
    twice = "site_id,habitat,remarks\nS9,stream,a\nS9,seep,\n"
    checked = run(write(tmp_path, sites=twice), book)
    assert checked.held["text"].tolist() == ["site_id = S9; habitat = seep"]


def test_a_held_value_names_its_file_line_and_heading(book: Settings, tmp_path: Path) -> None:
    checked = run([*base(), *write(tmp_path, more_finds=FINDS + "F8,V1,GPOR,adult,1,rock_in_flow,cold\n")], book)
    (held,) = checked.held.to_dict("records")
    assert (held["table"], held["row_key"], held["parent_key"], held["field"], held["column"]) == (
        "finds", "F8", "V1", "water_temp_c", "water_temp_c",
    )  # fmt: skip
    assert (held["text"], held["line"], held["row"]) == ("cold", 2, 0)
    assert checked.sources[held["source"]].source.cells["find_id"].tolist() == ["F8"]


def test_a_row_held_whole_shows_all_that_was_written(book: Settings, tmp_path: Path) -> None:
    """A required value is missing: the row is held; its text is every cell with something in it, under its heading."""
    checked = run([*base(), *write(tmp_path, more_finds=FINDS + "F8,V9,GPOR,adult,1,rock_in_flow,\n")], book)
    held = checked.held[checked.held["rule"] == "parent_unknown"].iloc[0]
    assert held["candidate"] >= 0 and "F8" not in set(checked.tables["finds"].accepted["find_id"])
    assert held["text"] in ("V9", "find_id = F8; visit_id = V9; taxon = GPOR; life_stage = adult; count = 1; microhabitat = rock_in_flow")


def test_what_is_held_is_out_of_the_typed_rows(book: Settings, tmp_path: Path) -> None:
    checked = run([*base(), *write(tmp_path, more_finds=FINDS + "F8,V1,GPOR,adult,1,rock_in_flow,cold\n")], book)
    row = checked.tables["finds"].accepted.set_index("find_id").loc["F8"]
    assert pd.isna(row["water_temp_c"]) and row["count"] == 1


FINDS = "find_id,visit_id,taxon,life_stage,count,microhabitat,water_temp_c\n"
