"""What loggers tell of day and night, by hand; what counts as night is checked against an almanac in test_sun."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
import pytest
import reduced_by_pandas as by_pandas
from typed_readings import finished

from pipeline.targets import daily_cycle
from pipeline.targets.daily_cycle import half_range_for, logger_record
from schemas.frames.field import CORRECTED_COLUMNS, HALF_RANGE_COLUMNS, NIGHT_DROP_COLUMNS, LoggerRecord

SITES = pd.DataFrame(
    {
        "site_id": ["A1", "A2", "B"],
        "waterbody": ["brook", "brook", None],
        "latitude": [40.0, 40.0, np.nan],
        "longitude": [-75.0, -75.0, np.nan],
    }
)
EASTERN = "America/New_York"


def hung(**changes: Any) -> pd.DataFrame:
    row = {"logger_id": "L1", "site_id": "A1", "enclosure_id": None, "medium": "water", "height_or_depth_cm": np.nan, **changes}
    return pd.DataFrame([row])


def series(first: str, last: str, minutes: int, value: Any, logger_id: str = "L1") -> pd.DataFrame:
    """Readings in UTC; `value` is given the local clock hour."""
    at = pd.date_range(first, last, freq=f"{minutes}min", unit="us", tz=EASTERN, inclusive="left")
    hour = at.hour + at.minute / 60
    return pd.DataFrame({"logger_id": logger_id, "read_at": at.tz_convert("UTC").tz_localize(None), "temp_c": [value(one) for one in hour]})


def night_drop(readings: pd.DataFrame, loggers: pd.DataFrame) -> pd.DataFrame:
    places = loggers.merge(SITES, on="site_id")
    return daily_cycle.night_drop(by_pandas.nights(readings, places, EASTERN), loggers, SITES)


def half_range(readings: pd.DataFrame, months: tuple[int, ...]) -> pd.DataFrame:
    return daily_cycle.logger_half_range(by_pandas.daily(readings, EASTERN), hung(), SITES, months)


def corrected(readings: pd.DataFrame, series_: pd.DataFrame, loggers: pd.DataFrame) -> pd.DataFrame:
    days = by_pandas.daily(series_, EASTERN)
    return daily_cycle.corrected_readings(readings, days, loggers, SITES, EASTERN, by_pandas.around(series_))


def test_night_drop_by_hand() -> None:
    # At 40° N, 75° W in early July the sun is up from about 5:35 to 20:32, so the hours 6 to 20 are day: 18 °C against 14 °C.
    readings = series("2021-07-01", "2021-07-11", 60, lambda hour: 18.0 if 6 <= hour <= 20 else 14.0)
    found = night_drop(readings, hung())
    assert list(found.columns) == list(NIGHT_DROP_COLUMNS)
    # Ten days, of which the last has only the evening of its night.
    assert found[["site", "medium", "month", "night_drop", "n_days", "n_years"]].to_numpy().tolist() == [["brook", "water", 7, 4.0, 9, 1]]


def test_night_drop_is_paired_and_a_median() -> None:
    # From 6:00 on the 9th all is 16 °C warmer, day and night: each pair still differs by 4 °C.
    readings = series("2021-07-01", "2021-07-12", 60, lambda hour: 18.0 if 6 <= hour <= 20 else 14.0)
    spike = readings["read_at"] >= "2021-07-09 10:00"
    readings["temp_c"] += 16 * spike
    # The daylight of the 4th is lost: that pair goes, the night of the 3rd stays with the 3rd.
    lost = readings["read_at"].between("2021-07-04 10:00", "2021-07-05 00:00")
    found = night_drop(readings[~lost], hung())
    assert found["night_drop"].tolist() == [4.0] and found["n_days"].tolist() == [9]


def test_places_media_and_months_stay_apart() -> None:
    water = series("2021-06-25", "2021-07-06", 60, lambda hour: 18.0 if 6 <= hour <= 20 else 14.0)
    deep = series("2021-06-25", "2021-07-06", 60, lambda hour: 12.0 if 6 <= hour <= 20 else 12.5, "L2")
    place = pd.concat(
        [hung(), hung(logger_id="L2", site_id="A2", medium="land", height_or_depth_cm=25.0), hung(logger_id="L3", site_id="B")]
    )
    nowhere = series("2021-06-25", "2021-07-06", 60, lambda hour: 1.0, "L3")
    found = night_drop(pd.concat([water, deep, nowhere]), place)
    rows = found[["medium", "month", "night_drop", "n_days"]].to_numpy().tolist()
    assert rows == [["land", 6, -0.5, 6], ["land", 7, -0.5, 4], ["water", 6, 4.0, 6], ["water", 7, 4.0, 4]]


def test_half_range_by_hand() -> None:
    readings = series("2021-07-01", "2021-07-05", 30, lambda hour: 14 + 2 * np.cos(2 * np.pi * (hour - 16) / 24))
    winter = series("2021-01-01", "2021-01-05", 30, lambda hour: 3.0)
    found = half_range(pd.concat([readings, winter]), (6, 7, 8, 9))
    assert list(found.columns) == list(HALF_RANGE_COLUMNS)
    assert found["half_range"].tolist() == [pytest.approx(2.0)] and found["n_days"].tolist() == [4]
    # Half a day is no day.
    half = readings[readings["read_at"] < "2021-07-04 16:00"]
    assert half_range(half, (7,))["n_days"].tolist() == [3]


def test_half_range_stands_only_where_every_reading_has_a_logger() -> None:
    ranges = pd.DataFrame(
        {"site": ["brook", "rill"], "medium": "land", "height_or_depth_cm": [4.0, 12.0], "half_range": [0.4, 0.9], "n_days": 9}
    )
    rows = finished(pd.DataFrame({"site": ["brook", "rill"], "date": pd.Timestamp("2021-07-01"), "month": 7, "year": 2021, "value": 14.0}))
    land = rows.assign(medium="land", depth_cm=[0.0, 10.0])
    assert half_range_for(land, ranges) == 0.9
    assert half_range_for(land.assign(depth_cm=[0.0, 2.0]), ranges) is None
    assert half_range_for(land.assign(depth_cm=np.nan), ranges) is None
    assert half_range_for(land.assign(medium="water"), ranges) is None
    assert half_range_for(land.iloc[:0], ranges) is None


def test_corrected_by_hand() -> None:
    # 14 °C ± 2 °C around the day, warmest at 16:00: at 16:00 a reading stands 2 °C above its day's mean, at 4:00 as much below.
    logger = series("2021-07-01", "2021-07-08", 30, lambda hour: 14 + 2 * np.cos(2 * np.pi * (hour - 16) / 24))
    frame = pd.DataFrame(
        {"site": "brook", "date": pd.Timestamp("2021-07-03"), "month": 7, "year": 2021, "value": 15.0, "hour": [16.0, 4.0, 10.25]}
    )
    readings = finished(frame.drop(columns="hour"), hour=[16.0, 4.0, 10.25])
    shown = corrected(readings, logger, hung())
    assert list(shown.columns) == [name for name in CORRECTED_COLUMNS if name != "visit_ids"]
    # 10:15 lies between the readings of 10:00 (14.0) and 10:30: 14 + 2·cos(−82.5°)/2.
    between = 14 + math.cos(math.radians(82.5))
    assert shown["logger_then"].tolist() == pytest.approx([16.0, 12.0, between])
    assert shown["logger_day_mean"].tolist() == pytest.approx([14.0] * 3)
    assert shown["corrected"].tolist() == pytest.approx([13.0, 17.0, 15 + 14 - between])
    assert shown["value"].tolist() == [15.0] * 3 and shown["logger_id"].tolist() == ["L1"] * 3


@pytest.mark.parametrize(
    ("reading", "logger"),
    [
        ({"hour": np.nan}, {}),
        ({"medium": "edge"}, {}),
        ({"site": "B"}, {}),
        ({"date": pd.Timestamp("2021-07-20")}, {}),
        ({"medium": "land", "depth_cm": 0.0}, {"medium": "land", "height_or_depth_cm": 20.0}),
        ({"medium": "land"}, {"medium": "land", "height_or_depth_cm": 0.0}),
        ({}, {"site_id": None, "enclosure_id": "E1"}),
    ],
)
def test_nothing_is_corrected_by_a_logger_elsewhere(reading: dict[str, Any], logger: dict[str, Any]) -> None:
    series_ = series("2021-07-01", "2021-07-08", 60, lambda hour: 14.0 + hour / 10)
    frame = pd.DataFrame({"site": ["brook"], "date": [pd.Timestamp("2021-07-03")], "month": 7, "year": 2021, "value": 15.0})
    usual = corrected(finished(frame, hour=12.0), series_, hung())
    assert usual["corrected"].notna().all()
    shown = corrected(finished(frame, **{"hour": 12.0, **reading}), series_, hung(**logger))
    assert shown["corrected"].isna().all() and shown["logger_id"].tolist() == [""] and shown["value"].tolist() == [15.0]


def test_a_gap_is_not_bridged_and_the_nearest_depth_is_taken() -> None:
    logger = series("2021-07-01", "2021-07-08", 30, lambda hour: 14.0)
    at_noon = pd.Timestamp("2021-07-03 16:00")
    frame = finished(
        pd.DataFrame({"site": ["brook"], "date": [pd.Timestamp("2021-07-03")], "month": 7, "year": 2021, "value": 15.0}), hour=12.0
    )
    one_lost = logger[logger["read_at"] != at_noon]
    assert corrected(frame, one_lost, hung())["corrected"].tolist() == [15.0]
    two_lost = one_lost[one_lost["read_at"] != at_noon + pd.Timedelta(minutes=30)]
    assert corrected(frame, two_lost, hung())["corrected"].isna().all()
    place = pd.concat([hung(medium="land", height_or_depth_cm=4.0), hung(logger_id="L0", medium="land", height_or_depth_cm=0.0)])
    both = pd.concat([logger, logger.assign(logger_id="L0", temp_c=10.0)])
    land = frame.assign(medium="land", depth_cm=3.0)
    assert corrected(land, both, place)["logger_id"].tolist() == ["L1"]


def test_correction_takes_the_hour_of_the_day_out() -> None:
    """Planted: readings of a stream at random hours; corrected, they scatter by the thermometer alone."""
    rng = np.random.default_rng(4)
    logger = series("2021-06-01", "2021-09-01", 60, lambda hour: 14 + 3 * np.cos(2 * np.pi * (hour - 16) / 24))
    hour = rng.uniform(0, 24, 200)
    dates = pd.Timestamp("2021-06-05") + pd.to_timedelta(rng.integers(0, 80, 200), unit="D")
    frame = pd.DataFrame({"site": "brook", "date": dates, "month": dates.month, "year": 2021})
    frame["value"] = 14 + 3 * np.cos(2 * np.pi * (hour - 16) / 24) + rng.normal(0, 0.1, 200)
    shown = corrected(finished(frame, hour=hour), logger, hung())
    assert shown["value"].std() > 2 and shown["corrected"].std() < 0.15
    assert shown["corrected"].mean() == pytest.approx(14.0, abs=0.05)


HOURS = pd.date_range("2021-07-01", periods=6, freq="h", unit="us")
SIX = pd.DataFrame({"logger_id": "L1", "read_at": HOURS, "temp_c": [14.0, 15.0, 17.0, 17.0, 15.0, 14.0]})


def record(readings: pd.DataFrame, zone: str, line_c: float) -> pd.DataFrame:
    return logger_record(by_pandas.daily(readings, zone), by_pandas.above(readings, line_c), hung(), SITES, line_c)


def test_the_highest_and_the_longest_time_above_a_line_by_hand() -> None:
    """Above 16 from 1:30 to 3:30: two hours. The day's highest is 17; in New York the six hours lie on 30 June and 1 July."""
    (row,) = record(SIX, "UTC", 16.0).to_dict("records")
    assert (row["site"], row["n_days"], row["max"], row["mean_daily_max"], row["line_c"]) == ("brook", 1, 17.0, 17.0, 16.0)
    assert row["longest_h"] == pytest.approx(2.0)
    (row,) = record(SIX, EASTERN, 16.0).to_dict("records")
    # Midnight there is 4:00 UTC: 17 until then, 15 after it.
    assert (row["n_days"], row["mean_daily_max"]) == (2, 16.0)
    lines = pd.concat([by_pandas.above(SIX, 16.0), by_pandas.above(SIX, 14.5)])
    assert logger_record(by_pandas.daily(SIX, "UTC"), lines, hung(), SITES, 16.0)["longest_h"].tolist() == [pytest.approx(2.0)]


def test_a_record_of_few_readings_or_none() -> None:
    assert record(SIX.iloc[:1], "UTC", 10.0)["longest_h"].tolist() == [0.0]
    assert record(SIX.iloc[:0], "UTC", 10.0).columns.tolist() == list(LoggerRecord.to_schema().columns)
