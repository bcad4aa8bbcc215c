"""The words on the sites of a taxon give none of them away."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.book.connection import open_book
from pipeline.commands import demo_study as demo
from pipeline.commands import run
from pipeline.targets.site_spans import site_spans

SITES = "site_id,habitat,latitude,longitude,elevation_m,canopy_pct\n"


def sentence(folder: Path, *sites: str) -> str:
    """Load one find of DMON at each of the sites."""
    run.init(folder, demo.settings_text())
    names = [site.split(",")[0] for site in sites]
    texts = {
        "sites.csv": SITES + "\n".join(sites),
        "visits.csv": "visit_id,site_id,visit_date,protocol\n" + "\n".join(f"V{name},{name},2023-06-01,transect" for name in names),
        "finds.csv": "find_id,visit_id,taxon,life_stage,count,microhabitat\n"
        + "\n".join(f"F{name},V{name},DMON,adult,1,wet_rock" for name in names),
    }
    for name, text in texts.items():
        (folder / name).write_text(text + "\n", encoding="utf-8")
    run.load_files(folder, [folder / name for name in texts])
    with open_book(folder) as connection:
        return site_spans(connection, (), dict.fromkeys(names, 36.25) if "36.2" in sites[0] else {})["DMON"]


def test_spans_are_widened(tmp_path: Path) -> None:
    said = sentence(tmp_path, "A,stream,36.21,-81.9,712,63", "B,stream,36.33,-81.8,988,71", "C,seep,36.29,-81.7,1204,85")
    assert "3 to 5 sites" in said and "700 to 1300 m" in said and "latitude 36° N" in said and "canopy 60 to 90 %" in said


@pytest.mark.parametrize(
    "rows", [["A,stream,36.21,-81.9,712,63", "B,stream,36.33,-81.8,988,71"], ["A,stream,,,,", "B,stream,,,,", "C,stream,,,,"]]
)
def test_too_few_sites_are_told_nothing_of(tmp_path: Path, rows: list[str]) -> None:
    said = sentence(tmp_path, *rows)
    assert ("1 to 2 sites" if len(rows) == 2 else "3 to 5 sites") in said and "not noted, or not for enough sites" in said
    assert "36" not in said and "00 m" not in said and "%" not in said
