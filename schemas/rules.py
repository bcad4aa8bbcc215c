"""The cross-field rules, and the names of the column checks, with what each does and how to mend the record.

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
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

HOLD_VALUE, HOLD_ROW, FLAG, FLAG_EXCLUDE = "hold_value", "hold_row", "flag", "flag_exclude"
EFFECTS = {
    HOLD_VALUE: "the values are held back, the row is kept without them",
    HOLD_ROW: "the row is held back, and the rows that hang on it",
    FLAG: "the row is kept and marked: look at it",
    FLAG_EXCLUDE: "the row is kept and marked, and left out of targets until someone settles it",
}
PRACTICE = "common practice, no source"
JUDGEMENT = "judgement"

# Judgements of this project: wide enough that a sound record seldom trips them.
GAP_C = 20.0
WARM_C = 25.0
FAR_M = 1000.0
LONG_MINUTES = 12 * 60
COPIES = 5
# Any of these says that a visit searched, and how much.
EFFORT = ("search_minutes", "area_m2", "length_m", "cover_objects_turned")
# Finds that agree in all of these may be one animal, noted twice.
NEAR_DUPLICATE_IN = (
    "visit_id", "taxon", "life_stage", "svl_mm", "total_length_mm", "mass_g", "microhabitat", "pass_no", "found_at", "water_temp_c",
    "substrate_temp_c", "air_temp_c", "animal_id",
)  # fmt: skip
# Judgement: how seldom two animals of one taxon and stage agree in a measure by chance. Where a sheet measures little and a
# visit has many finds, agreement says nothing.
AGREE_BY_CHANCE = {"svl_mm": 1 / 15, "total_length_mm": 1 / 15, "mass_g": 1 / 30, "found_at": 1 / 60, "animal_id": 1 / 1000}
CHANCE_PAIRS = 0.2
# Judgement: readings at the animals of a visit that agree within the first of these, and one that lies farther off than the second.
READINGS_ALIKE_C, READING_APART_C, READINGS_LEAST = 3.0, 6.0, 3
# From memory: mass of stream salamanders is near 1.8e-5 g per cubed mm of SVL; a factor of 4 either side.
MASS_PER_SVL3 = (0.45e-5, 7.2e-5)


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


@dataclass(frozen=True)
class Fault:
    """A column check that every field has, whatever its table."""

    id: str
    message: str
    remedy: str


COLUMN_FAULTS = (
    Fault("required_missing", "{title} is missing.", "Fill it in; the row cannot be used without it."),
    Fault("unreadable", "{text!r} cannot be read as {kind}.", "Write {example}."),
    Fault(
        "date_ambiguous",
        "{text!r} can be read as more than one date.",
        "Write the date as YYYY-MM-DD, or state date_order in a column map.",
    ),
    Fault(
        "not_possible",
        "{text} {unit} is not possible here ({low} to {high} {unit}).",
        "Read the notes again; the value is kept aside until you do.",
    ),
    Fault(
        "likely_fahrenheit",
        "{text} °C is not possible here ({low} to {high} °C).",
        "It may be Fahrenheit ({text} °F is {celsius} °C) or have lost its point: correct it to what the notes say, or state the unit in a "
        "column map.",
    ),
    Fault("code_unknown", "{text!r} is not a code of {vocabulary}.", "Use one of: {codes}."),
    Fault("unexpected", "{text} {unit} is unusual ({low} to {high} {unit} is expected).", "Kept. Read the notes again."),
    Fault(
        "several_readings",
        "{text}: {how}.",
        "Kept. Read the notes again if they lie far apart; `several` in a column map says mean, median or first.",
    ),
    Fault("at_least", "{text} is kept as the fewest.", "Write the number alone if you know it; targets count the fewest."),
    Fault(
        "described_twice",
        "{key} is described a second time, and differs in {fields}.",
        "The first is kept. Decide which is right and correct or dismiss this one.",
    ),
    Fault("parent_held", "it hangs on {parent}, which is held back.", "Repair that row first; this one follows by itself."),
    Fault("parent_unknown", "{parent} is in no file and not in the book.", "Load that row, or correct the code."),
)
# A total column is known by a column map alone.
TOTAL_DIFFERS = Fault(
    "total_differs",
    "the counts of the row add up to {counted}, its total says {total}.",
    "Kept, and nothing is said of absence there. Look for a count that was left out or put in the wrong column.",
)


def _wet_bulb_above_air(frame: pd.DataFrame) -> pd.Series:
    return frame["wet_bulb_c"] > frame["air_temp_c"]


def _rh_as_fraction(frame: pd.DataFrame) -> pd.Series:
    return (frame["rh_pct"] > 0) & (frame["rh_pct"] <= 1)


def _air_water_gap(frame: pd.DataFrame) -> pd.Series:
    return (frame["air_temp_c"] - frame["water_temp_c"]).abs() > GAP_C


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
    return warm & (frame["taxon_group"] == "cool_stream")


def _stage_near_overlap(frame: pd.DataFrame) -> pd.Series:
    between = (frame["svl_mm"] >= frame["taxon_overlap_low"]) & (frame["svl_mm"] <= frame["taxon_overlap_high"])
    stages = frame["life_stage"].isin(["larva", "metamorph", "juvenile", "adult"])
    return between & stages & frame["gills"].isna() & frame["photo"].isna()


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
        "a humidity of 1 % or less looks like a fraction.", "Write it in per cent: 0.85 is 85.", _rh_as_fraction,
    ),
    Rule(
        "visit_air_water_gap", "visits", FLAG, ("air_temp_c", "water_temp_c"),
        "air and water differ by more than 20 °C.", "Check both readings.", _air_water_gap, JUDGEMENT,
    ),
    Rule(
        "visit_warm_water", "visits", FLAG_EXCLUDE, ("water_temp_c",),
        "water above 25 °C in a book of cool-stream taxa.",
        "Was the probe in the sun or the air? Settle it with a reason and your name, or correct it.",
        lambda frame: frame["cool_stream_book"] & (frame["water_temp_c"] > WARM_C), JUDGEMENT,
    ),
    Rule(
        "no_effort", "visits", FLAG, ("search_minutes",),
        "no effort is noted.", "The finds count for maps and targets, but the visit is left out of rates.", _no_effort,
    ),
    Rule(
        "visit_too_long", "visits", FLAG, ("start_time", "end_time"),
        "the end is before the start, or the visit lasts more than 12 hours.", "Check the start and the end.", _visit_too_long, JUDGEMENT,
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
        lambda frame: frame["total_length_mm"] < frame["svl_mm"],
    ),
    Rule(
        "find_wet_bulb_above_air", "finds", HOLD_VALUE, ("wet_bulb_c", "air_temp_c"),
        "the wet bulb is warmer than the air.", "One of the two is wrong, or they changed places: correct them.", _wet_bulb_above_air,
    ),
    Rule(
        "find_rh_as_fraction", "finds", HOLD_VALUE, ("rh_pct",),
        "a humidity of 1 % or less looks like a fraction.", "Write it in per cent: 0.85 is 85.", _rh_as_fraction,
    ),
    Rule(
        "find_air_water_gap", "finds", FLAG, ("air_temp_c", "water_temp_c"),
        "air and water differ by more than 20 °C.", "Check both readings.", _air_water_gap, JUDGEMENT,
    ),
    Rule(
        "larva_without_gills", "finds", FLAG_EXCLUDE, ("life_stage", "gills"),
        "a larva without gills.", "Is it a metamorph or a juvenile? Settle it with a reason and your name, or correct it.",
        lambda frame: (frame["life_stage"] == "larva") & (frame["gills"] == "none"),
    ),
    Rule(
        "adult_with_gills", "finds", FLAG_EXCLUDE, ("life_stage", "gills"),
        "an adult with full gills, of a taxon where that is not normal.",
        "Is it a larva? Settle it with a reason and your name, or correct it.",
        lambda frame: (frame["life_stage"] == "adult") & (frame["gills"] == "full") & ~frame["taxon_paedomorphic"].fillna(False),
    ),
    Rule(
        "warm_for_cool_stream", "finds", FLAG_EXCLUDE, ("water_temp_c", "substrate_temp_c"),
        "a reading above 25 °C at an animal of a cool stream.",
        "Was the probe in the sun? Settle it with a reason and your name, or correct it.", _warm_for_cool_stream, JUDGEMENT,
    ),
    Rule(
        "egg_mass_with_svl", "finds", FLAG, ("svl_mm", "life_stage"),
        "an egg mass has no SVL.", "Check the stage.", lambda frame: (frame["life_stage"] == "egg_mass") & frame["svl_mm"].notna(),
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
        "one reading of the water stands at five or more finds of this visit.", "It counts as one reading.",
        _copied("water_temp_c"), JUDGEMENT,
    ),
    Rule(
        "substrate_reading_copied", "finds", FLAG, ("substrate_temp_c",),
        "one reading of the substrate stands at five or more finds of this visit.", "It counts as one reading.",
        _copied("substrate_temp_c"), JUDGEMENT,
    ),
    Rule(
        "air_reading_copied", "finds", FLAG, ("air_temp_c",),
        "one reading of the air stands at five or more finds of this visit.", "It counts as one reading.", _copied("air_temp_c"), JUDGEMENT,
    ),
    Rule(
        "water_reading_apart", "finds", FLAG, ("water_temp_c",),
        "the water lies more than 6 °C from all other readings at animals of this visit, which agree.",
        "Is it right? Two digits may have changed places; correct it if the notes say so.", _reading_apart("water_temp_c"), JUDGEMENT,
    ),
    Rule(
        "substrate_reading_apart", "finds", FLAG, ("substrate_temp_c",),
        "the substrate lies more than 6 °C from all other readings at animals of this visit, which agree.",
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
        "the find lies more than 1 km from its site.", "Check the coordinates of both.",
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
        "a humidity of 1 % or less looks like a fraction.", "Write it in per cent: 0.85 is 85.", _rh_as_fraction,
    ),
    Rule(
        "enclosure_taxon_unknown", "enclosures", HOLD_ROW, ("taxon",),
        "this taxon is not among the book's taxa.", "Correct the code, or add the taxon to rillbook.toml and load the file again.",
        lambda frame: frame["taxon"].notna() & ~frame["taxon_known"],
    ),
    Rule(
        "logger_without_place", "loggers", HOLD_ROW, ("site_id", "enclosure_id"),
        "neither a site nor an enclosure is noted.", "Say where it hangs: fill in site_id or enclosure_id.",
        lambda frame: frame["site_id"].isna() & frame["enclosure_id"].isna(),
    ),
)  # fmt: skip


def rules_of(table: str) -> tuple[Rule, ...]:
    """Rules of one table, in order."""
    return tuple(rule for rule in RULES if rule.table == table)
