"""The cross-field rules, with what each does and how to mend the record.

A rule's mask takes the typed frame of its table, joined by the check with what the rest of the book knows of each row:

sites
    ``in_area``, ``in_area_swapped``, ``in_area_negated`` (boolean, missing where the book has no study area).
visits
    ``today`` (day), ``cool_stream_book`` (the book has cool-stream taxa), ``start_ambiguous`` (the hour that daylight saving repeats).
finds
    ``taxon_known``, ``taxon_group``, ``taxon_paedomorphic``, ``taxon_overlap_low``, ``taxon_overlap_high``, ``medium``,
    ``visit_start``, ``visit_end`` (clock text), ``site_distance_m``, ``animal_twice``, ``animal_changed`` (what other finds of
    the same mark say).
enclosures
    ``taxon_known``.
water_tests, husbandry_events
    ``today`` (day).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

from schemas.comparisons import Comparison, all_of
from schemas.enums import Effect
from schemas.reference import rule_figure
from schemas.vocabulary import codes_with

HOLD_VALUE, HOLD_ROW, FLAG, FLAG_EXCLUDE = Effect
PRACTICE = "common practice, no source"
JUDGEMENT = "judgement"
EGGS = codes_with("life_stage", "at_nest")
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


@dataclass(frozen=True)
class Rule:
    """One way to be wrong.

    Attributes
    ----------
    id, table, effect : str
        Name, table and one of the four effects.
    fields : tuple of str
        Fields whose values are held or marked; the first one is named in reports.
    message, remedy : str
        What is wrong, and what to do next.
    mask : callable
        Frame to boolean Series: the rows that break the rule.
    source : str
        Where the rule comes from.
    """

    id: str
    table: str
    effect: str
    fields: tuple[str, ...]
    message: str
    remedy: str
    mask: Callable[[pd.DataFrame], pd.Series]
    source: str = PRACTICE

    @property
    def when(self) -> tuple[Comparison, ...]:
        """Comparisons that all hold where the rule is broken; empty where it is a function of its own."""
        return getattr(self.mask, "when", ())


_wet_bulb_above_air = all_of(Comparison("wet_bulb_c", "above", "air_temp_c"))
_rh_as_fraction = all_of(Comparison("rh_pct", "above", 0.0), Comparison("rh_pct", "at most", FRACTION_PCT))
_air_water_gap = all_of(Comparison("air_temp_c", "above", GAP_C, less="water_temp_c"))
_stage_near_overlap = all_of(
    Comparison("svl_mm", "at least", "taxon_overlap_low"),
    Comparison("svl_mm", "at most", "taxon_overlap_high"),
    Comparison("life_stage", "one of", codes_with("life_stage", "sizes_overlap")),
    Comparison("gills", "not noted"),
    Comparison("photo", "not noted"),
)


def _coordinates_swapped(frame: pd.DataFrame) -> pd.Series:
    return ~frame["in_area"].fillna(True) & frame["in_area_swapped"].fillna(False)


def _longitude_sign_lost(frame: pd.DataFrame) -> pd.Series:
    return ~frame["in_area"].fillna(True) & frame["in_area_negated"].fillna(False) & ~frame["in_area_swapped"].fillna(False)


def _outside_study_area(frame: pd.DataFrame) -> pd.Series:
    mended = frame["in_area_swapped"].fillna(False) | frame["in_area_negated"].fillna(False)
    return ~frame["in_area"].fillna(True) & ~mended


def minutes_of(clock: pd.Series) -> pd.Series:
    """Minutes since midnight of clock texts ``HH:MM``; missing where there is none."""
    return pd.to_numeric(clock.str.slice(0, 2), errors="coerce") * 60 + pd.to_numeric(clock.str.slice(3, 5), errors="coerce")


def _visit_too_long(frame: pd.DataFrame) -> pd.Series:
    return (minutes_of(frame["end_time"]) - minutes_of(frame["start_time"])) % 1440 > LONG_MINUTES


def _find_outside_visit(frame: pd.DataFrame) -> pd.Series:
    start, end, at = minutes_of(frame["visit_start"]), minutes_of(frame["visit_end"]), minutes_of(frame["found_at"])
    return (at - start) % 1440 > (end - start) % 1440


def _no_effort(frame: pd.DataFrame) -> pd.Series:
    return frame[list(EFFORT)].isna().all(axis=1)


def _visit_twice(frame: pd.DataFrame) -> pd.Series:
    twin = ["site_id", "visit_date", "start_time"]
    return frame[twin].notna().all(axis=1) & frame.duplicated(twin, keep=False)


def _warm_for_cool_stream(frame: pd.DataFrame) -> pd.Series:
    warm = ((frame["medium"] == "water") & (frame["water_temp_c"] > WARM_C)) | (
        frame["medium"].isin(["land", "edge"]) & (frame["substrate_temp_c"] > WARM_C)
    )
    return warm & frame["taxon_group"].isin(COOL)


def _mass_out_of_line(frame: pd.DataFrame) -> pd.Series:
    expected = frame["svl_mm"] ** 3
    return (frame["mass_g"] < MASS_PER_SVL3[0] * expected) | (frame["mass_g"] > MASS_PER_SVL3[1] * expected)


def _copied(name: str) -> Callable[[pd.DataFrame], pd.Series]:
    """One reading at five or more finds of a visit."""

    def mask(frame: pd.DataFrame) -> pd.Series:
        known = frame[frame[name].notna()]
        size = known.groupby(["visit_id", name])[name].transform("size")
        return (size >= COPIES).reindex(frame.index, fill_value=False)

    return mask


def _near_duplicate(frame: pd.DataFrame) -> pd.Series:
    alike = frame["svl_mm"].notna() & frame.duplicated(list(NEAR_DUPLICATE_IN), keep=False)
    measured = frame[frame["svl_mm"].notna()]
    size = measured.groupby(["visit_id", "taxon", "life_stage"])["svl_mm"].transform("size").reindex(frame.index, fill_value=0)
    chance = size * (size - 1) / 2
    for name, share in AGREE_BY_CHANCE.items():
        chance = chance.where(frame[name].isna(), chance * share)
    return alike & (chance <= CHANCE_PAIRS + 1e-9)


def _reading_apart(name: str) -> Callable[[pd.DataFrame], pd.Series]:
    """One reading far from the others of its visit, which agree: two digits that changed places, or a probe in the sun."""

    def mask(frame: pd.DataFrame) -> pd.Series:
        apart = pd.Series(False, index=frame.index)
        for _, readings in frame[frame[name].notna()].groupby("visit_id")[name]:
            if len(readings) <= READINGS_LEAST:
                continue
            far = (readings - readings.median()).abs() > READING_APART_C
            rest = readings[~far]
            if far.sum() == 1 and len(rest) >= READINGS_LEAST and rest.max() - rest.min() <= READINGS_ALIKE_C:
                apart.loc[readings.index[far]] = True
        return apart

    return mask


RULES: tuple[Rule, ...] = (
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
        "date_future", "visits", HOLD_ROW, ("visit_date",),
        "the date lies in the future.", "Correct the date.", lambda frame: frame["visit_date"] > frame["today"],
    ),
    Rule(
        "visit_wet_bulb_above_air", "visits", HOLD_VALUE, ("wet_bulb_c", "air_temp_c"),
        "the wet bulb is warmer than the air.", "One of the two is wrong, or they changed places: correct them.", _wet_bulb_above_air,
    ),
    Rule(
        "visit_rh_as_fraction", "visits", HOLD_VALUE, ("rh_pct",),
        f"a humidity of {FRACTION_PCT:g} % or less looks like a fraction.", "Write it in per cent: 0.85 is 85.", _rh_as_fraction,
    ),
    Rule(
        "visit_air_water_gap", "visits", FLAG, ("air_temp_c", "water_temp_c"),
        f"air and water differ by more than {GAP_C:g} °C.", "Check both readings.", _air_water_gap, JUDGEMENT,
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
    Rule(
        "taxon_unknown", "finds", HOLD_ROW, ("taxon",),
        "this taxon is not among the book's taxa.", "Correct the code, or add the taxon to rillbook.toml and load the file again.",
        lambda frame: frame["taxon"].notna() & ~frame["taxon_known"],
    ),
    Rule(
        "total_length_below_svl", "finds", HOLD_VALUE, ("total_length_mm", "svl_mm"),
        "the total length is below the SVL.", "They may have changed places: correct them.",
        all_of(Comparison("total_length_mm", "below", "svl_mm")),
    ),
    Rule(
        "find_wet_bulb_above_air", "finds", HOLD_VALUE, ("wet_bulb_c", "air_temp_c"),
        "the wet bulb is warmer than the air.", "One of the two is wrong, or they changed places: correct them.", _wet_bulb_above_air,
    ),
    Rule(
        "find_rh_as_fraction", "finds", HOLD_VALUE, ("rh_pct",),
        f"a humidity of {FRACTION_PCT:g} % or less looks like a fraction.", "Write it in per cent: 0.85 is 85.", _rh_as_fraction,
    ),
    Rule(
        "find_air_water_gap", "finds", FLAG, ("air_temp_c", "water_temp_c"),
        f"air and water differ by more than {GAP_C:g} °C.", "Check both readings.", _air_water_gap, JUDGEMENT,
    ),
    Rule(
        "larva_without_gills", "finds", FLAG_EXCLUDE, ("life_stage", "gills"),
        "a larva without gills.", "Is it a metamorph or a juvenile? Settle it with a reason and your name, or correct it.",
        all_of(Comparison("life_stage", "one of", ("larva",)), Comparison("gills", "one of", ("none",))),
    ),
    Rule(
        "adult_with_gills", "finds", FLAG_EXCLUDE, ("life_stage", "gills"),
        "an adult with full gills, of a taxon where that is not normal.",
        "Is it a larva? Settle it with a reason and your name, or correct it.",
        all_of(
            Comparison("life_stage", "one of", ("adult",)), Comparison("gills", "one of", ("full",)),
            Comparison("taxon_paedomorphic", "is not true"),
        ),
    ),
    Rule(
        "warm_for_cool_stream", "finds", FLAG_EXCLUDE, ("water_temp_c", "substrate_temp_c"),
        f"a reading above {WARM_C:g} °C at an animal of a cool stream.",
        "Was the probe in the sun? Settle it with a reason and your name, or correct it.", _warm_for_cool_stream, JUDGEMENT,
    ),
    Rule(
        "egg_mass_with_svl", "finds", FLAG, ("svl_mm", "life_stage"),
        "an egg mass has no SVL.", "Check the stage.",
        all_of(Comparison("life_stage", "one of", EGGS), Comparison("svl_mm", "noted")),
    ),
    Rule(
        "stage_near_overlap", "finds", FLAG, ("life_stage", "svl_mm"),
        "at this size larvae, metamorphs and adults overlap, and neither gills nor a photo are noted.",
        "Note the gills next time; size does not tell the stage.", _stage_near_overlap,
    ),
    Rule(
        "mass_out_of_line", "finds", FLAG, ("mass_g", "svl_mm"),
        "mass and SVL do not go together.", "Check the unit of both.", _mass_out_of_line, JUDGEMENT,
    ),
    Rule(
        "reading_copied", "finds", FLAG, ("water_temp_c",),
        f"one reading of the water stands at {COPIES} or more finds of this visit.", "It counts as one reading.",
        _copied("water_temp_c"), JUDGEMENT,
    ),
    Rule(
        "substrate_reading_copied", "finds", FLAG, ("substrate_temp_c",),
        f"one reading of the substrate stands at {COPIES} or more finds of this visit.", "It counts as one reading.",
        _copied("substrate_temp_c"), JUDGEMENT,
    ),
    Rule(
        "air_reading_copied", "finds", FLAG, ("air_temp_c",),
        f"one reading of the air stands at {COPIES} or more finds of this visit.", "It counts as one reading.",
        _copied("air_temp_c"), JUDGEMENT,
    ),
    Rule(
        "water_reading_apart", "finds", FLAG, ("water_temp_c",),
        f"the water lies more than {READING_APART_C:g} °C from all other readings at animals of this visit, which agree.",
        "Is it right? Two digits may have changed places; correct it if the notes say so.", _reading_apart("water_temp_c"), JUDGEMENT,
    ),
    Rule(
        "substrate_reading_apart", "finds", FLAG, ("substrate_temp_c",),
        f"the substrate lies more than {READING_APART_C:g} °C from all other readings at animals of this visit, which agree.",
        "Is it right? Two digits may have changed places; correct it if the notes say so.", _reading_apart("substrate_temp_c"), JUDGEMENT,
    ),
    Rule(
        "animal_twice", "finds", FLAG, ("animal_id",),
        "another find of this visit has the same mark.",
        "Was it met twice, or typed twice? If typed twice, take one out and load it with --replace.",
        lambda frame: frame["animal_twice"],
    ),
    Rule(
        "animal_changed", "finds", FLAG, ("animal_id", "sex", "svl_mm"),
        "another find of this mark has another taxon or sex, or a size that it cannot have come from.",
        "Read the mark and the measures again; correct the one that is wrong.", lambda frame: frame["animal_changed"], JUDGEMENT,
    ),
    Rule(
        "find_outside_visit", "finds", FLAG, ("found_at",),
        "the find lies outside the time of its visit.", "Check the clock times.", _find_outside_visit,
    ),
    Rule(
        "find_far_from_site", "finds", FLAG, ("latitude", "longitude"),
        f"the find lies more than {FAR_M / 1000:g} km from its site.", "Check the coordinates of both.",
        lambda frame: frame["site_distance_m"] > FAR_M, JUDGEMENT,
    ),
    Rule(
        "near_duplicate", "finds", FLAG, ("find_id",),
        "another find of this visit has the same taxon, stage and measures.",
        "Nothing is taken out. If it is one animal, take one out of the sheet and load it with --replace.",
        _near_duplicate,
    ),
    Rule(
        "point_rh_as_fraction", "availability", HOLD_VALUE, ("rh_pct",),
        f"a humidity of {FRACTION_PCT:g} % or less looks like a fraction.", "Write it in per cent: 0.85 is 85.", _rh_as_fraction,
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


def rules_of(table: str) -> tuple[Rule, ...]:
    """Rules of one table, in order."""
    return tuple(rule for rule in RULES if rule.table == table)
