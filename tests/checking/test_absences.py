"""Absence is said, never inferred: no held, dismissed, undone or missing row may make one.

The invented sheets have the shapes in which false absences were met: wide sheets with NA, finds that were all held and dismissed, finds of
a visit that nobody knows. Of incomplete lists infer nothing: Humboldt Extension, hierarchy document §3.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from examples import examples
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.book.absences import absence_counts
from pipeline.book.connection import open_book
from pipeline.book.current import known_rows
from pipeline.commands import run
from pipeline.errors import RillbookError
from pipeline.publishing.public_book import public_book
from pipeline.settings import read_settings

TODAY = date(2026, 1, 1)
SETTINGS = """[book]
title = "Invented absences"
author = "Nobody"
licence = "CC0-1.0"
invented = true
time_zone = "America/New_York"

[[taxon]]
code = "DFUS"
scientific_name = "Desmognathus fuscus"
group = "cool_stream"
aliases = ["dusky"]

[[taxon]]
code = "EBIS"
scientific_name = "Eurycea bislineata"
group = "cool_stream"

[[taxon]]
code = "GPOR"
scientific_name = "Gyrinophilus porphyriticus"
group = "cool_stream"
"""
SITES = "site_id,habitat,latitude,longitude,datum\nS1,stream,36.21,-81.91,WGS84\nS2,stream,36.22,-81.92,WGS84\n"
VISITS = (
    "visit_id,site_id,visit_date,protocol,search_minutes,target_taxa,all_counted\n"
    "V1,S1,2023-06-10,visual_encounter,60,DFUS|EBIS|GPOR,yes\nV2,S2,2023-06-11,visual_encounter,60,DFUS|EBIS|GPOR,yes\n"
)
FINDS = "find_id,visit_id,taxon,life_stage,count,microhabitat\n"
WIDE = """[reading]
missing = ["NA"]
[[source]]
file = "*.csv"
[source.wide]
columns."dusky larvae" = { taxon = "DFUS", life_stage = "larva" }
columns."dusky adults" = { taxon = "DFUS", life_stage = "adult" }
columns."two-lined" = { taxon = "EBIS", life_stage = "adult" }
[source.sites]
site_id = "Site"
latitude = "Lat"
longitude = "Long"
datum = { constant = "WGS84" }
habitat = { constant = "stream" }
[source.visits]
site_id = { same_as = "sites.site_id" }
visit_id = { fields = ["site_id", "visit_date"] }
visit_date = "Date"
protocol = { constant = "visual_encounter" }
search_minutes = "Minutes"
target_taxa = { constant = "DFUS|EBIS" }
all_counted = { constant = "yes" }
[source.finds]
visit_id = { same_as = "visits.visit_id" }
find_id = { fields = ["visit_id", "taxon", "life_stage"], number = true }
microhabitat = { constant = "stream_unspecified" }
"""
WIDE_HEAD = "Site,Lat,Long,Date,Minutes,dusky larvae,dusky adults,two-lined\n"


def new_book(folder: Path) -> Path:
    folder.parent.mkdir(parents=True, exist_ok=True)
    run.init(folder, SETTINGS)
    return folder


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return new_book(tmp_path / "b")


def write(folder: Path, **texts: str) -> list[Path]:
    paths = [folder.parent / f"{name}.csv" for name in texts]
    for path, text in zip(paths, texts.values(), strict=True):
        path.write_text(text, encoding="utf-8")
    return paths


def load(folder: Path, words: str = "", column_map: str = "", **texts: str) -> run.Report:
    path = folder.parent / "map.toml"
    path.write_text(column_map, encoding="utf-8")
    more = {"replace": True} if words == "replace" else {"corrects": 1} if words == "corrects" else {}
    report = run.load_files(folder, write(folder, **texts), path if column_map else None, today=TODAY, **more)  # type: ignore[arg-type]
    assert isinstance(report, run.Report)
    return report


def published(folder: Path) -> set[tuple[str, str]]:
    """Visit and taxon of every absence that a publication would state."""
    shown = public_book(folder, read_settings(folder))
    code = shown.withheld.codes.set_index("public_code")["code"]
    rows = shown.tables["absences"]
    return set(zip(rows["event_id"].map(code), rows["taxon"], strict=True))


def answer(folder: Path, **words: str) -> Path:
    """The list of held items, with one answer for all."""
    path = folder.parent / f"held{len(list(folder.parent.glob('held*')))}.csv"
    run.write_held(folder, path)
    frame = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    frame.assign(by="AB", **words).to_csv(path, index=False)
    return path


BOTH = {(visit, taxon) for visit in ("V1", "V2") for taxon in ("DFUS", "EBIS", "GPOR")}


def test_a_visit_that_says_so_states_its_absences(folder: Path) -> None:
    load(folder, sites=SITES, visits=VISITS, finds=FINDS + "F1,V1,dusky,adult,2,rock_in_flow\n")
    assert published(folder) == BOTH - {("V1", "DFUS")}


def test_dismissing_the_only_rows_of_a_visit_makes_no_absence(folder: Path) -> None:
    """Two rows whose taxon nobody could read, dismissed: twelve absences were published of such a pair."""
    load(folder, sites=SITES, visits=VISITS, finds=FINDS + "F1,V1,NA,adult,1,rock_in_flow\nF2,V2,NA,adult,1,rock_in_flow\n")
    assert published(folder) == set()
    run.load_files(folder, [answer(folder, dismiss_reason="NA")], today=TODAY)
    assert run.held_items(folder).empty
    assert published(folder) == set()
    assert run.status(folder)["visits_incomplete"] == 2


def test_a_held_row_beside_accepted_ones_is_no_absence_of_its_taxon(folder: Path) -> None:
    load(folder, sites=SITES, visits=VISITS, finds=FINDS + "F1,V1,DFUS,adult,1,rock_in_flow\nF2,V1,EBIS,adult,many,rock_in_flow\n")
    assert published(folder) == BOTH - {("V1", "DFUS"), ("V1", "EBIS")}
    run.load_files(folder, [answer(folder, dismiss_reason="cannot be read")], today=TODAY)
    assert published(folder) == BOTH - {("V1", "DFUS"), ("V1", "EBIS")}


def test_a_repaired_row_is_a_find_and_frees_the_rest(folder: Path) -> None:
    load(folder, sites=SITES, visits=VISITS, finds=FINDS + "F1,V1,what,adult,1,rock_in_flow\n")
    assert published(folder) == {one for one in BOTH if one[0] == "V2"}
    run.load_files(folder, [answer(folder, corrected="EBIS")], today=TODAY)
    assert published(folder) == BOTH - {("V1", "EBIS")}
    run.undo(folder, 2)
    assert published(folder) == {one for one in BOTH if one[0] == "V2"}


@pytest.mark.parametrize("zero", ["0", "0.0", "00", " 0 ", "0,0", "-0"])
def test_a_count_is_not_corrected_to_zero(folder: Path, zero: str) -> None:
    load(folder, sites=SITES, visits=VISITS, finds=FINDS + "F1,V1,EBIS,adult,x,rock_in_flow\n")
    before = published(folder)
    with pytest.raises(RillbookError, match=r"a count of 0 is no find.*dismiss_reason.*nothing is said of absence"):
        run.load_files(folder, [answer(folder, corrected=zero)], today=TODAY)
    assert published(folder) == before and ("V1", "EBIS") not in before


def test_a_missing_count_of_a_wide_row_is_no_absence(folder: Path) -> None:
    text = WIDE_HEAD + "S1,36.21,-81.91,2023-06-10,60,0,3,NA\nS2,36.22,-81.92,2023-06-11,60,0,0,0\nS3,36.23,-81.93,2023-06-12,60,NA,0,0\n"
    load(folder, column_map=WIDE, wide=text)
    assert published(folder) == {("S2_2023-06-11", "DFUS"), ("S2_2023-06-11", "EBIS"), ("S3_2023-06-12", "EBIS")}


def test_an_empty_count_of_a_wide_row_is_no_absence_unless_the_map_says_it_is_zero(tmp_path: Path) -> None:
    text = WIDE_HEAD + "S1,36.21,-81.91,2023-06-10,60,,3,\n"
    one, other = new_book(tmp_path / "1" / "b"), new_book(tmp_path / "2" / "b")
    load(one, column_map=WIDE, wide=text)
    assert published(one) == set()
    load(other, column_map=WIDE.replace("[source.wide]", '[source.wide]\nzeros = [""]'), wide=text)
    assert published(other) == {("S1_2023-06-10", "EBIS")}


def test_a_word_for_not_counted_here_is_no_absence_and_no_held_row(folder: Path) -> None:
    text = WIDE_HEAD + "S1,36.21,-81.91,2023-06-10,60,0,3,nc\nS2,36.22,-81.92,2023-06-11,60,0,0,NC\n"
    report = load(folder, column_map=WIDE.replace("[source.wide]", '[source.wide]\nnot_counted = ["nc", "NC"]'), wide=text)
    assert report.held.empty and report.account is not None
    assert published(folder) == {("S2_2023-06-11", "DFUS")}
    assert report.account.cells["not_counted"] == 2


def test_wide_rows_without_a_count_stay_silent_when_dismissed(folder: Path) -> None:
    load(folder, column_map=WIDE, wide=WIDE_HEAD + "S1,36.21,-81.91,2023-06-10,60,NA,NA,NA\nS2,36.22,-81.92,2023-06-11,60,0,0,0\n")
    before = published(folder)
    run.load_files(folder, [answer(folder, dismiss_reason="flooded")], today=TODAY)
    assert published(folder) == before == {("S2_2023-06-11", "DFUS"), ("S2_2023-06-11", "EBIS")}


def test_a_constant_target_needs_a_column_that_counts_it(folder: Path) -> None:
    wrong = WIDE.replace('"DFUS|EBIS"', '"DFUS|EBIS|GPOR"')
    with pytest.raises(RillbookError, match=r"map\.toml, line \d+: target_taxa names GPOR, which no column counts"):
        load(folder, column_map=wrong, wide=WIDE_HEAD + "S1,36.21,-81.91,2023-06-10,60,0,3,0\n")


def test_two_descriptions_that_disagree_state_nothing(folder: Path) -> None:
    visits = VISITS + "V1,S1,2023-06-10,visual_encounter,60,DFUS,no\n"
    load(folder, sites=SITES, visits=visits)
    assert {visit for visit, _ in published(folder)} == {"V2"}
    run.load_files(folder, [answer(folder, dismiss_reason="the first is right")], today=TODAY)
    assert {visit for visit, _ in published(folder)} == {"V2"}


def test_a_find_of_no_known_visit_could_be_of_any(folder: Path) -> None:
    load(folder, sites=SITES, visits=VISITS, finds=FINDS + "F1,V7,EBIS,adult,1,rock_in_flow\n")
    assert published(folder) == {one for one in BOTH if one[1] != "EBIS"}
    run.load_files(folder, [answer(folder, dismiss_reason="no idea")], today=TODAY)
    assert published(folder) == {one for one in BOTH if one[1] != "EBIS"}


def test_finds_of_no_known_visit_silence_a_taxon_once_a_visit(folder: Path) -> None:
    """However many there are: a row for each of them and each visit would grow with the square of the book."""
    strays = "".join(f"F{number},V7,EBIS,adult,1,rock_in_flow\n" for number in range(50))
    load(folder, sites=SITES, visits=VISITS, finds=FINDS + strays)
    with open_book(folder) as connection:
        found = connection.execute("SELECT visit_id, taxon, why FROM silent_taxa ORDER BY ALL").fetchall()
        assert found == [(visit, "EBIS", "a find of no known visit") for visit in ("V1", "V2")]
        assert connection.execute("SELECT count(*) FROM silence").fetchall() == [(100,)]
        assert absence_counts(connection) == (4, {"a find of no known visit": 2})


LONG = (
    WIDE[: WIDE.index("[source.wide]")]
    + """[source.no_find]
Species = ["none", "NA", ""]
"""
    + WIDE[WIDE.index("[source.sites]") :].replace(
        "microhabitat", 'taxon = "Species"\nlife_stage = { constant = "adult" }\ncount = "N"\nmicrohabitat'
    )
)
LONG_HEAD = "Site,Lat,Long,Date,Minutes,Species,N\n"
AT_S1 = "S1,36.21,-81.91,"


@pytest.mark.parametrize("species", ["none", "NA", ""])
@pytest.mark.parametrize("count", ["3", "3+", "x"])
def test_a_row_that_says_nothing_and_counts_something_is_held(folder: Path, species: str, count: str) -> None:
    report = load(folder, column_map=LONG, rows=LONG_HEAD + f"{AT_S1}2023-06-10,60,{species},{count}\n")
    assert report.account is not None and report.account.rows["held"] == 1 and report.account.rows["no_find"] == 0
    assert published(folder) == set()
    run.load_files(folder, [answer(folder, dismiss_reason="no idea")], today=TODAY)
    assert published(folder) == set()


@pytest.mark.parametrize("count", ["0", "", "NA", "0.00"])
def test_a_row_that_says_nothing_and_counts_nothing_is_absence(folder: Path, count: str) -> None:
    load(folder, column_map=LONG, rows=LONG_HEAD + f"{AT_S1}2023-06-10,60,none,{count}\n")
    assert published(folder) == {("S1_2023-06-10", "DFUS"), ("S1_2023-06-10", "EBIS")}


@pytest.mark.parametrize("day", ["2023-13-10", "2033-06-10", "", "6/5/2023"])
def test_a_find_of_a_visit_whose_date_is_wrong_could_be_of_another(folder: Path, day: str) -> None:
    """The slip stands in the cell that makes the visit's code: the find may be of the visit that is known."""
    rows = LONG_HEAD + f"{AT_S1}2023-06-10,60,none,0\n{AT_S1}{day},60,DFUS,1\n"
    load(folder, column_map=LONG, rows=rows)
    assert published(folder) == {("S1_2023-06-10", "EBIS")}
    run.load_files(folder, [answer(folder, dismiss_reason="no idea")], today=TODAY)
    assert published(folder) == {("S1_2023-06-10", "EBIS")}


def test_a_date_corrected_to_that_of_another_visit_makes_no_absence_of_what_was_found(folder: Path) -> None:
    rows = LONG_HEAD + f"{AT_S1}2023-06-10,60,none,0\n{AT_S1}2023-13-10,60,DFUS,1\n"
    load(folder, column_map=LONG, rows=rows)
    path = answer(folder)
    held = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    held.assign(corrected=held["text"].map({"2023-13-10": "2023-06-10"}).fillna("")).to_csv(path, index=False)
    run.load_files(folder, [path], today=TODAY)
    assert {taxon for _, taxon in published(folder)} == {"EBIS"}
    with open_book(folder) as connection:
        assert len(known_rows(connection)["finds"]) == 1
        why = connection.execute("SELECT visit_id, taxon, why FROM no_absence").fetchall()
    assert why == [("S1_2023-06-10", "DFUS", "a find of a visit that was corrected to the same site and date")]


def test_a_visit_with_a_code_of_its_own_silences_no_other(folder: Path) -> None:
    visits = VISITS + "V3,S1,2023-13-10,visual_encounter,60,DFUS|EBIS|GPOR,yes\n"
    load(folder, sites=SITES, visits=visits, finds=FINDS + "F1,V3,EBIS,adult,1,rock_in_flow\n")
    assert published(folder) == BOTH


def test_a_lost_find_that_finds_its_visit_frees_the_others(folder: Path) -> None:
    load(folder, sites=SITES, visits=VISITS, finds=FINDS + "F1,V7,EBIS,adult,1,rock_in_flow\n")
    run.load_files(folder, [answer(folder, corrected="V1")], today=TODAY)
    assert published(folder) == BOTH - {("V1", "EBIS")}


def test_a_row_that_could_not_be_cut_says_nothing_of_any_taxon(folder: Path) -> None:
    load(folder, sites=SITES, visits=VISITS, finds=FINDS + "F1,V1,EBIS,adult,1,rock_in_flow,x,y\n")
    run.load_files(folder, [answer(folder, dismiss_reason="a stray comma")], today=TODAY)
    assert published(folder) == {one for one in BOTH if one[0] == "V2"}


def test_undoing_finds_makes_no_absence(folder: Path) -> None:
    load(folder, sites=SITES, visits=VISITS)
    load(folder, finds=FINDS + "F1,V1,EBIS,adult,1,rock_in_flow\nF2,V2,what,adult,1,rock_in_flow\n")
    before = published(folder)
    run.undo(folder, 2)
    assert published(folder) == before == {("V1", "DFUS"), ("V1", "GPOR")}


def test_a_visit_told_anew_states_its_absences_again(folder: Path) -> None:
    load(folder, sites=SITES, visits=VISITS, finds=FINDS + "F1,V1,EBIS,adult,x,rock_in_flow\n")
    run.load_files(folder, [answer(folder, dismiss_reason="a pen that was tried")], today=TODAY)
    load(folder, "corrects", sites=SITES, visits=VISITS, finds=FINDS)
    assert published(folder) == BOTH


def test_no_effort_and_no_statement_is_no_absence(folder: Path) -> None:
    text = "visit_id,site_id,visit_date,protocol,target_taxa\nV1,S1,2023-06-10,visual_encounter,DFUS|EBIS\n"
    load(folder, sites=SITES, visits=text)
    with open_book(folder) as connection:
        visits = known_rows(connection)["visits"]
    assert visits["target_taxa"].isna().all()
    assert published(folder) == set()


def test_the_book_tells_how_each_absence_came_to_be(folder: Path) -> None:
    text = WIDE_HEAD + "S1,36.21,-81.91,2023-06-10,60,0,3,NA\nS2,36.22,-81.92,2023-06-11,60,0,0,0\n"
    report = load(folder, column_map=WIDE, wide=text)
    assert any("states 2 absences" in note and "Of 1 more nothing is said" in note for note in report.notes), report.notes
    with open_book(folder) as connection:
        stated = connection.execute(ASKED).fetchall()
        silent = connection.execute("SELECT visit_id, taxon, why, file, line FROM no_absence").fetchall()
    assert stated == [("S2_2023-06-11", taxon, "wide.csv", 3, *["the column map, for every row"] * 2) for taxon in ("DFUS", "EBIS")]
    assert silent == [("S1_2023-06-10", "EBIS", "not counted", "wide.csv", 2)]
    assert run.status(folder)["absences"] == 2


ASKED = "SELECT visit_id, taxon, file, line, target_taxa_from, all_counted_from FROM absences ORDER BY ALL"
CODES = ("DFUS", "EBIS", "GPOR")
ROWS = st.lists(
    st.tuples(
        st.sampled_from(["V1", "V1", "V2", "V2", "V9", ""]),
        st.sampled_from(["DFUS", "EBIS", "GPOR", "NA", "what", ""]),
        st.sampled_from(["1", "2", "x", "0", "", "1,1,1"]),
    ),
    max_size=6,
)


@settings(max_examples=examples(10, 3), suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(ROWS, st.data())
def test_absences_never_rise_by_losing_dismissing_or_undoing_rows(
    tmp_path_factory: pytest.TempPathFactory, finds: list, data: st.DataObject
) -> None:
    """Spoil a row that was sound: it is held, and may be dismissed, and the load undone; no step adds an absence."""

    def text(rows: list[tuple[str, str, str]]) -> str:
        return FINDS + "".join(
            f"F{number},{visit},{taxon},adult,{count},rock_in_flow\n" for number, (visit, taxon, count) in enumerate(rows)
        )

    folder, other = (new_book(tmp_path_factory.mktemp("a") / "b") for _ in range(2))
    load(folder, sites=SITES, visits=VISITS)
    none_told = published(folder)
    report = load(folder, finds=text(finds))
    before = published(folder)
    assert report.account is not None and sum(report.account.rows.values()) == len(finds)
    assert before <= none_told
    sound = [at for at, one in enumerate(finds) if one[0] in ("V1", "V2") and one[1] in CODES and one[2] in ("1", "2")]
    if sound:
        # the same sheet with one row spoilt in one cell; written down with its visits, so that nothing rests on the order of loads
        spoilt = list(finds)
        at = data.draw(st.sampled_from(sound))
        visit, taxon, count = finds[at]
        cells = {"visit": ("V8", taxon, count), "taxon": (visit, "zzz", count), "count": (visit, taxon, "?")}
        spoilt[at] = cells[data.draw(st.sampled_from(sorted(cells)))]
        load(other, sites=SITES, visits=VISITS, finds=text(spoilt))
        assert published(other) <= before
    if not run.held_items(folder).empty:
        run.load_files(folder, [answer(folder, dismiss_reason="let it be")], today=TODAY)
        assert published(folder) == before
        run.undo(folder, 3)
        assert published(folder) == before
    if report.load_id:
        run.undo(folder, report.load_id)
        assert published(folder) == before


CELLS = st.sampled_from(["0", "1", "3", "NA", "", "x", "nc"])


@settings(max_examples=examples(10, 3), suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(CELLS, CELLS, CELLS), min_size=1, max_size=4))
def test_only_zeros_of_a_wide_row_make_absences(tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[str, str, str]]) -> None:
    """The absences of a wide sheet are those of which every column says zero; every cell has its fate."""
    folder = new_book(tmp_path_factory.mktemp("w") / "b")
    text = WIDE_HEAD + "".join(f"S{at},36.2{at},-81.9,2023-06-1{at},60,{','.join(cells)}\n" for at, cells in enumerate(rows))
    report = load(folder, column_map=WIDE.replace("[source.wide]", '[source.wide]\nnot_counted = ["nc"]'), wide=text)
    wanted = set()
    for at, (larvae, adults, others) in enumerate(rows):
        visit = f"S{at}_2023-06-1{at}"
        wanted |= {(visit, "DFUS")} if (larvae, adults) == ("0", "0") else set()
        wanted |= {(visit, "EBIS")} if others == "0" else set()
    assert published(folder) == wanted
    assert report.account is not None and sum(report.account.cells.values()) == len(rows) * 8
    if not run.held_items(folder).empty:
        run.load_files(folder, [answer(folder, dismiss_reason="let it be")], today=TODAY)
        assert published(folder) == wanted
