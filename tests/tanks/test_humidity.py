"""The open part: hours drier than the bound, never looser than the published cap; a wet sensor judges nothing."""

from __future__ import annotations

import pandas as pd
import pytest
from tanks.tank_book import book

from pipeline.formulas.moist_air import constant
from pipeline.tanks.humidity import Damp, humidity_of
from pipeline.tanks.stretch import Stretch

STRETCH = Stretch(pd.Timestamp("2025-07-01"), pd.Timestamp("2025-07-05"), "UTC")


def damp(*parts: tuple[str, str, float], deficit: float = float("nan")) -> Damp | None:
    """Humidity of a logger at 15 °C, the given per cent in each part."""
    connection = book(None, medium="air")
    for start, end, rh in parts:
        connection.execute(
            """INSERT INTO logger_readings (logger_id, read_at, temp_c, rh_pct)
            SELECT 'L1', t, 15.0, ? FROM generate_series(?::TIMESTAMP, ?::TIMESTAMP, INTERVAL 30 MINUTE) AS s(t)""",
            [rh, start, end],
        )
    return humidity_of(connection, {"logger_id": "L1"}, STRETCH, deficit)


# Source: Tetens-type tables, e_s(15 °C) = 1.705 kPa (FAO-56, Annex 2, from memory): at 60 % the deficit is 0.68 kPa, at 95 % 0.085 kPa
def test_dry_hours_are_those_of_the_dry_part() -> None:
    found = damp(("2025-07-01", "2025-07-01 12:00", 95.0), ("2025-07-02", "2025-07-02 06:00", 60.0))
    assert found is not None and found.hours == pytest.approx(18) and found.hours_above == pytest.approx(6)
    assert found.largest_kpa == pytest.approx(0.68, abs=0.01) and found.bound_kpa == constant("deficit_cap")


def test_a_bound_may_be_stricter_than_the_cap_and_never_looser() -> None:
    part = ("2025-07-01", "2025-07-01 12:00", 95.0)
    strict, loose = damp(part, deficit=0.05), damp(part, deficit=5.0)
    assert strict is not None and loose is not None
    assert strict.hours_above == pytest.approx(12) and loose.bound_kpa == constant("deficit_cap") and loose.hours_above == 0


def test_a_wet_sensor_judges_nothing_and_none_writes_no_humidity() -> None:
    found = damp(("2025-07-01", "2025-07-03", 100.0), ("2025-07-04", "2025-07-04 02:00", 60.0))
    assert found is not None and len(found.wet) == 1 and found.hours == pytest.approx(2) == found.hours_above
    assert humidity_of(book(None), {"logger_id": "L1"}, STRETCH, float("nan")) is None
