"""Counts, quantiles and grades of one cell, by hand and against numpy's weighted quantiles (inverted_cdf, type 1 of Hyndman & Fan)."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from worked_fields import WARM, derived, field

from pipeline.statistics.weights import site_day_weights
from pipeline.targets.figures import distinct_values, draws_of, figures_of, graded, n_visits


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


def test_visits_that_share_a_reading_are_all_counted() -> None:
    frame = field([7], [10.0], sites=3, dates=2)
    shared = frame.assign(visit_ids=[f"{code}\n{code} other reach" for code in frame["visit_id"]])
    assert derived(frame).loc["7", ["n_readings", "n_visits"]].tolist() == [6, 6]
    assert derived(shared).loc["7", ["n_readings", "n_visits"]].tolist() == [6, 12]


def test_visit_readings_alone_are_provisional_at_most() -> None:
    assert derived(field(WARM, [8.0, 16.0], from_visit=True)).loc["warm", "grade"] == "C"


def test_years_and_nights_of_a_month_are_the_groups() -> None:
    # July was visited in one year by day; the other months bring years and nights: 8 dates, 12 sites, 96 visits in July.
    july = field([7], [8.0, 10.0], dates=8, years=1, night=False)
    assert derived(july).loc["7", "grade"] == "C"
    assert derived(july, field([6, 8], [8.0, 10.0])).loc["7", "grade"] == "A"


def test_capped_grade() -> None:
    frame = field(WARM, [8.2, 10.3, 16.0])
    cell = ("COOL", "", "larva", "water", "warm")
    assert derived(frame, grade_cap={cell: "C"}).loc["warm", ["grade", "ceiling"]].tolist() == ["C", 17.0]
    row = derived(frame, grade_cap=lambda name: "D" if name == cell else None).loc["warm"]
    assert (row["status"], row["reason"]) == ("refused", "held at grade D by hand")


def test_a_value_is_as_cautious_as_its_most_cautious_reading() -> None:
    """Read at 22:00 by a thermometer of ±0.2 °C and at 16:00 by one that nobody noted: day, full swing, ±1 °C (judgement)."""
    frame = field([7], [10.0], sites=1, dates=1, accuracy_c=0.2, from_visit=True)
    again = frame.assign(hour=16.0, night=False, accuracy_c=np.nan, from_visit=False)
    (row,) = distinct_values(pd.concat([frame, again], ignore_index=True)).to_dict("records")
    assert (row["swing"], row["night"], row["accuracy_c"], row["from_visit"]) == (1.0, False, 1.0, False)
    (calm,) = distinct_values(frame).to_dict("records")
    assert (calm["swing"], calm["night"], calm["accuracy_c"], calm["from_visit"]) == (pytest.approx(0, abs=1e-9), True, 0.2, True)
    # No clock: the warmest hour; 20 cm and deeper: no daily swing (judgement).
    assert distinct_values(frame.assign(hour=np.nan))["swing"].tolist() == [1.0]
    assert distinct_values(frame.assign(hour=np.nan, depth_cm=20.0))["swing"].tolist() == [0.0]


def test_a_cell_without_readings_has_counts_of_nothing_and_no_figure() -> None:
    none = field([7], [10.0]).iloc[:0]
    figures = figures_of(none, distinct_values(none), ("COOL", "", "larva", "water", "7"), 1, 10)
    assert (figures["n_readings"], figures["n_sites"], figures["draws"]) == (0, 0, None) and math.isnan(figures["p50"])
    shared = {"years": 3, "night_share": 1.0}
    made = graded(figures, ("COOL", "", "larva", "water", "7"), shared, None)
    assert made["grade"] == "D" and made["lack"] == "0 of 3 sites, 0 of 2 dates, 0 of 4 visits needed"


def test_draws_follow_the_cell_and_the_seed() -> None:
    values = distinct_values(field([7], [9.0, 10.0, 11.0, 14.0], sites=6).assign(value=lambda rows: rows["value"] + rows.index % 7 / 10))
    cell = ("COOL", "", "larva", "water", "7")
    draws = draws_of(values, cell, 1, 50)
    assert draws.shape == (50, 3) and (np.diff(draws, axis=1) >= 0).all(), "P5, P50 and P95 in order"
    assert (draws == draws_of(values, cell, 1, 50)).all()
    assert (draws != draws_of(values, cell, 2, 50)).any() and (draws != draws_of(values, (*cell[:4], "8"), 1, 50)).any()


def test_visits_are_counted_one_by_one() -> None:
    assert n_visits(pd.DataFrame({"visit_id": ["V1", "V1", "V2"]})) == 2
    assert n_visits(pd.DataFrame({"visit_id": ["V1", "V3"], "visit_ids": ["V1\nV2", "V2\nV3"]})) == 3
