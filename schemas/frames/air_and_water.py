"""Shapes of the frames of humidity and water."""

from __future__ import annotations

from schemas.fields import Day, Real, Text, Whole, YesNo
from schemas.frames.frame import Count, Flag, Stage, columns_of, maybe, said


class HumidityReadings(Stage):
    """Humidity readings, of which those without a reason feed a target."""

    site: Text = said("site")
    visit_id: Text = said("visit_id", "visit; the first where several gave the same reading")
    date: Day = said("date")
    month: Whole = said("month")
    year: Whole = said("year")
    night: YesNo = maybe("night", "between sunset and sunrise at the site; missing where it cannot be told")
    from_visit: Flag = said("from_visit", "the visit's reading, not one at the find")
    medium_assumed: Flag = said("medium_assumed", "the place of the find was set by a column map")
    air_temp_c: Real = maybe("air_temp_c", "air temperature of the reading, °C")
    rh_pct: Real = maybe("rh_pct", "relative humidity, read or from the wet bulb, %")
    deficit_kpa: Real = maybe("deficit_kpa", "vapour pressure deficit, kPa")
    by_wet_bulb: Flag = said("by_wet_bulb", "the humidity comes from a wet bulb")
    wettest_assumed: Flag = said(
        "wettest_assumed", "instrument or elevation not noted: the wettest humidity that the pair of readings can mean"
    )
    reason: Text = said("reason", "why it feeds no target; empty where it does")
    n_animals: Whole = said("n_animals", "animals that share this reading")
    n_finds: Whole = said("n_finds", "finds that share this reading")


class HumidityFigures(Stage):
    """Humidity as read: one row a taxon, population, stage and place of reading."""

    read_at: Text = said("read_at", "find (at the animal) or visit (once for the search)")
    n_readings: Count = said("n_readings")
    n_animals: Count = said("n_animals")
    n_visits: Count = said("n_visits")
    n_dates: Count = said("n_dates")
    n_sites: Count = said("n_sites")
    n_years: Count = said("n_years")
    months: Text = said("months")
    night_share: Real = maybe("night_share")
    medium_assumed_share: Real = maybe("medium_assumed_share")
    n_wettest_assumed: Count = said("n_wettest_assumed")
    temp_low: Real = maybe("temp_low")
    temp_high: Real = maybe("temp_high")
    rh_min: Real = maybe("rh_min", "lowest, relative humidity, %")
    rh_p05: Real = maybe("rh_p05", "5 % weighted quantile, relative humidity, %")
    rh_p25: Real = maybe("rh_p25", "25 % weighted quantile, relative humidity, %")
    rh_p50: Real = maybe("rh_p50", "median, weighted, relative humidity, %")
    rh_p75: Real = maybe("rh_p75", "75 % weighted quantile, relative humidity, %")
    rh_p95: Real = maybe("rh_p95", "95 % weighted quantile, relative humidity, %")
    rh_max: Real = maybe("rh_max", "highest, relative humidity, %")
    deficit_min: Real = maybe("deficit_min", "lowest, vapour pressure deficit, kPa")
    deficit_p05: Real = maybe("deficit_p05", "5 % weighted quantile, vapour pressure deficit, kPa")
    deficit_p25: Real = maybe("deficit_p25", "25 % weighted quantile, vapour pressure deficit, kPa")
    deficit_p50: Real = maybe("deficit_p50", "median, weighted, vapour pressure deficit, kPa")
    deficit_p75: Real = maybe("deficit_p75", "75 % weighted quantile, vapour pressure deficit, kPa")
    deficit_p95: Real = maybe("deficit_p95", "95 % weighted quantile, vapour pressure deficit, kPa")
    deficit_max: Real = maybe("deficit_max", "highest, vapour pressure deficit, kPa")
    caution: Text = said("caution", "what these figures do not say")
    formula: Text = said("formula")


class HumidityTargets(Stage):
    """Humidity targets of the open part: one row a taxon, population and stage."""

    status: Text = said("status", "target or refused; it speaks of the open part alone")
    reason: Text = said("reason")
    grade: Text = said("grade", "evidence: B fair, C provisional, D none; never A, since no width of a humidity interval has been judged")
    n_readings: Count = said("n_readings")
    n_animals: Count = said("n_animals")
    n_visits: Count = said("n_visits")
    n_dates: Count = said("n_dates")
    n_sites: Count = said("n_sites")
    n_years: Count = said("n_years")
    months: Text = said("months")
    night_share: Real = maybe("night_share")
    medium_assumed_share: Real = maybe("medium_assumed_share")
    n_wettest_assumed: Count = said("n_wettest_assumed")
    temp_low: Real = maybe("temp_low")
    temp_high: Real = maybe("temp_high")
    rh_p25: Real = maybe("rh_p25", "25 % weighted quantile of the relative humidity read, %")
    deficit_p50: Real = maybe("deficit_p50", "weighted median of the vapour pressure deficit read, kPa")
    deficit_bound: Real = maybe("deficit_bound", "lower bound of that median: percentile of the crossed bootstrap, kPa")
    deficit_cap: Real = maybe("deficit_cap", "published limit that no target exceeds, kPa")
    deficit: Real = maybe("deficit", "largest vapour pressure deficit to keep for long, kPa, rounded down; missing where refused")
    bound_by: Text = said("bound_by", "your records or the published limit")
    formula: Text = said("formula")


class HumidityTable(Stage):
    """Least humidity by air temperature."""

    temp_c: Count = said("temp_c", "air temperature, whole °C, inside the span where a humidity was read")
    least_rh: Real = maybe("least_rh", "least relative humidity for long, %, rounded up; missing where not attainable")
    printed: Text = said("printed", "what to print: a figure, or words where a sensor cannot tell")
    set_by: Text = said("set_by", "deficit, or humidity read (its 25 % quantile), whichever is wetter")


class Wetness(Stage):
    """Hand test of the ground where animals lay."""

    wetness: Text = said("wetness", "code of the vocabulary substrate_wetness")
    n_finds: Count = said("n_finds", "finds under cover or at the water's edge with it")


class WaterReadings(Stage):
    """Water values: one row a taxon, population, stage, waterbody, day and quantity."""

    site: Text = said("site")
    visit_id: Text = said("visit_id", "visit; the first of the day")
    date: Day = said("date")
    month: Whole = said("month")
    year: Whole = said("year")
    quantity: Text = said("quantity")
    value: Real = maybe("value", "median of the day, in the unit of the quantity")
    medium_assumed: Flag = said("medium_assumed", "the place of a find was set by a column map")
    n_animals: Whole = said("n_animals", "animals found on these visits")


class WaterLeftOut(Stage):
    """Water values that were read and could not be used, counted."""

    month: Count = said("month")
    quantity: Text = said("quantity")
    reason: Text = said("reason", "why not used")
    n_visits: Count = said("n_visits", "visits with finds whose value is not used")


class WaterTargets(Stage):
    """Water bands by season."""

    season: Text = said("season")
    quantity: Text = said("quantity", "ph, conductivity, oxygen, saturation or hardness")
    unit: Text = said("unit", "unit of the values")
    status: Text = said("status", "found (a band of what was found) or refused")
    reason: Text = said("reason")
    grade: Text = said("grade", "C provisional at most, since every water value is a visit's; D none")
    n_readings: Count = said("n_readings")
    n_animals: Count = said("n_animals")
    n_visits: Count = said("n_visits")
    n_dates: Count = said("n_dates")
    n_sites: Count = said("n_sites")
    n_years: Count = said("n_years")
    months: Text = said("months", "months with a value, in words")
    min: Real = maybe("min", "lowest")
    p10: Real = maybe("p10", "10 % weighted quantile")
    p50: Real = maybe("p50")
    p90: Real = maybe("p90", "90 % weighted quantile")
    max: Real = maybe("max", "highest")
    band_low: Real = maybe("band_low", "p10 rounded up, missing where refused")
    band_high: Real = maybe("band_high", "p90 rounded down, missing where refused")
    n_not_used: Count = said("n_not_used", "visits with finds whose value is not used")
    not_used: Text = said("not_used", "why, in words")


HUMIDITY_READING_COLUMNS = columns_of(HumidityReadings)
HUMIDITY_FIGURE_COLUMNS = columns_of(HumidityFigures)
HUMIDITY_TARGET_COLUMNS = columns_of(HumidityTargets)
HUMIDITY_TABLE_COLUMNS = columns_of(HumidityTable)
WETNESS_COLUMNS = columns_of(Wetness)
WATER_READING_COLUMNS = columns_of(WaterReadings)
WATER_LEFT_OUT_COLUMNS = columns_of(WaterLeftOut)
WATER_TARGET_COLUMNS = columns_of(WaterTargets)
