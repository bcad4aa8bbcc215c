"""Three real survey sheets through their column maps, held against counts made with plain pandas from the sheets themselves.

Sources of the sheets and of what is known to be wrong with them: canaan_valley_2001_2006 and ncr_lotic_2005_2017 from
jclbrooks/MD_Stream_Salamanders @4936470; gsmnp_2012 from Hocking et al. 2021, Ecol Evol 11:1378, doi:10.1002/ece3.7142, row-level file
bhanak03/hanakbe2 @b2c4e70. Counts of rows, sites, visits and faults that stand here as numbers are those of the README of the open data.
"""

from __future__ import annotations

import math
import re
import shlex
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
import sheet_reader
from conftest import offline_pages
from line_checks import assert_book
from real_data_tables import PAGE, SHEETS, TODAY, Loaded, column_map, cut, new_book, tables
from typer.testing import CliRunner

from pipeline.book.connection import open_book
from pipeline.book.current import current_rows
from pipeline.cli import app
from pipeline.commands import run
from pipeline.settings import read_settings
from pipeline.settings.limits import judgement
from pipeline.writing.site_counts import in_class

pytestmark = pytest.mark.open_data
NOTHING = ("NULL", "-99", "")
CANAAN, NCR, GSMNP = SHEETS

# Wrong latitude; 20 of one unit about 41 km east of their own neighbours at 77.23 W; one 47 km west of them.
WRONG_LATITUDE = {"Fairway18-1", "COST8-3", "COST21-3", "COST21-4", "Picnic 21-1", "Picnic 21-2"}
TOO_FAR_EAST = {
    "COST21-1", "COST21-2", "COST21-3", "COST21-4", "COST22-2", "COST22-3", "COST22-4", "COST27-2", "COST27-3", "COST27/28-3",
    "COST27/28-4", "COST27/28-5", "COST27/28-6", "COST31-2", "COST39-2", "COST39-3", "COST39-4", "COST8-2", "COST8-3", "COST8-4",
}  # fmt: skip
TOO_FAR_WEST = {"COST28-2"}
NOT_IN_BOOK = ("RCLA", "RPAL", "NVIR", "AMAC", "BAME", "NSIP", "RCAT", "RPIP", "BUFO", "RANA")


@pytest.fixture(scope="session")
def loaded(real_sheet: Callable[[str], Loaded]) -> Callable[[str], Loaded]:
    """A real sheet, loaded."""
    return real_sheet


def sheet(loaded: Loaded, position: int = -1) -> pd.DataFrame:
    """The sheet as text, line numbers as index."""
    text = pd.read_csv(loaded.files[position], dtype=str, keep_default_na=False, encoding="utf-8-sig")
    return text.apply(lambda column: column.str.strip()).set_axis(pd.RangeIndex(2, len(text) + 2))


def stored(loaded: Loaded, table: str) -> pd.DataFrame:
    with open_book(loaded.folder) as connection:
        return current_rows(connection, table).set_index({"sites": "site_id", "visits": "visit_id", "finds": "find_id"}[table])


def held_lines(loaded: Loaded, rule: str) -> set[int]:
    return set(loaded.report.held.loc[loaded.report.held["rule"] == rule, "line"])


def passes(rows: pd.DataFrame) -> pd.DataFrame:
    """Counts of the three passes of ncr_lotic, missing where nothing is written."""
    counts = rows[["PassCount1", "PassCount2", "PassCount3"]]
    return counts.where(~counts.isin(NOTHING)).astype("float64")


def named(rows: pd.DataFrame) -> pd.Series:
    return ~rows["SpeciesCode"].isin(["NULL", ""])


# --- all three ---------------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", SHEETS)
def test_every_source_row_and_cell_has_a_fate(loaded: Callable[[str], Loaded], name: str) -> None:
    one = loaded(name)
    sheets = [sheet(one, position) for position in range(len(one.files))]
    account = one.report.account
    assert account is not None
    assert sum(account.rows.values()) == sum(len(rows) for rows in sheets)
    assert sum(account.cells.values()) == sum(rows.size for rows in sheets)
    whole = one.report.held[one.report.held["rule"] != "row_too_long"]
    assert account.reasons["n"].sum() == len(whole)


@pytest.mark.parametrize("name", SHEETS)
def test_page_says_what_the_sheets_give(loaded: Callable[[str], Loaded], name: str) -> None:
    _, inside, _ = cut(PAGE.read_text(encoding="utf-8"), name)
    assert inside == tables(loaded(name)), "docs/real_data.md is out of date: run python -m tests.real_data_tables"


@pytest.mark.parametrize("name", SHEETS)
def test_loading_again_changes_nothing(loaded: Callable[[str], Loaded], name: str) -> None:
    one = loaded(name)
    before = run.status(one.folder)
    again = run.load_files(one.folder, list(one.files), column_map(name), today=TODAY)
    assert again.load_id is None
    assert again.notes == ["This was loaded before, as load 1. Nothing was changed."]
    assert run.status(one.folder) == before


@pytest.mark.parametrize("name", SHEETS)
def test_every_graded_month_prints_its_lines_in_order(loaded: Callable[[str], Loaded], name: str) -> None:
    """Method §5 and §6 on the real sheets: order, schedule inside its bands, no refusal of a graded month."""
    one = loaded(name)
    assert_book(one.derived.targets, one.derived.readings, read_settings(one.folder))
    graded = one.derived.targets[one.derived.targets["grade"] != "D"]
    assert graded["ceiling"].notna().all() and (name == GSMNP or len(graded) > 10)


@pytest.mark.parametrize("name", SHEETS)
def test_a_keeper_would_believe_the_summer(loaded: Callable[[str], Loaded], name: str) -> None:
    """Common practice, no source: summer set points of cool streams lie in 10 to 20 °C, low 70s °F at most, 80 °F inside nothing."""
    targets = loaded(name).derived.targets
    held = targets[targets["status"] == "target"]
    assert not (targets["ceiling"] > 20).any(), "no cool-stream ceiling above the cap of its group"
    lines = ["set_point_low", "set_point", "set_point_high", "band_low", "band_high", "act_line", "ceiling"]
    assert not (held[lines] >= 26.7).any(axis=None)
    summer = held[held["month"].isin(["6", "7", "8"])]
    assert summer["set_point"].between(10, 20).all()
    # A ceiling under July's own median would be a defect, unless the cap of the group holds it.
    low = held[held["ceiling"] < held["p50"]]
    assert low["ceiling_bound_by"].str.startswith(("cap of the group", "heat limit")).all()


@pytest.mark.parametrize("name", SHEETS)
def test_maps_and_care_sheets(loaded: Callable[[str], Loaded], name: str) -> None:
    """The public map holds no site and no coordinate finer than its grid; the exact one does, so that the test can fail."""
    one = loaded(name)
    public, exact = (path.read_text(encoding="utf-8") for path in run.write_maps(one.folder))
    sites = stored(one, "sites")
    placed = sites.dropna(subset=["latitude", "longitude"])
    exact_texts = {f"{value:.4f}".rstrip("0") for value in pd.concat([placed["latitude"], placed["longitude"].abs()])}
    fine = {text for text in exact_texts if len(text.split(".")[1]) >= 4}
    assert fine
    assert [text for text in fine if text in exact], "the exact map should hold the places"
    assert not [text for text in fine if re.search(rf"(?<!\d){re.escape(text)}", public)]
    ids = {site for site in sites.index if len(site) > 5}
    assert not [site for site in ids if site in public]
    pages = run.write_care_sheets(one.folder, one.derived)
    assert {path.stem.removeprefix("care_sheet_") for path in pages} == set(stored(one, "finds")["taxon"])
    for page in pages:
        text = page.read_text(encoding="utf-8")
        assert not [site for site in ids if site in text], page.name
        assert sheet_reader.contradictions(text, judgement("thermostat_margin")) == [], page.name
    if name == GSMNP:
        _humidity_of_the_night_surveys(one, {page.stem.removeprefix("care_sheet_"): page.read_text(encoding="utf-8") for page in pages})


def _humidity_of_the_night_surveys(one: Loaded, pages: dict[str, str]) -> None:
    """gsmnp_2012: each taxon's page has its humidity figures counted here from the sheet, and says what nights of July are worth."""
    rows = sheet(one)
    for code, seen in (("PJOR", "June and July only: the other months are silent"), ("DCON", "July only: the other months are silent")):
        text = " ".join(section.text for section in sheet_reader.sections(pages[code]))
        met = rows[(rows["Species"] == code) & (rows["Number"] != "0")]
        low, high = (pd.to_numeric(met["Temp"]).agg(how) for how in ("min", "max"))
        animals, sites = pd.to_numeric(met["Number"]).sum(), met["Plot_Trans"].nunique()
        assert re.search(
            rf"at {low:.1f} to {high:.1f} °C; {animals} animals, \d+ readings?, \d+ visits?, \d+ dates?, {in_class(sites)}, 1 year", text
        )
        # the page tells the class of the number, the keeper's own table the number
        own = pd.read_csv(one.folder / "out" / "private" / "humidity_found.csv", dtype={"n_sites": "int64"})
        assert own.loc[own["taxon"] == code, "n_sites"].max() == sites
        for words in (seen, "By night only", "no target rests on it", "No figure:"):
            assert words in text, words
        assert not re.search(r"at least \d+ %", text)


# --- ncr_lotic ---------------------------------------------------------------------------------------------------------------------------


def test_ncr_rows_sites_and_visits(loaded: Callable[[str], Loaded]) -> None:
    one = loaded(NCR)
    rows = sheet(one)
    assert len(rows) == 3059
    sites, visits = stored(one, "sites"), stored(one, "visits")
    assert len(sites) == rows["PointName"].nunique() == 137
    assert len(visits) == len(rows[["PointName", "SDate"]].drop_duplicates()) == 1690
    account = one.report.account
    assert account is not None
    assert account.rows["no_find"] == (~named(rows)).sum() == 558
    assert account.rows["accepted_with_held"] == 2
    assert account.rows["held"] == 62


def test_ncr_missing_tokens(loaded: Callable[[str], Loaded]) -> None:
    """`NULL`, -99 and blank are missing: 299 rows have -99 as coordinates."""
    one = loaded(NCR)
    rows = sheet(one)
    assert (rows["Latitude"] == "-99").sum() == 299
    sites, visits = stored(one, "sites"), stored(one, "visits")
    without = set(rows.loc[rows["Latitude"] == "-99", "PointName"])
    assert set(sites.index[sites["latitude"].isna()]) == set(sites.index[sites["longitude"].isna()]) == without
    first = rows.drop_duplicates(["PointName", "SDate"])
    taken = {"StartWaterTemp": "water_temp_c", "StartAirTemp": "air_temp_c", "pH": "ph", "Conductivity": "conductivity_us_cm"}
    for column, field in taken.items():
        held = 2 if field == "ph" else 0
        assert visits[field].notna().sum() == (~first[column].isin(NOTHING)).sum() - held, column
        assert (visits[field].dropna() > -1).all()


def test_ncr_impossible_ph_costs_no_find(loaded: Callable[[str], Loaded]) -> None:
    one = loaded(NCR)
    held = one.report.held[one.report.held["field"] == "ph"]
    assert sorted(held["text"]) == ["15.6", "16.8"]
    assert set(held["rule"]) == {"not_possible"}
    visits, finds, rows = stored(one, "visits"), stored(one, "finds"), sheet(one)
    kept = visits.loc[held["row_key"]]
    assert kept["ph"].isna().all()
    assert kept["water_temp_c"].notna().all()
    assert not kept["incomplete"].any()
    written = passes(rows[rows["pH"].isin(["16.8", "15.6"])]).to_numpy()
    assert finds.loc[finds["visit_id"].isin(held["row_key"]), "count"].sum() == written[written > 0].sum() > 0


def test_ncr_wrong_coordinates_are_named(loaded: Callable[[str], Loaded]) -> None:
    """Six wrong latitudes, 20 at 76.76 W of which three are among the six, one too far west: 24 transects, and no other."""
    wrong = WRONG_LATITUDE | TOO_FAR_EAST | TOO_FAR_WEST
    assert (len(WRONG_LATITUDE), len(TOO_FAR_EAST), len(WRONG_LATITUDE & TOO_FAR_EAST), len(wrong)) == (6, 20, 3, 24)
    flags = loaded(NCR).report.flags
    assert sorted(flags.loc[flags["rule"] == "outside_study_area", "row_key"]) == sorted(wrong)
    located = stored(loaded(NCR), "sites").loc[sorted(wrong)]
    assert located[["latitude", "longitude"]].notna().all().all(), "marked, and kept as written"


def test_ncr_taxa_outside_the_book_say_so(loaded: Callable[[str], Loaded]) -> None:
    one = loaded(NCR)
    rows = sheet(one)
    outside = rows[rows["SpeciesCode"].isin(NOT_IN_BOOK)]
    assert len(outside) == 32
    assert held_lines(one, "taxon_unknown") == set(outside.index)
    reasons = one.report.held[one.report.held["rule"] == "taxon_unknown"]
    assert set(reasons["message"]) == {"this taxon is not among the book's taxa."}
    assert set(reasons["text"]) == set(NOT_IN_BOOK)


def test_ncr_rows_without_a_count_or_with_zeros_are_held(loaded: Callable[[str], Loaded]) -> None:
    """26 rows name a species and give no count; 20 give zero in every pass; no count of zero is stored or lost."""
    one = loaded(NCR)
    rows = sheet(one)
    counts = passes(rows)
    none, zero = named(rows) & counts.isna().all(axis=1), named(rows) & (counts.max(axis=1) == 0)
    assert (none.sum(), zero.sum()) == (26, 20)
    assert held_lines(one, "required_missing") == set(rows.index[none])
    items = one.report.held
    assert set(items.loc[(items["rule"] == "not_possible") & (items["field"] == "count"), "line"]) == set(rows.index[zero])


def test_ncr_passes_become_rows(loaded: Callable[[str], Loaded]) -> None:
    one = loaded(NCR)
    rows, finds = sheet(one), stored(one, "finds")
    ours = passes(rows[named(rows) & ~rows["SpeciesCode"].isin(NOT_IN_BOOK)])
    by_pass = finds.groupby("pass_no")["count"].agg(["sum", "size"])
    assert list(by_pass.index) == [1, 2, 3]
    assert list(by_pass["sum"]) == list(ours.sum().astype(int))
    assert list(by_pass["size"]) == list((ours > 0).sum())
    ages = {"recently metamorphosed": "metamorph", "metamorphosing": "metamorph", "NULL": "undetermined", "": "undetermined"}
    stage = rows.loc[ours.index, "SAgeID"].replace(ages)
    assert finds.groupby("life_stage")["count"].sum().to_dict() == ours.sum(axis=1).groupby(stage).sum().loc[lambda n: n > 0].to_dict()


def test_ncr_names_certainty_and_place(loaded: Callable[[str], Loaded]) -> None:
    finds = stored(loaded(NCR), "finds")
    small = finds[finds["verbatim_taxon"] == "ebis"]
    assert len(small) > 0
    assert set(small["taxon"]) == {"EBIS"}
    assert set(finds.loc[finds["taxon"] == "EURY", "id_certainty"]) == {"genus_only"}
    assert finds.loc[finds["taxon"] != "EURY", "id_certainty"].isna().all()
    assert set(finds.loc[finds["taxon"] == "PCIN", "microhabitat"]) == {"unknown"}
    assert set(finds.loc[finds["taxon"] != "PCIN", "microhabitat"]) == {"stream_unspecified"}
    assert finds["medium_assumed"].all()


def test_ncr_visit_described_twice_is_held_once(loaded: Callable[[str], Loaded]) -> None:
    one = loaded(NCR)
    held = one.report.held[one.report.held["rule"] == "described_twice"]
    assert list(held["row_key"]) == ["Picnic 21-1_2010-07-01"]
    assert "pH = 6.33" in held["text"].iloc[0]
    visit = stored(one, "visits").loc["Picnic 21-1_2010-07-01"]
    assert (visit["ph"], visit["air_temp_c"], visit["water_temp_c"]) == (5.17, 22.3, 12.1)


def test_ncr_slipped_air_temperatures_are_not_read(loaded: Callable[[str], Loaded]) -> None:
    one = loaded(NCR)
    rows = sheet(one)
    slipped = rows[~rows["WaterTemp"].isin(NOTHING)]
    assert len(slipped) == 10
    days = pd.to_datetime(slipped["SDate"], format="%m/%d/%y").dt.strftime("%Y-%m-%d")
    visits = stored(one, "visits").loc[sorted(set(slipped["PointName"] + "_" + days))]
    assert visits["air_temp_c"].isna().all()
    water = visits["water_temp_c"].dropna()
    assert set(water) <= set(slipped.loc[~slipped["StartWaterTemp"].isin(NOTHING), "StartWaterTemp"].astype(float))


def ncr_streams(rows: pd.DataFrame) -> pd.Series:
    """Stream of each transect: its code without the last word or dash and number."""
    return rows["PointName"].map(lambda code: re.split(r"-\w+$| Tx\d+$", code)[0])


def test_ncr_transects_of_one_stream_share_their_readings(loaded: Callable[[str], Loaded]) -> None:
    """1,349 of 1,486 visits share their water temperature with another transect of the same stream and day."""
    one = loaded(NCR)
    rows, sites, visits = sheet(one), stored(one, "sites"), stored(one, "visits")
    assert sites["waterbody"].to_dict() == dict(zip(rows["PointName"], ncr_streams(rows), strict=True))
    assert {sites.loc["COST21-3", "waterbody"], sites.loc["West Spring-1", "waterbody"]} == {"COST21", "West Spring"}
    read = visits.dropna(subset=["water_temp_c"])
    shared = read.assign(stream=read["site_id"].map(sites["waterbody"])).duplicated(["stream", "visit_date", "water_temp_c"], keep=False)
    assert (len(read), int(shared.sum())) == (1486, 1349)


@pytest.mark.parametrize(("taxon", "stage"), [("EBIS", "larva"), ("EBIS", "adult"), ("DFUS", "larva"), ("DFUS", "adult")])
def test_ncr_readings_are_counted_once_a_stream_and_day(loaded: Callable[[str], Loaded], taxon: str, stage: str) -> None:
    """The same count with plain pandas from the sheet: one distinct water temperature a stream and day, month by month."""
    one = loaded(NCR)
    rows = sheet(one).assign(
        stream=lambda rows: ncr_streams(rows), day=lambda rows: pd.to_datetime(rows["SDate"], format="%m/%d/%y"),
        found=lambda rows: (passes(rows) > 0).any(axis=1),
    )  # fmt: skip
    # the first description of a visit stands; water above 25 °C is out until somebody settles it
    rows["water"] = rows.groupby(["PointName", "SDate"])["StartWaterTemp"].transform("first")
    mine = rows[rows["SpeciesCode"].str.upper().eq(taxon) & rows["SAgeID"].eq(stage) & rows["found"] & ~rows["water"].isin(NOTHING)]
    mine = mine[mine["water"].astype(float) <= 25].drop_duplicates(["stream", "day", "water"])
    expected = mine.groupby(mine["day"].dt.month).size().to_dict()
    cells = one.derived.targets
    cells = cells[(cells["taxon"] == taxon) & (cells["life_stage"] == stage) & (cells["medium"] == "water")].set_index("month")
    months = {month: int(cells.loc[str(month), "n_readings"]) for month in range(1, 13)}
    assert {month: n for month, n in months.items() if n} == expected
    assert len(expected) >= 3
    assert cells.loc["warm", "n_readings"] == sum(n for month, n in expected.items() if 6 <= month <= 9)


def test_ncr_grades(loaded: Callable[[str], Loaded]) -> None:
    """Only the visits' readings: C at most, however many; cells of larvae and adults have evidence, a ceiling, no floor without winter."""
    targets = loaded(NCR).derived.targets
    for taxon in ("EBIS", "DFUS"):
        for stage in ("larva", "adult"):
            warm = targets[targets[["taxon", "life_stage", "medium", "month"]].eq([taxon, stage, "water", "warm"]).all(axis=1)].iloc[0]
            assert warm["grade"] == "C"
            assert warm["from_visit_share"] == 1
            assert warm["ceiling"] > 0
            assert pd.isna(warm["floor"])
            assert warm["allowance"] >= 1.5, "no thermometer 1.0, only visit readings 0.5"
            assert warm["day_shift"] == pytest.approx(1.5), "no hour"
    assert set(targets["grade"]) == {"C", "D"}
    assert (targets["status"] == "target").sum() > 0
    assert not (set(targets["taxon"]) & {"EURY", "PCIN"})
    months = set(stored(loaded(NCR), "visits")["visit_date"].dt.month)
    assert months == {5, 6, 7, 8}


def test_ncr_july_of_two_lined_larvae(loaded: Callable[[str], Loaded]) -> None:
    """13 years, 31 streams, thousands of larvae: the row that the first method refused."""
    targets = loaded(NCR).derived.targets
    rows = targets[targets[["taxon", "life_stage", "medium"]].eq(["EBIS", "larva", "water"]).all(axis=1)].set_index("month")
    july = rows.loc["7"]
    assert july["status"] == "target" and 16 <= july["set_point_low"] <= july["set_point"] <= july["set_point_high"] <= 19
    assert july["ceiling"] == 20 and july["ceiling_bound_by"].startswith("cap of the group")
    assert july["set_point"] == math.floor(july["p50"] - july["day_shift"]) and not july["cut_by_ceiling"]
    adults = targets[targets[["taxon", "life_stage", "medium", "month"]].eq(["EBIS", "adult", "water", "warm"]).all(axis=1)].iloc[0]
    # Visits are visits: several transects of one stream and day share a reading.
    assert (adults["n_visits"], adults["n_readings"]) == (300, 247)


@pytest.mark.browser
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_card_of_two_lined_salamanders_prints_on_one_sheet(loaded: Callable[[str], Loaded], chromium: str, paper: str) -> None:
    one = loaded(NCR)
    path = next(path for path in run.write_cards(one.folder, one.derived) if path.name == "card_EBIS.html")
    rows = sheet_reader.card_rows(path.read_text(encoding="utf-8"))
    assert {row.label for row in rows} >= {"Adults, in water", "Larvae, in water"}
    assert sheet_reader.card_contradictions(path.read_text(encoding="utf-8"), judgement("thermostat_margin")) == []
    with offline_pages(chromium) as open_page:
        page = open_page(path, 320)
        assert page.evaluate("document.documentElement.scrollWidth") <= 320
        assert len(re.findall(rb"/Type\s*/Page\b(?!s)", page.pdf(format=paper))) <= 2


# --- canaan_valley -----------------------------------------------------------------------------------------------------------------------


def test_canaan_rows_and_sites(loaded: Callable[[str], Loaded]) -> None:
    one = loaded(CANAAN)
    places, rows = sheet(one, 0), sheet(one)
    assert (len(places), len(rows)) == (24, 222)
    account = one.report.account
    assert account is not None
    assert account.rows == {"accepted": 211, "accepted_with_held": 0, "held": 12, "repeat": 14, "no_find": 9}
    sites, visits = stored(one, "sites"), stored(one, "visits")
    keys = rows["Name"] + "-" + rows["Transect"].where(rows["Transect"] != "", "0")
    assert set(sites.index) == set(keys) == set(places["Name"] + "-" + places["Transect__"]) | {"Cortland-1"}
    assert len(visits) == (keys + rows["Date"]).nunique() == 48
    assert set(visits["site_id"]) == set(keys)


def test_canaan_places(loaded: Callable[[str], Loaded]) -> None:
    """NAD83, both as numbers and as `39.02569000N`; one site has two places 240 m apart, one has none."""
    one = loaded(CANAAN)
    sites, places = stored(one, "sites"), sheet(one, 0)
    assert sites.index[sites["latitude"].isna()].tolist() == ["Cortland-1"]
    placed = sites.drop(index="Cortland-1")
    # NAD83 becomes WGS 84 by a null shift, on record with what was written
    assert set(placed["datum"]) == {"WGS84"}
    datums = one.report.converted[one.report.converted["field"] == "datum"]
    assert set(datums["row_key"]) == set(placed.index) and set(datums["text"]) == {"NAD83"}
    assert datums["how"].str.contains("null shift, accuracy 4 m").all()
    written = placed["verbatim_coordinates"].str.extract(r"^([\d.]+)N ([\d.]+)W$").astype(float)
    assert (written[0] - placed["latitude"]).abs().max() < 1e-8
    assert (written[1] + placed["longitude"]).abs().max() < 1e-8
    held = one.report.held[one.report.held["table"] == "sites"]
    assert list(held["row_key"]) == ["Freeland Run-2"]
    assert list(held["rule"]) == ["described_twice"]
    assert "longitude" in held["message"].iloc[0]
    first = places[(places["Name"] == "Freeland Run") & (places["Transect__"] == "2")].iloc[0]
    assert sites.loc["Freeland Run-2", "longitude"] == pytest.approx(float(first["Long"]))
    _, exact = (path.read_text(encoding="utf-8") for path in run.write_maps(one.folder))
    assert "1 site is not on the map for want of coordinates; 2 finds were made there" in exact


def test_canaan_effort_is_added_up_over_passes(loaded: Callable[[str], Loaded]) -> None:
    one = loaded(CANAAN)
    rows = sheet(one)
    keys = rows["Name"] + "-" + rows["Transect"].where(rows["Transect"] != "", "0")
    days = pd.to_datetime(rows["Date"], format="%m/%d/%y").dt.strftime("%Y-%m-%d")
    once = rows.assign(visit=keys + "_" + days).drop_duplicates(["visit", "Pass"])
    expected = once["Objects"].astype(int).groupby(once["visit"]).sum()
    turned = stored(one, "visits")["cover_objects_turned"]
    assert turned.astype(int).to_dict() == expected.to_dict()
    assert turned.sum() < rows["Objects"].astype(int).sum()


def test_canaan_names_and_counts(loaded: Callable[[str], Loaded]) -> None:
    """DOCR is DOCH, `desm sp` the genus, `unid` waits, `none` is no find; Escaped is a part of Caught."""
    one = loaded(CANAAN)
    rows, finds = sheet(one), stored(one, "finds")
    assert held_lines(one, "taxon_unknown") == set(rows.index[rows["Species"] == "unid"])
    ours = rows[~rows["Species"].isin(["unid", "none"])]
    assert len(finds) == len(ours) == 203
    assert finds["count"].sum() == ours["Caught"].astype(int).sum()
    assert finds.groupby("verbatim_taxon").size().to_dict() == ours.groupby("Species").size().to_dict()
    assert set(finds.loc[finds["verbatim_taxon"] == "DOCR", "taxon"]) == {"DOCH"}
    genus = finds[finds["verbatim_taxon"] == "desm sp"]
    assert set(genus["taxon"]) == {"DESM"}
    assert set(genus["id_certainty"]) == {"genus_only"}
    assert "DESM" not in set(one.derived.targets["taxon"])
    assert set(finds["life_stage"]) == {"adult", "larva", "undetermined"}
    assert finds["water_temp_c"].isna().all()


def test_canaan_workbook_makes_the_same_rows(loaded: Callable[[str], Loaded], open_data: Path, tmp_path: Path) -> None:
    one = loaded(CANAAN)
    files = [one.files[0], open_data / CANAAN / "CVNWR_transects.xlsx"]
    folder = new_book(CANAAN, tmp_path / "book")
    report = run.load_files(folder, files, column_map(CANAAN), today=TODAY)
    assert report.account is not None
    assert one.report.account is not None
    assert (report.account.rows, report.account.tables) == (one.report.account.rows, one.report.account.tables)
    same = Loaded(CANAAN, folder, tuple(files), report, one.derived)
    for table in ("sites", "visits", "finds"):
        pd.testing.assert_frame_equal(stored(same, table), stored(one, table))


def test_commands_of_the_page_run(loaded: Callable[[str], Loaded], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The commands of docs/real_data.md as they stand, from the folder of the sheets; load says with 1 that something is held back."""
    one = loaded(CANAAN)
    commands = re.search(r"```sh\n(rillbook init canaan.*?)```", PAGE.read_text(encoding="utf-8"), flags=re.S)
    assert commands is not None
    for file in one.files:
        (tmp_path / file.name).symlink_to(file)
    (tmp_path / "data").symlink_to(PAGE.parent.parent / "data")
    monkeypatch.chdir(tmp_path)
    codes = [CliRunner().invoke(app, shlex.split(line)[1:]).exit_code for line in commands[1].splitlines()]
    assert codes == [0, 1, 0, 0]
    assert (tmp_path / "canaan" / "out" / "care_sheet_EBIS.html").exists()


# --- gsmnp -------------------------------------------------------------------------------------------------------------------------------


def test_gsmnp_rows_sites_and_visits(loaded: Callable[[str], Loaded]) -> None:
    """1,718 subplot rows without an animal and one `N/A`; one row names a species and counts 0; one newt."""
    one = loaded(GSMNP)
    rows = sheet(one)
    assert len(rows) == 5532
    assert len(stored(one, "sites")) == rows["Plot_Trans"].nunique() == 195
    assert len(stored(one, "visits")) == len(rows[["Plot_Trans", "Date"]].drop_duplicates()) == 841
    account = one.report.account
    assert account is not None
    assert (rows["Species"].eq("NA").sum(), rows["Species"].eq("N/A").sum()) == (1718, 1)
    assert account.rows["no_find"] == 1719
    assert held_lines(one, "taxon_unknown") == set(rows.index[rows["Species"] == "NVIR"])
    assert held_lines(one, "not_possible") == set(rows.index[rows["Species"].ne("NA") & rows["Number"].eq("0")])
    assert len(one.report.held) == 2
    ours = rows[~rows["Species"].isin(["NA", "N/A", "NVIR"])]
    assert stored(one, "finds")["count"].sum() == ours["Number"].astype(int).sum()


def test_gsmnp_night_clock(loaded: Callable[[str], Loaded]) -> None:
    """Night work: the 251 visits timed 9 to 12 are evening or past midnight, none in daylight; the date is the evening's."""
    one = loaded(GSMNP)
    rows = sheet(one).drop_duplicates(["Plot_Trans", "Date"])
    evening = pd.to_datetime(rows["Date"], format="%m/%d/%Y")
    hour, minute = (rows["Time"].str.split(":").str[part].astype(int) for part in (0, 1))
    twelve_hour = hour.between(9, 12)
    assert twelve_hour.sum() == 251
    # minutes after the evening's midnight: 9:52 is 21:52, 12:20 is 24:20, 1:05 is 25:05, 21:30 stays
    after = 60 * hour.map({**{h: h + 12 for h in (9, 10, 11, 12)}, **{h: h + 24 for h in (0, 1, 2, 3)}}).fillna(hour).astype(int) + minute
    expected = evening + pd.to_timedelta(after, unit="m")
    visits = stored(one, "visits").loc[list(rows["Plot_Trans"] + "_" + evening.dt.strftime("%Y-%m-%d"))]
    local = visits["visit_date"] + pd.to_timedelta(visits["start_time"] + ":00")
    assert (local.to_numpy() == expected.to_numpy()).all()
    assert set(local.dt.hour) == {21, 22, 23, 0, 1, 2, 3}
    assert (visits["start_utc"] - local == pd.Timedelta(hours=4)).all(), "eastern summer time"
    assert set(visits["visit_date"].to_numpy()[(after >= 1440).to_numpy()] - evening[after >= 1440].to_numpy()) == {pd.Timedelta(days=1)}


def test_gsmnp_visits_and_finds_carry_what_the_sheet_says(loaded: Callable[[str], Loaded]) -> None:
    one = loaded(GSMNP)
    rows, visits, finds = sheet(one), stored(one, "visits"), stored(one, "finds")
    first = rows.drop_duplicates(["Plot_Trans", "Date"])
    for column, field in (("Temp", "air_temp_c"), ("Humidity", "rh_pct")):
        assert sorted(visits[field]) == sorted(first[column].astype(float))
    subplots = rows[rows["Subplot"] != "N/A"].groupby(["Plot_Trans", "Date"])["Subplot"].nunique()
    assert visits["length_m"].value_counts().to_dict() == (5.0 * subplots).value_counts().to_dict()
    comments = rows.loc[rows["Comments"].ne("") & rows["Species"].ne("NA"), "Comments"]
    assert sorted(finds["remarks"].dropna()) == sorted(comments)
    assert set(finds["life_stage"]) == {"undetermined"}
    assert set(finds["microhabitat"]) == {"on_surface"}
    assert finds["medium_assumed"].all()
    assert finds["air_temp_c"].isna().all()


def test_gsmnp_without_a_stage_there_is_no_target(loaded: Callable[[str], Loaded]) -> None:
    one = loaded(GSMNP)
    assert one.derived.targets.empty
    assert one.derived.readings.empty
    assert set(one.derived.facts["exclusions"]["reason"]) == {"life stage not told"}
    assert one.derived.facts["exclusions"]["n_finds"].sum() == len(stored(one, "finds"))
