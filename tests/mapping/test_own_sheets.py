"""rillbook's own sheets need no map: known by their headings, read in the unit of their brackets."""

from __future__ import annotations

import pytest
from source_sheets import sheet

from pipeline.errors import RillbookError
from pipeline.mapping.own_sheets import own_map

SITES = "site_id,habitat\nA,stream\n"


def test_a_sheet_is_mapped_field_by_field_and_a_column_of_ones_own_left_aside() -> None:
    made, skipped = own_map([sheet("Site ID *,habitat *,elevation_m (ft),my notes\nA,stream,100,x\n")])
    (source,) = made.sources
    maps = {one.name: (one.cells[0].column, one.style.unit) for one in source.tables["sites"]}
    assert maps == {"site_id": ("Site ID *", ""), "habitat": ("habitat *", ""), "elevation_m": ("elevation_m (ft)", "ft")}
    assert (skipped, made.sha256, source.strict) == ([], "", False)


def test_nothing_makes_an_empty_map() -> None:
    assert own_map([])[0].sources == ()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("a,b\n1,2\n", r"no table has these columns: a, b\..*--map"),
        ("site_id,habitat,Site ID\nA,stream,B\n", "name one field"),
        ("visit_id,site_id,visit_date\nV,A,2024-05-31\n", "the column protocol is missing"),
        ("site_id,habitat,elevation_m (kg)\nA,stream,1\n", "'kg' in the heading"),
    ],
)
def test_what_is_no_sheet_of_ours_is_refused(text: str, words: str) -> None:
    with pytest.raises(RillbookError, match=words):
        own_map([sheet(text)])


def test_a_foreign_sheet_of_a_workbook_is_left_out_and_named_and_alone_refused() -> None:
    codes = sheet("code,text\nx,y\n", "w.xlsx", "codes")
    made, skipped = own_map([codes, sheet(SITES, "w.xlsx", "sites")])
    assert [one.sheet for one in made.sources] == ["sites"] and skipped == ["w.xlsx, sheet codes"]
    with pytest.raises(RillbookError, match="sheet codes"):
        own_map([codes, sheet(SITES, "other.xlsx", "sites")])
