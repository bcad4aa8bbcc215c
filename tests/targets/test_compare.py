"""Two populations: worked examples, planted differences, and none.

The values are invented. Outside checks: statsmodels' power of a z-test for the smallest difference, and Monte Carlo for the share of
surveys that show it.
"""

from __future__ import annotations

import dataclasses
import itertools
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.errors import RillbookError
from pipeline.settings import parse_settings
from pipeline.targets.compare import Comparison, compare
from schemas.frames.targets import Readings

BOOK = parse_settings('[book]\ntime_zone = "America/New_York"\n', "test")
CELL = ["taxon", "population", "life_stage", "medium"]


def readings(rows: list[tuple[str, str, str, float, float]], **columns: Any) -> pd.DataFrame:
    """From (population, site, date, hour, value)."""
    frame = pd.DataFrame(rows, columns=["population", "site", "date", "hour", "value"])
    frame["date"] = pd.to_datetime(frame["date"]).astype("datetime64[us]")
    frame = frame.assign(
        taxon="COOL", life_stage="larva", medium="water", month=frame["date"].dt.month, year=frame["date"].dt.year, night=False,
        accuracy_c=0.2, from_visit=False, medium_assumed=False, at_nest=False, depth_cm=np.nan, n_animals=1,
        visit_id=frame["site"] + frame["date"].astype("str"),
    ).assign(**columns)  # fmt: skip
    text = {name: "str" for name in (*CELL, "site", "visit_id")}
    types = {"month": "Int64", "year": "Int64", "n_animals": "Int64", "night": "boolean", "hour": "float64"}
    return Readings.validate(frame.astype({**text, **types})[[name for name in Readings.to_schema().columns if name in frame]])


def population(name: str, level: float, *, sites: int = 6, dates: int = 8, seed: int = 1, months: Any = (7, 8), hour: float = 13.0) -> Any:
    """Sites and days that differ by 1 °C each (SD), and 0.5 °C of scatter."""
    rng = np.random.default_rng(seed)
    warmth, rows = rng.normal(0, 1, sites), []
    for month, day in itertools.product(months, range(1, dates + 1)):
        weather = rng.normal(0, 1)
        rows += [
            (name, f"{name}{k}", f"2021-{month:02}-{day:02}", hour, level + warmth[k] + weather + rng.normal(0, 0.5)) for k in range(sites)
        ]
    return rows


def told(rows: Any, **words: Any) -> Comparison:
    return compare(
        readings(rows), "north", "south", BOOK, **{"taxon": "COOL", "life_stage": "larva", "medium": "water", "replicates": 400, **words}
    )


def test_medians_by_hand() -> None:
    # Three sites and three dates each, one value a site and day; medians of 1…9 and of the same plus 3.
    dates = ("2021-07-01", "2021-07-05", "2021-07-09")
    cells = list(itertools.product("abc", dates))
    rows = [("north", f"n{site}", date, 10.0, float(value)) for value, (site, date) in enumerate(cells, start=1)]
    rows += [("south", f"s{site}", date, 10.0, value + 3.0) for value, (site, date) in enumerate(cells, start=1)]
    found = told(rows)
    assert (found.first.median, found.second.median, found.difference) == (5.0, 8.0, -3.0)
    assert (found.months, found.hours) == ((7,), ((6, 12),))
    assert dataclasses.astuple(found.first) == ("north", 5.0, 9, 9, 3, 3, 1, 0)
    assert "narrower than it should be" in found.words[-1]


def test_a_planted_difference_is_shown_and_words_say_so() -> None:
    found = told(population("north", 14.0) + population("south", 10.0, seed=2))
    assert found.status == "shown" and found.low > 0 and found.difference == pytest.approx(4, abs=1.2)
    assert found.words[2].startswith("north was found warmer than south: difference ")
    assert found.words[0] == f"north: median {found.first.median:.1f} °C (96 readings, 16 dates, 6 sites, 1 year)."
    other = compare(
        readings(population("north", 14.0) + population("south", 10.0, seed=2)), "south", "north", BOOK,
        taxon="COOL", life_stage="larva", medium="water", replicates=400,
    )  # fmt: skip
    assert other.status == "shown" and other.difference == -found.difference and "south was found cooler than north" in other.words[2]
    # The same draws turned round; percentiles of type 1 then stop one draw further in.
    assert "−" in other.words[2] and (other.low, other.high) == pytest.approx((-found.high, -found.low), abs=0.2)


def test_no_difference_is_not_called_likeness() -> None:
    found = told(population("north", 12.0) + population("south", 12.0, seed=2))
    assert found.status == "not shown" and found.low <= 0 <= found.high
    assert "does not make them alike" in found.words[2] and "by 80 % of surveys like these" in found.words[3]


def test_only_months_and_hours_of_both_count() -> None:
    # South was read in July at noon; north in July at noon (12 °C), in July at night (6 °C), in January (2 °C), and without clock time.
    south = population("south", 12.0, months=(7,), seed=2)
    noon = population("north", 12.0, months=(7,))
    rest = (
        population("north", 6.0, months=(7,), hour=23.0)
        + population("north", 2.0, months=(1,))
        + population("north", 2.0, months=(7,), hour=np.nan)
    )
    whole, part = told(noon + rest + south), told(noon + south)
    assert (whole.months, whole.hours) == ((7,), ((12, 18),))
    assert (whole.difference, whole.low, whole.high, whole.smallest) == (part.difference, part.low, part.high, part.smallest)
    assert whole.first.n_left_out == len(rest) and whole.second.n_left_out == 0


def test_an_uneven_share_of_months_is_no_difference() -> None:
    """North was mostly read in warm August, south mostly in cool June; within each month they are alike."""

    def mixed(name: str, june: int, august: int, seed: int) -> Any:
        return population(name, 10.0, months=(6,), dates=june, seed=seed) + population(name, 16.0, months=(8,), dates=august, seed=seed)

    rows = mixed("north", 3, 25, 1) + mixed("south", 25, 3, 1)
    found = told(rows)
    frame = readings(rows)
    plain = frame.groupby("population")["value"].median()
    assert plain["north"] - plain["south"] > 4
    assert found.status == "not shown"


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (population("north", 12.0, sites=2), "north has 2 of 3 sites"),
        (population("north", 12.0, months=(7,), dates=2), "north has 2 of 3 dates"),
        (population("north", 12.0, months=(1,)), "no month and part of the day in common"),
        (population("north", 12.0, hour=np.nan), "no month and part of the day in common"),
    ],
)
def test_too_little_is_refused(rows: Any, message: str) -> None:
    found = told(rows + population("south", 12.0, seed=2))
    assert found.status == "refused" and message in found.reason
    assert found.words == (f"Not compared: {found.reason}.",)
    assert all(np.isnan([found.difference, found.low, found.high, found.smallest, found.first.median, found.second.median]))


@pytest.mark.parametrize(
    ("names", "message"),
    [
        (("north", "east"), "population 'east' has no readings of COOL, larva, water. Populations with readings: north, south"),
        (("north", "north"), "itself"),
    ],
)
def test_a_name_that_is_not_there_is_an_error(names: tuple[str, str], message: str) -> None:
    frame = readings(population("north", 12.0) + population("south", 12.0, seed=2))
    with pytest.raises(RillbookError, match=message):
        compare(frame, *names, BOOK, taxon="COOL", life_stage="larva", medium="water")
    with pytest.raises(RillbookError, match="No population has any"):
        compare(frame.assign(population=""), "north", "south", BOOK, taxon="COOL", life_stage="larva", medium="water")


def test_stages_taxa_and_media_are_not_pooled() -> None:
    rows = population("north", 12.0) + population("south", 12.0, seed=2)
    other = [readings(population("north", 25.0), **change) for change in ({"taxon": "ALSO"}, {"life_stage": "adult"}, {"medium": "edge"})]
    words = {"taxon": "COOL", "life_stage": "larva", "medium": "water", "replicates": 100}
    assert compare(pd.concat([readings(rows), *other]), "north", "south", BOOK, **words) == told(rows, replicates=100)


def test_the_smallest_difference_is_that_of_a_z_test() -> None:
    """statsmodels' normal power at effect smallest/SE is 80 %; SE from the interval's width, which the normal law ties to it."""
    from statsmodels.stats.power import normal_power

    found = told(population("north", 12.0, sites=12, dates=20) + population("south", 12.0, sites=12, dates=20, seed=2), replicates=2000)
    error = found.smallest / 2.8016
    assert normal_power(found.smallest / error, nobs=1, alpha=0.05) == pytest.approx(0.8, abs=0.001)
    assert (found.high - found.low) / 2 / error == pytest.approx(1.96, rel=0.12)


@pytest.mark.slow
def test_how_often_a_difference_is_shown() -> None:
    """150 pairs of invented surveys, 6 sites × 8 dates: without a difference few are shown; with the smallest difference printed, most."""
    none, some = 0, 0
    for seed in range(150):
        north, south = population("north", 12.0, seed=2 * seed, months=(7,)), population("south", 12.0, seed=2 * seed + 1, months=(7,))
        plain = told(north + south, replicates=150)
        none += plain.status == "shown"
        moved = [(*row[:4], row[4] + plain.smallest) for row in north]
        some += told(moved + south, replicates=150).status == "shown"
    assert none / 150 <= 0.12
    assert some / 150 >= 0.7
