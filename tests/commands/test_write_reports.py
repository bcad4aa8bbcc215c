"""Permit and landowner reports, and the pages of the gap list: counts, limits in words, nothing of a neighbour, safe texts."""

from __future__ import annotations

import csv
import re
import shutil
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from conftest import offline_pages

from pipeline.book.connection import open_book
from pipeline.book.current import known_rows
from pipeline.commands import demo_study as demo
from pipeline.commands import run
from pipeline.commands import write_reports as reporting
from pipeline.errors import RillbookError
from pipeline.reports import landowner as landowner_report
from pipeline.reports import permit as permit_report
from pipeline.reports import permit_page
from pipeline.reports.parcel_sites import on_parcel
from pipeline.settings import parse_settings, read_settings
from pipeline.settings.reports import Limit, Parcel, Permit

TODAY = date(2026, 1, 10)
PAGES = (
    "gaps.html",
    "private/revisit.html",
    "private/permit_INVENTED-1.html",
    "private/permit_INVENTED-2.html",
    "private/landowner_A.html",
)
TRICK = "<img src=x onerror=\"document.title='y'\">"
OWN = ("N03", "N04")


@pytest.fixture(scope="module")
def study(demo_run: tuple[Path, run.Demo], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Book of the invented study with its reports."""
    folder = Path(shutil.copytree(demo_run[0], tmp_path_factory.mktemp("reports") / "book"))
    shutil.rmtree(folder / "out")
    run.write_gaps(folder, TODAY)
    run.write_permits(folder)
    run.write_landowner(folder)
    return folder


def sheet(study: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(study / "sheets" / f"{name}.csv", dtype="str", keep_default_na=False)


@pytest.fixture(scope="module")
def met(study: Path) -> pd.DataFrame:
    """Finds of the invented study with date and county, from the sheets alone; rows that were planted to be held back are left out.

    Of a find that was described twice the first row stands.
    """
    faults = sheet(study, "planted_faults")
    held = faults[faults["effect"].eq("hold_row") & faults["rule"].ne("described_twice")]
    visits = sheet(study, "visits")
    visits = visits[~visits["visit_id"].isin(held.loc[held["table"].eq("visits"), "row_key"])].drop_duplicates("visit_id")
    finds = sheet(study, "finds")
    finds = finds[~finds["find_id"].isin(held.loc[held["table"].eq("finds"), "row_key"])].drop_duplicates("find_id")
    both = finds.merge(visits[["visit_id", "site_id", "visit_date"]], on="visit_id").merge(sheet(study, "sites")[["site_id", "county"]])
    both["n"] = both["count"].str.rstrip("+").astype("int64")
    return both


def csv_of(study: Path, name: str) -> pd.DataFrame:
    return pd.read_csv(study / "out" / "private" / f"{name}.csv", keep_default_na=False)


# --- permit report: the invented study ---------------------------------------------------------------------------------------------------


def test_every_capture_of_the_sheets_is_reported(study: Path, met: pd.DataFrame) -> None:
    rows = csv_of(study, "permit_INVENTED-1")
    finds = rows[rows["find_id"].ne("")]
    known = met
    assert set(finds["find_id"]) == set(known["find_id"]) and finds["find_id"].is_unique and len(finds) > 2500
    assert int(finds["number"].sum()) == int(known["n"].sum())
    plain = known[known["life_stage"].ne("egg_mass") & known["disposition"].isin(["released", "retained", "dead", ""])]
    assert int(finds["captured"].sum()) == int(plain["n"].sum())
    for column, fate in (("released", "released"), ("died", "dead"), ("not_caught", "not_caught"), ("removed", "retained")):
        own = known[known["disposition"].eq(fate) & (known["life_stage"].ne("egg_mass") | (column == "not_caught"))]
        assert int(finds[column].sum()) == int(own["n"].sum()), column


def test_the_summary_is_a_plain_sum_by_species_county_date_and_disposition(study: Path, met: pd.DataFrame) -> None:
    summary = csv_of(study, "permit_INVENTED-1_summary")
    names = {row["code"]: row["scientific_name"] for row in read_settings(study).taxa.to_dict("records")}
    plain = met.assign(scientific_name=met["taxon"].map(names), disposition=met["disposition"].replace("", "not noted"))
    sums = plain.groupby(["scientific_name", "life_stage", "county", "visit_date", "disposition"])["n"].sum()
    own = summary.set_index(["scientific_name", "life_stage", "county", "date", "disposition"])["number"]
    assert len(sums) > 1300 and own.to_dict() == sums.to_dict()
    assert set(summary["county"]) == {"Invented North County", "Invented South County"}


def test_zero_activity_is_stated(study: Path) -> None:
    text = (study / "out/private/permit_INVENTED-2.html").read_text(encoding="utf-8")
    assert "No activity under this permit in 2021: no visit, no capture." in text
    assert "No animal was met under this permit" in text
    (row,) = csv_of(study, "permit_INVENTED-2").to_dict("records")
    assert (row["what"], row["year"], row["number"]) == ("no activity", 2021, 0)
    assert csv_of(study, "permit_INVENTED-2_limits")["words"].str.startswith("within the limit: 0").all()


def test_a_limit_that_was_passed_stands_in_words_at_the_top(study: Path, met: pd.DataFrame) -> None:
    text = (study / "out/private/permit_INVENTED-1.html").read_text(encoding="utf-8")
    own = met[met["taxon"].eq("GPOR") & met["visit_date"].str.startswith("2022") & met["life_stage"].ne("egg_mass")]
    n = int(own.loc[own["disposition"].isin(["released", "dead", "retained", ""]), "n"].sum())
    words = f"2022, Gyrinophilus porphyriticus: LIMIT PASSED: {n} captured, 58 allowed, {n - 58} too many."
    assert n > 58 and words in text and text.index(words) < text.index("Activity")


def test_what_waits_for_a_decision_is_said_before_one_signs(study: Path) -> None:
    text = (study / "out/private/permit_INVENTED-1.html").read_text(encoding="utf-8")
    assert re.search(r"\d+ items of visits and finds wait for a decision", text)
    assert re.search(r"<li>\d+ visits: each names no permit", text)


# --- permit report: by hand --------------------------------------------------------------------------------------------------------------

TAXA = pd.DataFrame({"code": ["EWIL", "GPOR"], "scientific_name": ["Eurycea wilderae", "Gyrinophilus porphyriticus"]})
PERMIT = Permit("P/1", "", (2024, 2025), (Limit("any", "any", 5, 0), Limit("EWIL", "north", 3, None)))


def visit(name: str, day: str, permit: str | None = "P/1", site: str = "A", **more: Any) -> dict[str, Any]:
    return {
        "visit_id": name, "site_id": site, "visit_date": pd.Timestamp(day), "observers": "observer 1", "protocol": "cover_search",
        "permit": permit, "incomplete": False, **more,
    }  # fmt: skip


def find(name: str, of: str, count: int, fate: str | None, taxon: str = "EWIL", stage: str = "adult", **more: Any) -> dict[str, Any]:
    return {
        "find_id": name, "visit_id": of, "taxon": taxon, "life_stage": stage, "count": count, "disposition": fate, "animal_id": None,
        "photo": None, "latitude": float("nan"), "longitude": float("nan"), **more,
    }  # fmt: skip


NAN = float("nan")
HAND_SITES = pd.DataFrame({
    "site_id": ["A", "B"], "county": ["North", None], "state": ["S", None], "latitude": [36.1, NAN], "longitude": [-82.1, NAN],
    "datum": ["WGS84", None], "coordinate_uncertainty_m": [30.0, NAN],
})  # fmt: skip
HAND_VISITS = pd.DataFrame([
    visit("v1", "2024-05-01"), visit("v2", "2024-06-01", "p/1 "), visit("v3", "2024-07-01", None, "B"), visit("v4", "2025-05-01", "other"),
    visit("v5", "2023-05-01"), visit("v6", "2024-08-01", incomplete=True),
])  # fmt: skip
HAND_FINDS = pd.DataFrame([
    find("f1", "v1", 2, "released"), find("f2", "v1", 1, "dead"), find("f3", "v1", 4, "not_caught"),
    find("f4", "v1", 3, "released", stage="egg_mass"),
    find("f5", "v1", 1, "salvaged"), find("f6", "v3", 1, None, "GPOR", latitude=36.2, longitude=-82.2), find("f7", "v3", 1, "retained"),
    find("f8", "v4", 9, "released"), find("f9", "v1", 1, "retained", stage="egg_mass"),
])  # fmt: skip


def by_hand(permits: tuple[Permit, ...] = (PERMIT,)) -> tuple[pd.DataFrame, pd.DataFrame]:
    mine = permit_report.visits_of(PERMIT, permits, HAND_VISITS)
    return mine, permit_report.rows_of(PERMIT, mine, HAND_SITES, HAND_FINDS, TAXA, [2023, 2024, 2025], frozenset({"f1"}))


def test_visits_belong_to_the_permit_they_name_or_to_the_only_one_of_their_year() -> None:
    mine, _ = by_hand()
    assert mine["visit_id"].tolist() == ["v1", "v2", "v3", "v5", "v6"]
    assert mine.loc[mine["assumed"], "visit_id"].tolist() == ["v3"] and mine.loc[mine["outside"], "visit_id"].tolist() == ["v5"]
    two = permit_report.visits_of(PERMIT, (PERMIT, Permit("other", "", (2024,), ())), HAND_VISITS)
    assert "v3" not in two["visit_id"].tolist(), "two permits cover 2024, so a visit that names none belongs to neither"


def test_captures_by_hand() -> None:
    """f1 2 released, f2 1 dead, f6 1 of no known fate, f7 1 kept: 5 captured; eggs, seen and salvaged are not. A kept clutch is kept."""
    _, rows = by_hand()
    of_2024 = rows[rows["year"].eq(2024)]
    assert {name: int(of_2024[name].sum()) for name in ("captured", "removed", "released", "died", "salvaged", "not_caught")} == {
        "captured": 5, "removed": 2, "released": 2, "died": 1, "salvaged": 1, "not_caught": 4,
    }  # fmt: skip
    what = dict(zip(rows["find_id"] + rows["visit_id"], rows["what"], strict=True))
    assert what["v2"] == "visit without a find" and what["v6"] == "visit whose finds are held back" and what["f4v1"] == "eggs"
    assert rows.loc[rows["year"].eq(2025), "what"].tolist() == ["no activity"]
    f6 = rows[rows["find_id"].eq("f6")].iloc[0]
    assert (f6["latitude"], f6["coordinate_source"], f6["county"], f6["datum"]) == (36.2, "taken at the find", "not noted", "not noted")


def test_limits_by_hand() -> None:
    _, rows = by_hand()
    limits = permit_report.against_limits(PERMIT, rows, [2024, 2025])
    words = dict(zip(zip(limits["year"], limits["taxon"], limits["kind"], strict=True), limits["words"], strict=True))
    assert words[2024, "any", "captured"] == "within the limit as far as the counts tell: at least 5 captured, 5 allowed"
    assert words[2024, "any", "retained"] == "LIMIT PASSED: 2 retained, 0 allowed, 2 too many"
    assert words[2024, "EWIL", "captured"].endswith("at least 3 captured, 3 allowed"), "the county is compared without regard to case"
    assert words[2025, "any", "captured"] == "within the limit: 0 captured, 5 allowed"
    exact = permit_report.rows_of(PERMIT, by_hand()[0], HAND_SITES, HAND_FINDS, TAXA, [2024])
    assert permit_report.against_limits(PERMIT, exact, [2024])["words"].iloc[0] == "within the limit: 5 captured, 5 allowed, none left"


def test_the_permit_page_says_what_it_does_not_know() -> None:
    mine, rows = by_hand()
    settings = parse_settings(
        '[book]\ntime_zone = "UTC"\n[[taxon]]\ncode = "EWIL"\nscientific_name = "Eurycea wilderae"\ngroup = "cool_stream"\n', "t"
    )
    limits = permit_report.against_limits(PERMIT, rows, [2023, 2024, 2025])
    text = permit_page.page(PERMIT, mine, rows, limits, [2023, 2024, 2025], settings, [])
    for said in (
        "1 visit: each names no permit", "1 visit: each names this permit in a year that it does not cover",
        "1 visit: each has a site without a county",
        "1 find without a disposition: counted as captured", "1 find with a count such as 3+", "No activity under this permit in 2025",
    ):  # fmt: skip
        assert said in text, said


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ('[[permit]]\nyears = [2024]', "no code"),
        ('[[permit]]\ncode = "a"', "years must list"),
        ('[[permit]]\ncode = "a"\nyears = ["2024"]', "years must list"),
        ('[[permit]]\ncode = "a"\nyears = [2024]\nholder = 3', "holder must be a text"),
        ('[[permit]]\ncode = "a"\nyears = [2024]\ncolour = 1', "unknown word 'colour'"),
        ('[[permit]]\ncode = "a"\nyears = [2024]\nlimit = 3', "limits must stand"),
        ('[[permit]]\ncode = "a"\nyears = [2024]\n[[permit.limit]]\ncounty = "x"', "states no number"),
        ('[[permit]]\ncode = "a"\nyears = [2024]\n[[permit.limit]]\ncaptured = -1', "whole number, 0 or more"),
        ('[[permit]]\ncode = "a"\nyears = [2024]\n[[permit.limit]]\ncaptured = true', "whole number, 0 or more"),
        ('[[permit]]\ncode = "a"\nyears = [2024]\n[[permit.limit]]\ncaptured = 1\ntaxon = "ZZZ"', "'ZZZ' is not in the book"),
        ('[[permit]]\ncode = "a"\nyears = [2024]\n[[permit.limit]]\ncaptured = 1\ncounty = 4', "county must be a text"),
        ('[[permit]]\ncode = "a"\nyears = [2024]\n[[permit]]\ncode = "A"\nyears = [2025]', "declared twice"),
        ('[[parcel]]\ncode = "a"', "needs sites or a polygon"),
        ('[[parcel]]\ncode = "a"\nsites = "N01"', "list of site codes"),
        ('[[parcel]]\ncode = "a"\npolygon = [[36, -82], [36, -81]]', "three corners"),
        ('[[parcel]]\ncode = "a"\npolygon = [[36, -82], [95, -81], [37, -81]]', "each \\[latitude, longitude\\]"),
        ('[[parcel]]\ncode = "a"\npolygon = [[36, -82], [nan, -81], [37, -81]]', "each \\[latitude, longitude\\]"),
        ('[[taxon]]\ncode = "a"\nscientific_name = "A b"\ngroup = "other"\ndetection = 1', "no search finds every animal"),
        ('[[taxon]]\ncode = "a"\nscientific_name = "A b"\ngroup = "other"\ndetection = "half"', "no search finds every animal"),
    ],
)  # fmt: skip
def test_a_slip_in_the_settings_is_named(words: str, said: str) -> None:
    with pytest.raises(RillbookError, match=said):
        parse_settings(f'[book]\ntime_zone = "UTC"\n{words}\n', "rillbook.toml")


def test_a_stated_detection_changes_nothing_that_rows_are_held_against() -> None:
    taxon = '[book]\ntime_zone = "UTC"\n[[taxon]]\ncode = "a"\nscientific_name = "A b"\ngroup = "other"\n'
    stated = parse_settings(taxon + "detection = 0.25\n", "t")
    assert stated.detection == {"a": 0.25} and stated.taxa.equals(parse_settings(taxon, "t").taxa)


@pytest.mark.parametrize(("code", "year", "said"), [("NONE", None, "not in rillbook.toml"), ("INVENTED-1", 1999, "does not cover 1999")])
def test_a_permit_that_is_none_is_named(study: Path, code: str, year: int | None, said: str) -> None:
    with pytest.raises(RillbookError, match=said):
        run.write_permits(study, code, year)


def test_one_year_of_one_permit(study: Path) -> None:
    written = run.write_permits(study, "invented-1", 2024)
    assert [path.name for path in written.files if path.suffix == ".html"] == ["permit_INVENTED-1_2024.html"]
    assert set(written.tables["permit_INVENTED-1_2024"]["year"]) == {2024}


def test_permits_whose_numbers_look_alike_get_files_of_their_own() -> None:
    names = [reporting._file_name(code, ["A/1", "A 1", "B", "../x"]) for code in ("A/1", "A 1", "B", "../x")]
    assert len(set(names)) == 4 and not any("/" in name or name.startswith(".") for name in names)


# --- landowner report --------------------------------------------------------------------------------------------------------------------


def test_the_parcel_of_the_invented_study_holds_two_sites(study: Path) -> None:
    with open_book(study) as connection:
        sites = known_rows(connection)["sites"]
    own, near = reporting.sites_of(read_settings(study).parcels[0], sites)
    assert (sorted(own), near) == (list(OWN), [])


def test_no_word_of_a_neighbour_stands_on_the_landowners_page(study: Path) -> None:
    """Every other site's code, name, waterbody and coordinates, its visits and finds, and days on which only others were visited."""
    visits, sites = sheet(study, "visits"), sheet(study, "sites")
    others = sites[~sites["site_id"].isin(OWN)]
    assert len(others) == 14
    own_days = set(visits.loc[visits["site_id"].isin(OWN), "visit_date"])
    other_visits = visits[~visits["site_id"].isin(OWN)]
    words = [*others["site_id"], *others["site_name"], *others["waterbody"], *others["latitude"], *others["longitude"]]
    words += [place[:7] for place in (*others["latitude"], *others["longitude"]) if len(place) > 6]
    words += [*other_visits["visit_id"], *(set(other_visits["visit_date"]) - own_days)]
    words += [
        *others["population"].loc[~others["population"].isin(sites.loc[sites["site_id"].isin(OWN), "population"])],
        "Invented South County",
    ]
    for name in ("landowner_A.html", "landowner_A.csv"):
        text = (study / "out/private" / name).read_text(encoding="utf-8")
        assert all(site in text for site in OWN)
        assert not [word for word in words if word and re.search(rf"(?<![\w.]){re.escape(word)}(?![\w])", text)], name
        assert not [row.remarks for row in visits.itertuples() if row.remarks and row.remarks in text]
        assert not [row.observers for row in visits.itertuples() if row.observers in text]


def test_counts_of_the_parcel_are_those_of_the_sheets(study: Path, met: pd.DataFrame) -> None:
    own = met[met["site_id"].isin(OWN) & met["taxon"].isin(["DMON", "EWIL", "GPOR"])]
    text = (study / "out/private/landowner_A.html").read_text(encoding="utf-8")
    n_visits = len(csv_of(study, "landowner_A"))
    for code, name in (("DMON", "Desmognathus monticola"), ("EWIL", "Eurycea wilderae"), ("GPOR", "Gyrinophilus porphyriticus")):
        rows = own[own["taxon"].eq(code)]
        (line,) = re.findall(rf"<tr><th scope=\"row\"><i>{name}</i></th>.*?</tr>", text)
        assert f"found on {rows['visit_id'].nunique()} of {n_visits} visits" in line
        assert f"larvae {rows.loc[rows['life_stage'].eq('larva'), 'n'].sum()}" in line
        assert f"adults {rows.loc[rows['life_stage'].eq('adult'), 'n'].sum()}" in line
    visits = sheet(study, "visits")
    held = sheet(study, "planted_faults")
    gone = held[held["table"].eq("visits") & held["effect"].eq("hold_row")]["row_key"]
    assert n_visits == visits.loc[visits["site_id"].isin(OWN) & ~visits["visit_id"].isin(gone), "visit_id"].nunique()


def test_water_stands_beside_its_benchmark() -> None:
    """Of pH 6.1, 6.5, 7.0 and 9.1 one lies below 6.5 and one above 9.0 (EPA 440/5-86-001), of 290 and 310 µS/cm one above 300."""
    visits = pd.DataFrame({
        "ph": [6.1, 6.5, 7.0, 9.1], "conductivity_25_us_cm": [290, 310, None, None], "water_temp_c": [9.0, 12.0, 11.0, None],
        "dissolved_oxygen_mg_l": [None] * 4, "oxygen_pct": [None] * 4,
    })  # fmt: skip
    rows = {row["title"]: row for row in landowner_report.water_rows(visits)}
    ph = rows["Acidity (pH)"]
    assert (ph["n"], ph["span"], ph["benchmark"], ph["words"]) == (
        "4",
        "6.1 to 9.1, middle 6.5",
        "not below 6.5, not above 9",
        "1 of 4 below it, 1 of 4 above it",
    )
    assert "EPA" in ph["source"]
    salts = rows["Dissolved salts (conductivity at 25 °C)"]
    assert salts["words"] == "1 of 2 above it" and salts["benchmark"] == "not above 300 µS/cm"
    assert rows["Water temperature"]["benchmark"] == landowner_report.NO_BENCHMARK
    assert rows["Oxygen in the water"]["span"] == "not measured"


def test_a_reading_in_doubt_is_left_out_and_counted(study: Path) -> None:
    """A pH of 3.6 was planted at N04 and flagged; nobody has settled it."""
    visits = sheet(study, "visits")
    planted = visits[visits["ph"].eq("3.6")]
    assert planted["site_id"].tolist() == ["N04"]
    table = csv_of(study, "landowner_A")
    own = table[table["visit_date"].eq(planted["visit_date"].iloc[0]) & table["site_id"].eq("N04")]
    assert own["ph"].astype("str").tolist() == [""] and "3.6 to" not in (study / "out/private/landowner_A.html").read_text(encoding="utf-8")
    assert "1 reading in doubt left out." in (study / "out/private/landowner_A.html").read_text(encoding="utf-8")


SQUARE = ((36.0, -82.0), (36.0, -81.99), (36.01, -81.99), (36.01, -82.0))


def test_a_site_near_the_boundary_may_be_a_neighbours() -> None:
    """A hundredth of a degree is 900 m east and 1,110 m north here; 0.0002° of latitude is 22 m (by hand: 111 km a degree)."""
    latitude = [36.005, 36.0002, 36.0002, 35.9998, 35.5, 36.005, float("nan")]
    radius = [30.0, 30.0, 15.0, 30.0, 30.0, float("nan"), 30.0]
    word = on_parcel(latitude, [-81.995] * 7, ["WGS84"] * 7, radius, SQUARE)
    assert word.tolist() == ["inside", "near", "inside", "near", "outside", "near", "outside"]
    # an unknown datum may be hundreds of metres off, so this place may lie outside
    assert on_parcel([36.005], [-81.995], [None], [30.0], SQUARE)[0] == "near"


def test_parcels_that_are_none_are_named() -> None:
    sites = pd.DataFrame(
        {"site_id": ["A"], "latitude": [36.005], "longitude": [-81.995], "datum": ["WGS84"], "coordinate_uncertainty_m": [10.0]}
    )
    assert reporting.sites_of(Parcel("x", (), SQUARE), sites) == (["A"], [])
    with pytest.raises(RillbookError, match="crosses itself"):
        reporting.sites_of(Parcel("x", (), (SQUARE[0], SQUARE[2], SQUARE[1], SQUARE[3])), sites)
    with pytest.raises(RillbookError, match="site 'B' is not in the book"):
        reporting.sites_of(Parcel("x", ("B",), ()), sites)
    with pytest.raises(RillbookError, match="no site of the book surely lies on it"):
        reporting.sites_of(Parcel("x", (), tuple((lat, lon + 5) for lat, lon in SQUARE)), sites)
    assert reporting.sites_of(Parcel("x", ("A",), SQUARE), sites.assign(coordinate_uncertainty_m=5000.0)) == (["A"], [])


def test_a_site_left_out_is_named_to_the_desk_and_not_on_the_page(study: Path, tmp_path: Path) -> None:
    text = (
        demo.settings_text()
        .replace("36.330, -81.900], [36.360", "36.3383, -81.900], [36.360")
        .replace("[36.330, -81.830]", "[36.3383, -81.830]")
    )
    (study / "rillbook.toml").write_text(text, encoding="utf-8")
    try:
        written = run.write_landowner(study, "A")
        assert "too near the boundary" in written.notes[0] and "N03" in written.notes[0]
        page = next(path for path in written.files if path.suffix == ".html").read_text(encoding="utf-8")
        assert "N04" in page and "N03" not in page
    finally:
        (study / "rillbook.toml").write_text(demo.settings_text(), encoding="utf-8")
        run.write_landowner(study)


# --- all pages ---------------------------------------------------------------------------------------------------------------------------


def test_the_public_gap_list_names_no_site_and_no_place(study: Path) -> None:
    sites, visits = sheet(study, "sites"), sheet(study, "visits")
    words = [
        *sites["site_id"],
        *sites["site_name"],
        *sites["waterbody"],
        *sites["county"],
        *sites["latitude"],
        *sites["longitude"],
        *visits["visit_id"],
    ]
    files = sorted((study / "out").glob("gaps*"))
    assert len(files) == 5
    for path in files:
        text = path.read_text(encoding="utf-8")
        assert not [word for word in words if word and re.search(rf"(?<![\w.]){re.escape(word)}(?![\w])", text)], path.name
        assert not set(visits["visit_date"]) & set(re.findall(r"\d{4}-\d\d-\d\d", text)), path.name


def test_private_pages_lie_in_the_private_folder_and_say_so(study: Path) -> None:
    for name in PAGES:
        text = (study / "out" / name).read_text(encoding="utf-8")
        assert "Invented study" in text and ('class="banner private"' in text) == name.startswith("private/"), name


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The invented study with a trick in every text that a report prints, and formulas for spreadsheets."""
    folder = tmp_path_factory.mktemp("hostile") / "book"
    text = demo.settings_text()
    for word, value in (
        ("title", "Invented study of the Lark Ridge drainages"),
        ("author", "the rillbook authors"),
        ("holder", "the rillbook authors"),
    ):
        text = text.replace(f'{word} = "{value}"', f"{word} = '''{TRICK}'''")
    text = text.replace('code = "INVENTED-2"', f"code = '''=1+1{TRICK}'''")
    run.init(folder, text)
    paths = demo.copy_sheets(folder / "sheets")
    for path, column, value in (
        # not the trick alone: a title that says the name of a site is left off the gap list
        (paths[0], "site_name", "rill " + TRICK),
        (paths[0], "county", "=cmd()" + TRICK),
        (paths[1], "observers", "@sum(1)" + TRICK),
    ):
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]))
            writer.writeheader()
            writer.writerows({**row, column: value} for row in rows)
    run.load_files(folder, paths, today=TODAY)
    run.write_gaps(folder, TODAY)
    run.write_permits(folder)
    run.write_landowner(folder)
    return folder


def test_names_and_formulas_are_inert(hostile: Path) -> None:
    pages = [hostile / "out/gaps.html", *sorted((hostile / "out/private").glob("*.html"))]
    assert len(pages) == 5
    for path in pages:
        text = path.read_text(encoding="utf-8")
        assert "<img" not in text and "&lt;img" in text and 'http-equiv="Content-Security-Policy"' in text, path.name
    tables = sorted((hostile / "out").rglob("*.csv"))
    assert len(tables) >= 13
    for path in tables:
        with path.open(encoding="utf-8", newline="") as file:
            cells = [cell for row in csv.reader(file) for cell in row]
        assert not [cell for cell in cells if re.match(r"[=+@\t\r]|-(?![\d.]+$)", cell)], path.name
    rows = csv_of(hostile, "permit_INVENTED-1")
    assert rows["county"].str.startswith("'=cmd()").all() and rows["names"].str.startswith("'@sum").all()


@pytest.fixture(scope="module")
def opened(chromium: str) -> Iterator[Callable[[Path, int], Any]]:
    with offline_pages(chromium, allowed=("file:",)) as open_page:
        yield open_page


@pytest.mark.browser
@pytest.mark.parametrize("width", [1280, 375])
def test_pages_fit_the_screen_and_no_name_runs(study: Path, hostile: Path, opened: Callable[[Path, int], Any], width: int) -> None:
    for folder in (study, hostile):
        for path in [folder / "out/gaps.html", *sorted((folder / "out/private").glob("*.html"))]:
            page = opened(path, width)
            assert page.title() != "y" and page.locator("img").count() == 0, path.name
            assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), f"{path.name} is wider than {width} px"
            page.close()


@pytest.mark.browser
def test_printed_pages_keep_their_banner_and_cut_nothing(study: Path, opened: Callable[[Path, int], Any]) -> None:
    """A4 less its margins is 182 mm, 688 px at 96 px an inch."""
    for name in PAGES:
        page = opened(study / "out" / name, 688)
        page.emulate_media(media="print")
        assert page.evaluate("document.documentElement.scrollWidth") <= 688, name
        if name.startswith("private/"):
            banner = page.locator(".banner.private")
            assert banner.is_visible() and page.evaluate("getComputedStyle(document.querySelector('.private')).printColorAdjust") == "exact"
        assert page.pdf(format="A4", prefer_css_page_size=True).startswith(b"%PDF")
        page.close()
