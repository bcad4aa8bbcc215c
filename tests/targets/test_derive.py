"""Targets worked by hand.

Most fields below read the same few values at every site on every day, so every replicate of the bootstrap has the same quantiles and the
arithmetic of method §5 can be done on paper. Weighted quantiles are held against numpy's own (``method="inverted_cdf"``, type 1 of Hyndman
& Fan). The values are invented; thresholds are the judgements of data/reference/limits.csv.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
import pytest
from worked_fields import BOOK, COLD, WARM, derived, field, printed

from pipeline.settings.limits import ctmax_limit, group_cap
from pipeline.targets import lines
from pipeline.targets.derive import group_allowances, targets
from pipeline.targets.figures import distinct_values
from schemas.frames.targets import TARGET_COLUMNS

# --- weights and quantiles


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


# --- allowances and the day shift


def allowance_parts(frame: pd.DataFrame, months: tuple[int, ...] = WARM) -> dict[str, float]:
    return lines.allowance_parts(frame, distinct_values(frame), months)


@pytest.mark.parametrize(
    ("columns", "parts"),
    [
        ({}, {"thermometer": 0.5}),
        ({"accuracy_c": np.nan}, {"thermometer": 1.0}),
        ({"hour": 16.0}, {}),  # a bound is of moments: the daily swing is no allowance
        ({"year": 2020}, {"one year": 1.0}),
        ({"year": pd.NA}, {"one year": 1.0}),
        ({"from_visit": True}, {"visit readings only": 0.5}),
    ],
)
def test_each_allowance(columns: dict[str, Any], parts: dict[str, float]) -> None:
    nothing = {"thermometer": 0.5, "one year": 0.0, "few warm months": 0.0, "visit readings only": 0.0}
    assert allowance_parts(field(WARM, [10.0], dates=3, **columns)) == pytest.approx({**nothing, **parts}, abs=1e-12)


def test_allowances_of_part_of_the_readings() -> None:
    frame = field(WARM, [10.0, 12.0])
    first = frame["value"] == 10.0
    # Half of the weight with ±0.5 and half without a note, 1.0: the mean, not the worst.
    assert allowance_parts(frame.assign(accuracy_c=frame["accuracy_c"].mask(first)))["thermometer"] == pytest.approx(0.75)
    # Eight unlabelled thermometers of 103 cost 0.04 °C and not 0.5.
    some = frame.assign(accuracy_c=frame["accuracy_c"].mask(frame.index.isin(frame.sample(8, random_state=1).index)))
    assert allowance_parts(some)["thermometer"] == pytest.approx(0.5 + 0.5 * 8 / len(frame), abs=1e-9)
    assert allowance_parts(frame.assign(from_visit=first))["visit readings only"] == 0.0
    assert [allowance_parts(field(months, [10.0]))["few warm months"] for months in ((6, 7, 8), (6, 7), (5, 6, 7))] == [0.0, 1.0, 1.0]


def test_allowances_are_those_of_the_warm_season() -> None:
    warm, cold = field(WARM, [10.0, 14.0]), field(COLD, [4.0, 6.0], hour=np.nan, accuracy_c=np.nan, from_visit=True)
    assert derived(warm, cold).loc["warm", "allowance"] == pytest.approx(0.5)
    parts = group_allowances(pd.concat([warm, cold]), BOOK.taxa, BOOK)
    assert list(parts) == [("COOL", "", "larva", "water")] and sum(parts["COOL", "", "larva", "water"].values()) == pytest.approx(0.5)
    assert group_allowances(cold, BOOK.taxa, BOOK) == {}


@pytest.mark.parametrize(
    ("columns", "shift"),
    [
        ({}, 0.0),
        ({"hour": 16.0}, 1.5),
        ({"hour": 4.0}, 0.0),  # below the day's mean: no set point is raised for it
        ({"hour": 12.0}, 0.75),  # 1.5 × cos(−60°)
        ({"hour": np.nan}, 1.5),
        ({"hour": np.nan, "medium": "land", "depth_cm": 20.0}, 0.0),
        ({"hour": np.nan, "medium": "land", "depth_cm": 19.0}, 1.5),
        ({"hour": np.nan, "taxon": "SPRING"}, 0.0),  # too cold is unsafe there: no swing is assumed
        ({"hour": np.nan, "life_stage": "egg_mass", "at_nest": True}, 0.0),
    ],
)
def test_day_shift(columns: dict[str, Any], shift: float) -> None:
    row = derived(field([7], [10.0, 12.0, 14.0], **columns)).loc["7"]
    assert row["day_shift"] == pytest.approx(shift, abs=1e-9)
    assert row["p50"] == 12.0, "what was read is printed as it was read"


def test_day_shift_of_part_of_the_readings_and_by_a_logger() -> None:
    frame = field([7], [10.0, 12.0])
    first = frame["value"] == 10.0
    # Half of the weight at 16:00 and half at 22:00: 1.5 × (1 + 0) / 2.
    assert derived(frame.assign(hour=frame["hour"].mask(first, 16.0))).loc["7", "day_shift"] == pytest.approx(0.75)
    # A value read at 22:00 and again at 16:00 of the same day counts as of 16:00.
    assert derived(frame, frame[first].assign(hour=16.0)).loc["7", "day_shift"] == pytest.approx(0.75)
    noon = frame.assign(hour=16.0)
    key = ("COOL", "", "larva", "water")
    assert derived(noon, half_ranges={key: 0.4}).loc["7", "day_shift"] == pytest.approx(0.4)
    # A logger that swings more may not raise the shift: a set point would get warmer by losing it.
    assert derived(noon, half_ranges={key: 3.0}).loc["7", "day_shift"] == pytest.approx(1.5)


# --- set point, band, act line, ceiling, floor


def test_strong_season_by_hand() -> None:
    # P25 8.2, P50 10.3, P75 = P95 16 at every site and day. Bound 16 − 0.5 (thermometer) = 15.5. A: step 0.5; no day shift at 22:00.
    rows = derived(field(WARM, [8.2, 10.3, 16.0]))
    row = rows.loc["warm"]
    assert (row["grade"], row["status"], row["p95_bound"], row["day_shift"]) == ("A", "target", 16.0, pytest.approx(0.0, abs=1e-9))
    # Top min(16, max(15.5, 10.3)) = 15.5. Act line min(16 + 2, max(15.5, 15.5 + 1)) = 16.5. Ceiling: the second-warmest day, 16, or
    # 16.5 + 1 = 17.5, which is higher; CTmax less 12 is 19 and the cap 20. Bottom 8.2 up to 8.5, set point 10.3 down to 10.
    assert printed(row) == (8.5, 10.0, 15.5, 16.5, 17.5) and not row["cut_by_ceiling"]
    words = row["ceiling_bound_by"]
    ctmax = ctmax_limit("Desmognathus fuscus")["value"]
    assert words == (
        "1 °C over the highest act line of the records; cap of the group 2.5 °C higher;"
        f" heat limit of adults (CTmax) less 12 °C {ctmax - 17.5:.1f} °C higher"
    )
    # A month with 6 dates of 8 is B: step 1. Top 15, act line 16; its days hold the yearly course, which is a mean: 11.5.
    assert rows.loc["7", "grade"] == "B" and printed(rows.loc["7"]) == (9.0, 11.0, 15.0, 16.0, 17.5)
    assert rows.loc["1", "reason"] == "no readings" and math.isnan(rows.loc["1", "set_point"])


def test_provisional_season_by_hand() -> None:
    # 3 sites, 3 dates in each of two months, one year, no clock, no accuracy: bound 16 − 1 − 1 − 1 = 13; day shift 1.5.
    rows = derived(field((6, 7), [8.2, 10.3, 16.0], sites=3, dates=3, years=1, hour=np.nan, night=pd.NA, accuracy_c=np.nan))
    row = rows.loc["warm"]
    assert (row["grade"], row["allowance"], row["day_shift"]) == ("C", pytest.approx(3.0), pytest.approx(1.5))
    # Bottom 8.2 − 1.5 = 6.7 up to 7; set point 8.8 to 8; top 13 − 1.5 to 11; act line max(13, 13 + 1) = 14; ceiling max(16, 15) = 16.
    assert printed(row) == (7.0, 8.0, 11.0, 14.0, 16.0)
    assert row["reason"] == "one year only: it speaks of that year"


def test_weak_evidence_brings_the_top_down_to_the_set_point_and_never_below() -> None:
    # Bound 12 − 3 = 9 lies under the median of 10: the top is the median, the act line one degree over it.
    rows = derived(field((6, 7), [8.0, 10.0, 12.0], sites=3, dates=3, years=1, accuracy_c=np.nan))
    assert printed(rows.loc["warm"]) == (8.0, 10.0, 10.0, 11.0, 12.0)


def test_act_line_of_a_month_without_a_bound_is_two_degrees_over_it() -> None:
    row = derived(field(WARM, [10.0, 16.0]), field([1], [3.0, 4.0, 5.0])).loc["1"]
    # P75 of three equal values is the highest: 5. So 7, and the whole band up to P75.
    assert (row["band_high"], row["act_line"], row["cut_by_ceiling"]) == (5.0, 7.0, False)


def test_ceiling_is_the_second_warmest_day_where_that_is_higher() -> None:
    # Two days of 18 and 19 among many of 12: P75 12, act line 13, so 14; the second-warmest site-day is 18.
    frame = field(WARM, [10.0, 12.0], sites=12)
    frame.loc[(frame["site"] == "s03") & (frame["date"] == frame["date"].iloc[0]), "value"] = 19.0
    frame.loc[(frame["site"] == "s04") & (frame["date"] == frame["date"].iloc[0]), "value"] = 18.0
    row = derived(frame).loc["warm"]
    assert (row["max"], row["p95_bound"], row["ceiling"]) == (19.0, 12.0, 18.0)
    assert row["ceiling_bound_by"].startswith("second-warmest day of the records; ")
    # Without the second of the two the one warm day alone lifts nothing.
    alone = derived(frame[~((frame["site"] == "s04") & (frame["value"] == 18.0))]).loc["warm"]
    assert (alone["max"], alone["ceiling"]) == (19.0, 14.0)


def test_cap_and_ctmax_bind_and_the_row_stays_a_target() -> None:
    # Animals at 24 and 25 °C in a cool stream: the cap of 20 holds, set point and band stand at 19, and the row says so.
    row = derived(field(WARM, [24.0, 25.0])).loc["warm"]
    cap, ctmax = group_cap("cool_stream")["value"], ctmax_limit("Desmognathus fuscus")["value"]
    lowest = min(cap, math.floor(ctmax * 2) / 2)
    assert row["status"] == "target" and row["cut_by_ceiling"] and row["ceiling"] == lowest
    assert (row["set_point"], row["band_high"], row["act_line"]) == (lowest - 1, lowest - 1, lowest - 0.5)
    other = derived(field(WARM, [24.0, 25.0]).assign(taxon="OTHER")).loc["warm"]
    assert other["ceiling"] == math.floor(ctmax * 2) / 2 and other["ceiling_bound_by"].startswith(
        "heat limit of adults (CTmax) less 12 °C;"
    )


def test_no_ceiling_under_julys_own_median_but_by_a_limit_from_outside() -> None:
    # Common practice, no source: a sheet that prints a July ceiling under July's own median is a defect.
    for values in ([8.0, 9.0], [15.0, 17.0, 18.5], [18.0, 18.5, 19.0]):
        for sites in (3, 12):
            rows = derived(field(WARM, values, sites=sites), field(COLD, [3.0, 4.0], sites=sites))
            held = rows[rows["status"] == "target"]
            own = held[~held["cut_by_ceiling"]]
            assert len(own) and (own["ceiling"] > own["p50"]).all()


def test_group_without_a_graded_cell_has_the_outer_limits_alone() -> None:
    rows = derived(field(WARM, [8.0, 10.0, 16.0], sites=2), field(COLD, [3.0, 5.0], sites=2))
    assert rows[["floor", "set_point", "band_high", "act_line"]].isna().all(axis=None)
    assert (rows["ceiling"] == math.floor(ctmax_limit("Desmognathus fuscus")["value"])).all()
    assert rows["ceiling_bound_by"].str.endswith("; not from the records").all()
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


def test_set_point_stands_a_degree_over_the_floor() -> None:
    # The floor comes from 5.2 °C in every winter cell: up to 5.5. A thermostat swings by 1 °C: no set point under 7, the next whole degree.
    rows = derived(field(COLD, [5.2]), field([11], [2.0, 8.0, 9.0]))
    assert rows.loc["11", "floor"] == 5.5 and rows.loc["11", "band_low"] == 6.0
    december = rows.loc["12"]
    assert (december["set_point"], december["band_high"], december["act_line"]) == (7.0, 7.0, 8.0)


def test_a_floor_gives_way_to_a_limit_from_outside() -> None:
    rows = derived(field(range(1, 13), [24.0, 25.0]))
    assert rows["floor"].max() <= rows["ceiling"].min() - 2 and (rows["set_point"] <= rows["ceiling"] - 1).all()


def test_a_bad_thermometer_stops_the_run() -> None:
    with pytest.raises(AssertionError, match="thermometer worse"):
        derived(field(WARM, [8.0, 16.0], accuracy_c=1.2))


def test_the_bound_is_the_fifteenth_percentile_of_the_bootstrap() -> None:
    # Calibrated and frozen (method §9); found again here from the replicates themselves.
    frame = field(WARM, [1.0], sites=8)
    frame["value"] = np.random.default_rng(1).normal(14, 2, len(frame)).round(2)
    values = distinct_values(frame)
    draws = lines_draws(values)
    assert derived(frame).loc["warm", "p95_bound"] == np.quantile(draws[:, 2], 0.15, method="inverted_cdf")


def lines_draws(values: pd.DataFrame) -> np.ndarray:
    from pipeline.targets.figures import draws_of

    return draws_of(values, ("COOL", "", "larva", "water", "warm"), BOOK.seed, 200)


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


def test_month_warmer_than_the_ceiling_may_borrow_the_cooler_one() -> None:
    rows = derived(field([6, 7], [9.0, 11.0, 12.0]), field([8], [22.0], **WEAK))
    row = rows.loc["8"]
    assert (row["status"], row["borrowed_from"], row["set_point"]) == ("borrowed", "7", rows.loc["7", "set_point"])


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
    # Bound 28 − 0.5 − 1 (no warm-season month) = 26.5: top 26.5, act line 27.5, ceiling 28.5 down by the step of the (empty) warm season;
    # no cap at 20 and no CTmax. The floor stands 2 °C under the lowest tenth, 9: an alarm 1 °C under the band, and 1 °C more.
    assert (row["ceiling"], row["ceiling_bound_by"], row["p95_bound"]) == (28.0, "1 °C over the highest act line of the records", 28.0)
    assert row["floor"] == 7.0
    assert derived(field([4], [9.0], life_stage="egg_mass")).empty


def test_spring_taxa_have_a_wide_band_and_no_group_cap() -> None:
    # Twelve values at each site and day: 16, 18.0 to 18.9, 24. P10 is the 2nd, P90 the 11th, P5 the 1st and P95 the 12th.
    values = [18.0 + step / 10 for step in range(10)] + [16.0, 24.0]
    rows = derived(field(range(1, 13), values, taxon="SPRING"))
    row = rows.loc["warm"]
    low, high = np.quantile(values, [0.1, 0.9], method="inverted_cdf")
    assert (low, high) == (18.0, 18.9)
    ctmax = ctmax_limit("Eurycea neotenes")["value"]
    assert row["ceiling"] == math.floor(min(24.0, ctmax) * 2) / 2 == 20.0
    assert row["ceiling_bound_by"].startswith("heat limit of adults (CTmax) less 12 °C; second-warmest day of the records")
    # P10 of 18 less 1 °C is the lower act line; the floor stands 1 °C under it, and P5 of 16 is no higher.
    assert (row["floor"], row["band_low"], row["band_high"]) == (16.0, 18.0, 18.5)
    assert (rows.loc["7", ["set_point_low", "set_point_high"]] == rows.loc["7", "set_point"]).all(), "no schedule, one set point"


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
