"""Permit and landowner reports, and the pages of the gap list: counts, limits in words, nothing of a neighbour, safe texts."""

from __future__ import annotations

import csv
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from conftest import offline_pages
from report_study import SQUARE, TODAY, csv_of, sheet

from pipeline.book.connection import open_book
from pipeline.book.current import known_rows
from pipeline.commands import demo_study as demo
from pipeline.commands import run
from pipeline.commands.reports import report_files
from pipeline.errors import RillbookError
from pipeline.settings import parse_settings, read_settings
from pipeline.settings.reports import Parcel

PAGES = (
    "gaps.html",
    "private/gaps.html",
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
    assert n > 58 and words in text and text.index(words) < text.index("Check before you sign") < text.index("<table")


def test_what_waits_for_a_decision_is_said_before_one_signs(study: Path) -> None:
    text = (study / "out/private/permit_INVENTED-1.html").read_text(encoding="utf-8")
    assert re.search(r"\d+ items of visits and finds wait for a decision", text)
    assert re.search(r"<li>\d+ visits: each names no permit", text)


# --- permit report: by hand --------------------------------------------------------------------------------------------------------------


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
    names = [report_files.file_name(code, ["A/1", "A 1", "B", "../x"]) for code in ("A/1", "A 1", "B", "../x")]
    assert len(set(names)) == 4 and not any("/" in name or name.startswith(".") for name in names)


# --- landowner report --------------------------------------------------------------------------------------------------------------------


def test_the_parcel_of_the_invented_study_holds_two_sites(study: Path) -> None:
    with open_book(study) as connection:
        sites = known_rows(connection)["sites"]
    own, near = report_files.sites_of(read_settings(study).parcels[0], sites)
    assert (sorted(own), near) == (list(OWN), [])


def test_no_word_of_a_neighbour_stands_on_the_landowners_page(study: Path) -> None:
    """Every other site's code, name, waterbody and coordinates, its visits and finds, and days on which only others were visited."""
    visits, sites = sheet(study, "visits"), sheet(study, "sites")
    others = sites[~sites["site_id"].isin(OWN)]
    assert len(others) == len(sites) - len(OWN) >= 14
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
        (line,) = re.findall(rf'<tr><th scope="row">[A-Z][a-z A-Z-]+ <i class="small">{name}</i></th>.*?</tr>', text)
        assert f'data-label="Found">on {rows["visit_id"].nunique()} of {n_visits} visits<' in line
        assert f"larvae {rows.loc[rows['life_stage'].eq('larva'), 'n'].sum()}" in line
        assert f"adults {rows.loc[rows['life_stage'].eq('adult'), 'n'].sum()}" in line
    visits = sheet(study, "visits")
    held = sheet(study, "planted_faults")
    gone = held[held["table"].eq("visits") & held["effect"].eq("hold_row")]["row_key"]
    assert n_visits == visits.loc[visits["site_id"].isin(OWN) & ~visits["visit_id"].isin(gone), "visit_id"].nunique()


def test_parcels_that_are_none_are_named() -> None:
    sites = pd.DataFrame(
        {"site_id": ["A"], "latitude": [36.005], "longitude": [-81.995], "datum": ["WGS84"], "coordinate_uncertainty_m": [10.0]}
    )
    assert report_files.sites_of(Parcel("x", (), SQUARE), sites) == (["A"], [])
    with pytest.raises(RillbookError, match="crosses itself"):
        report_files.sites_of(Parcel("x", (), (SQUARE[0], SQUARE[2], SQUARE[1], SQUARE[3])), sites)
    with pytest.raises(RillbookError, match="site 'B' is not in the book"):
        report_files.sites_of(Parcel("x", ("B",), ()), sites)
    with pytest.raises(RillbookError, match="no site of the book surely lies on it"):
        report_files.sites_of(Parcel("x", (), tuple((lat, lon + 5) for lat, lon in SQUARE)), sites)
    assert report_files.sites_of(Parcel("x", ("A",), SQUARE), sites.assign(coordinate_uncertainty_m=5000.0)) == (["A"], [])


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
    assert len(pages) == 6
    for path in pages:
        text = path.read_text(encoding="utf-8")
        assert "<img" not in text and "&lt;img" in text and 'http-equiv="Content-Security-Policy"' in text, path.name
    tables = sorted((hostile / "out").rglob("*.csv"))
    assert len(tables) >= 17
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


def test_a_reading_in_doubt_is_left_out_and_counted(study: Path) -> None:
    """A pH of 3.6 was planted at N04 and flagged; nobody has settled it."""
    visits = sheet(study, "visits")
    planted = visits[visits["ph"].eq("3.6")]
    assert planted["site_id"].tolist() == ["N04"]
    table = csv_of(study, "landowner_A")
    own = table[table["visit_date"].eq(planted["visit_date"].iloc[0]) & table["site_id"].eq("N04")]
    assert own["ph"].astype("str").tolist() == [""] and "3.6 to" not in (study / "out/private/landowner_A.html").read_text(encoding="utf-8")
    assert "1 reading in doubt left out." in (study / "out/private/landowner_A.html").read_text(encoding="utf-8")
