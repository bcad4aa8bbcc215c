"""Checks: every rule has a bad row that breaks it and nothing else; nothing is lost, changed or hidden by another fault."""

from __future__ import annotations

from collections import Counter
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.checking import accounting, check, columns, completing
from pipeline.checking.outcome import ROW_TOO_LONG, Checked, TableCheck
from pipeline.checking.typed_rows import gather
from pipeline.reading import apply_map as mapping
from pipeline.reading import files as read
from pipeline.reading import own_sheets
from pipeline.reading.rows import MappedSource, SourceTable
from pipeline.reading.values import as_text
from pipeline.settings import Settings, read_settings
from schemas.column_faults import COLUMN_FAULTS
from schemas.rules import FLAG, FLAG_EXCLUDE, HOLD_ROW, HOLD_VALUE, RULES
from schemas.tables import LOADED, fields, key_of

CASES = Path(__file__).parents[1] / "cases"
TODAY = date(2026, 1, 1)
# Effects of the column checks on the fields that their cases use: a required field holds its row, an optional one only the
# value (design 4.2).
COLUMN_EFFECTS = {
    "required_missing": HOLD_ROW, "unreadable": HOLD_VALUE, "date_ambiguous": HOLD_ROW, "not_possible": HOLD_VALUE,
    "likely_fahrenheit": HOLD_VALUE, "code_unknown": HOLD_VALUE, "unexpected": FLAG, "at_least": FLAG,
    "several_readings": FLAG, "described_twice": HOLD_ROW,
    "parent_held": HOLD_ROW, "parent_unknown": HOLD_ROW, ROW_TOO_LONG: HOLD_ROW,
}  # fmt: skip
# What each rule must do to a row, stated apart from the rules (design 4.2; judgement): a rule that turns milder must not pass unseen.
WANTED = pd.read_csv(Path(__file__).parents[1] / "check_values" / "rule_effects.csv", dtype="str").set_index("rule")["effect"].to_dict()
EXPECTED = {**WANTED, **COLUMN_EFFECTS}
# What a case cannot avoid: above 25 °C is unusual as well as warm, and a row can hang only on a row that is held for a reason of its own.
COMPANIONS = {"visit_warm_water": {"unexpected"}, "warm_for_cool_stream": {"unexpected"}, "parent_held": {"date_future"}}


@pytest.fixture(scope="module")
def book() -> Settings:
    return read_settings(CASES / "base")


def mapped(paths: list[Path]) -> list[MappedSource]:
    tables = read.read_files(paths)
    return mapping.apply_map(own_sheets.own_map(tables)[0], tables)


def empty() -> dict[str, pd.DataFrame]:
    return {table: gather(table, []).typed for table in LOADED}


def base() -> list[Path]:
    return [CASES / "base" / f"{table}.csv" for table in LOADED]


def run(paths: list[Path], book: Settings, known: dict[str, pd.DataFrame] | None = None) -> Checked:
    return check.check(mapped(paths), book, known or empty(), TODAY)


def write(folder: Path, **sheets: str) -> list[Path]:
    paths = []
    for name, text in sheets.items():
        paths.append(folder / f"{name}.csv")
        paths[-1].write_text(text, encoding="utf-8")
    return paths


def test_the_base_book_breaks_no_rule(book: Settings) -> None:
    checked = run(base(), book)
    assert checked.held.empty and checked.flags.empty
    assert {table: len(one.accepted) for table, one in checked.tables.items()} == {
        "sites": 1, "visits": 2, "finds": 2, "availability": 1, "enclosures": 1, "loggers": 2,
        "water_tests": 2, "husbandry_events": 1,
    }  # fmt: skip


def test_every_rule_does_what_is_wanted_of_it() -> None:
    assert {rule.id: rule.effect for rule in RULES} == WANTED


def test_every_rule_and_every_column_check_has_a_case() -> None:
    assert {path.name.split(".")[0] for path in CASES.glob("*.csv")} == {rule.id for rule in RULES} | {one.id for one in COLUMN_FAULTS} | {
        ROW_TOO_LONG
    }


@pytest.mark.parametrize("rule", sorted(EXPECTED))
def test_each_case_breaks_only_its_rule(rule: str, book: Settings) -> None:
    checked = run([*base(), *sorted(CASES.glob(f"{rule}.*.csv"))], book)
    assert set(checked.held["rule"]) | set(checked.flags["rule"]) == {rule} | COMPANIONS.get(rule, set())
    held, flags = checked.held[checked.held["rule"] == rule], checked.flags[checked.flags["rule"] == rule]
    touched = pd.concat([held, flags])
    assert touched["row_key"].str.startswith("BAD").all()
    if EXPECTED[rule] in (FLAG, FLAG_EXCLUDE):
        assert held.empty and set(flags["effect"]) == {EXPECTED[rule]}
    else:
        assert flags.empty and set(held["candidate"] >= 0) == {EXPECTED[rule] == HOLD_ROW}
    accepted = checked.tables[touched["table"].iloc[0]].accepted
    kept = set(touched["row_key"]) & set(accepted[key_of(touched["table"].iloc[0])])
    # a row described twice stays once: the first one
    assert kept == (set() if EXPECTED[rule] == HOLD_ROW and rule != "described_twice" else set(touched["row_key"]))
    bad = [path for path in CASES.glob(f"{rule}.*.csv") for line in path.read_text().splitlines() if line.startswith("BAD")]
    assert touched["row_key"].nunique() == len(bad) - (rule in ("described_twice", "several_readings"))


@pytest.mark.parametrize("rule", [rule for rule, effect in WANTED.items() if effect == HOLD_VALUE])
def test_held_values_are_out_of_the_row_and_their_text_is_kept(rule: str, book: Settings) -> None:
    paths = sorted(CASES.glob(f"{rule}.*.csv"))
    checked = run([*base(), *paths], book)
    declared = next(one for one in RULES if one.id == rule)
    row = checked.tables[declared.table].accepted.set_index(key_of(declared.table)).loc["BAD"]
    assert row[list(declared.fields)].isna().all()
    written = pd.read_csv(paths[0], dtype=str).set_index(key_of(declared.table)).loc["BAD"]
    assert dict(zip(checked.held["field"], checked.held["text"], strict=True)) == {name: written[name] for name in declared.fields}


def test_one_unreadable_cell_hides_no_other_fault_of_its_column(book: Settings, tmp_path: Path) -> None:
    lines = ["find_id,visit_id,taxon,life_stage,count,microhabitat,svl_mm"]
    lines += [f"X{n},V1,GPOR,adult,1,rock_in_flow,{text}" for n, text in enumerate(["forty", "900", "2", "70", "inf", "7O", "", "-5"])]
    checked = run([*base(), *write(tmp_path, more="\n".join(lines))], book)
    assert dict(zip(checked.held["row_key"], checked.held["rule"], strict=True)) == {
        "X0": "unreadable", "X1": "not_possible", "X2": "not_possible", "X4": "unreadable", "X5": "unreadable", "X7": "not_possible",
    }  # fmt: skip


@pytest.mark.parametrize("text", ["inf", "-inf", "Infinity", "NaN", "nan", "1e999", "0x10", "1_000", "١٢", "12,5,1"])
def test_what_only_looks_like_a_number_is_refused(text: str, book: Settings, tmp_path: Path) -> None:
    checked = run(
        [
            *base(),
            *write(
                tmp_path, more=f'find_id,visit_id,taxon,life_stage,count,microhabitat,water_temp_c\nX,V1,GPOR,adult,1,rock_in_flow,"{text}"'
            ),
        ],
        book,
    )
    assert checked.held[["row_key", "field", "text"]].to_numpy().tolist() == [["X", "water_temp_c", text]]
    assert pd.isna(checked.tables["finds"].accepted.set_index("find_id").at["X", "water_temp_c"])


# 50 °F is 10 °C and 86 °F is 30 °C by definition of the scale; above that no water of a stream reads either way.
@pytest.mark.parametrize(
    ("text", "rule", "said"),
    [
        ("50", "likely_fahrenheit", "10.0 °C"),
        ("86", "likely_fahrenheit", "30.0 °C"),
        ("87", "not_possible", ""),
        ("-3", "not_possible", ""),
    ],
)
def test_a_reading_in_fahrenheit_names_the_remedy(text: str, rule: str, said: str, book: Settings, tmp_path: Path) -> None:
    checked = run(
        [
            *base(),
            *write(
                tmp_path, more=f"find_id,visit_id,taxon,life_stage,count,microhabitat,water_temp_c\nX,V1,GPOR,adult,1,rock_in_flow,{text}"
            ),
        ],
        book,
    )
    assert checked.held["rule"].tolist() == [rule]
    assert said in checked.held["remedy"].iloc[0]


def test_the_air_may_be_warm_and_is_not_called_fahrenheit(book: Settings, tmp_path: Path) -> None:
    checked = run(
        [
            *base(),
            *write(tmp_path, more="visit_id,site_id,visit_date,protocol,search_minutes,air_temp_c\nX,S1,2023-07-01,visual_encounter,5,61"),
        ],
        book,
    )
    assert checked.held["rule"].tolist() == ["not_possible"]


def test_held_text_is_the_exact_text_of_the_sheet(book: Settings, tmp_path: Path) -> None:
    sheet = "find_id,visit_id,taxon,life_stage,count,microhabitat,svl_mm,remarks\n"
    sheet += ' X1 ,V1,GPOR,adult,1,rock_in_flow,"  ca. 40, maybe ",\nX2,V1,NOPE ,adult,1,rock_in_flow,,"two\nlines"\n'
    checked = run([*base(), *write(tmp_path, more=sheet)], book)
    assert dict(zip(checked.held["field"], checked.held["text"], strict=True)) == {"svl_mm": "  ca. 40, maybe ", "taxon": "NOPE "}
    assert checked.held.set_index("field")["line"].to_dict() == {"svl_mm": 2, "taxon": 3}
    twice = "site_id,habitat,remarks\nS9,stream,a\nS9,seep,\n"
    checked = run(write(tmp_path, sites=twice), book)
    assert checked.held["text"].tolist() == ["site_id = S9; habitat = seep"]


def test_rules_of_groups_see_the_rows_that_the_book_holds_already(book: Settings, tmp_path: Path) -> None:
    known = {
        table: one.accepted.assign(**({"incomplete": False} if table == "visits" else {})).reset_index(drop=True)
        for table, one in run(base(), book).tables.items()
    }
    finds = (
        "find_id,visit_id,taxon,life_stage,count,microhabitat,svl_mm,total_length_mm,mass_g\nTWIN,V1,GPOR,adult,1,rock_in_flow,80,140,9.0\n"
    )
    visits = "visit_id,site_id,visit_date,start_time,protocol,search_minutes\nAGAIN,S1,2023-06-10,20:00,visual_encounter,10\n"
    checked = run(write(tmp_path, finds=finds, visits=visits), book, known)
    assert checked.flags[["row_key", "rule"]].to_numpy().tolist() == [["AGAIN", "visit_twice"], ["TWIN", "near_duplicate"]]
    # a row that only comes again is no twin of itself
    assert run(base(), book, known).flags.empty


def test_what_hangs_on_a_held_row_is_held_and_says_on_which(book: Settings, tmp_path: Path) -> None:
    sheets = {
        "sites": "site_id,habitat\nX,lake of fire\n",
        "visits": "visit_id,site_id,visit_date,protocol,search_minutes\nXV,X,2023-06-10,visual_encounter,5\n",
        "finds": "find_id,visit_id,taxon,life_stage,count,microhabitat\nXF,XV,GPOR,adult,1,rock_in_flow\n",
        "availability": "point_id,visit_id,microhabitat\nXP,XV,rock_in_flow\n",
    }
    checked = run(write(tmp_path, **sheets), book)
    assert checked.held[["table", "row_key", "parent_key", "rule"]].to_numpy().tolist() == [
        ["sites", "X", "", "code_unknown"], ["visits", "XV", "X", "parent_held"],
        ["finds", "XF", "XV", "parent_held"], ["availability", "XP", "XV", "parent_held"],
    ]  # fmt: skip
    assert "visit XV" in checked.held["message"].iloc[2]
    assert all(one.accepted.empty for one in checked.tables.values())


def test_other_spellings_of_a_taxon_become_its_code_and_the_spelling_is_kept(book: Settings, tmp_path: Path) -> None:
    checked = run(
        [*base(), *write(tmp_path, more="find_id,visit_id,taxon,life_stage,count,microhabitat\nX,V1,Spring Sal,adult,1,rock_in_flow\n")],
        book,
    )
    row = checked.tables["finds"].accepted.set_index("find_id").loc["X"]
    assert (row["taxon"], row["verbatim_taxon"]) == ("GPOR", "Spring Sal")


# Worked by hand: New York is at UTC-4 in summer and UTC-5 in winter; on 2023-11-05 the hour from 01:00 came
# twice (IANA time zone database).
@pytest.mark.parametrize(
    ("day", "start", "instant"),
    [
        ("2023-06-10", "20:00", "2023-06-11 00:00"),
        ("2023-12-10", "20:00", "2023-12-11 01:00"),
        ("2023-11-05", "01:30", "2023-11-05 06:30"),
        ("2023-03-12", "02:30", "2023-03-12 07:00"),
    ],
)
def test_clock_times_become_instants(day: str, start: str, instant: str) -> None:
    made = completing.instant(pd.Series(pd.to_datetime([day])), pd.Series([start], dtype="str"), "America/New_York")
    assert made.iloc[0] == pd.Timestamp(instant)


def test_a_find_before_the_start_belongs_to_the_next_day(book: Settings, tmp_path: Path) -> None:
    visits = "visit_id,site_id,visit_date,start_time,end_time,protocol,search_minutes\nN,S1,2023-07-01,22:00,01:30,visual_encounter,60\n"
    finds = "find_id,visit_id,found_at,taxon,life_stage,count,microhabitat\nX,N,00:30,GPOR,adult,1,rock_in_flow\n"
    checked = run([*base(), *write(tmp_path, visits_more=visits, finds_more=finds)], book)
    assert checked.flags.empty
    assert checked.tables["finds"].accepted.set_index("find_id").at["X", "found_utc"] == pd.Timestamp("2023-07-02 04:30")


def test_a_check_that_names_no_row_stops_the_run(book: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    import pandera.pandas as pa

    class Broken(pa.DataFrameModel):
        @pa.dataframe_check
        def never(cls, frame: pd.DataFrame) -> bool:
            return False

    monkeypatch.setitem(columns.MODELS, "sites", Broken)
    with pytest.raises(AssertionError, match="failed without naming a row"):
        run(base(), book)


GARBAGE = st.one_of(
    st.sampled_from(["", " ", "V1", "V2", "S1", "F1", "GPOR", "XXXX", "adult", "larva", "1", "0", "12.5", "-99", "1e400", "inf", "NaN",
                     "55",
                     "2023-06-10",
                     "06/07/2023", "2052-01-01", "20:00", "25:61", "yes", "rock_in_flow", "visual_encounter", "headwater",
                     "36.21", "-81.91", "36.21 N, 81.91 W", "GPOR|ETEN"]),
    st.text(st.characters(exclude_categories=("Cs",)), max_size=8),
)  # fmt: skip


@st.composite
def sheet(draw: st.DrawFn, table: str) -> SourceTable:
    declared = fields(table)
    needed = [name for name, field in declared.items() if field.required]
    others = draw(
        st.lists(
            st.sampled_from([name for name, field in declared.items() if not field.required and not field.derived]), unique=True, max_size=6
        )
    )
    columns = [*needed, *others, *(["a column of mine"] if draw(st.booleans()) else [])]
    rows = draw(st.lists(st.lists(GARBAGE, min_size=len(columns), max_size=len(columns)), max_size=5))
    rows = [row for row in rows if any(cell.strip() for cell in row)]
    misshapen = {place: (*rows[place], "x") for place in range(len(rows)) if draw(st.integers(0, 9)) == 0}
    lines = np.arange(2, 2 + len(rows))
    return SourceTable(f"{table}.csv", "", pd.DataFrame(rows, columns=columns, dtype="str"), lines, "0", misshapen, 0)


@given(st.tuples(*(sheet(table) for table in LOADED)), st.booleans())
@settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
def test_accounting_closes(tables: tuple[SourceTable, ...], with_base: bool) -> None:
    book = read_settings(CASES / "base")
    every = [*(read.read_files(base()) if with_base else []), *tables]
    sources = [source for one in every for source in mapping.apply_map(own_sheets.own_map([one])[0], [one])]
    checked = check.check(sources, book, empty(), TODAY)
    account = accounting.account(checked)
    assert sum(account.rows.values()) == sum(len(one.cells) for one in every)
    assert sum(account.cells.values()) == sum(one.cells.size for one in every)
    assert sum(len(fates) for fates in account.row_fates) == sum(account.rows.values())
    for table, one in checked.tables.items():
        assert len(one.accepted) + len(one.held_rows) == len(set(one.merged.row_of))
        assert one.accepted[key_of(table)].is_unique
        _assert_no_value_changed(table, one)
    in_cells = checked.held[(checked.held["field"] != "") & (checked.held["column"] != "")]
    for row in in_cells.itertuples():
        assert row.text == sources[row.source].source.cells[row.column].iloc[row.row]


def _assert_no_value_changed(table: str, one: TableCheck) -> None:
    """Every stored value of a plain field is the value of a source cell, or nothing."""
    for name, field in fields(table).items():
        if field.derived or name in ("taxon", "verbatim_taxon", "target_taxa", "latitude", "longitude", "coordinate_uncertainty_m"):
            continue
        stored = Counter(as_text(one.accepted[name], field.kind).dropna())
        assert not stored - Counter(one.candidates.text[name].dropna())
