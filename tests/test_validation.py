"""The bound against real stream temperatures, small (method §9), and the validation itself against figures made by hand.

The full run is ``tests/benchmarks/validate_bound.py``; its table stands in docs/validation.md. Here 60 campaigns a design: a share may pass
its limit by three binomial standard errors of 60 campaigns at that limit, and by no more.
"""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from benchmarks import validate_bound
from benchmarks.validate_bound import Design

from pipeline.targets.derive import targets, warm_season
from schemas.frames.targets import Readings

CAMPAIGNS = 60


def loosened(limit: float) -> float:
    """Limit in % and three binomial standard errors."""
    return limit + 300 * math.sqrt(limit / 100 * (1 - limit / 100) / CAMPAIGNS)


@pytest.fixture(scope="module")
def invented() -> pd.DataFrame:
    return validate_bound.invented_series()


@pytest.fixture(scope="module")
def streams(open_data: Path) -> pd.DataFrame:
    return validate_bound.read_series(open_data)


def test_truth_by_hand() -> None:
    # Site a: June 10 and 20 (1/8 each of all), July 30 (1/4). Site b: June 40 (1/2). Below 40 lies half of the site-days.
    frame = pd.DataFrame({"site": list("aaab"), "month": [6, 6, 7, 6], "value": [10.0, 20.0, 30.0, 40.0]})
    found = [validate_bound.truth(frame, p) for p in (0.12, 0.13, 0.26, 0.49, 0.51)]
    assert found == [10.0, 20.0, 30.0, 30.0, 40.0]


def test_share_by_hand() -> None:
    """3 of 60: 5 %, √(0.05·0.95/60) = 2.81 %. None of 60 is no certainty: the error is that of 1 of 60."""
    assert validate_bound.share(pd.Series([True] * 3 + [False] * 57)) == pytest.approx((5.0, 2.8137), abs=1e-4)
    assert validate_bound.share(pd.Series([False] * 60)) == pytest.approx((0.0, 1.6527), abs=1e-4)


@pytest.mark.parametrize("design", validate_bound.designs(), ids=lambda one: f"{one.name}, {one.size}")
def test_campaigns_are_drawn_as_their_design_says(invented: pd.DataFrame, design: Design) -> None:
    series = invented if not design.warm_half else validate_bound.invented_series(sites=44)
    lookup = series.set_index(["site", "date"])["value"]
    for _, campaign, frame in validate_bound.campaigns_of(series, design, range(3)):
        assert campaign.groupby("site")["date"].nunique().tolist() == [design.days] * design.sites
        dates = campaign.groupby("site")["date"].agg(lambda days: tuple(sorted(days)))
        assert (dates.nunique() == 1) == design.trips
        assert campaign["date"].dt.month.isin(design.months).all()
        assert not design.one_year or campaign["date"].dt.year.nunique() == frame["year"].nunique() == 1
        # Read and less cycle and bias: the daily mean of the series, of that site and day.
        cycle = 1.5 * np.cos(2 * np.pi * (campaign["hour"] - 16) / 24) if design.hours else 0.0
        plain = campaign["value"] - cycle - design.reads_warm
        assert plain.tolist() == pytest.approx(lookup.loc[list(zip(campaign["site"], campaign["date"], strict=True))].tolist(), abs=1e-9)
        assert campaign["hour"].between(*(design.hours or (22, 22))).all()
        made = validate_bound.as_readings(campaign, 0.05)
        Readings.validate(made[[name for name in Readings.to_schema().columns if name in made]])
        if design.warm_half:
            means = series.groupby("site")["value"].mean()
            assert set(campaign["site"]) <= set(means.nlargest(len(means) // 2).index)


def test_a_trip_does_not_see_a_stream_whose_logger_did_not_run(invented: pd.DataFrame) -> None:
    """Half of the streams from August on only: trips stay spread over the season, and each sees the streams that ran on its day."""
    late = invented["site"] >= "s15"
    gaps = invented[~late | (invented["month"] >= 8)]
    ran = set(zip(gaps["site"], gaps["date"], strict=True))
    design = Design("gaps", 20, 12, one_year=True, trips=True)
    months = []
    for _, campaign, _ in validate_bound.campaigns_of(gaps, design, range(20)):
        seen = set(zip(campaign["site"], campaign["date"], strict=True))
        assert seen == {(site, day) for site in set(campaign["site"]) for day in set(campaign["date"])} & ran
        months += campaign["date"].drop_duplicates().dt.month.tolist()
    # 122 days: 61 of them in June and July.
    assert abs(np.mean([month <= 7 for month in months]) - 0.5) < 4 * math.sqrt(0.25 / len(months))
    shared = dataclasses.replace(design, all_run=True)
    assert all(campaign["date"].dt.month.min() >= 8 for _, campaign, _ in validate_bound.campaigns_of(gaps, shared, range(5)))


def test_the_bound_alone_is_what_targets_print(invented: pd.DataFrame) -> None:
    """Bound, allowances and interval of ``warm_season`` stand in the warm row of ``targets``, to the last digit."""
    for number, campaign, _ in validate_bound.campaigns_of(invented, Design("x", 8, 6, hours=(10.0, 16.0)), range(3)):
        readings = validate_bound.as_readings(campaign, 0.5)
        settings = validate_bound.seeded(number)
        # A winter besides changes nothing.
        winter = readings.head(5).assign(month=1, date=pd.Timestamp("2020-01-05"), value=3.0).astype(readings.dtypes.to_dict())
        row = targets(pd.concat([readings, winter]), settings.taxa, settings).query("month == 'warm'").iloc[0]
        found = dataclasses.asdict(warm_season(pd.concat([readings, winter]), settings))
        assert found == {name: row[name] for name in found} and found["allowance"] >= 0.5 - 1e-9


def test_readings_of_two_groups_have_no_bound(invented: pd.DataFrame) -> None:
    _, campaign, _ = next(iter(validate_bound.campaigns_of(invented, Design("x", 3, 4), [0])))
    readings = validate_bound.as_readings(campaign, 0.5)
    with pytest.raises(ValueError, match="got 2"):
        warm_season(pd.concat([readings, readings.assign(medium="land")]), validate_bound.SETTINGS)


def test_sheets_load_and_targets_give_the_same_figures(invented: pd.DataFrame) -> None:
    assert validate_bound.files_agree(invented, Design("sheets", 5, 6, hours=(10.0, 16.0)), 1) == 1


def test_invented_streams_are_not_called_too_warm(invented: pd.DataFrame) -> None:
    design = Design("invented", 8, 6)
    p95 = validate_bound.truth(invented, 0.95)
    row = validate_bound.summary(validate_bound.derive_campaigns(invented, design, range(CAMPAIGNS)), design, p95)
    assert row["raw"][0] <= loosened(5) and row["p50"][0] >= 100 - loosened(8)
    # The check can fail: a thermometer 3 °C warm that claims 0.05 would pass nothing.
    warm = dataclasses.replace(design, name="warm", reads_warm=3.0)
    spoilt = validate_bound.summary(validate_bound.derive_campaigns(invented, warm, range(CAMPAIGNS)), warm, p95)
    assert spoilt["raw"][0] > 3 * loosened(5) and spoilt["raw_short"] < row["raw_short"] - 2


# --- real streams


@pytest.mark.open_data
def test_streams_are_those_of_the_calibration(streams: pd.DataFrame) -> None:
    """Method §9: 138 streams, P95 22.1 °C; no value of a logger that hung in the air."""
    assert streams["site"].nunique() == 138
    assert validate_bound.truth(streams, 0.95) == pytest.approx(22.1, abs=0.05)
    assert streams["value"].min() > 0 and not streams.duplicated(["site", "date"]).any()


@pytest.mark.open_data
def test_years_are_those_that_the_page_speaks_of(streams: pd.DataFrame, root: Path) -> None:
    """Five years with 20 streams; the 21 of 2012 are warm; days on which every logger ran lie in July and August in two of the five."""
    page = " ".join((root / "docs" / "validation.md").read_text(encoding="utf-8").split())
    assert "in two of the five years such days lie almost wholly in July and August" in page
    assert "the 21 of 2012 are warm ones, P95 23.4 °C" in page
    design = Design(validate_bound.ALL_RUN, 20, 6, one_year=True, trips=True, all_run=True)
    frames = {int(rows["year"].iloc[0]): rows for rows in validate_bound.frames_to_draw_from(streams, design)}
    assert len(frames) == 5 and frames[2012]["site"].nunique() == 21
    assert validate_bound.truth(frames[2012], 0.95) == pytest.approx(23.4, abs=0.05)
    summer = {}
    for year, rows in frames.items():
        pool, rng = validate_bound.as_pool(rows, design), np.random.default_rng(1)
        drawn = pd.concat([validate_bound.draw(pool, design, rng) for _ in range(50)])
        summer[year] = drawn["date"].dt.month.isin([7, 8]).mean()
    assert sum(share > 0.8 for share in summer.values()) == 2


@pytest.mark.open_data
@pytest.mark.slow
@pytest.mark.parametrize(
    ("design", "measure", "limit"),
    [
        (Design(validate_bound.INDEPENDENT, 5, 6), "raw", 5),
        (Design(validate_bound.INDEPENDENT, 12, 6), "raw", 5),
        (Design(validate_bound.TRIPS, 12, 6, one_year=True, trips=True), "less", 5),
        (Design("July and August, 10:00–16:00 only", 12, 6, months=(7, 8), hours=(10.0, 16.0)), "less", 5),
    ],
    ids=lambda value: f"{value.name}, {value.size}" if isinstance(value, Design) else str(value),
)
def test_real_streams_are_not_called_too_warm(streams: pd.DataFrame, design: Design, measure: str, limit: float) -> None:
    rows = validate_bound.derive_campaigns(streams, design, range(CAMPAIGNS))
    row = validate_bound.summary(rows, design, validate_bound.truth(streams, 0.95))
    assert row[measure][0] <= loosened(limit)
    if design.months == validate_bound.WARM:
        assert row["p50"][0] >= 100 - loosened(8)
    if design.size == "12 × 6" and design.name == validate_bound.INDEPENDENT:
        # 2.2 °C and three standard errors of a median of 60: 1.253·σ/√60.
        assert row["raw_short"] <= 2.2 + 3 * 1.253 * rows["p95_bound"].std() / math.sqrt(CAMPAIGNS)


@pytest.mark.open_data
@pytest.mark.slow
def test_fewer_visits_do_not_warm_the_ceiling_of_real_streams(streams: pd.DataFrame) -> None:
    """Method §5, on 12 campaigns and 12 deletions: mean below 0 by more than chance would leave, few rises of 1 °C."""
    changes = validate_bound.deletions(streams, Design(validate_bound.INDEPENDENT, 12, 6), 12, 12)
    each = changes.groupby("number")["change"].mean()
    assert each.mean() < 0 and (changes["change"] >= 1).mean() <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / len(changes))


def test_page_has_a_place_for_the_tables(root: Path) -> None:
    pages = [path.read_text(encoding="utf-8") for path in validate_bound.PAGES]
    for page in pages:
        assert page.count(validate_bound.START) == page.count(validate_bound.END) == 1
    made, again = (page.split(validate_bound.START)[1].split(validate_bound.END)[0] for page in pages)
    assert made == again
    for design in validate_bound.designs():
        assert f"| {design.name} | {design.size} |" in made
