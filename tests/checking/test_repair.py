"""A repair is whole: half a place brings the other half back, and what stays without a value is said."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from pipeline.book.connection import open_book
from pipeline.book.current import current_rows
from pipeline.commands import run
from pipeline.errors import RillbookError

CASES = Path(__file__).parents[1] / "cases"
TODAY = date(2026, 1, 1)
# An invented site whose minus was lost: both halves of its place are held.
SITES = "site_id,habitat,latitude,longitude,datum\nS1,headwater,36.21,81.91,WGS84\n"
VISITS = "visit_id,site_id,visit_date,protocol,search_minutes\nV1,S1,2023-06-10,visual_encounter,60\n"
FINDS = "find_id,visit_id,taxon,life_stage,count,microhabitat,svl_mm,total_length_mm\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    run.init(tmp_path / "b", (CASES / "base" / "rillbook.toml").read_text())
    return tmp_path / "b"


def load(folder: Path, **texts: str) -> run.Report:
    paths = [folder.parent / f"{name}.csv" for name in texts]
    for path, text in zip(paths, texts.values(), strict=True):
        path.write_text(text, encoding="utf-8")
    report = run.load_files(folder, paths, today=TODAY)
    assert isinstance(report, run.Report)
    return report


def answered(folder: Path, answers: dict[tuple[str, str], dict[str, str]]) -> run.Report:
    """Load the list of held items with answers by row and field."""
    path = folder.parent / f"list{len(list(folder.parent.glob('list*')))}.csv"
    run.write_held(folder, path)
    frame = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    for (row, field), words in answers.items():
        hit = (frame["row"] == row) & (frame["field"] == field)
        assert hit.any()
        frame.loc[hit, list(words)] = list(words.values())
        frame.loc[hit, "by"] = "AB"
    frame.to_csv(path, index=False)
    report = run.load_files(folder, [path], today=TODAY)
    assert isinstance(report, run.Report)
    return report


def place(folder: Path) -> tuple[float, float]:
    with open_book(folder) as connection:
        site = current_rows(connection, "sites").iloc[0]
    return site["latitude"], site["longitude"]


def test_correcting_the_longitude_brings_the_latitude_back(folder: Path) -> None:
    load(folder, sites=SITES)
    assert {*run.held_items(folder)["field"]} == {"latitude", "longitude"}
    report = answered(folder, {("S1", "longitude"): {"corrected": "-81.91"}})
    assert place(folder) == (36.21, -81.91)
    assert run.held_items(folder).empty
    assert any("latitude is back as it was written, 36.21" in note for note in report.notes), report.notes
    run.undo(folder, 2)
    assert pd.isna(place(folder)[0]) and len(run.held_items(folder)) == 2


def test_swapped_halves_are_corrected_together(folder: Path) -> None:
    load(folder, sites="site_id,habitat,latitude,longitude,datum\nS1,headwater,-81.91,36.21,WGS84\n")
    with pytest.raises(RillbookError, match=r"sites S1: latitude and longitude may have changed places.*Correct both"):
        answered(folder, {("S1", "latitude"): {"corrected": "36.21"}})
    assert len(run.held_items(folder)) == 2
    answered(folder, {("S1", "latitude"): {"corrected": "36.21"}, ("S1", "longitude"): {"corrected": "-81.91"}})
    assert place(folder) == (36.21, -81.91) and run.held_items(folder).empty


def test_what_a_correction_leaves_without_a_value_is_said(folder: Path) -> None:
    load(folder, sites=SITES.replace(",81.91", ",-81.91"), visits=VISITS, finds=FINDS + "F1,V1,GPOR,adult,1,rock_in_flow,140,80\n")
    report = answered(folder, {("F1", "svl_mm"): {"corrected": "80"}})
    assert any("F1: total_length_mm stays without a value ('80' is held" in note for note in report.notes), report.notes
    assert list(run.held_items(folder)["field"]) == ["total_length_mm"]
