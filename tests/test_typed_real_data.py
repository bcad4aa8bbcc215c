"""What people typed in real sheets: UTM and grids of mbss_maryland, letters of canaan, clock times around midnight of gsmnp_2012.

Sources: mbss_maryland and canaan_valley_2001_2006 from jclbrooks/MD_Stream_Salamanders @4936470; gsmnp_2012 from Hocking et al. 2021, Ecol
Evol 11:1378, doi:10.1002/ece3.7142, row-level file bhanak03/hanakbe2 @b2c4e70.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from real_data_tables import Loaded

from pipeline.book.connection import open_book
from pipeline.book.current import current_rows
from pipeline.commands import run
from pipeline.formulas import sun
from pipeline.formulas.places import distance_m
from pipeline.mapping.apply_map import apply_map
from pipeline.mapping.column_map import parse_map
from pipeline.reading.coordinates import ZONE_MISSING, read_angle, read_place
from pipeline.reading.files import read_files

pytestmark = pytest.mark.open_data
TODAY = date(2026, 1, 1)
ZONE = "America/New_York"


@pytest.fixture(scope="module")
def points(open_data: Path) -> pd.DataFrame:
    return pd.read_csv(open_data / "mbss_maryland" / "mbssallpoints.csv", dtype=str, keep_default_na=False)


@pytest.fixture(scope="module")
def load(root: Path, open_data: Path, tmp_path_factory: pytest.TempPathFactory) -> Callable[..., tuple[run.Report, pd.DataFrame]]:
    def one(name: str, file: str) -> tuple[run.Report, pd.DataFrame]:
        """Report, and rows of sites, of a file in a book of its own."""
        column_map = root / "data" / "column_maps" / f"{name}.toml"
        folder = tmp_path_factory.mktemp(name) / "book"
        run.init(folder, column_map.with_suffix(".book.toml").read_text(encoding="utf-8"))
        report = run.load_files(folder, [open_data / name / file], column_map, today=TODAY)
        assert isinstance(report, run.Report)
        with open_book(folder) as connection:
            return report, current_rows(connection, "sites").set_index("site_id")

    return one


def test_every_site_of_the_state_s_survey_is_read_right_or_held_back(
    points: pd.DataFrame, load: Callable[..., tuple[run.Report, pd.DataFrame]]
) -> None:
    report, sites = load("mbss_maryland", "mbssallpoints.csv")
    nowhere = points["Latitude83"].astype(float).eq(0)
    assert nowhere.sum() == 13 and len(sites) == points["SITEYR"].nunique() == 2976
    # zeros are no place; each is held with the reason, and no other text is
    assert set(report.held["row_key"]) == set(points.loc[nowhere, "SITEYR"])
    assert set(report.held["field"]) == {"verbatim_coordinates"} and report.held["message"].str.contains("zeros here mean").all()
    # 639 longitudes have their minus, the others have lost it; all come out west
    signed = points["Longitude8"].str.startswith("-")
    assert signed.sum() == 639
    written = points[~nowhere].drop_duplicates("SITEYR").set_index("SITEYR")
    placed = sites.loc[written.index]
    assert (placed["latitude"] - written["Latitude83"].astype(float)).abs().max() < 1e-9
    assert (placed["longitude"] + written["Longitude8"].astype(float).abs()).abs().max() < 1e-9
    assert not report.flags["rule"].eq("outside_study_area").any()


def test_its_other_file_is_read(load: Callable[..., tuple[run.Report, pd.DataFrame]]) -> None:
    report, sites = load("mbss_maryland", "LOCATION.csv")
    assert len(sites) == 461 and report.held.empty and sites[["latitude", "longitude"]].notna().all(axis=None)
    assert sites["longitude"].lt(-75).all()


def test_utm_of_the_neighbour_s_zone_is_read_right(points: pd.DataFrame) -> None:
    """Eastern sites stand in zone 17 and western ones in zone 18, beyond each edge; the degrees of the same rows say where they are."""
    apart = {}
    for zone in (17, 18):
        rows = points[points[f"UTM{zone}N_LON"].astype(float).ne(0) & points["Latitude83"].astype(float).ne(0)]
        found = [
            read_place(f"{zone} north {east} {north}", "NAD83")[0]
            for east, north in zip(rows[f"UTM{zone}N_LON"], rows[f"UTM{zone}N_LAT"], strict=True)
        ]
        assert all(place is not None for place in found)
        assert np.mean(["outside its zone" in place.notation for place in found if place]) > 0.7
        latitude, longitude = rows["Latitude83"].astype(float), -rows["Longitude8"].astype(float).abs()
        apart[zone] = distance_m([one.latitude for one in found if one], [one.longitude for one in found if one], latitude, longitude)
    assert (len(apart[17]), len(apart[18])) == (2285, 563)
    # the metres are the sheet's own, partly cut to tens; in the right zone and datum they lie within tens of metres of the degrees. The
    # wrong ellipsoid would move all by about 200 m, the wrong zone by hundreds of kilometres.
    assert np.median(apart[17]) < 20 and np.median(apart[18]) < 20
    assert np.concatenate([apart[17], apart[18]]).max() < 350


def test_metres_of_other_grids_are_refused(points: pd.DataFrame) -> None:
    for east, north in (("Easting83", "Northing83"), ("AlbersX", "AlbersY")):
        for text in points[north] + " " + points[east]:
            assert read_place(text)[0] is None
        assert read_place(f"{points[north].iat[0]} {points[east].iat[0]}") == (None, ZONE_MISSING)


def test_utm_through_a_map(open_data: Path, points: pd.DataFrame) -> None:
    unused = ", ".join(f'"{name}"' for name in points if name not in ("SITEYR", "UTM17N_LON", "UTM17N_LAT"))
    text = f"""[[source]]
file = "mbssallpoints.csv"
missing = ["0"]
unused = [{unused}]
[source.sites]
site_id = "SITEYR"
habitat = {{ constant = "stream" }}
verbatim_coordinates = {{ columns = [{{ column = "UTM17N_LON", before = "17 north " }}, "UTM17N_LAT"], join = " " }}
"""
    (source,) = apply_map(parse_map(text, "map"), read_files([open_data / "mbss_maryland" / "mbssallpoints.csv"]))
    texts = source.mapped[0].text["verbatim_coordinates"]
    assert texts.isna().sum() == points["UTM17N_LON"].eq("0").sum() > 0
    assert all(read_place(one)[0] is not None for one in texts.dropna())


def test_letters_of_canaan_say_what_its_numbers_say(open_data: Path) -> None:
    sheet = pd.read_csv(open_data / "canaan_valley_2001_2006" / "CVNWR_locations_intersected.csv", dtype=str, keep_default_na=False)
    for row in sheet.itertuples():
        place, reason = read_place(f"{row.DDLat} {row.DDLon}", row.Datum)
        assert place is not None, reason
        north, east = read_angle(row.DDLat, "NS"), read_angle(row.DDLon, "EW")
        assert north is not None and east is not None
        for latitude, longitude in ((place.latitude, place.longitude), (north.degrees, east.degrees)):
            assert (latitude, longitude) == pytest.approx((float(row.Lat), float(row.Long)), abs=1e-8)


def test_clock_times_around_midnight_are_at_night_and_each_change_is_on_record(real_sheet: Callable[[str], Loaded]) -> None:
    """All work was done in the dark: the sun's height says whether a time was read right, apart from the clock that the map states."""
    loaded = real_sheet("gsmnp_2012")
    report = loaded.report
    with open_book(loaded.folder) as connection:
        visits, sites = current_rows(connection, "visits"), current_rows(connection, "sites").set_index("site_id")
    at = sites.loc[visits["site_id"], ["latitude", "longitude"]].set_axis(visits.index)
    timed = visits["start_utc"].notna() & at["latitude"].notna()
    assert timed.sum() > 800
    night = sun.is_night(
        at.loc[timed, "latitude"], at.loc[timed, "longitude"], visits.loc[timed, "visit_date"], visits.loc[timed, "start_time"], ZONE
    )
    assert night.all()
    # read as the civil times of the text, as many as a third would lie in daylight: the map's statement decides, and is on record
    clocks = report.converted[report.converted["field"] == "start_time"].set_index("row_key")
    changed = clocks[clocks["how"].str.contains("hours of a night")]
    assert len(changed) > 200
    shown = visits.set_index("visit_id").loc[changed.index, "start_time"]
    assert (shown == changed["value"]).all()
    # whatever is not the text itself has a record with that text
    written = pd.read_csv(loaded.files[0], dtype=str, keep_default_na=False, encoding="latin-1")
    texts = set(written["Time"])
    for row in visits[visits["start_time"].notna()].itertuples():
        assert row.visit_id in clocks.index or {row.start_time, row.start_time.removeprefix("0")} & texts, row.visit_id
    assert set(clocks["text"]) <= {text.strip() for text in texts}
