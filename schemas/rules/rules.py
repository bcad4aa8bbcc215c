"""The cross-field rules, with what each does and how to mend the record.

A rule's mask takes the typed frame of its table, joined by the check with what the rest of the book knows of each row:

sites
    ``in_area``, ``in_area_swapped``, ``in_area_negated`` (boolean, missing where the book has no study area), ``code_alike`` (another
    site's code is the same but for case, spaces and signs).
visits
    ``today`` (day), ``cool_stream_book`` (the book has cool-stream taxa), ``start_ambiguous`` (the hour that daylight saving repeats),
    ``days_ago`` [d] (before the day of entry; missing where the sheet holds the years before), ``year_apart`` (the date fits the other
    visits of its sheet with another year alone),
    ``season_apart_c`` [°C] (how far outside of the site's other visits at this time of the year the water lies).
finds
    ``taxon_known``, ``taxon_group``, ``taxon_paedomorphic``, ``taxon_overlap_low``, ``taxon_overlap_high``, ``medium``,
    ``visit_start``, ``visit_end`` (clock text), ``site_distance_m``, ``visit_water_temp_c`` [°C], ``water_others`` (other finds of
    the visit with a reading of the water), ``animal_twice``, ``animal_changed`` (what other finds of the same mark say).
enclosures
    ``taxon_known``.
water_tests, husbandry_events
    ``today`` (day).
"""

from __future__ import annotations

from schemas.rules.comparisons import Comparison, all_of
from schemas.rules.figures import COOL, EFFORT, EGGS, FRACTION_PCT, LONG_MINUTES, MASS_PER_SVL3, NEAR_DUPLICATE_IN, WARM_C
from schemas.rules.finds import FIND_RULES
from schemas.rules.rule import FLAG, FLAG_EXCLUDE, HOLD_ROW, HOLD_VALUE, Rule
from schemas.rules.shared_masks import minutes_of, rh_as_fraction
from schemas.rules.sites_and_visits import SITE_AND_VISIT_RULES

__all__ = [
    "COOL", "EFFORT", "EGGS", "FLAG", "FLAG_EXCLUDE", "HOLD_ROW", "HOLD_VALUE", "LONG_MINUTES", "MASS_PER_SVL3", "NEAR_DUPLICATE_IN",
    "RULES", "WARM_C", "Rule", "minutes_of", "rules_of",
]  # fmt: skip

OTHER_RULES: tuple[Rule, ...] = (
    Rule(
        "point_rh_as_fraction", "availability", HOLD_VALUE, ("rh_pct",),
        f"a humidity of {FRACTION_PCT:g} % or less looks like a fraction.", "Write it in per cent: 0.85 is 85.", rh_as_fraction,
    ),
    Rule(
        "enclosure_taxon_unknown", "enclosures", HOLD_ROW, ("taxon",),
        "this taxon is not among the book's taxa.", "Correct the code, or add the taxon to rillbook.toml and load the file again.",
        lambda frame: frame["taxon"].notna() & ~frame["taxon_known"],
    ),
    Rule(
        "enclosure_dates_swapped", "enclosures", HOLD_VALUE, ("since", "until"),
        "the last day lies before the first.", "Correct one of the two days.",
        all_of(Comparison("until", "below", "since")),
    ),
    Rule(
        "logger_without_place", "loggers", HOLD_ROW, ("site_id", "enclosure_id"),
        "neither a site nor an enclosure is noted.", "Say where it hangs: fill in site_id or enclosure_id.",
        lambda frame: frame["site_id"].isna() & frame["enclosure_id"].isna(),
    ),
    Rule(
        "water_test_without_place", "water_tests", HOLD_ROW, ("visit_id", "enclosure_id"),
        "neither a visit nor an enclosure is noted.", "Say whose water it was: fill in visit_id or enclosure_id.",
        all_of(Comparison("visit_id", "not noted"), Comparison("enclosure_id", "not noted")),
    ),
    Rule(
        "water_test_without_day", "water_tests", HOLD_ROW, ("tested_on",),
        "the test of an enclosure has no day.", "Fill in tested_on.",
        all_of(Comparison("enclosure_id", "noted"), Comparison("tested_on", "not noted")),
    ),
    Rule(
        "water_test_future", "water_tests", HOLD_ROW, ("tested_on",),
        "the day lies in the future.", "Correct the day.", lambda frame: frame["tested_on"] > frame["today"],
    ),
    Rule(
        "event_future", "husbandry_events", HOLD_ROW, ("event_date",),
        "the day lies in the future.", "Correct the day.", lambda frame: frame["event_date"] > frame["today"],
    ),
    Rule(
        "event_without_stage", "husbandry_events", HOLD_ROW, ("life_stage",),
        "a stage was reached and life_stage does not say which.", "Fill in life_stage.",
        all_of(Comparison("event", "one of", ("stage_reached",)), Comparison("life_stage", "not noted")),
    ),
    Rule(
        "event_moved_nowhere", "husbandry_events", FLAG, ("to_enclosure_id",),
        "an animal was moved and no enclosure says where to.", "Fill in to_enclosure_id, or dismiss it if the animal left.",
        all_of(Comparison("event", "one of", ("moved",)), Comparison("to_enclosure_id", "not noted")),
    ),
)  # fmt: skip

RULES: tuple[Rule, ...] = (*SITE_AND_VISIT_RULES, *FIND_RULES, *OTHER_RULES)


def rules_of(table: str) -> tuple[Rule, ...]:
    """Rules of one table, in order."""
    return tuple(rule for rule in RULES if rule.table == table)
