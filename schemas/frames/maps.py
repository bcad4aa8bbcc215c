"""Shapes of what maps show: single rows, and the cells that they are put together to."""

from __future__ import annotations

from schemas.fields import Real, Text
from schemas.frames.frame import Count, Flag, Frame, columns_of, maybe, said

# Meanings of the figures of cells, exact and public.
WHAT = {
    "months": "months, numbers separated by a bar",
    "year_from": "first year",
    "year_to": "last year",
    "n_finds": "finds, or readings where no animal was",
    "n_animals": "animals found",
    "n_visits": "visits",
    "n_without": "visits that looked for it and did not find it",
    "search_minutes": "minutes of search",
    "n_readings": "distinct readings, one a visit and value",
    "temp_median_c": "median of them, °C",
    "temp_min_c": "lowest, °C",
    "temp_max_c": "highest, °C",
    "microhabitats": "codes separated by a bar",
    "few": "too little to show a figure",
}


class SitePlace(Frame):
    """A site and its exact place."""

    site_id: Text = said("site_id", "site")
    site_name: Text = maybe("site_name", "its name")
    remarks: Text = maybe("remarks", "remarks on the site")
    latitude: Real = said("latitude", "degrees WGS 84")
    longitude: Real = said("longitude", "degrees WGS 84")
    coordinate_uncertainty_m: Real = maybe("coordinate_uncertainty_m", "radius that surely holds the site, m")


class Square(Frame):
    """A grid square."""

    step: Text = said("step", "side of the square in degrees, as text")
    south: Real = said("south", "southern side, degrees WGS 84")
    west: Real = said("west", "western side, degrees WGS 84")
    north: Real = said("north", "northern side, degrees WGS 84")
    east: Real = said("east", "eastern side, degrees WGS 84")


class Kind(Frame):
    """What a cell shows."""

    layer: Text = said("layer", "life stage, or finds in doubt, nothing found, visits, readings where no animal was")
    taxon: Text = said("taxon", "scientific name; empty where the layer has none")
    medium: Text = said("medium", "water, edge, land or surface; several, or empty where it is not told")


class ExactCells(Kind, SitePlace):
    """Figures by site, layer, taxon, medium, month and year; never to be shared."""

    months: Text = said("months", WHAT["months"])
    year_from: Count = said("year_from", WHAT["year_from"])
    year_to: Count = said("year_to", WHAT["year_to"])
    n_finds: Count = said("n_finds", WHAT["n_finds"])
    n_animals: Count = said("n_animals", WHAT["n_animals"])
    n_visits: Count = said("n_visits", WHAT["n_visits"])
    n_without: Count = said("n_without", WHAT["n_without"])
    search_minutes: Real = said("search_minutes", WHAT["search_minutes"])
    n_readings: Count = said("n_readings", WHAT["n_readings"])
    temp_median_c: Real = maybe("temp_median_c", WHAT["temp_median_c"])
    temp_min_c: Real = maybe("temp_min_c", WHAT["temp_min_c"])
    temp_max_c: Real = maybe("temp_max_c", WHAT["temp_max_c"])
    microhabitats: Text = said("microhabitats", WHAT["microhabitats"])
    few: Flag = said("few", WHAT["few"])


class PublicCells(Kind, Square):
    """Figures by square, layer and taxon, and by what else enough rows share; all missing where they are few."""

    months: Text = maybe("months", WHAT["months"])
    year_from: Real = maybe("year_from", WHAT["year_from"])
    year_to: Real = maybe("year_to", WHAT["year_to"])
    n_finds: Real = maybe("n_finds", WHAT["n_finds"])
    n_animals: Real = maybe("n_animals", WHAT["n_animals"])
    n_visits: Real = maybe("n_visits", WHAT["n_visits"])
    n_without: Real = maybe("n_without", WHAT["n_without"])
    search_minutes: Real = maybe("search_minutes", WHAT["search_minutes"])
    n_readings: Real = maybe("n_readings", WHAT["n_readings"])
    temp_median_c: Real = maybe("temp_median_c", WHAT["temp_median_c"])
    temp_min_c: Real = maybe("temp_min_c", WHAT["temp_min_c"])
    temp_max_c: Real = maybe("temp_max_c", WHAT["temp_max_c"])
    microhabitats: Text = said("microhabitats", WHAT["microhabitats"])
    few: Flag = said("few", WHAT["few"])


SITE = list(columns_of(SitePlace))
SQUARE = list(columns_of(Square))
KINDS = list(columns_of(Kind))
