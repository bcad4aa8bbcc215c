"""Invented humidity readings, what is derived of them, and another formula of saturation."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from small_book import FIND, TOML
from small_book import book as small_book

from pipeline.formulas.moist_air import vapour_pressure_deficit_kpa
from pipeline.settings import parse_settings
from pipeline.targets import humidity as own
from pipeline.targets.humidity_evidence import humidity_readings
from schemas.frames.air_and_water import HUMIDITY_READING_COLUMNS, HUMIDITY_TABLE_COLUMNS, HUMIDITY_TARGET_COLUMNS

BOOK = parse_settings(TOML, "test")
NIGHT = {**FIND, "life_stage": "adult", "microhabitat": "on_surface", "found_at": "23:10"}
REPLICATES = 120


def fao_saturation_kpa(temp_c: Any) -> Any:
    """FAO-56 eq. 11: another formula than the one under test, within 0.1 % of it here."""
    return 0.6108 * np.exp(17.27 * np.asarray(temp_c, dtype=float) / (np.asarray(temp_c, dtype=float) + 237.3))


def empty() -> pd.DataFrame:
    return humidity_readings(small_book(), BOOK)[0]


def study(temps: Any, humidities: Any, sites: int = 4, dates: int = 12, years: int = 1, **more: Any) -> pd.DataFrame:
    """Readings of every site on every date, of `temps` and `humidities` in turn."""
    rows = []
    for number in range(sites * dates):
        day = number // sites
        date = pd.Timestamp(2015 + day % years, 6 + day % 4, 1 + day)
        rows.append({"site": f"s{number % sites}", "date": date, "month": date.month, "year": date.year, "visit_id": f"V{number}"})
    frame = pd.DataFrame(rows)
    n = len(frame)
    temps, humidities = np.resize(np.asarray(temps, dtype=float), n), np.resize(np.asarray(humidities, dtype=float), n)
    frame = frame.assign(
        taxon="DFUS", population="", life_stage="adult", night=True, from_visit=False, medium_assumed=False, air_temp_c=temps,
        rh_pct=humidities, deficit_kpa=vapour_pressure_deficit_kpa(temps, humidities), by_wet_bulb=False, wettest_assumed=False, reason="",
        n_animals=1, n_finds=1,
    ).assign(**more)  # fmt: skip
    types = {"month": "Int64", "year": "Int64", "night": "boolean", "n_animals": "Int64", "n_finds": "Int64"}
    return frame.astype(types)[list(HUMIDITY_READING_COLUMNS)]


def derive(frame: pd.DataFrame) -> pd.DataFrame:
    made = own.humidity_targets(frame, BOOK.taxa, BOOK, replicates=REPLICATES)
    assert list(made.columns) == list(HUMIDITY_TARGET_COLUMNS)
    return made


def table(frame: pd.DataFrame) -> pd.Series[Any]:
    made = own.humidity_table(derive(frame))
    assert list(made.columns) == list(HUMIDITY_TABLE_COLUMNS)
    return made.set_index("temp_c")["least_rh"]
