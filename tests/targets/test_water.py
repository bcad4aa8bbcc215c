"""Water from the book to the page: worked by hand, for any readings, and pH of ncr_lotic_2005_2017 counted again.

Source: ncr_lotic_2005_2017 from jclbrooks/MD_Stream_Salamanders @4936470. The rest is invented.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from real_data_tables import Loaded
from small_book import TOML

from pipeline.book.connection import open_book
from pipeline.formulas.water import water_limits
from pipeline.settings import parse_settings, read_settings
from pipeline.targets import water as own
from pipeline.targets.water_evidence import UNCORRECTED, water_readings
from schemas.frames.air_and_water import WATER_LEFT_OUT_COLUMNS, WATER_READING_COLUMNS, WATER_TARGET_COLUMNS
from schemas.vocabulary import vocabulary

BOOK = parse_settings(TOML, "test")
NO_VALUES = pd.DataFrame(columns=list(WATER_LEFT_OUT_COLUMNS)).astype({"month": "int64", "n_visits": "int64"})


# --- bands -------------------------------------------------------------------------------------------------------------------------------


def study(values: Any, month: int = 7, sites: int = 4, dates: int = 12, quantity: str = "ph", years: int = 2) -> pd.DataFrame:
    """One value of every site on every date."""
    n = sites * dates
    day = np.arange(n) // sites
    date = pd.to_datetime(pd.DataFrame({"year": 2015 + day % years, "month": month, "day": 1 + day}))
    frame = pd.DataFrame({"date": date, "site": [f"s{one % sites}" for one in range(n)], "value": np.resize(np.asarray(values, float), n)})
    return frame.assign(
        taxon="DFUS", population="", life_stage="larva", visit_id=[f"V{one}" for one in range(n)], month=month, year=2015 + day % years,
        quantity=quantity, medium_assumed=False, n_animals=1,
    )[list(WATER_READING_COLUMNS)]  # fmt: skip


def derive(frame: pd.DataFrame, left_out: pd.DataFrame = NO_VALUES) -> pd.DataFrame:
    made = own.water_targets(frame, left_out, BOOK.taxa, BOOK)
    assert list(made.columns) == list(WATER_TARGET_COLUMNS)
    return made.set_index(["season", "quantity"])


def test_band_is_p10_to_p90_of_site_days_rounded_inward() -> None:
    """40 days of one month at 4 sites, ten values each the same share: the 1st of 10 and the 9th of 10 reach 10 and 90 %."""
    values = [6.04, 6.12, 6.2, 6.3, 6.4, 6.5, 6.6, 6.7, 6.88, 7.2]
    row = derive(study(values, sites=4, dates=25)).loc[("warm", "ph")]
    assert (row["min"], row["p10"], row["p90"], row["max"]) == (6.04, 6.04, 6.88, 7.2)
    assert (row["band_low"], row["band_high"], row["status"], row["unit"]) == (6.1, 6.8, "found", "")
    assert (row["n_visits"], row["n_sites"], row["n_dates"], row["n_years"], row["months"]) == (100, 4, 25, 2, "July")


def test_a_site_measured_often_weighs_no_more() -> None:
    often = study(7.5, sites=1, dates=28).assign(site="often")
    rarely = study(6.0, sites=3, dates=2)
    assert derive(pd.concat([often, rarely], ignore_index=True)).loc[("warm", "ph"), "p50"] == 6.0


@pytest.mark.parametrize(("month", "season"), [(6, "warm"), (9, "warm"), (12, "cold"), (3, "cold"), (4, "other"), (11, "other")])
def test_seasons_are_those_of_the_book(month: int, season: str) -> None:
    made = derive(study(6.5, month=month))
    assert made.xs("ph", level="quantity")["status"].to_dict() == {name: "found" if name == season else "refused" for name in own.SEASONS}


@pytest.mark.parametrize(("sites", "dates", "grade"), [(2, 12, "D"), (3, 5, "D"), (3, 6, "C"), (14, 28, "C")])
def test_never_better_than_provisional_and_refused_below(sites: int, dates: int, grade: str) -> None:
    row = derive(study(6.5, sites=sites, dates=dates)).loc[("warm", "ph")]
    assert row["grade"] == grade and (row["status"] == "refused") == np.isnan(row["band_low"]) == (grade == "D")
    assert row["p50"] == 6.5, "what was read is listed even where there is no band"
    assert ("needed" in row["reason"]) == (grade == "D")


def test_hardness_is_said_to_be_not_recorded_and_what_is_not_used_is_counted() -> None:
    left_out = NO_VALUES.copy()
    left_out.loc[0] = ["DFUS", "", "larva", 7, "conductivity", UNCORRECTED, 9]
    left_out.loc[1] = ["DFUS", "", "larva", 1, "conductivity", UNCORRECTED, 4]
    made = derive(study(6.5), left_out.astype({"month": "int64", "n_visits": "int64"}))
    assert (made.xs("hardness", level="quantity")["reason"] == own.NO_FIELD).all()
    assert made.xs("conductivity", level="quantity")["n_not_used"].to_dict() == {"warm": 9, "cold": 4, "other": 0}
    assert made.loc[("warm", "conductivity"), "reason"] == f"read and not usable (9 {UNCORRECTED})"
    assert made.loc[("other", "conductivity"), "reason"] == own.NOT_MEASURED


STEPS = {"ph": 0.1, "conductivity": 1.0, "oxygen": 0.1, "saturation": 1.0}


@hypothesis_settings(max_examples=60)
@given(st.sampled_from(sorted(STEPS)), st.lists(st.floats(0.5, 300, allow_nan=False), min_size=1, max_size=40))
def test_band_lies_inside_what_was_found_or_is_one_step(quantity: str, values: list[float]) -> None:
    row = derive(study(values, quantity=quantity)).loc[("warm", quantity)]
    assert row["min"] <= row["p10"] <= row["p50"] <= row["p90"] <= row["max"]
    assert row["band_low"] <= row["band_high"] <= row["p90"] + 1e-6
    assert row["band_low"] >= row["p10"] - 1e-6 or row["band_low"] == row["band_high"] > row["p10"] - STEPS[quantity]


# --- words -------------------------------------------------------------------------------------------------------------------------------


def test_published_limits_stand_apart_with_kind_and_source() -> None:
    rows = own.water_rows(derive(study(6.5)).reset_index(), "Gyrinophilus porphyriticus", "larva")
    parts = [row["part"] for row in rows]
    assert parts.index("published") > max(place for place, part in enumerate(parts) if part != "published")
    published = [row["text"] for row in rows if row["part"] == "published"]
    assert any("3.5 killed half" in text and "measured limit: Green & Peloquin 2008" in text for text in published)
    assert all("(judgement)" in text or "(published guidance" in text or "(measured limit" in text for text in published)
    assert not any("in a test" in text for text in [row["text"] for row in rows if row["part"] == "found"])


def test_limits_of_other_species_and_stages_are_left_out() -> None:
    for name, stage in (("Desmognathus fuscus", "larva"), ("Gyrinophilus porphyriticus", "adult")):
        rows = own.water_rows(derive(study(6.5)).reset_index(), name, stage)
        assert not any("killed half" in row["text"] for row in rows)


def test_general_ph_stands_in_only_where_the_site_is_not_known() -> None:
    """A wild band of 5.2 beside "not below 6" would say two things."""
    acid = own.water_rows(derive(study(5.2)).reset_index(), "Desmognathus fuscus", "larva")
    unknown = own.water_rows(derive(study(5.2, sites=1)).reset_index(), "Desmognathus fuscus", "larva")
    assert not any("not below 6" in row["text"] for row in acid) and any("not below 6" in row["text"] for row in unknown)
    assert any(
        "not below 6" in row["text"] for row in own.water_rows(derive(study(5.2)).iloc[:0].reset_index(), "Desmognathus fuscus", "larva")
    )


def test_every_published_word_belongs_to_a_limit() -> None:
    every = set(water_limits()["quantity"])
    assert set(own.PUBLISHED) <= every
    shown = {"ph", "conductivity", "oxygen", "hardness"}
    constants = {"conductivity_alpha", "hardness_per_dgh"}
    assert {name for name in every if name.split("_")[0] in shown} - constants == set(own.PUBLISHED)


# --- pH of a real survey -----------------------------------------------------------------------------------------------------------------


def test_ncr_ph_agrees_with_a_count_of_the_stored_rows(real_sheet: Callable[[str], Loaded]) -> None:
    """Larvae of Eurycea bislineata: a median of each waterbody and day, each site and month alike, from the tables as stored."""
    folder = real_sheet("ncr_lotic_2005_2017").folder
    settings = read_settings(folder)
    with open_book(folder) as connection:
        readings, left_out = water_readings(connection, settings)
        sites, visits, finds = (connection.execute(f"SELECT * FROM {table}").df() for table in ("sites", "visits", "finds"))
    assert set(left_out["reason"]) == {UNCORRECTED} and set(readings["quantity"]) == {"ph"}
    channel = [code for code, row in vocabulary("microhabitat").items() if row["in_channel"] == "yes"]
    larvae = finds[finds["taxon"].eq("EBIS") & finds["life_stage"].eq("larva") & finds["microhabitat"].isin(channel)]
    plain = larvae.merge(visits, on="visit_id").merge(sites, on="site_id").dropna(subset=["ph"]).drop_duplicates("visit_id")
    # Two of these visits read 25.4 and 29.9 °C in a cool stream: flagged, not settled.
    assert sorted(plain.loc[plain["water_temp_c_y"] > 25, "water_temp_c_y"]) == [25.4, 29.9]
    plain = plain[~(plain["water_temp_c_y"] > 25)]
    days = plain.groupby(["waterbody", "visit_date"])["ph"].apply(lambda values: sorted(values)[(len(values) - 1) // 2]).reset_index()
    ours = readings[readings["taxon"].eq("EBIS") & readings["life_stage"].eq("larva")]
    assert len(ours) == len(days) > 100
    assert sorted(ours["value"]) == sorted(days["ph"])
    warm = days[days["visit_date"].dt.month.isin(settings.warm_months)].copy()
    warm["month"] = warm["visit_date"].dt.month
    in_month = warm.groupby(["waterbody", "month"])["ph"].transform("size")
    months = warm.groupby("waterbody")["month"].transform("nunique")
    warm["weight"] = 1 / in_month / months / warm["waterbody"].nunique()
    ranked = warm.sort_values("ph")
    row = own.water_targets(readings, left_out, settings.taxa, settings).set_index(["taxon", "life_stage", "season", "quantity"])
    row = row.loc[("EBIS", "larva", "warm", "ph")]
    for name, share in (("p10", 0.1), ("p50", 0.5), ("p90", 0.9)):
        assert row[name] == ranked.loc[(ranked["weight"].cumsum() >= share - 1e-12).idxmax(), "ph"]
    assert (row["n_visits"], row["n_sites"], row["grade"], row["status"]) == (len(warm), warm["waterbody"].nunique(), "C", "found")
