"""The rules of finds."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from schemas.rules.comparisons import Among, Comparison, all_of, among
from schemas.rules.figures import (
    AGREE_BY_CHANCE,
    CHANCE_PAIRS,
    COOL,
    COPIES,
    EGGS,
    FAR_M,
    FRACTION_PCT,
    GAP_C,
    MASS_PER_SVL3,
    NEAR_DUPLICATE_IN,
    READING_APART_C,
    READINGS_ALIKE_C,
    READINGS_LEAST,
    WARM_C,
)  # fmt: skip
from schemas.rules.rule import FLAG, FLAG_EXCLUDE, HOLD_ROW, HOLD_VALUE, JUDGEMENT, Rule
from schemas.rules.shared_masks import air_water_gap, minutes_of, rh_as_fraction, wet_bulb_above_air
from schemas.vocabulary import codes_with

_stage_near_overlap = all_of(
    Comparison("svl_mm", "at least", "taxon_overlap_low"),
    Comparison("svl_mm", "at most", "taxon_overlap_high"),
    Comparison("life_stage", "one of", codes_with("life_stage", "sizes_overlap")),
    Comparison("gills", "not noted"),
    Comparison("photo", "not noted"),
)


def _find_outside_visit(frame: pd.DataFrame) -> pd.Series:
    start, end, at = minutes_of(frame["visit_start"]), minutes_of(frame["visit_end"]), minutes_of(frame["found_at"])
    return (at - start) % 1440 > (end - start) % 1440


def _warm_for_cool_stream(frame: pd.DataFrame) -> pd.Series:
    warm = ((frame["medium"] == "water") & (frame["water_temp_c"] > WARM_C)) | (
        frame["medium"].isin(["land", "edge"]) & (frame["substrate_temp_c"] > WARM_C)
    )
    return warm & frame["taxon_group"].isin(COOL)


def _mass_out_of_line(frame: pd.DataFrame) -> pd.Series:
    expected = frame["svl_mm"] ** 3
    return (frame["mass_g"] < MASS_PER_SVL3[0] * expected) | (frame["mass_g"] > MASS_PER_SVL3[1] * expected)


def _copied(name: str) -> Callable[[pd.DataFrame], pd.Series]:
    return among(Among("copied", name, COPIES))


def _reading_apart(name: str) -> Callable[[pd.DataFrame], pd.Series]:
    """One reading far from the others of its visit, which agree: two digits that changed places, or a probe in the sun."""
    return among(Among("apart", name, READINGS_LEAST, READINGS_ALIKE_C, READING_APART_C))


def _near_duplicate(frame: pd.DataFrame) -> pd.Series:
    alike = frame["svl_mm"].notna() & frame.duplicated(list(NEAR_DUPLICATE_IN), keep=False)
    measured = frame[frame["svl_mm"].notna()]
    size = measured.groupby(["visit_id", "taxon", "life_stage"])["svl_mm"].transform("size").reindex(frame.index, fill_value=0)
    chance = size * (size - 1) / 2
    for name, share in AGREE_BY_CHANCE.items():
        chance = chance.where(frame[name].isna(), chance * share)
    return alike & (chance <= CHANCE_PAIRS + 1e-9)


FIND_RULES: tuple[Rule, ...] = (
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
        "the wet bulb is warmer than the air.", "One of the two is wrong, or they changed places: correct them.", wet_bulb_above_air,
    ),
    Rule(
        "find_rh_as_fraction", "finds", HOLD_VALUE, ("rh_pct",),
        f"a humidity of {FRACTION_PCT:g} % or less looks like a fraction.", "Write it in per cent: 0.85 is 85.", rh_as_fraction,
    ),
    Rule(
        "find_air_water_gap", "finds", FLAG, ("air_temp_c", "water_temp_c"),
        f"air and water differ by more than {GAP_C:g} °C.", "Check both readings.", air_water_gap, JUDGEMENT,
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
        "visit_reading_apart", "finds", FLAG, ("water_temp_c",),
        f"the water of the visit lies more than {READING_APART_C:g} °C from the readings at its animals, which agree.",
        "Is the visit's reading right? Air and water may have changed places, or two digits; correct it if the notes say so.",
        among(Among("visit apart", "water_temp_c", READINGS_LEAST + 1, READINGS_ALIKE_C, READING_APART_C)), JUDGEMENT,
    ),
    Rule(
        "apart_from_visit", "finds", FLAG, ("water_temp_c",),
        f"the water at the animal lies more than {READING_APART_C:g} °C from the water of its visit.",
        "Is it right? Two digits may have changed places, or air and water; correct the one that is wrong, if the notes say so.",
        all_of(
            Comparison("water_temp_c", "above", READING_APART_C, less="visit_water_temp_c"),
            Comparison("water_others", "below", READINGS_LEAST),
        ), JUDGEMENT,
    ),
    Rule(
        "animal_twice", "finds", FLAG, ("animal_id",),
        "another find of this visit has the same mark.",
        "Was it met twice, or typed twice? If typed twice, take one out and load it with --replace.",
        all_of(Comparison("animal_twice", "is true")),
    ),
    Rule(
        "animal_changed", "finds", FLAG, ("animal_id", "sex", "svl_mm"),
        "another find of this mark has another taxon or sex, or a size that it cannot have come from.",
        "Read the mark and the measures again; correct the one that is wrong.", all_of(Comparison("animal_changed", "is true")), JUDGEMENT,
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
)  # fmt: skip
