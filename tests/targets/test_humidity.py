"""Humidity from the book to the page: worked by hand, for any readings, and on the night surveys of gsmnp_2012.

Sources: FAO Irrigation and Drainage Paper 56 (Allen et al. 1998), Example 4 for a wet bulb and eq. 11 for another saturation vapour
pressure than ours; Feder & Londos 1984 (abstract) for the cap; gsmnp_2012 from Hocking et al. 2021, Ecol Evol 11:1378,
doi:10.1002/ece3.7142, row-level file bhanak03/hanakbe2 @b2c4e70. The small books are invented. That missing evidence never dries a target
is a statement that the method makes of itself.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from examples import examples
from humid_studies import BOOK, NIGHT, derive, empty, fao_saturation_kpa, study, table
from hypothesis import HealthCheck, given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from real_data_tables import Loaded
from small_book import SITE, VISIT
from small_book import book as small_book

from pipeline.book.connection import open_book
from pipeline.formulas.moist_air import constant, vapour_pressure_deficit_kpa
from pipeline.settings import Settings, read_settings
from pipeline.targets import humidity as own
from pipeline.targets import humidity_words, ledger
from pipeline.targets.humidity_evidence import THE_VISITS, humidity_readings
from schemas.frames.air_and_water import HUMIDITY_FIGURE_COLUMNS

# --- targets, by hand --------------------------------------------------------------------------------------------------------------------


def test_equal_deficits_are_their_own_bound_cut_to_the_step() -> None:
    """15 °C and 85 %: 0.2557 kPa by FAO-56 eq. 11, cut to 0.25."""
    target = derive(study(15, 85)).iloc[0]
    assert target["deficit_bound"] == target["deficit_p50"] == pytest.approx(0.15 * fao_saturation_kpa(15), rel=2e-3)
    assert (target["deficit"], target["bound_by"], target["status"], target["grade"]) == (0.25, own.OWN_BOUND, "target", "C")
    assert "ASHRAE" in target["formula"] and target["reason"] == "one year only: it speaks of that year"


def test_no_target_allows_more_than_feder_and_londos() -> None:
    """At 0.35 kPa and more they left the open much sooner (abstract). The reading of 60 % at 15 °C lacks 0.68 kPa."""
    target = derive(study(15, 60)).iloc[0]
    assert (target["deficit"], target["deficit_cap"], target["bound_by"]) == (0.35, 0.35, own.CAP)


def test_least_humidity_of_the_cap_agrees_with_another_formula() -> None:
    """0.35 kPa needs 75, 79, 83 and 85 % at 12, 15, 18 and 20 °C by FAO-56 eq. 11, before rounding up; P25 of what was read lies below."""
    made = table(study([11.4, 20.7], [50, 60]))
    assert list(made.index) == list(range(12, 21)), "whole degrees inside the span read, and no other"
    for temp_c, whole in ((12, 75), (15, 79), (18, 83), (20, 85)):
        other = 100 * (1 - 0.35 / fao_saturation_kpa(temp_c))
        assert math.floor(other) == whole and made[temp_c] == math.ceil(other)


def test_humidity_read_stands_below_every_degree() -> None:
    """Carried to 5 °C a warm deficit would dry the air: 100·(1 − 0.35/0.873) = 60 %, where a quarter of the readings lay below 80."""
    frame = study([5.0, 20.0, 20.0, 20.0], [95, 80, 80, 80], sites=5)
    made = own.humidity_table(derive(frame)).set_index("temp_c")
    assert derive(frame)["rh_p25"].iloc[0] == 80
    assert (made.loc[5, "least_rh"], made.loc[5, "set_by"], made.loc[5, "printed"]) == (80, own.BY_READINGS, "80 %")
    assert made.loc[20, "set_by"] == own.BY_DEFICIT


def test_near_saturation_there_are_words_and_no_figure() -> None:
    made = own.humidity_table(derive(study([10, 14], 97)))
    assert set(made["printed"]) == {humidity_words.MIST} and (made["least_rh"] > constant("sensor_top")).all()
    rows = humidity_words.humidity_rows(derive(study([10, 14], 97)).iloc[0].to_dict(), own.humidity_figures(empty()))
    assert not any(sign in row["text"] for row in rows if row["part"] in ("open", "table") for sign in ("kPa", "%"))


def test_deficit_that_cold_air_cannot_have_is_not_attainable() -> None:
    """Saturated air over ice at −20 °C holds 0.103 kPa (WMO ice formula, 6.112·exp(22.46·t/(272.62 + t)) hPa): it cannot lack 0.30."""
    assert 0.6112 * math.exp(22.46 * -20 / (272.62 - 20)) == pytest.approx(0.103, abs=0.001)
    target = derive(study(15, 82)).assign(temp_low=-20.0, temp_high=-19.0)
    made = own.humidity_table(target)
    assert made["least_rh"].isna().all() and made["printed"].str.startswith("not attainable").all()
    words = humidity_words.humidity_rows(target.iloc[0].to_dict(), own.humidity_figures(study(15, 82)))
    assert not any("at least" in row["text"] for row in words if row["part"] == "table")


def test_only_readings_without_a_reason_make_a_target() -> None:
    wet, dry = study(15, 90), study(15, 60, reason=THE_VISITS, from_visit=True)
    both = derive(pd.concat([wet, dry], ignore_index=True)).iloc[0]
    assert both["deficit"] == derive(wet).iloc[0]["deficit"] and both["n_readings"] == len(wet)
    alone = derive(dry).iloc[0]
    assert (alone["status"], alone["reason"], alone["n_readings"]) == ("refused", own.NONE_AT_NIGHT, 0)
    assert own.humidity_table(derive(dry)).empty
    assert derive(study(15, 90, life_stage="undetermined", reason="life stage not told")).empty
    assert derive(empty()).empty


def test_sites_of_a_part_of_the_readings_are_counted_by_row() -> None:
    readings = study([12.0], [95.0], sites=4)
    targets = derive(readings)
    by_day = readings.assign(reason=readings["reason"].where(readings["site"] != "s3", "by day"))
    parts = [(readings, 4), (readings[readings["site"] == "s1"], 1), (by_day, 3), (readings.iloc[:0], 0)]
    assert [own.sites_read(part, targets).tolist() for part, _ in parts] == [[float(n)] for _, n in parts]


@pytest.mark.parametrize(
    ("sites", "dates", "years", "grade"), [(2, 12, 1, "D"), (3, 5, 1, "D"), (3, 6, 1, "C"), (6, 12, 2, "B"), (14, 24, 3, "B")]
)
def test_grades_go_by_the_counts_of_temperature_and_none_is_strong(sites: int, dates: int, years: int, grade: str) -> None:
    target = derive(study(15, 85, sites=sites, dates=dates, years=years)).iloc[0]
    assert target["grade"] == grade
    assert (target["status"] == "refused") == (grade == "D") == bool(np.isnan(target["deficit"]))
    assert "needed" in target["reason"] if grade == "D" else True


# --- for any readings --------------------------------------------------------------------------------------------------------------------

STUDIES = st.builds(
    lambda seed, sites, dates, years, level, spread: study(
        np.random.default_rng(seed).uniform(4, 22, sites * dates).round(1),
        np.clip(np.random.default_rng(seed + 1).normal(level, spread, sites * dates), 20, 100).round(),
        sites=sites, dates=dates, years=years,
    ),
    seed=st.integers(0, 2**31), sites=st.integers(1, 8), dates=st.integers(3, 16), years=st.integers(1, 3),
    level=st.sampled_from([60.0, 80.0, 90.0, 97.0]), spread=st.sampled_from([0.0, 5.0, 15.0]),
)  # fmt: skip
many = hypothesis_settings(max_examples=examples(40, 6), suppress_health_check=[HealthCheck.too_slow])


@many
@given(STUDIES)
def test_no_line_is_drier_than_either_bound_nor_outside_the_span(frame: pd.DataFrame) -> None:
    target = derive(frame).iloc[0]
    made = own.humidity_table(derive(frame))
    assert len(made) == 0 if target["status"] == "refused" else target["deficit"] <= min(target["deficit_bound"], 0.35)
    for line in made.itertuples():
        assert frame["air_temp_c"].min() <= line.temp_c <= frame["air_temp_c"].max()
        assert target["rh_p25"] <= line.least_rh <= 100
        lacks = float(fao_saturation_kpa(line.temp_c)) * (1 - line.least_rh / 100)
        assert lacks <= target["deficit"] * 1.002 + 1e-9


@many
@given(STUDIES, st.integers(0, 2**31), st.sampled_from([0.1, 0.5, 1.0]))
def test_wetter_readings_never_give_a_drier_target(frame: pd.DataFrame, seed: int, share: float) -> None:
    """A blanked instrument or elevation makes some readings wetter and changes nothing else; so this is the exact statement."""
    rng = np.random.default_rng(seed)
    rise = np.where(rng.random(len(frame)) < share, rng.uniform(0, 20, len(frame)), 0.0)
    wetter = frame.assign(rh_pct=np.minimum(frame["rh_pct"] + rise, 100))
    wetter["deficit_kpa"] = vapour_pressure_deficit_kpa(wetter["air_temp_c"], wetter["rh_pct"])
    before, after = derive(frame), derive(wetter)
    assert list(before["status"]) == list(after["status"])
    assert not (after["deficit"] > before["deficit"]).any()
    assert not (table(wetter) < table(frame)).any()


@many
@given(STUDIES, st.integers(0, 2**31), st.sampled_from([0.2, 0.5]))
def test_fewer_visits_print_nothing_drier_than_was_published(frame: pd.DataFrame, seed: int, share: float) -> None:
    """Method §5: what was published from a set of visits is never printed warmer, nor drier, from a subset of them."""
    rng = np.random.default_rng(seed)
    first = derive(frame)
    published = ledger.air_to_publish(first, ledger.air_visits(frame))
    gone = set(rng.permutation(frame["visit_id"].unique())[: max(1, int(share * frame["visit_id"].nunique()))])
    fewer = frame[~frame["visit_id"].isin(gone)]
    if fewer.empty:
        return
    nobody = pd.DataFrame(columns=[*ledger.CELL, "quantity", "value"])
    raw = derive(fewer)
    held, notes = ledger.hold_air(raw, ledger.air_visits(fewer), published, nobody)
    both = held.merge(first, on=["taxon", "population", "life_stage"], suffixes=("", "_first"))
    both = both[(both["status"] == "target") & (both["status_first"] == "target")]
    assert not (both["deficit"] > both["deficit_first"]).any() and not (both["rh_p25"] < both["rh_p25_first"]).any()
    assert len(notes) == int((raw["deficit"] > held["deficit"]).sum() + (raw["rh_p25"] < held["rh_p25"]).sum())


def test_a_named_person_may_take_the_drier_figure() -> None:
    frame = study([12.2, 18.9], [80, 92], sites=4, dates=24)
    first = derive(frame)
    published = ledger.air_to_publish(first, ledger.air_visits(frame)).assign(
        value=lambda rows: rows["value"].where(rows["quantity"] != "deficit", 0.05)
    )
    held, notes = ledger.hold_air(first, ledger.air_visits(frame), published, published.iloc[:0])
    assert held["deficit"].tolist() == [0.05] and notes["quantity"].tolist() == ["deficit"] and ledger.KEPT_AIR in held["reason"].iloc[0]
    taken, none = ledger.hold_air(first, ledger.air_visits(frame), published, notes.rename(columns={"derived": "value"}))
    assert taken["deficit"].tolist() == first["deficit"].tolist() and none.empty


@hypothesis_settings(max_examples=examples(12, 5), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 2**31), st.sampled_from([0.3, 1.0]), st.sampled_from(["psychrometer", "elevation_m", "both"]))
def test_blanked_instrument_or_elevation_in_the_book_dries_nothing(seed: int, share: float, what: str) -> None:
    rng = np.random.default_rng(seed)
    # Two reaches of one stream, so that equal pairs of two instruments meet.
    sites = [
        {**SITE, "site_id": f"S{n}", "waterbody": f"W{max(n, 1)}", "elevation_m": float(rng.choice([-100, 200, 1500, 4000]))}
        for n in range(5)
    ]
    visits, rows = [], []
    for number in range(40):
        date = f"20{rng.integers(18, 21)}-{rng.choice([5, 7, 9])}-{rng.integers(10, 14)}"
        kind = str(rng.choice(["aspirated", "sling", "natural", "still", "electronic"]))
        visits.append({**VISIT, "visit_id": f"V{number}", "site_id": f"S{rng.integers(5)}", "visit_date": date, "psychrometer": kind})
        air = float(rng.integers(8, 18))
        pair = {"rh_pct": 88.0} if kind == "electronic" and rng.random() < 0.5 else {"wet_bulb_c": air - float(rng.integers(0, 7)) / 2}
        rows.append({**NIGHT, "find_id": f"F{number}", "visit_id": f"V{number}", "air_temp_c": air, **pair})
    blank_visits = [{**row, **({"psychrometer": None} if what != "elevation_m" and rng.random() < share else {})} for row in visits]
    blank_sites = [{**row, **({"elevation_m": None} if what != "psychrometer" and rng.random() < share else {})} for row in sites]
    before, _ = humidity_readings(small_book(sites=sites, visits=visits, finds=rows), BOOK)
    after, _ = humidity_readings(small_book(sites=blank_sites, visits=blank_visits, finds=rows), BOOK)
    assert len(before) == len(after) and before["n_finds"].sum() == after["n_finds"].sum()
    assert derive(before)["status"].tolist() == ["target"]
    assert not (derive(after)["deficit"] > derive(before)["deficit"]).any()
    assert list(table(before).index) == list(table(after).index) and not (table(after) < table(before)).any()


# --- words -------------------------------------------------------------------------------------------------------------------------------


# --- the night surveys -------------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def gsmnp(real_sheet: Callable[[str], Loaded]) -> tuple[pd.DataFrame, pd.DataFrame, Settings, Path]:
    """Readings and left-out finds of the sheet, loaded through its map."""
    loaded = real_sheet("gsmnp_2012")
    settings = read_settings(loaded.folder)
    with open_book(loaded.folder) as connection:
        return *humidity_readings(connection, settings), settings, loaded.files[0]


def weighted(frame: pd.DataFrame, column: str, share: float) -> float:
    """Quantile over site-days, written out: a site, a month of it, a day of it and a value of that day share alike."""
    part = {}
    for _site, of_site in frame.groupby("site"):
        for _month, of_month in of_site.groupby(of_site["date"].dt.month):
            for _date, of_day in of_month.groupby("date"):
                for index in of_day.index:
                    months, dates = of_site["date"].dt.month.nunique(), of_month["date"].nunique()
                    part[index] = 1 / frame["site"].nunique() / months / dates / len(of_day)
    ranked = frame.assign(weight=pd.Series(part)).sort_values(column)
    return float(ranked.loc[(ranked["weight"].cumsum() >= share - 1e-12).idxmax(), column])


def test_gsmnp_figures_agree_with_a_count_of_the_sheet(gsmnp: tuple[pd.DataFrame, pd.DataFrame, Settings, Path]) -> None:
    readings, excluded, _, sheet = gsmnp
    raw = pd.read_csv(sheet, dtype=str, keep_default_na=False)
    raw = raw[~raw["Species"].isin(["NA", "N/A", "NVIR"]) & raw["Number"].ne("0")]
    # 12:20 is past midnight, and so are the hours 0 to 3: the civil date is the next one.
    after_midnight = raw["Time"].str.split(":").str[0].astype(int).isin([0, 1, 2, 3, 12])
    date = pd.to_datetime(raw["Date"], format="%m/%d/%Y") + pd.to_timedelta(after_midnight.astype(int), unit="D")
    plain = pd.DataFrame(
        {"taxon": raw["Species"], "site": raw["Plot_Trans"], "date": date, "temp": raw["Temp"].astype(float),
         "rh": raw["Humidity"].astype(float), "n": raw["Number"].astype(int)}
    )  # fmt: skip
    assert excluded.empty
    figures = own.humidity_figures(readings).set_index("taxon")
    assert list(own.humidity_figures(readings).columns) == list(HUMIDITY_FIGURE_COLUMNS)
    assert set(figures.index) == set(plain["taxon"]) and len(figures) == 13
    for taxon, rows in plain.groupby("taxon"):
        distinct = rows.drop_duplicates(["site", "date", "temp", "rh"]).reset_index(drop=True)
        distinct["deficit"] = fao_saturation_kpa(distinct["temp"]) * (1 - distinct["rh"] / 100)
        figure = figures.loc[taxon]
        counts = (len(distinct), rows["n"].sum(), rows["site"].nunique(), rows["date"].nunique(), 1)
        assert tuple(figure[["n_readings", "n_animals", "n_sites", "n_dates", "n_years"]]) == counts
        assert (figure["temp_low"], figure["temp_high"]) == (rows["temp"].min(), rows["temp"].max())
        for name, share in (("p05", 0.05), ("p50", 0.5), ("p95", 0.95)):
            assert figure[f"rh_{name}"] == weighted(distinct, "rh", share)
            assert figure[f"deficit_{name}"] == pytest.approx(weighted(distinct, "deficit", share), rel=3e-3)
        assert (figure["rh_min"], figure["rh_max"]) == (rows["rh"].min(), rows["rh"].max())


def test_gsmnp_gives_figures_with_their_cautions_and_no_target(gsmnp: tuple[pd.DataFrame, pd.DataFrame, Settings, Path]) -> None:
    readings, _, settings, _ = gsmnp
    assert own.humidity_targets(readings, settings.taxa, settings).empty, "no stage is told"
    told = readings.assign(life_stage="adult", reason=THE_VISITS)
    targets = own.humidity_targets(told, settings.taxa, settings)
    assert set(targets["status"]) == {"refused"} and set(targets["reason"]) == {own.NONE_AT_NIGHT}, "a visit's humidity is no target"
    figures = own.humidity_figures(readings)
    assert (figures["read_at"] == "visit").all() and (figures["night_share"].round(9) == 1).all()
    by_taxon = figures.set_index("taxon")["caution"]
    assert by_taxon["PJOR"].startswith("June and July only") and by_taxon["DCON"].startswith("July only")
    for words in by_taxon:
        assert "By night only" in words and "no target rests on it" in words and "One year only" in words
    rows = humidity_words.humidity_rows(None, figures[figures["taxon"] == "PJOR"])
    assert not [row for row in rows if row["part"] == "table"] and f"No figure: {own.NONE_AT_NIGHT}." in rows[1]["text"]
