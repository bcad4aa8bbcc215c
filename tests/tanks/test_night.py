"""The night drop of an enclosure against an independent pandas computation, and beside the field's."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from tanks.tank_book import audited

from pipeline.tanks.night import beside_field, rows_of

ZONE = "America/New_York"


def readings() -> pd.Series:
    """Three weeks over the end of a month and a change of the clock, on irregular steps, with a lost night and a lost day."""
    rng = np.random.default_rng(7)
    at = pd.date_range("2025-10-20 04:00", "2025-11-10 05:00", freq="10min") + pd.to_timedelta(rng.integers(0, 240, 3031), unit="s")
    hour = (at - pd.Timestamp("2025-10-20")) / pd.Timedelta(hours=1)
    series = pd.Series(12 + 1.5 * np.cos((hour - 20) * np.pi / 12) + rng.normal(0, 0.2, len(at)), index=at)
    return series[~((at > "2025-10-25 01:00") & (at < "2025-10-25 09:00")) & ~((at > "2025-11-05 14:00") & (at < "2025-11-06 20:00"))]


def in_pandas(series: pd.Series) -> dict[int, tuple[float, int]]:
    """Day 8 to 20 o'clock less the night after, told apart reading by reading."""
    local = series.index.tz_localize("UTC").tz_convert(ZONE).tz_localize(None)
    frame = pd.DataFrame({"value": series.to_numpy(), "light": (local.hour >= 8) & (local.hour < 20)})
    frame["day"] = [(one if one.hour >= 8 else one - pd.Timedelta(days=1)).date() for one in local]
    usual = series.index.to_series().diff().median()
    drops = []
    for day, part in frame.groupby("day"):
        whole = len(part) * usual >= 0.9 * pd.Timedelta(days=1)
        if whole and part["light"].any() and not part["light"].all():
            drops.append((day.month, part.loc[part["light"], "value"].mean() - part.loc[~part["light"], "value"].mean()))
    found = pd.DataFrame(drops, columns=["month", "drop"]).groupby("month")["drop"]
    return {int(month): (float(part.median()), len(part)) for month, part in found}


def test_it_is_what_pandas_finds_over_gaps_and_a_change_of_the_clock() -> None:
    series = readings()
    (sensor,) = audited(series, start="2025-10-20", end="2025-11-11", zone=ZONE).sensors
    expected = in_pandas(series)
    assert sensor.night["month"].tolist() == [10, 11] == list(expected)
    for row in sensor.night.itertuples():
        drop, nights = expected[row.month]
        assert row.n_nights == nights and row.night_drop == pytest.approx(drop, abs=1e-9)


def test_a_sensor_without_a_reading_has_no_night() -> None:
    (sensor,) = audited(None).sensors
    assert sensor.night.empty and rows_of(beside_field(sensor.night, None)) == []


def test_the_field_of_the_same_month_stands_beside_it_and_of_another_never() -> None:
    own = pd.DataFrame({"month": [6, 7], "night_drop": [0.4, -0.2], "n_nights": [30, 1]})
    field = pd.DataFrame({"month": [7, 8], "night_drop": [1.6, 9.0], "n_days": [20, 20]})
    shown = beside_field(own, field)
    assert shown["field_drop"].isna().tolist() == [True, False] and shown["field_drop"].iloc[1] == 1.6
    june, july = rows_of(shown)
    assert june["field"] == "not known" and june["words"] == "the field's is not known"
    assert july["own"] == "−0.2\u00a0°C (1 night)" and july["words"] == "1.8\u00a0°C less than in the field"
    assert beside_field(own, None)["field_drop"].isna().all()
