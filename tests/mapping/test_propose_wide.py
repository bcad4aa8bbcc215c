"""Columns of counts that become rows. All sheets are invented."""

from __future__ import annotations

import pytest
from strange_sheets import TAXA, WIDE, sheet

from pipeline.mapping.column_content import contents
from pipeline.mapping.propose_wide import Wide, total_column, wide_columns


def wide(text: str, taxa: dict[str, str] | None = None) -> Wide | None:
    return wide_columns(contents(sheet(text), ("NA",)), set(), taxa or {})


@pytest.mark.parametrize(
    ("heading", "sets"),
    [
        ("Dusky larvae", {"taxon": "Dusky", "life_stage": "larva"}),
        ("DFUS_A", {"taxon": "DFUS", "life_stage": "adult"}),
        ("DFUS-L", {"taxon": "DFUS", "life_stage": "larva"}),
        ("Juv Two-lined", {"taxon": "Two-lined", "life_stage": "juvenile"}),
        ("EBIS count", {"taxon": "EBIS"}),
    ],
)
def test_taxon_and_stage_of_a_heading(heading: str, sets: dict[str, str]) -> None:
    found = wide(f"Date,{heading},GPOR\n5/26/23,0,1\n5/27/23,NA,2\n")
    assert found is not None and found.by_taxon and found.columns[heading] == sets


def test_names_of_the_book_are_known_and_others_told() -> None:
    found = wide("Date,Dusky,Two-lined,Red\n5/26/23,0,1,0\n", TAXA)
    assert found is not None and found.columns == {"Dusky": {"taxon": "DFUS"}, "Two-lined": {"taxon": "EBIS"}}
    told = wide("Date,Dusky,Red adults\n5/26/23,0,1\n", TAXA)
    assert told is not None and "Red: no name of the book" in told.reason


def test_passes() -> None:
    found = wide("Species,PassCount1,PassCount2\nDFUS,1,0\n")
    assert found is not None and not found.by_taxon
    assert found.columns == {"PassCount1": {"pass_no": "1"}, "PassCount2": {"pass_no": "2"}}


@pytest.mark.parametrize(
    "text",
    [
        "Date,Species,Count\n5/26/23,DFUS,1\n",
        # measurements, and headings that are all in capitals
        "Date,Dusky larvae,Dusky adults\n5/26/23,11.5,12.5\n",
        "DATE,SAND,SILT\n5/26/23,10,20\n",
        # parts of the reach and other animals
        "Date,Pool,Riffle,Fish\n5/26/23,1,2,0\n",
        "Date,Depth1,Depth2\n5/26/23,1,2\n",
    ],
)
def test_what_is_not_wide(text: str) -> None:
    assert wide(text) is None


def test_a_total_is_known_by_its_sums() -> None:
    columns = contents(sheet(WIDE), ("NA",))
    found = wide_columns(columns, set(), TAXA)
    assert found is not None and total_column(columns, found, set()) == "Total"
    columns = contents(sheet("Dusky larvae,Dusky adults,Total\n1,2,30\n1,1,20\n"), ())
    found = wide_columns(columns, set(), TAXA)
    assert found is not None and total_column(columns, found, set()) == ""
