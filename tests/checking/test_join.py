"""Files that should join and do not: said before anything is stored, with the nearest spelling beside each code."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from pipeline.commands import run

CASES = Path(__file__).parents[1] / "cases"
MAP = """[[source]]
file = "places.csv"
[source.sites]
site_id = "Site"
latitude = "Lat"
longitude = "Long"
datum = { constant = "WGS84" }
habitat = { constant = "stream" }
[[source]]
file = "trips.csv"
[source.sites]
site_id = "Site"
habitat = { constant = "stream" }
[source.visits]
site_id = { same_as = "sites.site_id" }
visit_id = { fields = ["site_id", "visit_date"] }
visit_date = "Date"
protocol = { constant = "visual_encounter" }
"""
PLACES = "Site,Lat,Long\nMill 2,36.21,-81.91\nKT-01,36.22,-81.92\nUnvisited,36.23,-81.93\n"
TRIPS = "Site,Date\nMill  2,2023-06-10\nkt-01,2023-06-11\nkt-01,2023-06-12\nOther,2023-06-13\n"


def test_files_that_do_not_join_are_told_before_anything_is_stored(tmp_path: Path) -> None:
    folder = tmp_path / "b"
    run.init(folder, (CASES / "base" / "rillbook.toml").read_text())
    for name, text in (("places.csv", PLACES), ("trips.csv", TRIPS), ("map.toml", MAP)):
        (tmp_path / name).write_text(text, encoding="utf-8")
    files = [tmp_path / "places.csv", tmp_path / "trips.csv"]
    checked = run.check_files(folder, files, tmp_path / "map.toml", today=date(2026, 1, 1))
    told: list[str] = []

    def tell(said: str) -> None:
        told.append(said)

    report = run.load_files(folder, files, tmp_path / "map.toml", today=date(2026, 1, 1), tell=tell)
    assert isinstance(checked, run.Report) and isinstance(report, run.Report)
    assert [note for note in checked.notes if note in told] == told and not set(told) & set(report.notes)
    alone = "'Other' (one row, line 5), 'kt-01' (2 rows from line 3, nearest 'KT-01')"
    assert told[0].startswith(f"trips.csv: 2 sites are in no other file and not in the book: {alone}.")
    assert told[1] == "2 of 5 sites are left without a place: 'kt-01', 'Other'."
