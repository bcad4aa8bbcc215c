"""Targets worked by hand.

Most fields below read the same few values at every site on every day, so every replicate of the bootstrap has the same quantiles and the
arithmetic of method §5 can be done on paper. Weighted quantiles are held against numpy's own (``method="inverted_cdf"``, type 1 of Hyndman
& Fan). The values are invented; thresholds are the judgements of data/reference/limits.csv.
"""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np
import pandas as pd
import pytest

from pipeline.formulas.grades import down, grade_of, missing_for_c, needs, up, worse
from pipeline.formulas.limits import ctmax_limit, group_cap
from pipeline.settings import parse_settings
from pipeline.targets import derive
from pipeline.targets.derive import allowance_parts, distinct_values, group_allowances, site_day_weights, targets
from pipeline.targets.ledger import CELL, hold_to_published, to_publish, visits_of_cells
from schemas.frames import TARGET_COLUMNS, Readings, check_targets

TOML = """
[book]
time_zone = "America/New_York"
[[taxon]]
code = "COOL"
scientific_name = "Desmognathus fuscus"
group = "cool_stream"
[[taxon]]
code = "SPRING"
scientific_name = "Eurycea neotenes"
group = "warm_spring"
[[taxon]]
code = "OTHER"
scientific_name = "Desmognathus fuscus"
group = "other"
"""
BOOK = parse_settings(TOML, "test")
WARM, COLD = (6, 7, 8, 9), (12, 1, 2, 3)
# At 22:00 the daily swing crosses zero: cos(2π·6/24) = 0, and it is night in all months here.
NEUTRAL_HOUR = 22.0


def field(months: Any, values: list[float], *, sites: int = 12, dates: int = 6, years: int = 3, **columns: Any) -> pd.DataFrame:
    """Every site read on every date of every month, each time the same values; dates go round the years."""
    rows = [
        {
            "month": month,
            "site": f"s{site:02}",
            "year": 2018 + day % years,
            "date": pd.Timestamp(2018 + day % years, month, day + 1),
            "value": value,
        }
        for month, day, site, value in itertools.product(months, range(dates), range(sites), values)
    ]
    frame = pd.DataFrame(rows).assign(
        taxon="COOL", population="", life_stage="larva", medium="water", hour=NEUTRAL_HOUR, night=True, accuracy_c=0.5, from_visit=False,
        medium_assumed=False, at_nest=False, depth_cm=np.nan, n_animals=1,
    )  # fmt: skip
    frame["visit_id"] = frame["site"] + frame["date"].astype("str")
    frame = frame.assign(**columns)
    text = {name: "str" for name in ("taxon", "population", "life_stage", "medium", "site", "visit_id")}
    types = {"month": "Int64", "year": "Int64", "n_animals": "Int64", "night": "boolean", "date": "datetime64[us]", "hour": "float64"}
    return Readings.validate(
        frame.astype({**text, **types, "accuracy_c": "float64"})[[name for name in Readings.to_schema().columns if name in frame]]
    )


def derived(*frames: pd.DataFrame, **words: Any) -> pd.DataFrame:
    """Targets of one group, by month."""
    return targets(pd.concat(frames, ignore_index=True), BOOK.taxa, BOOK, **{"replicates": 200, **words}).set_index("month")


def printed(row: pd.Series) -> tuple[float, ...]:
    return tuple(row[name] for name in ("band_low", "set_point", "band_high", "act_line", "ceiling"))


# --- weights and quantiles


def test_weights_by_hand() -> None:
    # Two sites: 1/2 each. Site a: two months, 1/4 each. Its June: two days, 1/8 each; the second day has two values, 1/16 each.
    frame = pd.DataFrame({"site": list("aaaab"), "month": [6, 6, 6, 7, 6], "date": [1, 2, 2, 3, 1]})
    weights = site_day_weights(frame["site"], frame["month"], frame["date"])
    assert weights.tolist() == [1 / 8, 1 / 16, 1 / 16, 1 / 4, 1 / 2]


def test_quantiles_agree_with_numpy() -> None:
    rng = np.random.default_rng(3)
    frame = field(WARM, [1.0, 2.0], sites=7)
    frame["value"] = rng.normal(14, 2, len(frame)).round(1)
    frame = frame[rng.random(len(frame)) < 0.6]
    values = distinct_values(frame)
    weights = site_day_weights(values["site"], values["month"].astype("int64"), values["date"])
    row = derived(frame).loc["warm"]
    for name, probability in {"p05": 0.05, "p25": 0.25, "p50": 0.5, "p75": 0.75, "p95": 0.95}.items():
        assert row[name] == np.quantile(values["value"], probability, weights=weights, method="inverted_cdf")
    assert (row["min"], row["max"]) == (values["value"].min(), values["value"].max())


def test_a_much_visited_warm_site_does_not_set_the_figure() -> None:
    # 11 sites at 10 °C seen once in June, one at 18 °C on 24 days. By visits even P50 would be 18; by sites the warm one weighs 1/12.
    cool = field([6], [10.0], sites=11, dates=1)
    warm = field([6], [18.0], sites=1, dates=24, site="warm")
    row = derived(cool, warm).loc["6"]
    assert (row["p50"], row["p75"], row["max"]) == (10.0, 10.0, 18.0)
    assert np.quantile([10.0] * 11 + [18.0] * 24, 0.5) == 18.0


def test_clock_times_do_not_add_weight() -> None:
    frame = field([6], [10.0, 12.0])
    often = pd.concat([frame, *(frame[frame["value"] == 12.0].assign(hour=float(hour)) for hour in range(6))])
    assert derived(often).loc["6", "p50"] == derived(frame).loc["6", "p50"] == 10.0
    assert derived(often).loc["6", "n_readings"] == 4 * len(frame)


def test_counts() -> None:
    row = derived(field(WARM, [8.0, 10.0], sites=4, dates=3, years=2, n_animals=3, from_visit=True)).loc["warm"]
    assert [row[f"n_{name}"] for name in ("readings", "animals", "visits", "dates", "sites", "years")] == [96, 288, 48, 12, 4, 2]
    assert (row["from_visit_share"], row["night_share"], row["n_eff"]) == (1.0, 1.0, 12.0)


def test_a_value_read_by_day_too_is_not_of_the_night() -> None:
    # Half of the values were read at night; one half of those again by day: a quarter stays.
    frame = field(WARM, [8.0, 10.0, 12.0, 14.0])
    by_day = frame.assign(night=frame["night"].mask(frame["value"] > 10.0, False))
    assert derived(by_day).loc["warm", "night_share"] == 0.5
    again = frame[frame["value"] == 10.0].assign(hour=12.0, night=False)
    assert derived(by_day, again).loc["warm", "night_share"] == 0.25


def test_p50_interval_needs_five_sites_and_six_dates() -> None:
    for sites, dates, there in ((5, 6, True), (4, 6, False), (5, 5, False)):
        row = derived(field([6], [8.0, 10.0], sites=sites, dates=dates)).loc["6"]
        assert math.isnan(row["p50_low"]) != there


# --- allowances


@pytest.mark.parametrize(
    ("columns", "parts"),
    [
        ({}, {"thermometer": 0.5, "daytime": 0.0}),
        ({"accuracy_c": np.nan}, {"thermometer": 1.0}),
        ({"hour": 16.0}, {"daytime": 1.5}),
        ({"hour": 4.0}, {"daytime": 0.0}),
        ({"hour": 12.0}, {"daytime": 0.75}),  # 1.5 × cos(−60°)
        ({"hour": np.nan}, {"daytime": 1.5}),
        ({"hour": np.nan, "depth_cm": 20.0}, {"daytime": 0.0}),
        ({"hour": np.nan, "depth_cm": 19.0}, {"daytime": 1.5}),
        ({"year": 2020}, {"one year": 1.0}),
        ({"year": pd.NA}, {"one year": 1.0}),
        ({"from_visit": True}, {"visit readings only": 1.0}),
    ],
)
def test_each_allowance(columns: dict[str, Any], parts: dict[str, float]) -> None:
    nothing = {"thermometer": 0.5, "daytime": 0.0, "one year": 0.0, "few warm months": 0.0, "visit readings only": 0.0}
    got = allowance_parts(field(WARM, [10.0], dates=3, **columns), WARM)
    assert got == pytest.approx({**nothing, **parts}, abs=1e-12)


def test_allowances_of_part_of_the_readings() -> None:
    frame = field(WARM, [10.0, 12.0])
    first = frame["value"] == 10.0
    assert allowance_parts(frame.assign(accuracy_c=frame["accuracy_c"].mask(first)), WARM)["thermometer"] == 1.0
    # Half of the weight at 16:00 and half at 22:00: 1.5 × (1 + 0) / 2.
    assert allowance_parts(frame.assign(hour=frame["hour"].mask(first, 16.0)), WARM)["daytime"] == pytest.approx(0.75)
    assert allowance_parts(frame.assign(from_visit=first), WARM)["visit readings only"] == 0.0
    # A value read at 22:00 and again at 16:00 of the same day counts as of 16:00.
    again = pd.concat([frame, frame[first].assign(hour=16.0)])
    assert allowance_parts(again, WARM)["daytime"] == pytest.approx(0.75)
    assert [allowance_parts(field(months, [10.0]), WARM)["few warm months"] for months in ((6, 7, 8), (6, 7), (5, 6, 7))] == [0.0, 1.0, 1.0]


def test_allowances_are_those_of_the_warm_season() -> None:
    warm, cold = field(WARM, [10.0, 14.0]), field(COLD, [4.0, 6.0], hour=np.nan, accuracy_c=np.nan, from_visit=True)
    assert derived(warm, cold).loc["warm", "allowance"] == pytest.approx(0.5)
    parts = group_allowances(pd.concat([warm, cold]), BOOK.taxa, BOOK)
    assert list(parts) == [("COOL", "", "larva", "water")] and sum(parts["COOL", "", "larva", "water"].values()) == pytest.approx(0.5)
    assert group_allowances(cold, BOOK.taxa, BOOK) == {}


# --- ceiling, band, floor


def test_strong_season_by_hand() -> None:
    # P25 8.2, P50 10.3, P75 = P95 16 at every site and day. Bound 16, allowance 0.5 (thermometer): ceiling 15.5. A: step 0.5.
    rows = derived(field(WARM, [8.2, 10.3, 16.0]))
    row = rows.loc["warm"]
    assert (row["grade"], row["status"], row["p95_bound"], row["ceiling_bound_by"]) == ("A", "target", 16.0, "P95 of your records")
    # Band top min(16, 15.5 − 1) = 14.5; set point 10.3 down to 10.0; bottom 8.2 up to 8.5; act line min(15.5, 16 + 2).
    assert printed(row) == (8.5, 10.0, 14.5, 15.5, 15.5) and row["cut_by_ceiling"]
    # A month with 6 dates of 8 is B: step 1. The top 14.5 falls to 14, the act line 15.5 to 15.
    assert rows.loc["7", "grade"] == "B" and printed(rows.loc["7"]) == (9.0, 10.0, 14.0, 15.0, 15.5)
    assert rows.loc["1", "reason"] == "no readings" and math.isnan(rows.loc["1", "set_point"])


def test_provisional_season_by_hand() -> None:
    # 3 sites, 3 dates in each of two months, one year, no clock, no accuracy: 1 + 1.5 + 1 + 1 = 4.5; 16 − 4.5 = 11.5, down to 11.
    rows = derived(field((6, 7), [8.2, 10.3, 16.0], sites=3, dates=3, years=1, hour=np.nan, night=pd.NA, accuracy_c=np.nan))
    row = rows.loc["warm"]
    assert (row["grade"], row["allowance"], row["ceiling"]) == ("C", pytest.approx(4.5), 11.0)
    assert printed(row) == (9.0, 10.0, 10.0, 11.0, 11.0)
    assert row["reason"] == "one year only: it speaks of that year"


def test_act_line_is_two_degrees_over_the_month() -> None:
    row = derived(field(WARM, [10.0, 16.0]), field([1], [3.0, 4.0, 5.0])).loc["1"]
    # P75 of three equal values is the highest: 5. So 7, though the ceiling is 15.5.
    assert (row["act_line"], row["ceiling"], row["cut_by_ceiling"]) == (7.0, 15.5, False)


def test_cap_and_ctmax_bind() -> None:
    hot = field(WARM, [10.0, 12.0, 26.0])
    row = derived(hot).loc["warm"]
    cap, ctmax = group_cap("cool_stream")["value"], ctmax_limit("Desmognathus fuscus")["value"]
    assert cap < ctmax < 25.5
    assert (row["ceiling"], row["ceiling_bound_by"], row["p95_bound"]) == (cap, "group cap", 26.0)
    other = derived(hot.assign(taxon="OTHER")).loc["warm"]
    assert (other["ceiling"], other["ceiling_bound_by"]) == (math.floor(ctmax * 2) / 2, "CTmax less 12 °C")
    assert row["act_line"] < 26.0 and row["band_high"] == cap - 1


def test_ceiling_without_warm_readings_says_so() -> None:
    row = derived(field([3, 4], [8.0, 9.0, 10.0])).loc["4"]
    assert (row["ceiling"], row["ceiling_bound_by"]) == (20.0, "group cap, not from your records")
    assert math.isnan(row["p95_bound"]) and math.isnan(row["allowance"])
    assert derived(field([4], [8.0, 9.0, 10.0], taxon="OTHER")).loc["4", "ceiling_bound_by"] == "CTmax less 12 °C, not from your records"


def test_half_above_the_ceiling_is_refused_for_review() -> None:
    row = derived(field(WARM, [24.0, 25.0])).loc["warm"]
    assert row["status"] == "refused" and row["reason"] == "half of the readings lie above the ceiling of 20 °C: look at them"


def test_group_without_a_graded_cell_prints_no_ceiling() -> None:
    rows = derived(field(WARM, [8.0, 10.0, 16.0], sites=2), field(COLD, [3.0, 5.0], sites=2))
    assert rows[["ceiling", "floor", "set_point"]].isna().all(axis=None) and (rows["ceiling_bound_by"] == "").all()
    assert rows.loc["warm", "reason"] == "2 of 3 sites needed" and rows.loc["warm", "p50"] == 10.0


def test_floor_is_rounded_up_by_the_cold_grade() -> None:
    cold = [3.4, 9.0, 10.0]
    assert derived(field(COLD, cold)).loc["cold", "floor"] == 3.5
    rows = derived(field(COLD, cold, sites=3))
    assert (rows.loc["cold", "grade"], rows.loc["cold", "floor"]) == ("C", 4.0)
    # P25 is 3.4 and would round up to 4; the floor is as high.
    assert rows.loc["1", "band_low"] == 4.0
    assert derived(field(COLD, [0.2, 9.0])).loc["cold", "floor"] == 1.0
    assert math.isnan(derived(field(WARM, cold)).loc["warm", "floor"])


def test_band_bottom_is_raised_to_the_floor_and_no_set_point_stands_below_it() -> None:
    # The floor comes from 5.2 °C in every winter cell: up to 5.5. November's P25 of 2 is raised to it; December's P50 of 5.2 is refused.
    rows = derived(field(COLD, [5.2]), field([11], [2.0, 8.0, 9.0]))
    assert rows.loc["11", "band_low"] == 6.0 and rows.loc["11", "floor"] == 5.5
    assert rows.loc["12", "status"] == "refused" and "the floor of 5.5 °C stands above the set point of 5 °C" in rows.loc["12", "reason"]


def test_ceiling_above_the_second_highest_visit_stops_the_run(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(derive, "_ceiling", lambda *_: (19.0, "nonsense"))
    with pytest.raises(AssertionError, match="second-highest visit"):
        derived(field(WARM, [8.0, 16.0]))


def test_a_bad_thermometer_stops_the_run() -> None:
    with pytest.raises(AssertionError, match="thermometer worse"):
        derived(field(WARM, [8.0, 16.0], accuracy_c=1.2))


def test_one_warm_visit_does_not_lift_the_bound() -> None:
    # A single logger-hot visit of 24 °C among 71: the bound stays with the rest, whatever the maximum.
    frame = field(WARM, [12.0, 14.0], sites=12)
    frame.loc[(frame["site"] == "s03") & (frame["date"] == frame["date"].iloc[0]), "value"] = 24.0
    row = derived(frame).loc["warm"]
    assert (row["max"], row["p95_bound"], row["ceiling"]) == (24.0, 14.0, 13.5)


# --- grades


ENOUGH = {"sites": 12, "dates": 24, "visits": 60, "years": 3, "night_share": 0.2, "half_width": 1.5}


@pytest.mark.parametrize(
    ("change", "grade"),
    [
        ({}, "A"),
        ({"sites": 11}, "B"),
        ({"dates": 23}, "B"),
        ({"visits": 59}, "B"),
        ({"years": 2}, "B"),
        ({"night_share": 0.19}, "B"),
        ({"half_width": 1.51}, "B"),
        ({"half_width": 2.51}, "C"),
        ({"half_width": math.nan}, "C"),
        ({"years": 1}, "C"),
        ({"years": 0, "night_share": 0.0}, "C"),
        ({"sites": 5}, "C"),
        ({"dates": 11}, "C"),
        ({"visits": 29}, "C"),
        ({"sites": 2}, "D"),
        ({"dates": 5}, "D"),
        ({"visits": 9}, "D"),
    ],
)
def test_grade_thresholds(change: dict[str, float], grade: str) -> None:
    assert grade_of({**ENOUGH, **change}, monthly=False, only_from_visit=False) == grade


def test_months_need_a_third_rounded_up() -> None:
    assert [(needs(grade, True)["dates"], needs(grade, True)["visits"], needs(grade, True)["sites"]) for grade in "ABC"] == [
        (8, 20, 12), (4, 10, 6), (2, 4, 3),
    ]  # fmt: skip
    assert missing_for_c({"sites": 2, "dates": 1, "visits": 4}, monthly=True) == "2 of 3 sites, 1 of 2 dates needed"


def test_visit_readings_alone_are_provisional_at_most() -> None:
    assert grade_of(ENOUGH, monthly=False, only_from_visit=True) == "C"
    assert derived(field(WARM, [8.0, 16.0], from_visit=True)).loc["warm", "grade"] == "C"
    assert worse("A", "C") == worse("C", "A") == "C" and worse("D", None) == "D"


def test_years_and_nights_of_a_month_are_the_groups() -> None:
    # July was visited in one year by day; the other months bring years and nights: 8 dates, 12 sites, 96 visits in July.
    july = field([7], [8.0, 10.0], dates=8, years=1, night=False)
    assert derived(july).loc["7", "grade"] == "C"
    assert derived(july, field([6, 8], [8.0, 10.0])).loc["7", "grade"] == "A"


def test_rounding() -> None:
    assert [down(value, "A") for value in (15.49, 15.5, 15.99, -0.2)] == [15.0, 15.5, 15.5, -0.5]
    assert [up(value, "A") for value in (8.0, 8.1, 8.6)] == [8.0, 8.5, 9.0]
    assert [down(value, grade) for value, grade in ((15.9, "B"), (15.9, "C"), (15.9, "D"))] == [15.0] * 3
    assert down(16.3 - 1.3, "C") == 15.0 and up(0.1 + 0.2 + 2.7, "C") == 3.0


def test_capped_grade() -> None:
    frame = field(WARM, [8.2, 10.3, 16.0])
    cell = ("COOL", "", "larva", "water", "warm")
    assert derived(frame, grade_cap={cell: "C"}).loc["warm", ["grade", "ceiling"]].tolist() == ["C", 15.0]
    row = derived(frame, grade_cap=lambda name: "D" if name == cell else None).loc["warm"]
    assert (row["status"], row["reason"]) == ("refused", "held at grade D by hand")


# --- borrowing

WEAK: dict[str, Any] = {"sites": 2, "dates": 1}


def test_weak_month_borrows_from_the_cooler_neighbour() -> None:
    # June: P25 9, P50 11, P75 13, own 12/13/14 in July, August warmer. Set 11, bottom 9, top min(13, 14) = 13, act min(13, 14) + 2 = 15.
    rows = derived(field([6], [9.0, 11.0, 13.0]), field([7], [12.0, 13.0, 14.0], **WEAK), field([8, 9], [13.0, 15.0, 18.0]))
    row = rows.loc["7"]
    assert (row["status"], row["borrowed_from"], row["grade"], row["n_sites"]) == ("borrowed", "6", "D", 2)
    assert printed(row)[:4] == (9.0, 11.0, 13.0, 15.0) and row["p50"] == 13.0
    assert row["reason"].startswith("2 of 3 sites, 1 of 2 dates, 2 of 4 visits needed; borrowed from June")


def test_borrowed_values_never_pass_the_months_own() -> None:
    # June P75 13 against July's own 11.5: the top falls to 11; act line 11.5 + 2 down to 13.
    row = derived(field([6], [9.0, 11.0, 13.0]), field([7], [11.2, 11.3, 11.5], **WEAK), field([8, 9], [13.0, 15.0, 18.0])).loc["7"]
    assert printed(row)[:4] == (9.0, 11.0, 11.0, 13.0)


def test_december_borrows_over_new_year() -> None:
    rows = derived(field([1], [4.0, 5.0, 6.0]), field([12], [6.0, 7.0], **WEAK), field([11], [8.0, 9.0]))
    assert (rows.loc["12", "status"], rows.loc["12", "borrowed_from"]) == ("borrowed", "1")
    rows = derived(field([12], [4.0, 5.0, 6.0]), field([1], [6.0, 7.0], **WEAK), field([2], [8.0, 9.0]))
    assert (rows.loc["1", "status"], rows.loc["1", "borrowed_from"]) == ("borrowed", "12")


@pytest.mark.parametrize(
    ("weak", "columns", "borrows"),
    [
        ([12.0, 13.0], {}, True),
        ([12.0, 13.0], {"life_stage": "adult"}, True),
        ([7.0, 8.0], {}, False),  # cooler than both neighbours
        ([12.0, 13.0], {"life_stage": "hatchling"}, False),
        ([12.0, 13.0], {"life_stage": "egg_mass", "at_nest": True}, False),
        ([12.0, 13.0], {"taxon": "SPRING"}, False),
    ],
)
def test_who_borrows(weak: list[float], columns: dict[str, Any], borrows: bool) -> None:
    rows = derived(field([6, 8], [9.0, 11.0, 18.0], **columns), field([7], weak, **WEAK, **columns))
    assert rows.loc["7", "status"] == ("borrowed" if borrows else "refused") and rows.loc["7", "borrowed_from"] == ("6" if borrows else "")
    assert rows.loc["7", "reason"].startswith("2 of 3 sites"), "nothing but the number of visits stands in the way"
    assert rows.loc["6", "grade"] == "B"


def test_no_readings_borrow_nothing_and_a_weak_lender_lends_nothing() -> None:
    rows = derived(field([6, 8], [9.0, 11.0]))
    assert rows.loc["7", "reason"] == "no readings"
    # The cooler neighbour is the lender even where only the warmer one is graded.
    weak = derived(field([6], [8.0], **WEAK), field([7], [12.0], **WEAK), field([8], [9.0, 11.0]))
    assert weak.loc["7", "status"] == "refused"


def test_month_whose_own_readings_pass_the_ceiling_borrows_nothing() -> None:
    rows = derived(field([6, 7], [9.0, 11.0, 12.0]), field([8], [19.0], **WEAK))
    assert rows.loc["8", "status"] == "refused" and "half of the readings" in rows.loc["8", "reason"]


def test_each_cell_draws_its_own_replicates() -> None:
    # Two populations with the same readings: their bootstraps must not be copies of each other.
    frame = field([6, 7], [1.0], sites=8)
    frame["value"] = np.random.default_rng(1).normal(12, 2, len(frame)).round(2)
    rows = targets(pd.concat([frame, frame.assign(population="upper")]), BOOK.taxa, BOOK, replicates=200)
    one, other = (rows[rows["population"] == name].reset_index(drop=True) for name in ("", "upper"))
    assert one["p50"].equals(other["p50"]) and not one[["p50_low", "p50_high", "p95_bound"]].equals(
        other[["p50_low", "p50_high", "p95_bound"]]
    )


# --- stages and taxa that are unsafe on both sides


def test_eggs_count_only_at_the_nest_and_take_no_other_limit() -> None:
    nest = field([4, 5], [9.0, 11.0, 28.0], life_stage="egg_mass", at_nest=True)
    row = derived(nest, field([4, 5], [20.0], life_stage="egg_mass")).loc["5"]
    assert row["n_readings"] == len(nest) / 2 and row["max"] == 28.0
    # 28 − 0.5 − 1 (no warm-season month) = 26.5, down by the step of the (empty) warm season; no cap at 20 and no CTmax.
    assert (row["ceiling"], row["ceiling_bound_by"], row["p95_bound"]) == (26.0, "P95 of your records", 28.0)
    assert row["floor"] == 9.0
    assert derived(field([4], [9.0], life_stage="egg_mass")).empty


def test_spring_taxa_have_a_wide_band_and_no_group_cap() -> None:
    # Twelve values at each site and day: 16, 18.0 to 18.9, 24. P10 is the 2nd, P90 the 11th, P5 the 1st and P95 the 12th.
    values = [18.0 + step / 10 for step in range(10)] + [16.0, 24.0]
    rows = derived(field(range(1, 13), values, taxon="SPRING"))
    row = rows.loc["warm"]
    low, high = np.quantile(values, [0.1, 0.9], method="inverted_cdf")
    assert (low, high) == (18.0, 18.9)
    ctmax = ctmax_limit("Eurycea neotenes")["value"]
    assert (row["ceiling"], row["ceiling_bound_by"]) == (math.floor(min(23.5, ctmax) * 2) / 2, "CTmax less 12 °C")
    assert (row["floor"], row["band_low"], row["band_high"]) == (16.0, 18.0, 18.5)


# --- shape


def test_every_group_has_fourteen_rows_in_the_declared_columns() -> None:
    frame = pd.concat([field([6], [10.0]), field([6], [10.0], population="upper"), field([6], [10.0], medium="land")], ignore_index=True)
    rows = targets(frame, BOOK.taxa, BOOK, replicates=50)
    assert list(rows.columns) == list(TARGET_COLUMNS) and len(rows) == 3 * 14
    assert rows["month"].tolist()[:4] == ["warm", "cold", "1", "2"]
    assert (rows["basis"] == "observed").all() and (rows["unit"] == "°C").all() and (rows["quantity"] == "temperature").all()
    empty = targets(frame.iloc[:0], BOOK.taxa, BOOK)
    assert empty.empty and list(empty.columns) == list(TARGET_COLUMNS)


# --- the ledger

NOBODY = pd.DataFrame(columns=[*CELL, "quantity", "value"])


def ledger_case(first: pd.DataFrame, second: pd.DataFrame, accepted: pd.DataFrame = NOBODY) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Publish from the first readings, then print from the second."""
    words: dict[str, Any] = {"replicates": 200}
    published = to_publish(targets(first, BOOK.taxa, BOOK, **words), visits_of_cells(first, BOOK.taxa, BOOK))
    rows, notes = hold_to_published(
        targets(second, BOOK.taxa, BOOK, **words), visits_of_cells(second, BOOK.taxa, BOOK), published, accepted
    )
    return rows.set_index("month"), notes


def test_fewer_visits_keep_the_lower_values() -> None:
    # Six sites read 8, 10, 14 and six 8, 10, 18. All: P75 14, so band top 14, act line 16, ceiling 17.5 (A). Without the cool sites P75 is
    # 18: the band top would be 16, the act line 17 (B, ceiling 17).
    cool, warm = (
        field(WARM, [8.0, 10.0, 14.0], sites=6),
        field(WARM, [8.0, 10.0, 18.0], sites=6).assign(site=lambda rows: "w" + rows["site"]),
    )
    both = pd.concat([cool, warm], ignore_index=True)
    assert printed(derived(both).loc["warm"]) == (8.0, 10.0, 14.0, 16.0, 17.5)
    assert printed(derived(warm).loc["warm"]) == (8.0, 10.0, 16.0, 17.0, 17.0)
    rows, notes = ledger_case(both, warm)
    assert printed(rows.loc["warm"]) == (8.0, 10.0, 14.0, 16.0, 17.0)
    assert rows.loc["warm", "reason"] == "kept as published from the same visits or more: band high 14 °C, act line 16 °C"
    warm_notes = notes[notes["month"] == "warm"].set_index("quantity")
    assert warm_notes[["derived", "kept"]].to_dict("index") == {
        "band_high": {"derived": 16.0, "kept": 14.0},
        "act_line": {"derived": 17.0, "kept": 16.0},
    }


def edited(rows: pd.DataFrame, month: str, **values: float) -> pd.DataFrame:
    """Published entries with some values changed."""
    visits = visits_of_cells(rows, BOOK.taxa, BOOK)
    cell = ("COOL", "", "larva", "water", month)
    return pd.DataFrame(
        [(*cell, name, value, visits[cell]) for name, value in values.items()], columns=[*CELL, "quantity", "value", "visits"]
    )


def hold(frame: pd.DataFrame, published: pd.DataFrame, accepted: pd.DataFrame = NOBODY) -> pd.DataFrame:
    rows, _ = hold_to_published(
        targets(frame, BOOK.taxa, BOOK, replicates=200), visits_of_cells(frame, BOOK.taxa, BOOK), published, accepted
    )
    return check_targets(rows).set_index("month")


def test_ledger_by_hand() -> None:
    frame = pd.concat([field(WARM, [8.2, 10.3, 16.0]), field(COLD, [4.0, 6.0, 8.0])], ignore_index=True)
    raw = derived(frame)
    assert printed(raw.loc["warm"]) == (8.5, 10.0, 14.5, 15.5, 15.5) and raw.loc["warm", "floor"] == 4.0
    # An equal set is a subset: a ceiling of 13 once published stays, and cuts the band at 12.
    held = hold(frame, edited(frame, "ceiling", ceiling=13.0))
    assert printed(held.loc["warm"]) == (8.5, 10.0, 12.0, 13.0, 13.0) and held.loc["warm", "cut_by_ceiling"]
    assert held.loc["warm", "reason"] == "kept as published from the same visits or more: ceiling 13 °C"
    assert printed(held.loc["1"])[:4] == printed(raw.loc["1"])[:4]
    # Month values are held one by one, and the band stays in order.
    july = hold(frame, edited(frame, "7", set_point=9.0, act_line=12.0)).loc["7"]
    assert printed(july) == (9.0, 9.0, 12.0, 12.0, 15.5)
    # A floor never falls; a higher one raises the band's bottom.
    assert hold(frame, edited(frame, "floor", floor=5.0)).loc["1", ["floor", "band_low"]].tolist() == [5.0, 5.0]
    assert hold(frame, edited(frame, "floor", floor=3.0)).loc["1", "floor"] == 4.0
    # Of several earlier floors the highest holds.
    floors = pd.concat([edited(frame, "floor", floor=5.0), edited(frame, "floor", floor=4.5)], ignore_index=True)
    assert hold(frame, floors).loc["1", "floor"] == 5.0
    # Nothing fits between: refused, with the reason.
    none = hold(frame, edited(frame, "ceiling", ceiling=9.0)).loc["7"]
    assert none["status"] == "refused" and "look at them" in none["reason"] and math.isnan(none["set_point"])
    # A warmer published value, or another cell's, changes nothing.
    assert hold(frame, edited(frame, "ceiling", ceiling=19.0)).equals(raw)


def test_new_visits_and_named_persons_free_a_value() -> None:
    old = field(WARM, [8.2, 10.3, 16.0], sites=11)
    new = field(WARM, [8.2, 10.3, 16.0], sites=12)
    published = edited(old, "ceiling", ceiling=13.0)
    assert hold(new, published).loc["warm", "ceiling"] == 15.5, "one more site: not a subset"
    assert hold(old, published).loc["warm", "ceiling"] == 13.0
    accepted = edited(old, "ceiling", ceiling=14.0).drop(columns="visits")
    assert hold(old, published, accepted).loc["warm", "ceiling"] == 14.0, "accepted up to 14 and no further"
    # The lowest of several earlier values holds.
    assert hold(old, pd.concat([published, edited(new, "ceiling", ceiling=12.0)])).loc["warm", "ceiling"] == 12.0


def test_sets_of_visits_by_cell() -> None:
    frame = pd.concat([field(WARM, [10.0], sites=1, dates=1), field([1], [4.0], sites=1, dates=2)], ignore_index=True)
    sets = visits_of_cells(frame, BOOK.taxa, BOOK)
    cell = ("COOL", "", "larva", "water")
    assert sets[(*cell, "6")] == {"s00 2018-06-01"} and len(sets[(*cell, "warm")]) == len(sets[(*cell, "ceiling")]) == 4
    assert len(sets[(*cell, "floor")]) == len(sets[(*cell, "cold")]) == 2 and sets[(*cell, "5")] == frozenset()
    nest = frame.assign(life_stage="egg_mass", at_nest=True)
    assert len(visits_of_cells(nest, BOOK.taxa, BOOK)["COOL", "", "egg_mass", "water", "ceiling"]) == 6
