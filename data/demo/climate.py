"""The invented climate of the invented study: what the water, the ground and the air would read."""

from __future__ import annotations

import math
from dataclasses import dataclass

# All figures are invented, chosen to look like cool streams at 36 degrees north.
REFERENCE_ELEVATION_M = 1100
LAPSE_C_PER_M = 0.0042


@dataclass(frozen=True)
class Swing:
    """How a medium follows the year, the day and the weather: yearly mean, yearly and daily half-range (°C), share of the day's weather."""

    mean_c: float
    year_c: float
    day_c: float
    weather: float


WATER = {
    "stream": Swing(9.8, 5.3, 0.7, 1.0),
    "headwater": Swing(9.6, 4.9, 0.6, 0.9),
    "seep": Swing(9.9, 4.2, 0.3, 0.6),
    "spring": Swing(9.9, 3.3, 0.2, 0.4),
}
SOIL = Swing(9.7, 6.2, 0.7, 0.7)
AIR = Swing(10.0, 9.0, 3.8, 1.6)


def temperature_c(swing: Swing, elevation_m: float, day_of_year: float, hour: float, weather_c: float) -> float:
    """Temperature of a medium (°C) without the site's own offset; `weather_c` is the regional effect of the date."""
    year = math.cos(2 * math.pi * (day_of_year - 203) / 365.25)
    day = math.cos(2 * math.pi * (hour - 16) / 24) * (0.7 + 0.3 * year)
    lapse = LAPSE_C_PER_M * (REFERENCE_ELEVATION_M - elevation_m)
    return swing.mean_c + lapse + swing.year_c * year + swing.day_c * day + swing.weather * weather_c


def saturation_kpa(celsius: float) -> float:
    """Vapour pressure over water, kPa; Magnus form, coefficients from memory; good enough to invent with."""
    return 0.61094 * math.exp(17.625 * celsius / (celsius + 243.04))


def wet_bulb_c(air_c: float, rh_pct: float, pressure_kpa: float = 89.0) -> float:
    """Wet-bulb temperature (°C) of a whirled psychrometer, by halving the interval."""
    vapour = saturation_kpa(air_c) * rh_pct / 100
    low, high = air_c - 25, air_c
    for _ in range(40):
        middle = (low + high) / 2
        if saturation_kpa(middle) - 0.000662 * pressure_kpa * (air_c - middle) > vapour:
            high = middle
        else:
            low = middle
    return low


def sunset_hour(day_of_year: float, utc_offset_h: float, longitude: float = -81.9) -> float:
    """Local clock hour of sunset, to about ten minutes, at 36 degrees north."""
    half_day = 6.05 + 1.25 * math.cos(2 * math.pi * (day_of_year - 172) / 365.25)
    return 12 - longitude / 15 + utc_offset_h + half_day
