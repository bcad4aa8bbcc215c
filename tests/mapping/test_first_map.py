"""First column maps: on an invented strange sheet, and held against maps that people made by hand for public surveys.

Sources of the public sheets: tests/test_real_data.py. The invented ones have nobody's headings.
"""

from __future__ import annotations

from pathlib import Path

import map_shares
import pytest
from strange_sheets import TAXA, WIDE, sheet

from pipeline.mapping.first_map import FirstMap, first_map
from pipeline.mapping.propose_sites import Line
from pipeline.reading.files import read_files

PUBLIC = {
    "canaan_valley_2001_2006": ("CVNWR_locations_intersected.csv", "CVNWR_transects.csv"),
    "ncr_lotic_2005_2017": ("NCRlotic_all.csv",),
    "gsmnp_2012": ("Salamander Data.csv",),
    "mbss_maryland": ("mbssallpoints.csv", "LOCATION.csv"),
}
# what the issue asks for: share of the lines of the hand-made map
ASKED = 0.7


def line(proposed: FirstMap, path: str) -> Line:
    every = [*proposed.reading, *(one for source in proposed.sources for one in source.lines)]
    return next(one for one in every if one.path == path)


def paths(proposed: FirstMap) -> set[str]:
    return {one.path for source in proposed.sources for one in source.lines}


@pytest.mark.open_data
@pytest.mark.parametrize("name", PUBLIC)
def test_most_lines_of_maps_made_by_hand_are_proposed_and_none_is_wrong_unmarked(name: str, root: Path, open_data: Path) -> None:
    sheets = read_files([open_data / name / file for file in PUBLIC[name]])
    by_hand = (root / "data" / "column_maps" / f"{name}.toml").read_text(encoding="utf-8")
    found = map_shares.share_of(by_hand, first_map(sheets, {}), sheets)
    print(f"{name}: {len(found.proposed)} of {len(found.lines)} lines, {found.share:.0%}; missed: {set(found.lines) - set(found.proposed)}")
    assert not found.wrong
    assert found.share >= ASKED


def test_a_strange_wide_sheet_is_understood() -> None:
    proposed = first_map([sheet(WIDE)], TAXA)
    assert line(proposed, "wide.columns.Dusky larvae").value == {"taxon": "DFUS", "life_stage": "larva"}
    assert line(proposed, "sites.site_id").value == {"columns": ["Creek", "Stn"], "join": "-"}
    assert line(proposed, "visits.water_temp_c").value == {"column": "T water (F)", "unit": "degF"}
    assert line(proposed, "visits.air_temp_c").value == {"column": "Air", "unit": "degF"}
    assert line(proposed, "total.column").value == "Total"
    assert line(proposed, "unused").value == ["Fish seen"]
    assert line(proposed, "reading.date_order").value == "mdy"
    assert line(proposed, "reading.clock").value == "ampm"


def test_no_absence_is_proposed() -> None:
    """Which taxa were looked for, whether all were counted, and what an empty cell means, only a person can say."""
    every = paths(first_map([sheet(WIDE)], TAXA))
    assert not every & {"visits.target_taxa", "visits.all_counted", "wide.zeros", "wide.not_counted"}


def test_what_no_heading_states_is_marked_or_asked() -> None:
    proposed = first_map([sheet(WIDE)], {})
    for path in (
        "visits.air_temp_c",
        "sites.habitat",
        "sites.site_id",
        "wide.columns.Dusky adults",
        "finds.microhabitat",
        "unused",
        "reading.missing",
    ):
        assert line(proposed, path).guess, path
    assert line(proposed, "visits.protocol").value == {"constant": "ask"}
    assert line(proposed, "wide.columns.Dusky adults").value["taxon"] == "Dusky"


def test_every_column_is_named_once_or_unused() -> None:
    one = first_map([sheet(WIDE)], TAXA).sources[0]
    unused = next(each.value for each in one.lines if each.path == "unused")
    assert set(unused) < set(one.columns)


def test_dates_that_two_orders_read_are_asked() -> None:
    assert (
        line(first_map([sheet("Site,Date,Species,Count\nA,5/6/2023,DFUS,1\nA,7/8/2023,DFUS,2\n")], {}), "reading.date_order").value == "ask"
    )


def test_orders_that_differ_stand_at_their_fields() -> None:
    first = sheet("Site,Date,Species,Count\nA,5/26/2023,DFUS,1\nA,7/18/2023,DFUS,2\nB,7/19/2023,DFUS,2\n", "a.csv")
    second = sheet("Site,Date,Species,Count\nA,26/5/2023,DFUS,1\nA,18/7/2023,DFUS,2\nB,19/7/2023,DFUS,2\n", "b.csv")
    proposed = first_map([first, second], {})
    days = [each.value for source in proposed.sources for each in source.lines if each.path == "visits.visit_date"]
    assert days == [{"column": "Date", "date_order": "mdy"}, {"column": "Date", "date_order": "dmy"}]
    assert not proposed.reading


def test_readings_that_vary_within_visits_are_those_of_the_finds() -> None:
    rows = "".join(f"A,5/{day}/2023,DFUS,1,{t}\n" for day in (20, 21, 22) for t in (11.5, 12.5, 13.0))
    proposed = first_map([sheet("Site,Date,Species,Count,Water temp\n" + rows)], {})
    assert line(proposed, "finds.water_temp_c").guess and "visits.water_temp_c" not in paths(proposed)


def test_rows_of_sums_are_left_out_and_marked() -> None:
    proposed = first_map([sheet("Site,Date,Species,Count\nA,5/26/2023,DFUS,1\nB,5/27/2023,DFUS,2\nTotal,,,3\n")], {})
    assert line(proposed, "skip.Site").value == ["Total"] and line(proposed, "skip.Site").guess


def test_a_sheet_of_nothing_known_asks_for_the_site() -> None:
    proposed = first_map([sheet("Foo,Bar\nx,1.5\ny,2.5\n")], {})
    assert line(proposed, "sites.site_id").value == {"constant": "ask"}
    assert "visits.visit_date" not in paths(proposed)


def test_sheets_of_one_survey_say_one_habitat() -> None:
    """Two sheets that name the same sites must not describe them in two ways."""
    proposed = first_map([sheet("Site code,Elev ft\nP1,1200\nH1,900\n", "sites.csv"), sheet(WIDE)], TAXA)
    said = [each.value for source in proposed.sources for each in source.lines if each.path == "sites.habitat"]
    assert said == [{"constant": "stream"}] * 2
