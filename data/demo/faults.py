"""The slips that are planted in the invented study, each with the rule that must find it and the effect that it must have."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

Row = dict[str, str]
EFFORT = ("search_minutes", "area_m2", "length_m", "cover_objects_turned")


@dataclass(frozen=True)
class Fault:
    """One slip: where it fits, what it writes, and the rule and effect that it must meet.

    Attributes
    ----------
    table, rule, effect, note : str
        As in `planted_faults.csv`.
    write : callable
        Row to the changed cells; the first one names the fault's field.
    fits : callable
        Row and its `Around` to whether the slip stands alone there.
    also : tuple of str
        Further rules (all of effect ``flag``) that the same value must trip.
    """

    table: str
    rule: str
    effect: str
    note: str
    write: Callable[[Row], Row]
    fits: Callable[[Row, Around], bool]
    also: tuple[str, ...] = ()


@dataclass(frozen=True)
class Around:
    """What else the study says of a row: its visit, and how many finds and availability points that visit has."""

    visit: Row
    finds: int
    points: int

    @property
    def bare(self) -> bool:
        """Nothing hangs on the visit."""
        return self.finds == 0 and self.points == 0


def number(row: Row, name: str) -> float:
    """A cell as number, NaN where it is empty."""
    return float(row[name] or "nan")


def swapped(first: str, second: str) -> Callable[[Row], Row]:
    """Two cells change places."""
    return lambda row: {first: row[second], second: row[first]}


def later(clock: str, hours: int) -> str:
    """A clock time some hours later."""
    return f"{(int(clock[:2]) + hours) % 24:02d}{clock[2:]}"


def by_day(visit: Row) -> bool:
    """The visit starts between 8 and 14 o'clock."""
    return "08:00" <= visit["start_time"] < "14:00"


def month_day_year(row: Row) -> Row:
    """The date as 03/04/2023."""
    day = date.fromisoformat(row["visit_date"])
    return {"visit_date": f"{day.month:02d}/{day.day:02d}/{day.year}"}


def unmeasured_but_svl(row: Row) -> bool:
    """The SVL alone was measured of an unmarked animal."""
    return bool(row["svl_mm"]) and not (row["total_length_mm"] or row["mass_g"] or row["animal_id"])


SITE_FAULTS = (
    Fault("sites", "coordinates_swapped", "hold_value", "latitude and longitude changed places", swapped("latitude", "longitude"),
          lambda row, _: row["site_id"] == "N10"),
    Fault("sites", "longitude_sign_lost", "hold_value", "the minus before the longitude was left out",
          lambda row: {"longitude": row["longitude"].lstrip("-")}, lambda row, _: row["site_id"] == "S01"),
    Fault("sites", "outside_study_area", "flag", "one digit of the latitude is wrong",
          lambda row: {"latitude": row["latitude"].replace("36.2", "36.4")},
          lambda row, _: row["site_id"] == "N13"),
)  # fmt: skip
VISIT_FAULTS = (
    Fault("visits", "date_future", "hold_row", "two digits of the year changed places",
          lambda row: {"visit_date": row["visit_date"].replace("2025", "2052")},
          lambda row, around: row["visit_date"] > "2025-05" and 3 <= around.finds <= 5 and not around.points),
    Fault("visits", "date_ambiguous", "hold_row", "day and month cannot be told apart", month_day_year,
          lambda row, around: row["visit_date"][:4] == "2023" and row["visit_date"][8:] <= "12"
          and row["visit_date"][5:7] != row["visit_date"][8:]
          and 2 <= around.finds <= 4 and not around.points),
    Fault("visits", "visit_wet_bulb_above_air", "hold_value", "wet and dry bulb changed places", swapped("wet_bulb_c", "air_temp_c"),
          lambda row, _: number(row, "air_temp_c") - number(row, "wet_bulb_c") >= 1),
    Fault("visits", "visit_rh_as_fraction", "hold_value", "humidity written as a fraction",
          lambda row: {"rh_pct": f"{number(row, 'rh_pct') / 100:.2f}"}, lambda row, _: number(row, "rh_pct") < 99),
    Fault("visits", "visit_air_water_gap", "flag", "thermometer for the air hung in the sun", lambda row: {"air_temp_c": "34.5"},
          lambda row, _: number(row, "water_temp_c") < 13.5 and row["visit_date"][5:7] in ("05", "06") and not row["wet_bulb_c"]
          and by_day(row)),
    Fault("visits", "visit_warm_water", "flag_exclude", "probe fell out of the water", lambda row: {"water_temp_c": "26.0"},
          lambda row, around: number(row, "air_temp_c") > 20 and number(row, "water_temp_c") > 0 and around.bare,
          ("unexpected", "water_off_season")),
    Fault("visits", "no_effort", "flag", "no effort was written down", lambda row: {name: "" for name in EFFORT if name in row},
          lambda row, around: around.finds > 2),
    Fault("visits", "visit_too_long", "flag", "end written as if it were evening", lambda row: {"end_time": later(row["end_time"], 12)},
          lambda row, around: "08:30" <= row["start_time"] < "10:00" and around.finds > 0),
    Fault("visits", "likely_fahrenheit", "hold_value", "read off the Fahrenheit scale", lambda row: {"water_temp_c": "58.1"},
          lambda row, around: number(row, "water_temp_c") > 13 and around.finds > 0),
    Fault("visits", "not_possible", "hold_value", "a 1 too many: 6.8", lambda row: {"ph": "16.8"},
          lambda row, around: bool(row["ph"]) and around.finds > 3),
    Fault("visits", "unreadable", "hold_value", "a number written as a word", lambda row: {"search_minutes": "twelve"},
          lambda row, _: bool(row["cover_objects_turned"])),
    Fault("visits", "code_unknown", "hold_value", "a word that the list does not have", lambda row: {"flow": "gushing"},
          lambda row, _: bool(row["flow"])),
    Fault("visits", "required_missing", "hold_row", "the protocol was left blank", lambda row: {"protocol": ""},
          lambda row, around: around.bare),
    Fault("visits", "parent_unknown", "hold_row", "a site that is in no file", lambda row: {"site_id": "N99"},
          lambda row, around: around.bare),
    Fault("visits", "unexpected", "flag", "acid, but it may be so", lambda row: {"ph": "3.6"}, lambda row, _: bool(row["ph"])),
    Fault("visits", "unexpected", "flag", "very soft water, or the wrong unit", lambda row: {"conductivity_us_cm": "2.4"},
          lambda row, _: bool(row["conductivity_us_cm"])),
)  # fmt: skip
FIND_FAULTS = (
    Fault("finds", "taxon_unknown", "hold_row", "typing slip in the code; the visit has no other find, so it is incomplete, not empty",
          lambda row: {"taxon": "DMOM"}, lambda row, around: row["taxon"] == "DMON" and around.finds == 1),
    Fault("finds", "total_length_below_svl", "hold_value", "SVL and total length changed places", swapped("total_length_mm", "svl_mm"),
          lambda row, _: bool(row["total_length_mm"]) and not row["mass_g"] and row["taxon"] == "EWIL"),
    Fault("finds", "find_wet_bulb_above_air", "hold_value", "wet and dry bulb changed places", swapped("wet_bulb_c", "air_temp_c"),
          lambda row, _: number(row, "air_temp_c") - number(row, "wet_bulb_c") >= 0.4),
    Fault("finds", "find_rh_as_fraction", "hold_value", "humidity written as a fraction",
          lambda row: {"rh_pct": f"{number(row, 'rh_pct') / 100:.2f}"},
          lambda row, _: number(row, "rh_pct") < 99),
    Fault("finds", "find_air_water_gap", "flag", "probe for the air lay in the sun",
          lambda row: {"air_temp_c": f"{number(row, 'water_temp_c') + 20.3:.1f}"},
          lambda row, around: 7 < number(row, "water_temp_c") < 9.6 and by_day(around.visit)),
    Fault("finds", "larva_without_gills", "flag_exclude", "stage or gills ticked wrongly", lambda row: {"gills": "none"},
          lambda row, _: row["life_stage"] == "larva" and row["gills"] == "full"),
    Fault("finds", "adult_with_gills", "flag_exclude", "stage or gills ticked wrongly", lambda row: {"gills": "full"},
          lambda row, _: row["life_stage"] == "adult" and row["gills"] == "none"),
    Fault("finds", "warm_for_cool_stream", "flag_exclude", "probe warmed in the hand", lambda row: {"water_temp_c": "26.2"},
          lambda row, _: row["life_stage"] == "larva" and number(row, "water_temp_c") > 14, ("unexpected", "water_reading_apart")),
    Fault("finds", "egg_mass_with_svl", "flag", "length of the clutch written as SVL", lambda row: {"svl_mm": "20.0"},
          lambda row, _: row["life_stage"] == "egg_mass"),
    Fault("finds", "stage_near_overlap", "flag", "neither gills nor photo noted where size does not tell the stage",
          lambda row: {"gills": "", "photo": ""},
          lambda row, _: row["taxon"] == "GPOR" and row["life_stage"] == "larva" and 58 <= number(row, "svl_mm") <= 68),
    Fault("finds", "mass_out_of_line", "flag", "decimal point one place too far right",
          lambda row: {"mass_g": f"{number(row, 'mass_g') * 10:.2f}"},
          lambda row, _: number(row, "svl_mm") >= 40 and number(row, "mass_g") <= 5),
    Fault("finds", "find_outside_visit", "flag", "clock read two hours late", lambda row: {"found_at": later(row["found_at"], 2)},
          lambda row, around: by_day(around.visit)),
    Fault("finds", "find_far_from_site", "flag", "one digit of the latitude is wrong",
          lambda row: {"latitude": f"{number(row, 'latitude') + 0.1:.5f}"},
          lambda row, _: bool(row["latitude"])),
    Fault("finds", "likely_fahrenheit", "hold_value", "read off the Fahrenheit scale", lambda row: {"substrate_temp_c": "61.3"},
          lambda row, _: number(row, "substrate_temp_c") > 14),
    Fault("finds", "not_possible", "hold_value", "decimal point left out", lambda row: {"svl_mm": "410"},
          lambda row, _: unmeasured_but_svl(row) and row["life_stage"] == "adult"),
    Fault("finds", "not_possible", "hold_row", "no animal in a row of an animal", lambda row: {"count": "0"},
          lambda row, around: not row["svl_mm"]),
    Fault("finds", "unreadable", "hold_value", "an estimate written in words", lambda row: {"svl_mm": "about forty"},
          lambda row, _: unmeasured_but_svl(row) and row["life_stage"] == "adult"),
    Fault("finds", "code_unknown", "hold_row", "a stage that the list does not have", lambda row: {"life_stage": "neonate"},
          lambda row, _: row["life_stage"] == "hatchling"),
    Fault("finds", "code_unknown", "hold_value", "a word that the list does not have", lambda row: {"substrate": "stones"},
          lambda row, _: row["substrate"] == "cobble"),
    Fault("finds", "required_missing", "hold_row", "the stage was left blank", lambda row: {"life_stage": ""},
          lambda row, _: not row["svl_mm"]),
    Fault("finds", "parent_unknown", "hold_row", "a visit that is in no file", lambda row: {"visit_id": "V9999"},
          lambda row, around: around.finds > 3),
    Fault("finds", "at_least", "flag", "one was caught, and more got away", lambda row: {"count": row["count"] + "+"},
          lambda row, _: bool(row["cover_longest_mm"])),
    Fault("finds", "unexpected", "flag", "a very small hatchling, but it may be so", lambda row: {"svl_mm": "6.5"},
          lambda row, _: unmeasured_but_svl(row) and row["life_stage"] == "hatchling"),
)  # fmt: skip
POINT_FAULTS = (
    Fault("availability", "point_rh_as_fraction", "hold_value", "humidity written as a fraction",
          lambda row: {"rh_pct": f"{number(row, 'rh_pct') / 100:.2f}"}, lambda row, _: number(row, "rh_pct") < 99),
    Fault("availability", "likely_fahrenheit", "hold_value", "read off the Fahrenheit scale", lambda row: {"water_temp_c": "55.9"},
          lambda row, _: number(row, "water_temp_c") > 12),
    Fault("availability", "code_unknown", "hold_row", "a place that the list does not have", lambda row: {"microhabitat": "pond"},
          lambda row, _: row["microhabitat"] == "rock_at_edge"),
)  # fmt: skip
