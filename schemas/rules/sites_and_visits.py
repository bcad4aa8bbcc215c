"""The rules of sites and visits."""

from __future__ import annotations

import pandas as pd

from schemas.rules.comparisons import Comparison, all_of
from schemas.rules.figures import (
    EFFORT,
    FRACTION_PCT,
    GAP_C,
    LAST_YEAR_DAYS,
    LONG_MINUTES,
    SEASON_APART_C,
    SWAPPED_GAP_C,
    SWAPPED_WATER_C,
    WARM_C,
)  # fmt: skip
from schemas.rules.rule import FLAG, FLAG_EXCLUDE, HOLD_ROW, HOLD_VALUE, JUDGEMENT, Rule
from schemas.rules.shared_masks import air_water_gap, air_water_swapped, minutes_of, rh_as_fraction, wet_bulb_above_air


def _coordinates_swapped(frame: pd.DataFrame) -> pd.Series:
    return ~frame["in_area"].fillna(True) & frame["in_area_swapped"].fillna(False)


def _longitude_sign_lost(frame: pd.DataFrame) -> pd.Series:
    return ~frame["in_area"].fillna(True) & frame["in_area_negated"].fillna(False) & ~frame["in_area_swapped"].fillna(False)


def _outside_study_area(frame: pd.DataFrame) -> pd.Series:
    mended = frame["in_area_swapped"].fillna(False) | frame["in_area_negated"].fillna(False)
    return ~frame["in_area"].fillna(True) & ~mended


def _visit_too_long(frame: pd.DataFrame) -> pd.Series:
    return (minutes_of(frame["end_time"]) - minutes_of(frame["start_time"])) % 1440 > LONG_MINUTES


def _no_effort(frame: pd.DataFrame) -> pd.Series:
    return frame[list(EFFORT)].isna().all(axis=1)


def _visit_twice(frame: pd.DataFrame) -> pd.Series:
    twin = ["site_id", "visit_date", "start_time"]
    return frame[twin].notna().all(axis=1) & frame.duplicated(twin, keep=False)


SITE_AND_VISIT_RULES: tuple[Rule, ...] = (
    Rule(
        "coordinates_swapped", "sites", HOLD_VALUE, ("latitude", "longitude"),
        "latitude and longitude lie outside the study area, and inside it when they change places.",
        "They look swapped: correct latitude and longitude.", _coordinates_swapped,
    ),
    Rule(
        "longitude_sign_lost", "sites", HOLD_VALUE, ("longitude", "latitude"),
        "the place lies outside the study area, and inside it with a minus before the longitude.",
        "West is negative: correct the longitude.", _longitude_sign_lost,
    ),
    Rule(
        "outside_study_area", "sites", FLAG, ("latitude", "longitude"),
        "the place lies outside the study area.",
        "Check the coordinates, or widen the study area in rillbook.toml.", _outside_study_area,
    ),
    Rule(
        "site_code_alike", "sites", FLAG, ("site_id",),
        "another site has the same code but for case, spaces and signs.",
        "Are they one site? Then correct the code here and at its visits.",
        all_of(Comparison("code_alike", "is true")),
    ),
    Rule(
        "date_future", "visits", HOLD_ROW, ("visit_date",),
        "the date lies in the future.", "Correct the date.", lambda frame: frame["visit_date"] > frame["today"],
    ),
    Rule(
        "date_last_year", "visits", FLAG, ("visit_date",),
        "the date is a year before the day of entry.", "Is the year right? Correct it if the visit was this year.",
        all_of(Comparison("days_ago", "at least", LAST_YEAR_DAYS[0]), Comparison("days_ago", "at most", LAST_YEAR_DAYS[1])), JUDGEMENT,
    ),
    Rule(
        "date_year_apart", "visits", FLAG, ("visit_date",),
        "the date lies a year or more from all other visits of the sheet, and among them with another year.",
        "Is the year right? Correct it if the notes say so.", all_of(Comparison("year_apart", "is true")), JUDGEMENT,
    ),
    Rule(
        "visit_wet_bulb_above_air", "visits", HOLD_VALUE, ("wet_bulb_c", "air_temp_c"),
        "the wet bulb is warmer than the air.", "One of the two is wrong, or they changed places: correct them.", wet_bulb_above_air,
    ),
    Rule(
        "visit_rh_as_fraction", "visits", HOLD_VALUE, ("rh_pct",),
        f"a humidity of {FRACTION_PCT:g} % or less looks like a fraction.", "Write it in per cent: 0.85 is 85.", rh_as_fraction,
    ),
    Rule(
        "visit_air_water_gap", "visits", FLAG, ("air_temp_c", "water_temp_c"),
        f"air and water differ by more than {GAP_C:g} °C.", "Check both readings.", air_water_gap, JUDGEMENT,
    ),
    Rule(
        "visit_air_water_swapped", "visits", FLAG, ("water_temp_c", "air_temp_c"),
        f"water above {SWAPPED_WATER_C:g} °C that is more than {SWAPPED_GAP_C:g} °C warmer than the air.",
        "Did air and water change places? Correct both if the notes say so.", air_water_swapped, JUDGEMENT,
    ),
    Rule(
        "water_off_season", "visits", FLAG, ("water_temp_c",),
        f"the water lies more than {SEASON_APART_C:g} °C outside of what other visits of this site read at this time of the year.",
        "Is it right, and is the date? Correct what is wrong if the notes say so.",
        all_of(Comparison("season_apart_c", "above", SEASON_APART_C)), JUDGEMENT,
    ),
    Rule(
        "visit_warm_water", "visits", FLAG_EXCLUDE, ("water_temp_c",),
        f"water above {WARM_C:g} °C in a book of cool-stream taxa.",
        "Was the probe in the sun or the air? Settle it with a reason and your name, or correct it.",
        all_of(Comparison("cool_stream_book", "is true"), Comparison("water_temp_c", "above", WARM_C)), JUDGEMENT,
    ),
    Rule(
        "no_effort", "visits", FLAG, ("search_minutes",),
        "no effort is noted.", "The finds count for maps and targets, but the visit is left out of rates.", _no_effort,
    ),
    Rule(
        "visit_too_long", "visits", FLAG, ("start_time", "end_time"),
        f"the end is before the start, or the visit lasts more than {LONG_MINUTES / 60:g} hours.", "Check the start and the end.",
        _visit_too_long, JUDGEMENT,
    ),
    Rule(
        "clock_ambiguous", "visits", FLAG, ("start_time",),
        "this hour came twice when daylight saving ended.", "Read as standard time.", lambda frame: frame["start_ambiguous"],
    ),
    Rule(
        "visit_twice", "visits", FLAG, ("visit_id",),
        "another visit has the same site, date and start.",
        "Nothing is taken out. If they are one visit, mend the sheet and load it with --replace.", _visit_twice,
    ),
)  # fmt: skip
