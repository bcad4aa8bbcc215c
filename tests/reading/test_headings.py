"""Headings of rillbook's own sheets: name, unit, star; which table a sheet fills; example rows that are no record."""

from __future__ import annotations

import pytest
from source_sheets import sheet

from pipeline.errors import RillbookError
from pipeline.reading import headings
from schemas.tables import LOADED, fields

WATER, DAY, SITE = fields("visits")["water_temp_c"], fields("visits")["visit_date"], fields("sites")["site_id"]


def test_headings_as_they_are_written() -> None:
    assert headings.heading_of(WATER) == "water_temp_c (°C)"
    assert headings.heading_of(DAY) == "visit_date (YYYY-MM-DD) *" and headings.heading_of(SITE) == "site_id *"


@pytest.mark.parametrize("table", LOADED)
def test_every_heading_that_is_written_is_read_back_as_its_field(table: str) -> None:
    declared = headings.filled_in(table)
    written = [headings.heading_of(one) for one in declared.values()]
    made = sheet(",".join(written) + "\n")
    assert headings.headings_of(made) == dict(zip(declared, written, strict=True)) and headings.table_of(made) == table
    assert all(
        headings.style_of(heading, one, "a.csv") == headings.CANONICAL for heading, one in zip(written, declared.values(), strict=True)
    )
    assert not any(one.derived for one in declared.values())


@pytest.mark.parametrize("heading", ["water_temp_c (F)", "Water Temp C [°F]", " water_temp_c  ( fahrenheit ) *"])
def test_another_unit_in_brackets_counts(heading: str) -> None:
    assert headings.headings_of(sheet(f"{heading}\n1\n")) == {"water_temp_c": heading}
    assert headings.style_of(heading, WATER, "a.csv").unit == "degF"


def test_brackets_that_hold_no_unit_of_the_field_are_refused() -> None:
    for heading, declared in (("water_temp_c (m)", WATER), ("water_temp_c (°)", WATER), ("site_id (code)", SITE)):
        with pytest.raises(RillbookError, match="is no unit of this field"):
            headings.style_of(heading, declared, "a.csv")
    assert headings.style_of("water_temp_c", WATER, "a.csv") == headings.CANONICAL


def test_a_table_needs_all_its_marks() -> None:
    assert headings.table_of(sheet("site_id\nA\n")) is None and headings.table_of(sheet("visit_id,site_id\nV,A\n")) is None
    assert headings.table_of(sheet("find_id,visit_id\nF,V\n")) == "finds"


def test_example_rows_and_guides_are_no_record() -> None:
    """The second of three rows shows how to fill in; the others keep their lines, and so does one with a cell too many."""
    made = sheet("site_id,habitat\nA,stream\n Example ,stream\nB,seep\n", misshapen={2: ("B", "seep", "x")})
    guide = sheet(",".join(headings.CODE_SHEET) + "\nhabitat,seep,wet\n", "w.xlsx", "codes")
    (kept,), notes = headings.records_of([guide, made])
    assert kept.cells["site_id"].tolist() == ["A", "B"] and kept.lines.tolist() == [2, 4]
    assert kept.misshapen == {1: ("B", "seep", "x")} and len(notes) == 1 and "a.csv, line 3" in notes[0]
    assert headings.is_guide(guide) and not headings.is_guide(made)
    with pytest.raises(RillbookError, match="only explanations"):
        headings.records_of([guide])
    assert headings.records_of([]) == ([], [])
