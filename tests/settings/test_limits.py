"""Limits: each CTmax row against the open compilation, the rule of the method against hand-worked cases, and the file's own order."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from pipeline.settings import limits
from schemas.vocabulary import codes

ROOT = Path(__file__).resolve().parents[2]
OPEN_DATA = Path(os.environ.get("RILLBOOK_OPEN_DATA", ROOT.parent / "shared" / "open_data"))
HEAT = (OPEN_DATA if OPEN_DATA.is_absolute() else ROOT / OPEN_DATA) / "heat_tolerance" / "plethodontidae.csv"
missing = pytest.mark.skipif(
    not HEAT.is_file(), reason="the open data are not here: RILLBOOK_OPEN_DATA names no folder with heat_tolerance"
)


def needs_heat(test: Callable[..., None]) -> Callable[..., None]:
    return pytest.mark.open_data(missing(test))


KINDS = {"measured limit", "published guidance", "common practice", "judgement"}
ENDPOINTS = {
    "LRR": "loss of righting",
    "OS": "onset of spasms",
    "prodding": "no response to prodding",
    "other": "another sign of the study",
}
STAGES = {"adults": "adult", "juveniles": "juvenile", "larvae": "larva"}


@pytest.fixture(scope="module")
def heat() -> pd.DataFrame:
    return pd.read_csv(HEAT).set_index("unique_ID")


@pytest.fixture(scope="module")
def table() -> pd.DataFrame:
    return limits.read_limits()


def _from_compilation(table: pd.DataFrame, quantity: str) -> pd.DataFrame:
    rows = table[table["quantity"].eq(quantity)]
    return rows.assign(key=rows["note"].str.extract(r"^Pottier et al\. 2025 row (\d+)", expand=False).astype(int))


@needs_heat
@pytest.mark.parametrize(("quantity", "metric"), [("ctmax", "CTmax"), ("preferred_temperature", "Tpref")])
def test_every_row_is_that_of_its_study(table: pd.DataFrame, heat: pd.DataFrame, quantity: str, metric: str) -> None:
    """Pottier et al. 2025, Scientific Data: value (cut to 0.01 °C), acclimation, endpoint, stage, animals, study."""
    ours = _from_compilation(table, quantity)
    theirs = heat.loc[ours["key"]].reset_index()
    assert len(ours) > 0 and not ours["key"].duplicated().any()
    assert (theirs["metric"] == metric).all()
    assert ours["taxon_or_group"].str.split().str[:2].str.join(" ").tolist() == theirs["species"].tolist()
    gap = theirs["mean_trait"].to_numpy() - ours["value"].to_numpy()
    assert (gap > -1e-9).all() and (gap < 0.01).all()
    np.testing.assert_array_equal(ours["acclimation_c"].to_numpy(), theirs["acclimation_temp"].to_numpy())
    assert ours["field_fresh"].tolist() == theirs["acclimated"].eq("field-fresh").tolist()
    assert ours["endpoint"].tolist() == theirs["endpoint"].map(ENDPOINTS).fillna("").tolist()
    assert ours["life_stage"].tolist() == theirs["life_stage_tested"].map(STAGES).tolist()
    assert ours["n_animals"].astype("float64").fillna(-1).tolist() == theirs["n_trait"].fillna(-1).tolist()
    assert ours["year"].tolist() == theirs["pub_year"].tolist()
    first = theirs["ref"].str.split("_").str[0]
    assert [source.split(" ")[0] for source in ours["source"]] == first.tolist()


@needs_heat
def test_every_ctmax_row_of_the_compilation_is_here(table: pd.DataFrame, heat: pd.DataFrame) -> None:
    ours = _from_compilation(table, "ctmax")
    theirs = heat[heat["metric"].eq("CTmax")]
    assert set(ours["key"]) == set(theirs.index) and len(ours) == 196


@needs_heat
def test_taxa_said_to_have_no_row_have_none(heat: pd.DataFrame) -> None:
    """As listed in data/reference/README.md."""
    none = {"Eurycea cirrigera", "Eurycea wilderae", "Eurycea guttolineata", "Desmognathus imitator", "Desmognathus wrighti"}
    none |= {"Desmognathus santeetlah", "Desmognathus conanti", "Plethodon oconaluftee"}
    assert not (heat["metric"].eq("CTmax") & heat["species"].isin(none)).any()
    text = (ROOT / "data" / "reference" / "README.md").read_text(encoding="utf-8")
    assert all(name in text for name in none)


@needs_heat
def test_the_familys_tenth_percentile(table: pd.DataFrame, heat: pd.DataFrame) -> None:
    """32.1 °C over 174 rows acclimated at 10 °C or more or field-fresh, by types 1, 7 and 8 of Hyndman & Fan alike."""
    ctmax = heat[heat["metric"].eq("CTmax")]
    used = ctmax.loc[ctmax["acclimated"].eq("field-fresh") | ctmax["acclimation_temp"].ge(10), "mean_trait"]
    row = table[table["quantity"].eq("ctmax_p10")].iloc[0]
    assert len(used) == 174 and "174 CTmax rows" in row["note"]
    for method in ("inverted_cdf", "linear"):
        assert round(float(np.quantile(used, 0.1, method=method)), 2) == row["value"]
    assert float(np.quantile(used, 0.1, method="median_unbiased")) == pytest.approx(row["value"], abs=0.01)


@needs_heat
def test_no_larva_was_ever_measured(table: pd.DataFrame, heat: pd.DataFrame) -> None:
    larvae = heat[heat["life_stage_tested"].eq("larvae")]
    assert len(heat) == 375 and len(larvae) == 6 and larvae["metric"].eq("Tpref").all()
    statement = table[table["quantity"].eq("no_figure") & table["taxon_or_group"].eq("Plethodontidae")].iloc[0]
    assert "No larval heat limit was ever measured" in statement["note"] and "of the 375" in statement["note"]
    assert not table[table["quantity"].eq("ctmax")]["life_stage"].eq("larva").any()


@needs_heat
def test_the_seven_mislabelled_rows_are_left_out(table: pd.DataFrame, heat: pd.DataFrame) -> None:
    """Sievert & Andreadis 2002, labelled Desmognathus fuscus in the compilation, are of another species."""
    wrong = heat.index[heat["ref"].str.startswith("Sievert") & heat["species"].eq("Desmognathus fuscus")]
    assert len(wrong) == 7
    ours = table["note"].str.extract(r"^Pottier et al\. 2025 row (\d+)", expand=False).dropna().astype(int)
    assert not set(ours) & set(wrong)
    assert not (table["source"].str.startswith("Sievert") & table["taxon_or_group"].str.startswith("Desmognathus fuscus")).any()


@needs_heat
def test_water_of_the_warm_spring_species(table: pd.DataFrame, heat: pd.DataFrame) -> None:
    ours = _from_compilation(table, "water_at_capture")
    assert ours["value"].tolist() == heat.loc[ours["key"], "water_temp"].tolist() == [21.7, 21.9]


@pytest.mark.parametrize(
    ("name", "ctmax", "endpoint", "study", "n_rows", "family"),
    [
        # Many rows: the lowest at 10 °C or more, not the 31.0 °C of animals held at 5 °C.
        ("Desmognathus fuscus", 32.2, "onset of spasms", "Zweifel 1957", 17, False),
        # Exactly five own rows, one far below the rest and below the family.
        ("Desmognathus ochrophaeus", 29.23, "loss of righting", "Lutterschmidt & Hutchison 1997", 9, False),
        # Field-fresh rows count, and here one is the lowest.
        ("Desmognathus quadramaculatus", 31.12, "onset of spasms", "Zweifel 1957", 5, False),
        ("Eurycea bislineata", 32.06, "onset of spasms", "Hutchison 1961", 21, False),
        # Four rows and one row: the family is lower than their own 33.1 and 33.43.
        ("Desmognathus monticola", 32.1, "mixed", "Pottier et al. 2025", 4, True),
        ("Gyrinophilus porphyriticus", 32.1, "mixed", "Pottier et al. 2025", 1, True),
        # No row, a genus, a family unknown here: the family alone.
        ("Eurycea wilderae", 32.1, "mixed", "Pottier et al. 2025", 0, True),
        ("Eurycea", 32.1, "mixed", "Pottier et al. 2025", 0, True),
        ("Eurycea sp.", 32.1, "mixed", "Pottier et al. 2025", 0, True),
        ("Plethodon", 32.1, "mixed", "Pottier et al. 2025", 0, True),
    ],
)
def test_ctmax_limit_by_hand(name: str, ctmax: float, endpoint: str, study: str, n_rows: int, family: bool) -> None:
    """Worked by hand from the compilation; less 12 °C."""
    limit = limits.ctmax_limit(name)
    assert limit["ctmax"] == ctmax
    assert limit["value"] == pytest.approx(ctmax - 12, abs=1e-9)
    assert (limit["endpoint"], limit["study"], limit["n_rows"], limit["family"]) == (endpoint, study, n_rows, family)
    assert "no larva was ever measured" in limit["note"] and "less 12 °C" in limit["note"]


def test_a_juvenile_row_says_so() -> None:
    assert "Juvenile data" in limits.ctmax_limit("Eurycea bislineata")["note"]
    assert "Adult data" in limits.ctmax_limit("Desmognathus fuscus")["note"]


def test_endpoints_are_never_averaged(table: pd.DataFrame) -> None:
    rows = table[table["quantity"].eq("ctmax")]
    assert set(rows["endpoint"]) == set(ENDPOINTS.values())
    for name in set(rows["taxon_or_group"].str.split().str[:2].str.join(" ")):
        limit = limits.ctmax_limit(name)
        mine = limits.ctmax_rows(name)
        if not limit["family"]:
            assert limit["ctmax"] in mine.loc[mine["endpoint"].eq(limit["endpoint"]), "value"].tolist()
        assert limit["ctmax"] <= mine["value"].min()


def test_subspecies_lower_a_limit_but_do_not_make_it_well_known() -> None:
    """Animals named Eurycea longicauda guttolineata are another species today: 4 rows, 2 of them its own."""
    rows = limits.ctmax_rows("Eurycea longicauda")
    assert rows["own"].tolist().count(True) == 2 and len(rows) == 4
    assert limits.ctmax_rows("Eurycea guttolineata").empty


def test_cold_animals_are_left_out() -> None:
    rows = limits.ctmax_rows("Eurycea bislineata")
    assert (rows["acclimation_c"].ge(10) | rows["field_fresh"]).all()
    assert limits.ctmax_rows("Desmognathus quadramaculatus")["field_fresh"].sum() == 1


def test_caps() -> None:
    """20 °C for cool streams is the method's; 22 °C is common practice, no source, and no cap exceeds it."""
    caps = {group: limits.group_cap(group) for group in codes("taxon_group")}
    assert {group for group, cap in caps.items() if cap is None} == {"warm_spring", "cave", "other"}
    assert caps["cool_stream"] is not None and caps["cool_stream"]["value"] == 20
    for cap in caps.values():
        assert cap is None or (cap["value"] <= 22 and cap["kind"] == "judgement" and len(cap["note"]) > 40)


def test_judgements_at_the_tank() -> None:
    """Source: docs/method.md for the 2 h; the others are written out once more so that a slip in the table shows."""
    expected = {"reading_age_most": 2, "still_most": 24, "day_known_least": 0.75, "audit_days": 30, "growth_finds_least": 10}
    assert {name: limits.judgement(name) for name in expected} == expected


def test_judgements_of_the_method() -> None:
    """The numbers of docs/method.md, written out once more so that a slip in the table shows."""
    expected = {
        "ctmax_margin": 12, "emergency_line": 22, "accuracy_default": 1.0, "daytime_half_range": 1.5, "daytime_peak_hour": 16,
        "daytime_flat_depth": 20, "one_year": 1.0, "few_warm_months": 1.0, "warm_months_least": 3, "from_visit_only": 0.5,
        "ceiling_over_act": 1.0,
        "thermostat_margin": 1.0, "act_line_step": 2.0, "floor_least": 1.0, "bound_percentile": 15, "floor_percentile": 85,
        "replicates": 2000, "p50_low_percentile": 2.5, "p50_high_percentile": 97.5, "p50_sites_least": 5, "p50_dates_least": 6,
        "month_share": 1 / 3, "rounding_a": 0.5, "rounding_b": 1, "rounding_c": 1, "spring_low_percentile": 10,
        "spring_high_percentile": 90, "ctmax_rows_least": 5, "ctmax_acclimation_least": 10,
    }  # fmt: skip
    assert {name: limits.judgement(name) for name in expected} == expected
    rules = limits.grade_rules()
    assert rules.loc["A"].to_dict() == {"sites": 12, "dates": 24, "visits": 60, "years": 3, "half_width": 1.5, "night_share": 0.2}
    assert rules.loc["B"].to_dict() == {"sites": 6, "dates": 12, "visits": 30, "years": 2, "half_width": 2.5, "night_share": 0}
    assert rules.loc["C"].to_dict() == {"sites": 3, "dates": 6, "visits": 10, "years": 0, "half_width": np.inf, "night_share": 0}


@pytest.mark.parametrize("name", ["no_such_number", "group_cap", "ctmax", "ctmax_p10"])
def test_a_name_that_is_no_single_judgement_is_refused(name: str) -> None:
    with pytest.raises(KeyError, match=name):
        limits.judgement(name)


def test_guidance_is_marked_and_never_crosses_to_eggs() -> None:
    stages = [stage for stage in codes("life_stage") if stage != "undetermined"]
    for group in codes("taxon_group"):
        for stage in stages:
            rows = limits.published_guidance(group, stage, "Eurycea wilderae")
            assert len(rows) and set(rows["kind"]) <= KINDS
            assert (rows["value"].notna() | rows["note"].str.len().gt(40)).all()
            if stage in ("egg_mass", "hatchling"):
                assert rows["value"].isna().all()
    larva = limits.published_guidance("cool_stream", "larva", "Eurycea wilderae")
    assert larva.loc[larva["quantity"].eq("preferred_temperature"), "value"].tolist() == [15.7]
    assert larva["note"].str.contains("No larval heat limit").any()
    assert "emergency_line" in set(larva["quantity"])
    assert "preferred_temperature" not in set(limits.published_guidance("cool_stream", "adult", "Eurycea wilderae")["quantity"])
    for group in ("warm_spring", "cave"):
        assert limits.published_guidance(group, "adult")["value"].isna().all()


def test_no_guidance_invites_80_fahrenheit(table: pd.DataFrame) -> None:
    """26.7 °C (80 °F) is inside nothing that is shown as guidance (common practice, no source)."""
    shown = table[table["quantity"].isin(limits.GUIDANCE)]
    assert shown["value"].max() < 26.7


def test_the_table_is_in_order(table: pd.DataFrame) -> None:
    """Kinds, units, stages and groups are known; a measured or published figure has a source and a year, a judgement a reason only."""
    assert set(table["kind"]) == KINDS
    counted = {"rows", "months", "count", "sites", "dates", "visits", "years"}
    assert set(table.loc[table["value"].notna(), "unit"]) <= {"°C", "h", "cm", "%", "share", "days", "°C/h", "°C a week"} | counted
    for stages in table["life_stage"]:
        assert stages == "" or set(stages.split("|")) <= set(codes("life_stage"))
    sourced = table["kind"].isin(["measured limit", "published guidance"])
    assert table.loc[sourced, "source"].str.fullmatch(r".+ \d{4}[ab]?").all() and table.loc[sourced, "year"].notna().all()
    assert (table.loc[~sourced, "source"] == "").all() and table.loc[~sourced, "year"].isna().all()
    assert (table["note"].str.len() > 5).all()
    assert table.loc[table["kind"].eq("common practice"), "note"].str.contains("common practice, no source").all()
    groups = set(table.loc[table["quantity"].eq("group_cap"), "taxon_or_group"])
    assert groups <= set(codes("taxon_group"))
    dois = table.loc[table["doi"].ne(""), "doi"]
    assert all(re.fullmatch(r"10\.\d{4,}/\S+", doi) for doi in dois)
    assert not table.duplicated(["taxon_or_group", "life_stage", "quantity", "endpoint", "acclimation_c", "note"]).any()


def test_every_study_is_listed_in_the_readme(table: pd.DataFrame) -> None:
    text = (ROOT / "data" / "reference" / "README.md").read_text(encoding="utf-8")
    for source in set(table["source"]) - {""}:
        assert source in text, source
    for quantity in set(table["quantity"]) - {"ctmax", "group_cap"}:
        assert f"`{quantity}`" in text or quantity.startswith(("grade_", "rounding_", "guide_")), quantity


def test_a_caller_cannot_spoil_the_table() -> None:
    copy = limits.read_limits()
    copy["value"] = 40.0
    rows = limits.ctmax_rows("Desmognathus fuscus")
    rows["value"] = 40.0
    assert limits.ctmax_limit("Desmognathus fuscus")["ctmax"] == 32.2
