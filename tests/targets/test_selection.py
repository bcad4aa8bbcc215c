"""Selected or observed: worked examples, planted signals and no signal at all.

The values are invented. The design (differences paired by visit, seasons apart) is that of method §8; scipy's Wilcoxon test on independent
visits is the outside check.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from pipeline.settings import parse_settings
from pipeline.targets.selection import OTHER, detection_by_temperature, selection
from schemas.frames.field import DETECTION_COLUMNS, SELECTION_COLUMNS
from schemas.frames.targets import Readings

BOOK = parse_settings('[book]\ntime_zone = "America/New_York"\n', "test")
CELL = ["taxon", "population", "life_stage", "medium"]


def found(rows: list[tuple[str, str, float]], **columns: Any) -> pd.DataFrame:
    """Readings at animals from (site, date, value)."""
    frame = pd.DataFrame(rows, columns=["site", "date", "value"])
    frame["date"] = pd.to_datetime(frame["date"]).astype("datetime64[us]")
    frame = frame.assign(
        taxon="COOL", population="", life_stage="adult", medium="land", month=frame["date"].dt.month, year=frame["date"].dt.year, hour=12.0,
        night=False, accuracy_c=0.2, from_visit=False, medium_assumed=False, at_nest=False, depth_cm=np.nan, n_animals=1,
        visit_id=frame["site"] + frame["date"].astype("str"),
    ).assign(**columns)  # fmt: skip
    text = {name: "str" for name in (*CELL, "site", "visit_id")}
    types = {"month": "Int64", "year": "Int64", "n_animals": "Int64", "night": "boolean"}
    return Readings.validate(frame.astype({**text, **types})[[name for name in Readings.to_schema().columns if name in frame]])


def beside(rows: list[tuple[str, str, float]], **columns: Any) -> pd.DataFrame:
    """Readings where no animals were."""
    frame = found(rows, **columns)[["population", "medium", "site", "visit_id", "date", "month", "value"]]
    return frame.assign(point_id=[f"p{k}" for k in range(len(frame))])


def survey(months: Any, side: float, *, sites: int = 6, dates: int = 4, seed: int = 1, noise: float = 1.0) -> tuple[Any, Any]:
    """A day's weather that both share, points that differ among themselves, and animals that sit `side` °C off the mean of the points."""
    rng = np.random.default_rng(seed)
    at, off = [], []
    for month, day in itertools.product(months, range(dates)):
        weather = rng.normal(12, 3)
        for site in range(sites):
            date = f"2021-{month:02}-{day * 6 + 1:02}"
            off += [(f"s{site}", date, weather + rng.normal(0, noise)) for _ in range(3)]
            at += [(f"s{site}", date, weather + side + rng.normal(0, noise)) for _ in range(2)]
    return at, off


def told(at: Any, off: Any, **words: Any) -> pd.DataFrame:
    return selection(found(at), beside(off), BOOK, **{"replicates": 500, **words}).set_index("season")


def test_one_visit_by_hand() -> None:
    # At animals 10 and 12, mean 11; beside 13, 14, 15, mean 14: −3. A value read twice on a visit is one.
    at = [("a", "2021-07-01", 10.0), ("a", "2021-07-01", 12.0), ("a", "2021-07-01", 12.0), ("b", "2021-07-01", 9.0)]
    off = [("a", "2021-07-01", 13.0), ("a", "2021-07-01", 14.0), ("a", "2021-07-01", 15.0)]
    rows = told(at, off)
    assert list(rows.reset_index()[list(SELECTION_COLUMNS)].columns) == list(SELECTION_COLUMNS)
    row = rows.loc["warm"]
    assert row["difference"] == -3.0 and row["word"] == "observed" and row["side"] == ""
    assert row["reason"] == "1 of 5 sites, 1 of 6 dates needed"
    assert row[["n_visits", "n_dates", "n_sites", "n_years", "n_readings", "n_points", "n_unpaired"]].tolist() == [1, 1, 1, 1, 2, 3, 1]


def test_the_median_weighs_sites_alike() -> None:
    # Site a: ten days at −5; b and c: one day at +1 each. By visits −5 would be the middle, by sites it is +1.
    days = [f"2021-07-{day:02}" for day in range(1, 11)]
    at = [("a", day, 10.0) for day in days] + [("b", days[0], 16.0), ("c", days[0], 16.0)]
    off = [(site, day, 15.0) for site, day, _ in at]
    assert told(at, off).loc["warm", "difference"] == 1.0


def test_no_availability_no_word_but_observed() -> None:
    at, off = survey((7, 8), -2.0)
    rows = selection(found(at), beside(off).iloc[:0], BOOK, replicates=50)
    assert rows["word"].tolist() == ["observed"] and rows["reason"].tolist() == ["no readings where animals were not"]
    assert rows["n_unpaired"].tolist() == [48] and rows["n_visits"].tolist() == [0]


@pytest.mark.parametrize(("side", "word"), [(-2.0, "cooler"), (2.0, "warmer")])
def test_a_planted_side_is_found(side: float, word: str) -> None:
    row = told(*survey((6, 7, 8, 9), side)).loc["warm"]
    assert (row["word"], row["side"], row["reason"]) == ("selected", word, "")
    assert row["low"] <= row["difference"] <= row["high"] and row["difference"] == pytest.approx(side, abs=0.5)


def test_seasons_that_would_cancel_out_are_told_apart() -> None:
    spring, summer = survey((4, 5, 10), 2.0, seed=2), survey((6, 7, 8), -2.0, seed=3)
    rows = told(spring[0] + summer[0], spring[1] + summer[1])
    assert rows["side"].to_dict() == {OTHER: "warmer", "warm": "cooler"}
    pooled = selection(
        found(spring[0] + summer[0]), beside(spring[1] + summer[1]),
        parse_settings('[book]\ntime_zone = "UTC"\nwarm_months = [4, 5, 6, 7, 8, 10]\ncold_months = [1]\n', "test"), replicates=500,
    )  # fmt: skip
    assert pooled["word"].tolist() == ["observed"]


def test_media_and_visits_are_not_mixed() -> None:
    at, off = survey((7, 8), -2.0)
    assert selection(found(at), beside(off, medium="water"), BOOK, replicates=50)["n_visits"].tolist() == [0]
    assert selection(found(at), beside(off, population="north"), BOOK, replicates=50)["n_visits"].tolist() == [0]
    # A visit's own reading was not taken at an animal.
    assert selection(found(at, medium="water", from_visit=True), beside(off, medium="water"), BOOK).empty


def test_without_a_choice_few_are_called_selected() -> None:
    """100 surveys of 6 sites and 8 dates; at each site and on each day animals sit off by chance, on average nowhere: 5 % are expected."""
    named = []
    for seed in range(100, 200):
        at, off = survey((6, 7), 0.0, seed=seed)
        rng = np.random.default_rng(seed)
        aside: dict[str, float] = defaultdict(lambda rng=rng: rng.normal(0, 0.7))
        moved = [(site, date, value + aside[site] + aside[date]) for site, date, value in at]
        named.append(told(moved, off, replicates=200).loc["warm", "word"])
    assert named.count("selected") <= 10


def test_wilcoxon_agrees_where_visits_are_independent() -> None:
    """One visit a site and date, so no clusters: signed-rank test of scipy and the interval say the same of a strong and of no side."""
    for side, expected in ((0.0, False), (-1.5, True)):
        rng = np.random.default_rng(7)
        days = pd.date_range("2021-06-01", periods=40)
        at = [(f"s{k}", f"{day:%Y-%m-%d}", 12 + side + rng.normal()) for k, day in enumerate(days)]
        off = [(site, day, 12 + rng.normal()) for site, day, _ in at]
        p = stats.wilcoxon([a[2] - b[2] for a, b in zip(at, off, strict=True)]).pvalue
        assert (told(at, off).loc["warm", "word"] == "selected") == (p < 0.05) == expected


def test_the_same_book_gives_the_same_figures_whatever_else_it_holds() -> None:
    at, off = survey((6, 7), -0.5)
    alone = selection(found(at), beside(off), BOOK, replicates=100)
    both = selection(pd.concat([found(at), found(at, taxon="ALSO")]), beside(off), BOOK, replicates=100)
    pd.testing.assert_frame_equal(both[both["taxon"] == "COOL"].reset_index(drop=True), alone)


# --- detection


def test_thirds_by_hand() -> None:
    # Site a: six visits at 8 to 13 °C, found on the two coolest and one of the middle. Site b has two visits: no thirds.
    visits = pd.DataFrame(
        {
            "visit_id": [f"v{k}" for k in range(11)],
            "site_id": ["a"] * 9 + ["b"] * 2,
            "water_temp_c": [8.0, 9.0, 10.0, 11.0, 12.0, 13.0, np.nan, 20.0, 1.0, 5.0, 15.0],
            "target_taxa": ["COOL|OTHER"] * 2 + ["COOL"] * 6 + [None] + ["COOL"] * 2,
            "incomplete": [False] * 7 + [True] + [False] * 3,
        }
    )
    finds = pd.DataFrame({"visit_id": ["v0", "v0", "v1", "v2", "v7", "v8", "v5"], "taxon": ["COOL"] * 6 + ["OTHER"]})
    rows = detection_by_temperature(visits, finds)
    assert list(rows.columns) == list(DETECTION_COLUMNS)
    cool = rows[rows["taxon"] == "COOL"]
    assert cool[["third", "n_visits", "n_found", "share", "n_sites"]].to_numpy().tolist() == [
        ["cool", 2, 2, 1.0, 1], ["middle", 2, 1, 0.5, 1], ["warm", 2, 0, 0.0, 1],
    ]  # fmt: skip
    # Left out: no temperature, unfinished, and the two visits of b. v8 did not look for it.
    assert cool["n_left_out"].tolist() == [4] * 3
    other = rows[rows["taxon"] == "OTHER"]
    assert other["n_visits"].tolist() == [0] * 3 and other["share"].isna().all() and other["n_left_out"].tolist() == [2] * 3


def test_visits_of_one_temperature_share_a_third() -> None:
    visits = pd.DataFrame({"visit_id": list("abcdef"), "site_id": "s", "water_temp_c": [5.0, 10, 10, 10, 10, 15], "target_taxa": "COOL"})
    rows = detection_by_temperature(visits.assign(incomplete=False), pd.DataFrame({"visit_id": ["a"], "taxon": ["COOL"]}))
    assert rows["n_visits"].tolist() == [1, 4, 1] and rows["n_found"].tolist() == [1, 0, 0]


def test_thirds_are_within_sites() -> None:
    # A warm and a cool stream: thirds of all visits together would put the whole cool stream into the cool third.
    visits = pd.DataFrame({"visit_id": range(6), "site_id": list("aaabbb"), "water_temp_c": [5.0, 6, 7, 15, 16, 17], "target_taxa": "COOL"})
    finds = pd.DataFrame({"visit_id": [0, 3], "taxon": "COOL"})
    rows = detection_by_temperature(visits.assign(incomplete=False), finds)
    assert rows["n_found"].tolist() == [2, 0, 0] and rows["n_sites"].tolist() == [2, 2, 2]
