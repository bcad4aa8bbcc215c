"""Missing evidence may lower a ceiling or raise a floor, never the other way: the exact statements of method §5, for any readings.

There is no outside source: these are statements that the method makes of itself. Studies are invented by a generator with a seed.
"""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pandas as pd
import pytest
from examples import examples
from hypothesis import HealthCheck, assume, given, note, settings
from hypothesis import strategies as st
from line_checks import assert_ordered, assert_steady
from small_book import book

from pipeline.settings import parse_settings
from pipeline.targets.derive import targets
from pipeline.targets.evidence import readings as read_evidence
from pipeline.targets.figures import MONTHS
from pipeline.targets.ledger import CELL, hold_to_published, to_publish, visits_of_cells
from pipeline.targets.lines import NOT_RECORDED
from pipeline.targets.season import schedule, with_set_points

TOML = """
[book]
time_zone = "America/New_York"
[[taxon]]
code = "COOL"
scientific_name = "Desmognathus fuscus"
group = "cool_stream"
[[taxon]]
code = "WARM"
scientific_name = "Eurycea neotenes"
group = "warm_spring"
[[taxon]]
code = "NONE"
scientific_name = "Eurycea longicauda"
group = "other"
"""
BOOK = parse_settings(TOML, "test")
TOPS = ("ceiling", "act_line", "band_high", "set_point_high", "set_point", "set_point_low")
# Enough for the shape of the bootstrap; the statements hold at any number of replicates.
REPLICATES = 150
NO_ACCEPTED = pd.DataFrame(columns=[*CELL, "quantity", "value"])


@dataclasses.dataclass(frozen=True)
class Study:
    """What an invented study looks like."""

    seed: int
    taxon: str
    stage: str
    medium: str
    sites: int
    days: int
    per_day: int
    years: int
    level: float
    months: tuple[int, ...]
    blanks: float
    visit_readings: float


def study(value: Study) -> pd.DataFrame:
    """Readings of an invented study: a season, sites, regional days, equal values and gaps."""
    rng = np.random.default_rng(value.seed)
    rows: list[dict[str, Any]] = []
    for _ in range(value.days):
        month, day, year = int(rng.choice(value.months)), int(rng.integers(1, 28)), 2015 + int(rng.integers(value.years))
        regional = rng.normal(0, 1.5)
        for site in rng.choice(value.sites, min(value.sites, value.per_day), replace=False):
            for _ in range(int(rng.integers(1, 4))):
                temperature = value.level - 6 * np.cos(2 * np.pi * (month - 1) / 12) + regional + 0.2 * site + rng.normal(0, 0.5)
                rows.append(
                    {
                        "month": month,
                        "date": pd.Timestamp(year, month, day),
                        "year": year,
                        "site": f"s{site}",
                        "value": round(temperature * 2) / 2,
                    }
                )
    frame = pd.DataFrame(rows)
    n = len(frame)
    hour = pd.Series(rng.integers(0, 96, n) / 4)
    frame = frame.assign(
        taxon=value.taxon, population="", life_stage=value.stage, medium=value.medium, visit_id=frame["site"] + frame["date"].astype("str"),
        hour=hour.mask(rng.random(n) < value.blanks),
        accuracy_c=pd.Series(rng.choice([0.1, 0.5, 1.0], n)).mask(rng.random(n) < value.blanks),
        from_visit=rng.random(n) < value.visit_readings, medium_assumed=False, at_nest=value.stage == "egg_mass",
        depth_cm=np.where(rng.random(n) < 0.3, 25.0, np.nan) if value.medium == "land" else np.nan, n_animals=1,
    )  # fmt: skip
    frame["night"] = ((frame["hour"] < 6) | (frame["hour"] > 20)).astype("boolean").mask(frame["hour"].isna())
    return frame.astype({"month": "Int64", "year": "Int64", "n_animals": "Int64", "date": "datetime64[us]"})


MONTH_SETS = [tuple(range(1, 13)), (4, 5, 6, 7, 8, 9, 10), (6, 7, 8, 9), (12, 1, 2, 3), (7, 8), (3, 4, 5), (1, 2, 6, 7)]
# Large studies meet grades A and B, middling ones borrowing, small ones refusal.
STUDIES = st.builds(
    lambda size, **rest: Study(**{**rest, **size}),
    size=st.one_of(
        st.fixed_dictionaries({"sites": st.integers(1, 6), "days": st.integers(1, 25), "per_day": st.integers(1, 4)}),
        st.fixed_dictionaries({"sites": st.integers(5, 9), "days": st.integers(10, 28), "per_day": st.integers(4, 6)}),
        st.fixed_dictionaries({"sites": st.integers(12, 15), "days": st.integers(60, 110), "per_day": st.integers(3, 6)}),
    ),
    seed=st.integers(0, 2**32),
    taxon=st.sampled_from(["COOL", "COOL", "COOL", "WARM", "NONE"]),
    stage=st.sampled_from(["larva", "adult", "larva", "adult", "hatchling", "egg_mass"]),
    medium=st.sampled_from(["water", "land"]),
    years=st.integers(1, 5),
    level=st.sampled_from([6.0, 8.0, 10.0, 12.0, 17.0]),
    months=st.sampled_from(MONTH_SETS),
    blanks=st.sampled_from([0.0, 0.0, 0.3, 1.0]),
    visit_readings=st.sampled_from([0.0, 0.3, 1.0]),
)
MASKS = st.tuples(st.integers(0, 2**32), st.sampled_from([0.02, 0.3, 0.8, 1.0]))
many = settings(max_examples=examples(40, 6), suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])


def derive(readings: pd.DataFrame, **words: Any) -> pd.DataFrame:
    return targets(readings, BOOK.taxa, BOOK, replicates=REPLICATES, **words)


def chosen(frame: pd.DataFrame, mask: tuple[int, float]) -> np.ndarray:
    return np.random.default_rng(mask[0]).random(len(frame)) < mask[1]


def assert_never_warmer(before: pd.DataFrame, after: pd.DataFrame) -> None:
    """Row by row: a top may fall or vanish, a floor may rise or vanish, and nothing appears.

    A group that lost its last graded cell has no target, and shows the heat limit and the cap alone instead of a ceiling of its records.
    """
    assert list(before["month"]) == list(after["month"])
    for name in (*TOPS, "floor"):
        sign = -1 if name == "floor" else 1
        old, new = sign * before[name], sign * after[name]
        if name == "ceiling":
            new = new.mask(after["ceiling_bound_by"].str.endswith(NOT_RECORDED))
        warmer = new.notna() & ~(new <= old)
        shown = pd.DataFrame(
            {"month": before["month"], "before": before[name], "after": after[name], "was": before["grade"], "is": after["grade"]}
        )
        assert not warmer.any(), f"{name}\n{shown[warmer]}"


@many
@given(STUDIES)
def test_lines_are_in_order_and_every_graded_row_has_them(value: Study) -> None:
    frame = study(value)
    rows = derive(frame)
    assert_ordered(rows)
    days = schedule(frame, rows, BOOK)
    both_sides = value.stage == "egg_mass" or value.taxon == "WARM"
    assert both_sides == days.empty or rows["status"].eq("refused").all()
    assert_steady(days, rows)
    assert (rows.loc[rows["status"] == "target", ["set_point_low", "set_point_high"]].notna()).all(axis=None)
    # (a): found in two visits at this or more, or 1 °C over the highest act line.
    days_max = frame.groupby(["site", "date"])["value"].max().sort_values()
    acts = rows.loc[rows["status"] == "target", "act_line"]
    if len(acts):
        assert rows["ceiling"].max() <= max(days_max.iloc[-2], acts.max() + 2)


@many
@given(STUDIES, MASKS, st.sampled_from(["accuracy_c", "hour", "night", "year", "clock", "all"]))
def test_blanked_instrument_hour_or_year_warms_nothing(value: Study, mask: tuple[int, float], what: str) -> None:
    frame = study(value)
    blank = frame.copy()
    names = {"clock": ["hour", "night"], "all": ["accuracy_c", "hour", "night", "year"]}.get(what, [what])
    for name in names:
        blank[name] = blank[name].mask(chosen(frame, mask))
    before, after = derive(frame), derive(blank)
    assert_never_warmer(before, after)
    assert_ordered(after)
    quantiles = ["p05", "p25", "p50", "p75", "p95", "p50_low", "p50_high", "p95_bound"]
    pd.testing.assert_frame_equal(before[quantiles], after[quantiles], check_exact=True)


@many
@given(STUDIES, st.dictionaries(st.sampled_from(["warm", "cold", *MONTHS]), st.sampled_from("ABCD"), min_size=1))
def test_lowered_grade_warms_nothing(value: Study, caps: dict[str, str]) -> None:
    frame = study(value)
    before, after = derive(frame), derive(frame, grade_cap=lambda cell: caps.get(cell[-1]))
    note(before[["month", "status", "grade", "p50", *TOPS, "floor"]].to_string())
    assert_never_warmer(before, after)
    assert_ordered(after)
    for month, grade, old in zip(after["month"], after["grade"], before["grade"], strict=True):
        assert grade == max(old, caps.get(month, "A"))


@many
@given(STUDIES, MASKS, st.booleans())
def test_fewer_visits_print_nothing_warmer_than_was_published(value: Study, mask: tuple[int, float], twice: bool) -> None:
    frame = study(value)
    days = frame["site"] + frame["date"].astype("str")
    dropped = set(days.unique()[chosen(pd.DataFrame(index=days.unique()), mask)])
    kept = frame[~days.isin(dropped)]
    assume(len(kept))
    before = derive(frame)
    published = to_publish(before, visits_of_cells(frame, BOOK.taxa, BOOK))
    raw = derive(kept)
    held, notes = hold_to_published(raw, visits_of_cells(kept, BOOK.taxa, BOOK), published, NO_ACCEPTED)
    assert_ordered(held)
    days = schedule(kept, held, BOOK)
    held = with_set_points(held, days)
    assert_ordered(held)
    assert_steady(days, held)
    # The schedule is drawn once: what it gives the targets does not change it.
    pd.testing.assert_frame_equal(schedule(kept, held, BOOK), days, rtol=0, atol=1e-5)
    for name in (*TOPS, "floor"):
        sign = -1 if name == "floor" else 1
        # A value that was never published has nothing to be held to.
        past = before[name].notna() & (sign * held[name] > sign * before[name])
        if name == "ceiling":
            past &= ~before["ceiling_bound_by"].str.endswith(NOT_RECORDED)
        assert not past.any() or name == "set_point_low", name
    assert len(notes) or held[["ceiling", "floor", *TOPS]].equals(raw[["ceiling", "floor", *TOPS]])
    if twice:
        again, _ = hold_to_published(held, visits_of_cells(kept, BOOK.taxa, BOOK), published, NO_ACCEPTED)
        pd.testing.assert_frame_equal(again, held)


@settings(max_examples=examples(10, 4), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 2**32), st.sampled_from([0.3, 1.0]), st.sampled_from(["start_time", "end_time", "found_at", "all"]))
def test_blanked_clocks_in_the_book_warm_nothing(seed: int, share: float, what: str) -> None:
    """The same from the book on: without clock times equal values of a day become one reading, and that must not help either."""
    rng = np.random.default_rng(seed)
    sites, visits, finds = [], [], []
    for site in range(4):
        # Two reaches of one stream share visits, days and often values.
        sites.append(
            {
                "site_id": f"S{site}",
                "waterbody": f"W{site // 2}" if site < 2 else None,
                "habitat": "stream",
                "latitude": 40,
                "longitude": -75,
            }
        )
    for number in range(24):
        date = f"20{rng.integers(18, 21)}-{rng.choice([1, 5, 6, 7, 8]):02}-{rng.integers(1, 5):02}"
        start, hours = int(rng.integers(24)), int(rng.integers(1, 8))
        visits.append({
            "visit_id": f"V{number}", "site_id": f"S{rng.integers(4)}", "visit_date": date, "start_time": f"{start:02}:00",
            "end_time": f"{(start + hours) % 24:02}:00" if rng.random() < 0.7 else None,
            "protocol": "other", "water_temp_c": float(rng.integers(10, 16)), "thermometer_accuracy_c": float(rng.choice([0.2, 1.0])),
        })  # fmt: skip
        for of_visit in range(rng.integers(0, 6)):
            finds.append({
                "find_id": f"F{number}-{of_visit}", "visit_id": f"V{number}", "taxon": "COOL", "life_stage": "larva", "count": 1,
                "microhabitat": "rock_in_flow", "found_at": f"{(start + rng.integers(hours)) % 24:02}:30",
                "animal_id": str(rng.choice(["", "", "R1", "R2"])),
                "water_temp_c": None if rng.random() < 0.4 else float(rng.integers(10, 18)),
            })  # fmt: skip
    names = ["start_time", "end_time", "found_at"] if what == "all" else [what]
    blank_visits = [visit | {name: None for name in names if name in visit and rng.random() < share} for visit in visits]
    blank_finds = [find | {name: None for name in names if name in find and rng.random() < share} for find in finds]
    before, _ = read_evidence(book(sites=sites, visits=visits, finds=finds), BOOK)
    after, _ = read_evidence(book(sites=sites, visits=blank_visits, finds=blank_finds), BOOK)
    assume(len(before))
    assert before["n_animals"].sum() == after["n_animals"].sum()
    assert_never_warmer(derive(before), derive(after))


@pytest.mark.parametrize("status", ["target", "borrowed", "refused"])
def test_invented_studies_meet_every_status_and_grade(status: str) -> None:
    """The properties above say something only if the studies reach all of these."""
    frames = [
        study(Study(1, "COOL", "larva", "water", 14, 100, 6, 4, 9.0, MONTH_SETS[0], 0.0, 0.0)),
        study(Study(2, "COOL", "larva", "water", 8, 18, 5, 2, 9.0, MONTH_SETS[0], 0.0, 0.0)),
    ]
    rows = pd.concat([derive(frame) for frame in frames])
    assert (rows["status"] == status).any()
    assert set(rows["grade"]) == set("ABCD")


def test_result_does_not_depend_on_the_order_of_rows_nor_on_other_cells() -> None:
    frame = study(Study(5, "COOL", "larva", "water", 12, 40, 5, 3, 9.0, MONTH_SETS[0], 0.3, 0.3))
    other = study(Study(6, "NONE", "adult", "land", 8, 30, 4, 3, 9.0, MONTH_SETS[0], 0.3, 0.3))
    alone = derive(frame)
    pd.testing.assert_frame_equal(alone, derive(frame.sample(frac=1, random_state=1)), check_exact=True)
    together = derive(pd.concat([other, frame], ignore_index=True))
    pd.testing.assert_frame_equal(alone, together[together["taxon"] == "COOL"].reset_index(drop=True), check_exact=True)
    reseeded = targets(frame, BOOK.taxa, dataclasses.replace(BOOK, seed=2), replicates=REPLICATES)
    assert not alone["p50_low"].equals(reseeded["p50_low"]) or not alone["p95_bound"].equals(reseeded["p95_bound"])
