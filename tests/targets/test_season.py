"""The schedule and what loggers tell of day and night.

`check_values/season.csv` holds C122–C127 (cosinor) with their source; statsmodels' weighted least squares agrees. Worked examples are by
hand, their values invented; the thresholds are the judgements of data/reference/limits.csv. What counts as night is checked against an
almanac in test_sun.
"""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pandas as pd
import pytest
from examples import examples
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from typed_readings import CELL, finished
from worked_fields import BOOK

from pipeline.targets.derive import targets
from pipeline.targets.season import by_month, by_week, schedule
from schemas.frames.targets import SCHEDULE_COLUMNS, SCHEDULE_MONTH_COLUMNS, SCHEDULE_WEEK_COLUMNS

YEAR = tuple(range(1, 13))


# --- the schedule


def course(day: Any) -> Any:
    """An invented stream: 10 °C on average, warmest on day 200, ±6 °C."""
    return 10 + 6 * np.cos(2 * np.pi * (np.asarray(day, dtype=float) - 200) / 365.25)


def field(
    months: Any, *, sites: int = 6, dates: tuple[int, ...] = (3, 10, 17, 24), years: int = 3, noise: float = 2.0, **columns: Any
) -> Any:
    """Every site read on the same days of every month, scattered about the invented course; without scatter P50 would pass the ceiling."""
    rng = np.random.default_rng(1)
    rows = [
        {"month": month, "site": f"s{site}", "date": pd.Timestamp(2017 + year, month, day), "year": 2017 + year}
        for month, day, year, site in itertools.product(months, dates, range(years), range(sites))
    ]
    frame = pd.DataFrame(rows)
    frame["value"] = (course(frame["date"].dt.day_of_year) + rng.normal(0, 1, len(frame)) * noise).round(2)
    return finished(frame, **columns)


def planned(readings: pd.DataFrame, **words: Any) -> tuple[pd.DataFrame, pd.DataFrame]:
    rows = targets(readings, BOOK.taxa, BOOK, replicates=200, **words)
    return schedule(readings, rows, BOOK), rows


def test_the_course_is_found_and_slowed() -> None:
    days, rows = planned(field(YEAR))
    assert list(days.columns) == list(SCHEDULE_COLUMNS) and len(days) == 365
    # 864 readings with a scatter of 2 °C: a standard error of 0.12 °C of the fit on any day.
    assert (days["fitted"] - course(days["day_of_year"])).abs().max() < 0.4
    # The fit under each month's band, and from every cooler day on no faster than 1 °C a week, found here day by day.
    top = rows.set_index("month")["band_high"]
    slow = days.sort_values("day_of_year")["fitted"].clip(upper=days["month"].astype("str").map(top)).tolist()
    for _ in range(2):
        for step in (1, -1):
            for day in range(365)[::step]:
                slow[day] = min(slow[day], slow[(day - step) % 365] + 1 / 7)
    assert days.sort_values("day_of_year")["limited"].to_numpy() == pytest.approx(slow)
    assert (days.loc[~days["at_floor"], "set_point"] <= days["limited"]).all()


def test_a_day_shift_lowers_every_day_by_as_much() -> None:
    # At 16:00 all readings stand 1.5 °C over the day's mean (judgement of data/reference/limits.csv); two steps of 0.5 and one of rounding.
    night, _ = planned(field(YEAR))
    noon, rows = planned(field(YEAR, hour=16.0, night=False))
    assert rows.loc[rows["n_readings"] > 0, "day_shift"].to_numpy() == pytest.approx(1.5)
    assert (noon["fitted"] == night["fitted"]).all()
    lowered = (night["limited"] - noon["limited"])[~noon["at_floor"] & ~night["at_floor"]]
    assert lowered.median() == pytest.approx(1.5, abs=0.5) and (lowered >= 0).all()


def test_every_day_of_a_month_with_a_target_has_a_set_point() -> None:
    # Visited 3 April to 24 June and 3 to 24 September to November. The fit reaches a week beyond; other days hold the month's median.
    days, rows = planned(field((4, 5, 6, 9, 10, 11)))
    first, second = (part["day_of_year"].tolist() for _, part in days.groupby("run"))
    assert first == list(range(91, 182)) and second == list(range(244, 335))
    assert days["set_point"].notna().all() and days["fitted"].notna().all()
    few, rows = planned(field((4, 5, 6, 9, 10, 11), dates=(14, 15, 16, 17)))
    june = few[few["month"] == 6].set_index("day")
    # A week after 17 June ends the fit; from the 25th on the median stands, and neither is passed.
    assert june["fitted"].notna().sum() == 24 and june.loc[25:, "fitted"].isna().all()
    assert june.loc[25:, "limited"].max() <= rows.set_index("month").loc["6", "p50"] + 1e-9


def test_a_run_passes_new_year() -> None:
    days, _ = planned(field((11, 12, 1, 2)))
    assert days["run"].unique().tolist() == [1]
    assert days["day_of_year"].tolist() == [*range(305, 366), *range(1, 60)]
    assert list(by_month(days)["month"]) == [11, 12, 1, 2]


@pytest.mark.parametrize("columns", [{"life_stage": "egg_mass", "at_nest": True}, {"taxon": "SPRING"}])
def test_eggs_and_constant_springs_have_none(columns: dict[str, Any]) -> None:
    days, rows = planned(field(YEAR, **columns))
    assert (rows["status"] == "target").any() and days.empty and list(days.columns) == list(SCHEDULE_COLUMNS)
    assert by_week(days).empty and by_month(days).empty


def test_two_months_make_no_fit_but_are_joined() -> None:
    days, rows = planned(field((6, 7)))
    assert days["fitted"].isna().all() and len(days) == 61
    june, july = (rows.set_index("month").loc[month] for month in ("6", "7"))
    # From the cooler side: June holds its median, July rises from it by no more than 1 °C a week up to its own.
    assert (days.loc[days["month"] == 6, "set_point"] == june["set_point"]).all()
    rising = days.loc[days["month"] == 7, "limited"].to_numpy()
    assert rising[0] <= june["p50"] + 1 / 7 + 1e-9 and np.diff(rising).max() <= 1 / 7 + 1e-9
    assert rising.max() == pytest.approx(min(july["p50"], july["band_high"]))


def test_a_month_without_a_target_is_left_out_but_still_holds_the_others_down() -> None:
    readings = field((4, 5, 6, 7, 8, 9))
    whole, _ = planned(readings)
    part, rows = planned(readings, grade_cap={("COOL", "", "larva", "water", "4"): "D"})
    assert rows.set_index("month").loc["4", "status"] == "refused"
    assert part["day_of_year"].tolist() == list(range(121, 274))
    same = whole[whole["day_of_year"].isin(part["day_of_year"])]
    assert (part["limited"].to_numpy() <= same["limited"].to_numpy() + 1e-9).all()
    # Away from April nothing changes.
    later = part["month"].to_numpy() > 6
    assert part["limited"].to_numpy()[later] == pytest.approx(same["limited"].to_numpy()[later])


def test_a_month_that_could_never_print_cools_nothing() -> None:
    # One cold reading in May, before a well-read summer: no target and no cooler neighbour to lend. It tilts the fit by a little, since its
    # site weighs as others do, but June does not begin at its 4 °C and climb for weeks.
    summer = field((6, 7, 8))
    stray = field((5,), sites=1, dates=(3,), years=1, value=4.0)
    alone, with_stray = planned(summer)[0], planned(pd.concat([summer, stray], ignore_index=True))[0]
    assert with_stray["month"].min() == 6
    june = [frame.loc[frame["month"] == 6, "set_point"].min() for frame in (alone, with_stray)]
    assert june[1] >= june[0] - 2 > 4 + 4


def test_at_least_a_degree_over_the_floor() -> None:
    readings = field(YEAR)
    rows = targets(readings, BOOK.taxa, BOOK, replicates=200)
    # A floor of 5.5 °C: the least set point is 7, the whole degree over 5.5 and 1 °C for the thermostat's swing.
    raised = rows.assign(floor=5.5, band_high=rows["band_high"].clip(lower=7.0), set_point_high=rows["set_point_high"].clip(lower=7.0))
    days = schedule(readings, raised, BOOK)
    assert days["at_floor"].any() and not days["at_floor"].all()
    assert (days.loc[days["at_floor"], "set_point"] == 7.0).all() and days["set_point"].min() == 7.0
    assert (days["at_floor"] == (days["limited"] < 7.0)).all()
    assert by_week(days)["at_floor"].any()


def test_a_low_ceiling_cuts_the_schedule() -> None:
    readings = field(YEAR)
    rows = targets(readings, BOOK.taxa, BOOK, replicates=200)
    rows = rows.assign(ceiling=14.0, **{name: rows[name].clip(upper=13.0) for name in ("band_high", "set_point_high", "set_point")})
    days = schedule(readings, rows, BOOK)
    assert days["fitted"].max() > 14 and days["set_point"].max() == 13.0


def test_clock_times_change_nothing() -> None:
    # The warm sites' values were read twice a day: by rows and not by distinct values they would weigh more.
    readings = field((4, 5, 6, 7, 8, 9))
    again = readings[readings["value"] > readings["value"].median()].assign(hour=23.0)
    both = pd.concat([readings, again], ignore_index=True)
    rows = targets(readings, BOOK.taxa, BOOK, replicates=200)
    pd.testing.assert_frame_equal(schedule(both, rows, BOOK), schedule(readings, rows, BOOK))


def test_the_weakest_grade_of_a_run_sets_the_step() -> None:
    readings = field((5, 6, 7, 8, 9), sites=13, dates=(1, 4, 8, 11, 15, 18, 22, 25), noise=2.0)
    fine, rows = planned(readings)
    assert set(rows.loc[rows["month"].isin(list("56789")), "grade"]) == {"A"} and (fine["set_point"] % 1 == 0.5).any()
    coarse, _ = planned(readings, grade_cap={("COOL", "", "larva", "water", "9"): "C"})
    shown = coarse["set_point"].dropna()
    assert (shown % 1 == 0).all() and len(shown) > 100 and len(coarse) == len(fine)


def test_without_a_floor_no_set_point_lies_below_the_lowest_month_measured() -> None:
    """Method §5: no cold-season reading, no field floor: do not go below the lowest month measured."""
    days, rows = planned(field((4, 5, 6, 7, 8, 9, 10)))
    assert rows["floor"].isna().all()
    bottom = rows.loc[rows["month"].str.isdigit() & rows["status"].ne("refused"), "band_low"].min()
    assert not (days["set_point"] < bottom).any() and not days["at_floor"].any()


def test_a_top_held_to_what_was_published_holds_the_schedule_too() -> None:
    readings = field((5, 6, 7, 8))
    rows = targets(readings, BOOK.taxa, BOOK, replicates=200)
    lower = rows["month"].eq("7") & rows["status"].eq("target")
    assert lower.any()
    held = {name: rows[name].mask(lower, rows[name] - 3) for name in ("band_high", "set_point_high", "set_point", "band_low")}
    days = schedule(readings, rows.assign(**held), BOOK)
    assert days.loc[days["month"] == 7, "set_point"].max() <= rows.loc[lower, "set_point_high"].iloc[0] - 3
    assert_safe(days, rows)


def test_weeks_and_months_by_hand() -> None:
    days = pd.DataFrame({"day_of_year": range(1, 43)})
    days = days.assign(
        taxon="COOL", population="", life_stage="larva", medium="water", run=1,
        month=[1] * 31 + [2] * 11, day=[*range(1, 32), *range(1, 12)],
        fitted=5.0, limited=5.0, set_point=[4.0] * 10 + [5.0] * 32, act_line=[8.0] * 31 + [7.0] * 11, at_floor=[True] * 3 + [False] * 39,
    )  # fmt: skip
    weeks = by_week(days)
    assert list(weeks.columns) == list(SCHEDULE_WEEK_COLUMNS)
    # Days 8–14 hold three days of 4.0 and four of 5.0: the lowest counts. Days 29–35 reach into February: its act line is lower.
    assert weeks["set_point"].tolist() == [4, 4, 5, 5, 5, 5] and weeks["n_days"].tolist() == [7] * 6
    assert weeks["act_line"].tolist() == [8, 8, 8, 8, 7, 7]
    assert weeks["at_floor"].tolist() == [True] + [False] * 5
    assert (weeks["from_month"].iloc[4], weeks["from_day"].iloc[4], weeks["to_month"].iloc[4], weeks["to_day"].iloc[4]) == (1, 29, 2, 4)
    months = by_month(days)
    assert list(months.columns) == list(SCHEDULE_MONTH_COLUMNS)
    assert months[["start", "end", "low", "high"]].to_numpy().tolist() == [[4, 5, 4, 5], [5, 5, 5, 5]]


def study(seed: int, sites: int, days: int, months: tuple[int, ...], noise: float, level: float) -> pd.DataFrame:
    """Random days, places and hours on a yearly course; some sites warmer than others."""
    rng = np.random.default_rng(seed)
    date = pd.to_datetime("2018-01-01") + pd.to_timedelta(rng.integers(0, 4 * 365, 40 * days), unit="D")
    date = pd.Series(date[np.isin(date.month, months)][:days])
    frame = pd.DataFrame({"date": np.repeat(date.to_numpy(), sites), "site": np.tile([f"s{k}" for k in range(sites)], len(date))})
    frame = frame[rng.random(len(frame)) < 0.7].reset_index(drop=True)
    warmth = dict(zip([f"s{k}" for k in range(sites)], rng.normal(0, 1.5, sites), strict=True))
    value = course(frame["date"].dt.day_of_year) - 10 + level + frame["site"].map(warmth) + rng.normal(0, noise, len(frame))
    frame = frame.assign(month=frame["date"].dt.month, year=frame["date"].dt.year, value=value.clip(lower=0.0).round(1))
    hour = rng.integers(0, 24, len(frame)).astype(float)
    return finished(frame, hour=hour, night=pd.array((hour < 6) | (hour > 20), dtype="boolean"))


STUDIES = st.builds(
    study,
    seed=st.integers(0, 2**32),
    sites=st.integers(3, 13),
    days=st.integers(8, 70),
    months=st.sampled_from([YEAR, (3, 4, 5, 6, 7, 8, 9), (11, 12, 1, 2, 3), (5, 6, 7, 8, 9), (1, 2, 3, 6, 7, 8, 10, 11), (4, 6, 8)]),
    noise=st.sampled_from([0.3, 1.5, 3.0]),
    level=st.sampled_from([7.0, 10.0, 14.0]),
).filter(len)
many = settings(max_examples=examples(15, 6), suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])


def assert_safe(days: pd.DataFrame, rows: pd.DataFrame) -> None:
    """All that the method promises of a schedule, and that no other figure of the targets forbids it."""
    of_month = rows.set_index("month")
    names = ("band_high", "act_line", "p05", "p50", "floor", "day_shift")
    month = {name: days["month"].astype("str").map(of_month[name]) for name in names}
    # Where the fit reaches, the field is the fit or the lowest twentieth; elsewhere it is the month's median.
    field = np.maximum(days["fitted"], month["p05"]).fillna(month["p50"]) - month["day_shift"]
    assert (days["limited"] <= np.maximum(field, 0.5) + 1e-9).all()
    assert (days["set_point"] <= np.maximum(days["limited"], month["floor"].fillna(-99).apply(np.ceil) + 1) + 1e-9).all()
    assert not (days["set_point"] > rows["ceiling"].min() - 1).any()
    assert not (days["set_point"] < month["floor"] + 1).any()
    for name in ("band_high", "act_line"):
        assert not (days["set_point"] > month[name]).any(), name
    year = np.full(365, np.nan)
    for column, most in (("set_point", lambda apart: 1.0), ("limited", lambda apart: apart / 7)):
        year[days["day_of_year"].to_numpy() - 1] = days[column]
        for apart in range(1, 8):
            assert not (np.abs(year - np.roll(year, apart)) > most(apart) + 1e-9).any(), (column, apart)
    printed = {int(name) for name in of_month.index[of_month["status"] != "refused"] if name.isdigit()}
    assert set(days["month"]) == printed
    assert days.groupby("run")["day_of_year"].nunique().sum() == len(days) == days["day_of_year"].nunique()


@many
@given(STUDIES)
def test_never_above_the_field_nor_faster_nor_outside_its_days_nor_above_ceiling_less_one(readings: pd.DataFrame) -> None:
    days, rows = planned(readings)
    if days.empty:
        return
    assert_safe(days, rows)
    weeks = by_week(days)
    of_week = np.minimum((days["day_of_year"] - 1) // 7, 51) + 1
    for week in weeks.itertuples():
        assert not (week.set_point > days.loc[of_week.eq(week.week) & days["run"].eq(week.run), "set_point"]).any()
    assert weeks["n_days"].sum() == by_month(days)["n_days"].sum() == len(days)


@many
@given(STUDIES, st.integers(0, 2**32), st.sampled_from([0.1, 0.5, 1.0]), st.sampled_from(["accuracy_c", "hour", "year", "all", "grade"]))
def test_missing_evidence_warms_no_day(readings: pd.DataFrame, seed: int, share: float, what: str) -> None:
    rng = np.random.default_rng(seed)
    before, rows = planned(readings)
    blank, cap = readings.copy(), {}
    if what == "grade":
        cells = rows[[*CELL, "month"]].itertuples(index=False)
        cap = {tuple(cell): str(rng.choice(["B", "C", "D"])) for cell in cells if rng.random() < share}
    else:
        names = ["accuracy_c", "hour", "year"] if what == "all" else [what]
        blank.loc[rng.random(len(blank)) < share, names] = pd.NA
        if "hour" in names:
            blank["night"] = blank["night"].mask(blank["hour"].isna())
    after, _ = planned(blank, grade_cap=cap)
    was = before.set_index("day_of_year")["set_point"]
    now = after.set_index("day_of_year")["set_point"].dropna()
    assert set(now.index) <= set(was.index)
    assert not (now > was.reindex(now.index)).any()


# --- loggers


def test_a_logger_lowers_the_day_shift_and_never_raises_it() -> None:
    # Read at 16:00: the whole half-range counts. 1.5 °C is the judgement daytime_half_range.
    readings = field((6, 7, 8, 9), hour=16.0)
    key = ("COOL", "", "larva", "water")
    shifts = [
        targets(readings, BOOK.taxa, BOOK, replicates=50, half_ranges={key: half} if half else None)
        .set_index("month")
        .loc["7", "day_shift"]
        for half in (None, 0.5, 1.5, 3.0)
    ]
    assert shifts == pytest.approx([1.5, 0.5, 1.5, 1.5])


# --- the plot
