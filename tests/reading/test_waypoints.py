"""Waypoints of GPX files: read as the schema says, and given to sites and finds by name or time, never by guess.

GPX 1.1, http://www.topografix.com/GPX/1/1: positions are WGS 84, times are UTC. Sample files: tkrajina/gpxpy @017d996 (Apache-2.0).
"""

from __future__ import annotations

from datetime import date
from pathlib import Path
from xml.etree import ElementTree

import pandas as pd
import pytest

from pipeline.book.connection import open_book
from pipeline.book.current import current_rows
from pipeline.book.loads import all_loads
from pipeline.commands import run
from pipeline.errors import RillbookError
from pipeline.reading import waypoints

CASES = Path(__file__).parents[1] / "cases"
TODAY = date(2026, 1, 1)


def gpx(path: Path, *marks: str) -> Path:
    path.write_text(
        '<?xml version="1.0"?><gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">' + "".join(marks) + "</gpx>"
    )
    return path


def mark(name: str, latitude: float, longitude: float, time: str = "") -> str:
    return f'<wpt lat="{latitude}" lon="{longitude}">{f"<time>{time}</time>" if time else ""}<name>{name}</name></wpt>'


SAMPLES = ("cerknicko-jezero.gpx", "gpx1.1_with_all_fields.gpx", "gpx_with_garmin_extension.gpx", "korita-zbevnica.gpx",
           "track_with_dilution_errors.gpx", "unicode_with_bom.gpx")  # fmt: skip


@pytest.mark.open_data
@pytest.mark.parametrize("name", SAMPLES)
def test_samples_say_what_their_xml_says(name: str, open_data: Path) -> None:
    path = open_data / "gpx_samples" / name
    found = waypoints.read_waypoints(path)
    written = [one for one in ElementTree.parse(path).iter() if one.tag.split("}")[-1] == "wpt"]
    assert len(found) == len(written) > 0
    for row, one in zip(found.itertuples(), written, strict=True):
        texts = {child.tag.split("}")[-1]: child.text or "" for child in one}
        assert (row.latitude, row.longitude) == pytest.approx((float(one.get("lat", "")), float(one.get("lon", ""))), abs=1e-7)
        assert row.name == texts.get("name", "").strip()
        time = texts.get("time", "")
        if time:
            assert row.time_utc == pd.Timestamp(time).tz_convert("UTC").tz_localize(None)
        else:
            assert pd.isna(row.time_utc)


@pytest.mark.open_data
@pytest.mark.parametrize("name", ["Mojstrovka.gpx", "route.gpx", "track-with-extremes.gpx"])
def test_tracks_and_routes_are_no_waypoints(name: str, open_data: Path) -> None:
    with pytest.raises(RillbookError, match="holds no waypoint"):
        waypoints.read_waypoints(open_data / "gpx_samples" / name)


@pytest.mark.parametrize("text", ["", "<gpx>", "site_id,habitat\n", '<?xml version="1.0"?><kml/>', "\x00\x01"])
def test_what_is_no_gpx_is_said(text: str, tmp_path: Path) -> None:
    (tmp_path / "a.gpx").write_text(text)
    with pytest.raises(RillbookError, match=r"a\.gpx: .*(cannot be read|holds no waypoint)"):
        waypoints.read_waypoints(tmp_path / "a.gpx")


def test_a_file_that_is_not_there() -> None:
    with pytest.raises(RillbookError, match="no such file"):
        waypoints.read_waypoints(Path("nowhere.gpx"))


SITES = "site_id,habitat,latitude,longitude,datum\nA,stream,,,\nB,stream,36.20,-81.90,WGS84\nC,stream,,,NAD27\n"
VISITS = "visit_id,site_id,visit_date,start_time,protocol,search_minutes\nV,A,2024-05-31,21:30,visual_encounter,60\n"
FINDS = "find_id,visit_id,found_at,taxon,life_stage,count,microhabitat\n" + "".join(
    f"{name},V,{clock},GPOR,adult,1,rock_in_flow\n" for name, clock in (("F1", "21:40"), ("F2", "22:00"), ("F3", "22:30"), ("F4", ""))
)


def load(folder: Path, *paths: Path) -> run.Report:
    if not (folder / "book").exists():
        run.init(folder / "book", (CASES / "base" / "rillbook.toml").read_text(encoding="utf-8"))
    for name, text in (("sites", SITES), ("visits", VISITS), ("finds", FINDS)):
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    report = run.load_files(folder / "book", [*(folder / f"{name}.csv" for name in ("sites", "visits", "finds")), *paths], today=TODAY)
    assert isinstance(report, run.Report)
    return report


def rows(folder: Path, table: str, key: str) -> pd.DataFrame:
    with open_book(folder / "book") as connection:
        return current_rows(connection, table).set_index(key)


def test_places_by_name_and_by_time(tmp_path: Path) -> None:
    # 21:40 in the base book's zone, New York, is 01:40 UTC of the next day in summer
    path = gpx(
        tmp_path / "trip.gpx",
        mark("a", 36.21, -81.91, "2024-06-01T01:20:00Z"),
        mark("B", 36.99, -81.99),
        mark("C", 36.22, -81.92),
        mark("011", 36.2101, -81.9101, "2024-06-01T01:43:00Z"),
        mark("012", 36.2102, -81.9102, "2024-06-01T01:58:00Z"),
        mark("013", 36.2103, -81.9103, "2024-06-01T02:03:00Z"),
        mark("F4", 36.2104, -81.9104),
        mark("CAR", 36.3, -81.8),
    )
    report = load(tmp_path, path)
    assert report.held.empty
    sites, finds = rows(tmp_path, "sites", "site_id"), rows(tmp_path, "finds", "find_id")
    assert sites.loc["A", ["latitude", "longitude", "datum"]].tolist() == [36.21, -81.91, "WGS84"]
    # 30 m of a receiver after 2000-05-01 and the step of seven decimals, rounded up (georeferencing guides, see test_georeference)
    assert sites.at["A", "coordinate_uncertainty_m"] == 31
    # a place that is noted stays; one datum is not mixed with another
    assert sites.at["B", "latitude"] == 36.20 and pd.isna(sites.at["C", "latitude"])
    assert finds.loc["F1", ["latitude", "longitude"]].tolist() == [36.2101, -81.9101]
    # two waypoints within five minutes of F2, none near F3; F4 by its name, without a time
    assert finds.loc[["F2", "F3"], "latitude"].isna().all() and finds.at["F4", "latitude"] == 36.2104
    said = " ".join(report.notes)
    for words in ("waypoint B: B has a place already", "waypoint C: C names the datum NAD27", "find F2: 2 waypoints lie near it",
                  "find F1 got the place of waypoint 011 by time, 3.0 min apart", "not used: 012, 013, CAR"):  # fmt: skip
        assert words in said
    account = report.account
    assert account is not None and sum(account.rows.values()) == 3 + 1 + 4 + 1 + 2
    with open_book(tmp_path / "book") as connection:
        kept = connection.execute(
            "SELECT cells FROM source_rows JOIN source_files USING (load_id, source) WHERE file = 'trip.gpx'"
        ).fetchall()
        files = all_loads(connection)["files"].iloc[0]
    assert any("by time, 3.0 min apart" in cells for (cells,) in kept) and "trip.gpx" in files


def test_the_same_files_change_nothing_and_other_waypoints_are_a_new_load(tmp_path: Path) -> None:
    path = gpx(tmp_path / "trip.gpx", mark("A", 36.21, -81.91))
    load(tmp_path, path)
    assert "loaded before" in load(tmp_path, path).notes[-1]
    gpx(path, mark("A", 36.22, -81.91))
    with pytest.raises(run.WouldReplaceError) as problem:
        load(tmp_path, path)
    assert any("latitude 36.21 → 36.22" in one for one in problem.value.changes.changed)


def test_waypoints_alone_are_no_records(tmp_path: Path) -> None:
    run.init(tmp_path / "book", (CASES / "base" / "rillbook.toml").read_text(encoding="utf-8"))
    with pytest.raises(RillbookError, match="waypoints alone are no records"):
        run.load_files(tmp_path / "book", [gpx(tmp_path / "trip.gpx", mark("A", 36.2, -81.9))], today=TODAY)


def test_two_waypoints_of_one_name(tmp_path: Path) -> None:
    report = load(tmp_path, gpx(tmp_path / "trip.gpx", mark("A", 36.21, -81.91), mark("A", 36.22, -81.92)))
    assert any("was placed by another waypoint of that name" in one for one in report.notes)
    assert rows(tmp_path, "sites", "site_id").at["A", "latitude"] == 36.21


def test_check_says_the_same_and_writes_nothing(tmp_path: Path) -> None:
    path = gpx(tmp_path / "trip.gpx", mark("CAR", 36.3, -81.8))
    load(tmp_path)
    report = run.check_files(tmp_path / "book", [tmp_path / "sites.csv", path], today=TODAY)
    assert any("not used: CAR" in one for one in report.notes)


def test_a_site_of_the_book_without_a_place_is_named(tmp_path: Path) -> None:
    load(tmp_path)
    (tmp_path / "other.csv").write_text("site_id,habitat\nZ,stream\n")
    report = run.check_files(tmp_path / "book", [tmp_path / "other.csv", gpx(tmp_path / "t.gpx", mark("a", 36.2, -81.9))], today=TODAY)
    assert any("site A is in the book without a place; load its row together" in one for one in report.notes), report.notes
