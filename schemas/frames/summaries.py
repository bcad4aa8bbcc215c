"""Shapes of the tables that readings of loggers are reduced to; moments are in UTC."""

from __future__ import annotations

from schemas.fields import Day, Instant, Real, Text
from schemas.frames.frame import Count, Frame, columns_of, maybe, said

N = "readings that count"
STEP = "usual time between readings of the logger, the median of all its steps, s; missing with one reading"


class HourlySummary(Frame):
    """Readings of each hour of UTC."""

    logger_id: Text = said("logger_id", "logger")
    hour_at: Instant = said("hour_at", "start of the hour, UTC")
    n: Count = said("n", N)
    mean_c: Real = said("mean_c", "mean of the readings, °C")
    low_c: Real = said("low_c", "lowest reading, °C")
    high_c: Real = said("high_c", "highest reading, °C")


class DailySummary(Frame):
    """Readings of each local day, whole or not."""

    logger_id: Text = said("logger_id", "logger")
    day: Day = said("day", "local day")
    n: Count = said("n", N)
    mean_c: Real = said("mean_c", "mean of the readings, °C")
    low_c: Real = said("low_c", "lowest reading, °C")
    high_c: Real = said("high_c", "highest reading, °C")
    step_s: Real = maybe("step_s", STEP)


class Excursion(Frame):
    """Unbroken times above a line; a gap ends one."""

    logger_id: Text = said("logger_id", "logger")
    line_c: Real = said("line_c", "the line, °C")
    start_at: Instant = said("start_at", "crossing upwards, on the line between two readings, UTC")
    end_at: Instant = said("end_at", "crossing downwards, or the last reading above, UTC")
    hours: Real = said("hours", "from start to end, h")
    highest_c: Real = said("highest_c", "highest reading, °C")


class NightSummary(Frame):
    """Local days beside the night that follows them."""

    logger_id: Text = said("logger_id", "logger; those without a place have no sunset, and no row")
    day: Day = said("day", "local day before the night")
    n: Count = said("n", "readings of both")
    day_c: Real = said("day_c", "mean of the readings from sunrise to sunset, °C")
    night_c: Real = said("night_c", "mean of the readings from that sunset to the next sunrise, °C")
    night_drop: Real = said("night_drop", "day_c less night_c, °C; negative where the night was warmer")
    step_s: Real = maybe("step_s", STEP)


SUMMARIES = {"hourly": HourlySummary, "daily": DailySummary, "excursions": Excursion, "nights": NightSummary}
SUMMARY_COLUMNS = {name: columns_of(model) for name, model in SUMMARIES.items()}
