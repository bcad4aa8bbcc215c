"""Slips of tired hands, each in a small visit that is right but for it.

They are what goes wrong in real entry (published surveys and common practice) and what passed rillbook before.
"""

from __future__ import annotations

import copy
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

Document = dict[str, Any]
TODAY = date(2023, 6, 25)

VISIT = {
    "visit_id": "V9", "site_id": "S1", "visit_date": "2023-06-20", "start_time": "20:00", "end_time": "21:30",
    "protocol": "visual_encounter", "search_minutes": "60",
    "air_temp_c": "16.0", "wet_bulb_c": "14.2", "rh_pct": "85", "water_temp_c": "12.4", "target_taxa": "GPOR|ETEN",
}  # fmt: skip
FINDS = [
    {"find_id": f"F{n}", "visit_id": "V9", "taxon": "GPOR", "count": "1", **more}
    for n, more in enumerate(
        [
            {"life_stage": "adult", "gills": "none", "microhabitat": "rock_in_flow", "water_temp_c": "12.0", "svl_mm": "80",
             "total_length_mm": "140", "sex": "male", "animal_id": "A7", "found_at": "20:10"},
            {"life_stage": "larva", "gills": "full", "microhabitat": "gravel_gaps", "water_temp_c": "11.6", "svl_mm": "40",
             "found_at": "20:20"},
            {"life_stage": "larva", "gills": "full", "microhabitat": "gravel_gaps", "water_temp_c": "12.1", "svl_mm": "44",
             "found_at": "20:31"},
            {"life_stage": "larva", "gills": "full", "microhabitat": "rock_in_flow", "water_temp_c": "11.8", "svl_mm": "37",
             "found_at": "20:44"},
        ],
        1,
    )
]  # fmt: skip
SITE = {
    "site_id": "S2",
    "habitat": "headwater",
    "latitude": "36.22",
    "longitude": "-81.91",
    "datum": "WGS84",
    "coordinate_uncertainty_m": "20",
}
RIGHT: Document = {"format": "rillbook survey", "version": "1", "visits": [VISIT], "finds": FINDS}


@dataclass(frozen=True)
class Slip:
    """What was written, in words; how it gets into the visit; and whether the form can hold it at all."""

    words: str
    write: Callable[[Document], object]
    in_form: bool = True


def visit(**cells: str) -> Callable[[Document], object]:
    return lambda document: document["visits"][0].update(cells)


def find(place: int, **cells: str) -> Callable[[Document], object]:
    return lambda document: document["finds"][place].update(cells)


def site(**cells: str) -> Callable[[Document], object]:
    def write(document: Document) -> None:
        document["sites"] = [{**SITE, **cells}]
        document["visits"][0]["site_id"] = document["sites"][0]["site_id"]

    return write


def every_find(**cells: str) -> Callable[[Document], object]:
    def write(document: Document) -> None:
        document["finds"] += [
            {**one, "find_id": f"{one['find_id']}b", "found_at": "20:5" + one["find_id"][1:], "animal_id": ""} for one in FINDS[1:]
        ]
        for n, one in enumerate(document["finds"]):
            one.update(cells, svl_mm=str(36 + 3 * n))
            if one["life_stage"] == "adult":
                one["svl_mm"] = "80"

    return write


def twice(**cells: str) -> Callable[[Document], object]:
    return lambda document: document["finds"].append({**FINDS[0], "find_id": "F9", **cells})


def another_visit(**cells: str) -> Callable[[Document], object]:
    return lambda document: document["visits"].append({**VISIT, "visit_id": "V8", **cells})


def of_the_year_before(document: Document) -> None:
    for n, day in enumerate(("2023-06-05", "2023-06-12", "2023-06-18"), 1):
        document["visits"].append({**VISIT, "visit_id": f"V9{n}", "visit_date": day})
    document["visits"][0]["visit_date"] = "2022-06-08"


def few_readings(water: str) -> Callable[[Document], object]:
    def write(document: Document) -> None:
        for one in document["finds"][2:]:
            one["water_temp_c"] = ""
        document["finds"][0]["water_temp_c"] = water

    return write


SLIPS = (
    Slip("`LARVA ` for `larva`", find(1, life_stage="LARVA ")),
    Slip("`#VALUE!` for a temperature", find(1, water_temp_c="#VALUE!")),
    Slip("a sex that is not in the list, `A`", find(0, sex="A")),
    Slip("`54` read in °F, written as °C", find(1, water_temp_c="54")),
    Slip("latitude and longitude swapped", site(latitude="-81.91", longitude="36.22")),
    Slip("the minus of the longitude lost", site(longitude="81.91")),
    Slip("a place of 0, 0", site(latitude="0", longitude="0")),
    Slip("no datum", site(datum="", coordinate_uncertainty_m="")),
    Slip("degrees, minutes and seconds", site(latitude="36 13 12 N", longitude="81 54 36 W")),
    Slip("a date that is two days, `6/5/2023`", visit(visit_date="6/5/2023")),
    Slip("a spreadsheet's number for a date, `45097`", visit(visit_date="45097")),
    Slip("a year of two digits, `6/20/23`", visit(visit_date="6/20/23")),
    Slip("a date in the future", visit(visit_date="2032-06-20")),
    Slip("a find typed twice", lambda document: document["finds"].append({**FINDS[1], "find_id": "F9"})),
    Slip("a marked find typed twice", twice()),
    Slip("one mark as male 80 mm and as female 51 mm", twice(sex="female", svl_mm="51", total_length_mm="90", found_at="20:50")),
    Slip("one visit typed twice, in one sheet", another_visit(), in_form=False),
    Slip("a humidity of 105 %", visit(rh_pct="105")),
    Slip("a humidity as a fraction, `0.85`", visit(rh_pct="0.85")),
    Slip("wet and dry bulb swapped", visit(air_temp_c="14.2", wet_bulb_c="16.0")),
    Slip("water of −5 °C", find(1, water_temp_c="-5")),
    Slip("air 20.5 °C over the water", visit(air_temp_c="33.0", wet_bulb_c="")),
    Slip("the end before the start", visit(end_time="19:30")),
    Slip("SVL over the total length", find(0, svl_mm="140", total_length_mm="80")),
    Slip("a larva without gills", find(1, gills="none")),
    Slip("an adult with full gills", find(0, gills="full")),
    Slip("one water reading copied to every find", every_find(water_temp_c="12.4")),
    Slip("one substrate reading copied to every find", every_find(water_temp_c="", substrate_temp_c="12.4")),
    Slip("no effort", visit(search_minutes="")),
    Slip("air and water swapped, 24 and 12", visit(air_temp_c="12.0", water_temp_c="24.0", wet_bulb_c="")),
    Slip("the same, no air was read", visit(air_temp_c="", wet_bulb_c="", water_temp_c="24.0")),
    Slip("`21` for `12`, three other finds read", find(0, water_temp_c="21")),
    Slip("`21` for `12`, one other find read", few_readings("21")),
    Slip("`21` for `12` at the visit", visit(water_temp_c="21", air_temp_c="22.0", wet_bulb_c="")),
    Slip("last year's date, typed within a month", visit(visit_date="2022-06-20")),
    Slip("last year's date in a sheet of one season", of_the_year_before, in_form=False),
    Slip("`52` for `5.2`", find(1, water_temp_c="52")),
    Slip("a site code misspelt, `SI` for `S1`", visit(site_id="SI")),
    Slip("a site code in other case, `s1`", visit(site_id="s1")),
    Slip("a new site whose code is `s-1`", site(site_id="s-1")),
    Slip("a taxon misspelt, `GPRO`", find(1, taxon="GPRO")),
    Slip("a find 40 minutes after the end", find(1, found_at="22:10")),
)


def document_of(slip: Slip | None) -> Document:
    """The visit with a slip in it, or the right one."""
    document = copy.deepcopy(RIGHT)
    if slip is not None:
        slip.write(document)
    return document
