"""Figures and code lists that the cross-field rules are made with; their sources stand in data/reference/rules.csv."""

from __future__ import annotations

from schemas.reference import rule_figure
from schemas.vocabulary import EGGS as EGGS
from schemas.vocabulary import codes_with

COOL = codes_with("taxon_group", "cool_water")

GAP_C = rule_figure("air_water_gap_c")
WARM_C = rule_figure("warm_c")
FAR_M = rule_figure("far_from_site_m")
LONG_MINUTES = rule_figure("long_visit_minutes")
COPIES = int(rule_figure("copies_least"))
FRACTION_PCT = rule_figure("rh_fraction_most_pct")
MASS_PER_SVL3 = (rule_figure("mass_per_svl3_least"), rule_figure("mass_per_svl3_most"))
# Any of these says that a visit searched, and how much.
EFFORT = ("search_minutes", "area_m2", "length_m", "cover_objects_turned")
# Finds that agree in all of these may be one animal, noted twice.
NEAR_DUPLICATE_IN = (
    "visit_id", "taxon", "life_stage", "svl_mm", "total_length_mm", "mass_g", "microhabitat", "pass_no", "found_at", "water_temp_c",
    "substrate_temp_c", "air_temp_c", "animal_id",
)  # fmt: skip
# Judgement: how seldom two animals of one taxon and stage agree in a measure by chance. Where a sheet measures little and a
# visit has many finds, agreement says nothing.
AGREE_BY_CHANCE = {
    "svl_mm": 1 / rule_figure("alike_by_chance_svl"),
    "total_length_mm": 1 / rule_figure("alike_by_chance_total_length"),
    "mass_g": 1 / rule_figure("alike_by_chance_mass"),
    "found_at": 1 / rule_figure("alike_by_chance_minute"),
    "animal_id": 1 / rule_figure("alike_by_chance_mark"),
}
CHANCE_PAIRS = rule_figure("chance_pairs_most")
READINGS_ALIKE_C, READING_APART_C = rule_figure("readings_alike_c"), rule_figure("reading_apart_c")
READINGS_LEAST = int(rule_figure("readings_alike_least"))
SWAPPED_WATER_C, SWAPPED_GAP_C = rule_figure("swapped_water_c"), rule_figure("swapped_gap_c")
SEASON_DAYS, SEASON_VISITS = rule_figure("season_days"), int(rule_figure("season_visits_least"))
SEASON_ALIKE_C, SEASON_APART_C = rule_figure("season_alike_c"), rule_figure("season_apart_c")
LAST_YEAR_DAYS = (rule_figure("last_year_days_least"), rule_figure("last_year_days_most"))
SHEET_DAYS, SHEET_VISITS = rule_figure("sheet_days_most"), int(rule_figure("sheet_visits_least"))
SHEET_FAR_SHARE = rule_figure("sheet_far_share_most")
