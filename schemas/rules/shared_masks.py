"""What breaks rules of more than one table."""

from __future__ import annotations

import pandas as pd

from schemas.distinct import by_distinct
from schemas.rules.comparisons import Comparison, all_of
from schemas.rules.figures import FRACTION_PCT, GAP_C, SWAPPED_GAP_C, SWAPPED_WATER_C

wet_bulb_above_air = all_of(Comparison("wet_bulb_c", "above", "air_temp_c"))
rh_as_fraction = all_of(Comparison("rh_pct", "above", 0.0), Comparison("rh_pct", "at most", FRACTION_PCT))
air_water_gap = all_of(Comparison("air_temp_c", "above", GAP_C, less="water_temp_c"))
# The only reading of a warm stream under much cooler air that is likely is that of the two thermometers in each other's place.
air_water_swapped = all_of(
    Comparison("water_temp_c", "above", SWAPPED_WATER_C),
    Comparison("water_temp_c", "above", "air_temp_c"),
    Comparison("water_temp_c", "above", SWAPPED_GAP_C, less="air_temp_c"),
)


def minutes_of(clock: pd.Series) -> pd.Series:
    """Minutes since midnight of clock texts ``HH:MM``; missing where there is none."""
    return by_distinct(clock, _minutes)


def _minutes(clock: pd.Series) -> pd.Series:
    return pd.to_numeric(clock.str.slice(0, 2), errors="coerce") * 60 + pd.to_numeric(clock.str.slice(3, 5), errors="coerce")
