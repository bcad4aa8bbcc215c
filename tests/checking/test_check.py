"""Checks: every rule has a bad row that breaks it and nothing else; nothing is lost, changed or hidden by another fault."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from checked_sheets import CASES, base, run, write

from pipeline.checking.outcome import ROW_TOO_LONG
from pipeline.settings import Settings, read_settings
from schemas.rules.column_faults import COLUMN_FAULTS
from schemas.rules.rules import FLAG, FLAG_EXCLUDE, HOLD_ROW, HOLD_VALUE, RULES
from schemas.tables import key_of

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
# What a case cannot avoid: above 25 °C is unusual as well as warm, and far from the water of its visit; a row can hang only on a row that
# is held for a reason of its own.
COMPANIONS = {
    "visit_warm_water": {"unexpected"}, "warm_for_cool_stream": {"unexpected", "apart_from_visit"}, "parent_held": {"date_future"},
}  # fmt: skip


@pytest.fixture(scope="module")
def book() -> Settings:
    return read_settings(CASES / "base")


def test_the_base_book_breaks_no_rule(book: Settings) -> None:
    checked = run(base(), book)
    assert checked.held.empty and checked.flags.empty
    assert {table: len(one.accepted) for table, one in checked.tables.items()} == {
        "sites": 1, "visits": 2, "finds": 2, "availability": 1, "enclosures": 1, "loggers": 2,
        "water_tests": 2, "husbandry_events": 1,
    }  # fmt: skip


def test_a_value_that_one_rule_holds_is_not_marked_by_another(book: Settings, tmp_path: Path) -> None:
    line = "find_id,visit_id,taxon,life_stage,count,microhabitat,svl_mm,total_length_mm\nX,V1,GPOR,egg_mass,1,rock_in_flow,50,{length}"
    for length, held, marked in ((40, ["total_length_below_svl"] * 2, []), (90, [], ["egg_mass_with_svl"])):
        checked = run([*base(), *write(tmp_path, more=line.format(length=length))], book)
        assert checked.held["rule"].tolist() == held
        assert checked.flags.loc[checked.flags["row_key"] == "X", "rule"].tolist() == marked


def test_every_rule_does_what_is_wanted_of_it() -> None:
    assert {rule.id: rule.effect for rule in RULES} == WANTED


def test_every_rule_and_every_column_check_has_a_case() -> None:
    cases = {path.name.split(".")[0] for path in CASES.glob("*.csv")}
    # a clock that lacks am or pm is known by a column map alone: tests/reading/test_values.py
    of_columns = {one.id for one in COLUMN_FAULTS} - {"clock_half_missing"}
    assert cases == {rule.id for rule in RULES} | of_columns | {ROW_TOO_LONG}


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
