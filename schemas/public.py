"""What may be published: the public tables, from the declared fields less everything that tells a place or a person."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from schemas.fields import Field, Real, Text, Whole, declare, fields_of
from schemas.kinds import as_code, as_real, as_text, as_whole
from schemas.pandera_alone import pa
from schemas.tables import fields

NOT_SHARED: dict[tuple[str, str], str] = {
    ("taxa", "aliases"): "spellings of one sheet",
    ("sites", "population"): "a drainage with an elevation band narrows a grid square down",
    ("sites", "study_area"): "it narrows a grid square down",
    ("sites", "state"): "a border may cross the grid square",
    ("sites", "water_source"): "it tells of a spring",
    ("sites", "stream_order"): "a map of streams shows few of a high order in a square",
    ("sites", "canopy_pct"): "with the habitat it tells sites apart",
    ("sites", "datum"): "the published places are WGS 84",
    ("sites", "public_precision_deg"): "the square's own step is published",
    ("visits", "thermometer"): "free text",
    ("visits", "thermometer_checked_on"): "a day from which the visit's day may follow",
    ("visits", "sky"): "with the records of a weather station it tells the day",
    ("visits", "rain_24h"): "with the records of a weather station it tells the day",
    ("visits", "rain_mm"): "with the records of a weather station it tells the day",
    ("visits", "wind_beaufort"): "with the records of a weather station it tells the day",
    ("visits", "days_since_rain"): "with the records of a weather station it tells the day",
    ("visits", "disinfectant"): "free text",
    ("finds", "colour_morph"): "free text",
    ("finds", "verbatim_taxon"): "free text",
}
"""Fields that are not protected by themselves and still are no part of a publication, each with the reason."""


class VisitPlace(pa.DataFrameModel):
    """What takes the place of a visit's site and time."""

    event_id: Text = as_text(
        "Visit", "Opaque code of the visit; it tells neither site nor day", key=True, required=True, darwin_core="eventID"
    )
    month: Text = as_text("Month", "Year and month of the visit, YYYY-MM; the day is withheld", required=True, darwin_core="eventDate")
    grid_step_deg: Text = as_code(
        "Grid step", "Side of the grid square in degrees", "public_precision", required=True, darwin_core="coordinatePrecision"
    )
    latitude: Real = as_real(
        "Latitude",
        "Latitude of the square's centre, WGS 84; not the place of the site",
        "degree",
        (-90, 90),
        required=True,
        darwin_core="decimalLatitude",
    )
    longitude: Real = as_real(
        "Longitude",
        "Longitude of the square's centre, WGS 84; not the place of the site",
        "degree",
        (-180, 180),
        required=True,
        darwin_core="decimalLongitude",
    )
    coordinate_uncertainty_m: Whole = as_whole(
        "Uncertainty",
        "From the centre to the farthest corner, plus the class of the site's own uncertainty",
        "m",
        (1, 20037509),
        required=True,
        darwin_core="coordinateUncertaintyInMeters",
    )
    footprint_wkt: Text = as_text("Square", "The grid square as WKT, longitude before latitude", required=True, darwin_core="footprintWKT")
    habitat: Text = as_code("Habitat", "Kind of reach", "habitat", required=True, darwin_core="habitat")


class FindKey(pa.DataFrameModel):
    """What takes the place of a find's own code and its visit's."""

    occurrence_id: Text = as_text("Find", "Opaque code of the find", key=True, required=True, darwin_core="occurrenceID")
    event_id: Text = as_text("Visit", "Visit during which it was met", required=True, refers_to="visits", darwin_core="eventID")


class PointKey(pa.DataFrameModel):
    """What takes the place of a point's own code and its visit's."""

    point_id: Text = as_text("Point", "Opaque code of the point", key=True, required=True)
    event_id: Text = as_text("Visit", "Visit during which it was read", required=True, refers_to="visits", darwin_core="eventID")


class Absences(pa.DataFrameModel):
    """Taxa that a visit looked for, counted in full, and did not find."""

    occurrence_id: Text = as_text("Absence", "Opaque code of the statement", key=True, required=True, darwin_core="occurrenceID")
    event_id: Text = as_text("Visit", "Visit that looked for it", required=True, refers_to="visits", darwin_core="eventID")
    taxon: Text = as_text("Taxon", "Taxon code of the book", required=True, refers_to="taxa")


class Squares(pa.DataFrameModel):
    """Finds by grid square, taxon, life stage and month of the year; few finds are merged."""

    square_id: Text = as_text("Row", "Square, taxon, stage and month in one word", key=True, required=True)
    grid_step_deg: Text = as_code("Grid step", "Side of the grid square in degrees", "public_precision", required=True)
    south: Real = as_real("South", "Southern side of the square", "degree", (-90, 90), required=True)
    west: Real = as_real("West", "Western side of the square", "degree", (-180, 180), required=True)
    north: Real = as_real("North", "Northern side of the square", "degree", (-90, 90), required=True)
    east: Real = as_real("East", "Eastern side of the square", "degree", (-180, 180), required=True)
    taxon: Text = as_text("Taxon", "Taxon code of the book", required=True, refers_to="taxa")
    scientific_name: Text = as_text("Scientific name", "Accepted name", required=True)
    life_stage: Text = as_code("Life stage", "Stage of the animals", "life_stage", required=True)
    month_of_year: Whole = as_whole(
        "Month of the year", "1 to 12; empty where the months were merged because the finds are few", "", (1, 12)
    )
    n_finds: Whole = as_whole("Finds", "Number of finds; empty where they are few even together", "", (0, 1000000000))
    n_animals: Whole = as_whole("Animals", "Number of animals; empty where the finds are few", "", (0, 1000000000))
    n_visits: Whole = as_whole("Visits", "Visits that found it; empty where the finds are few", "", (0, 1000000000))
    few: Text = declare("Few", "Words in place of the numbers where the finds are few even together", kind="text")


NEW: dict[str, type[pa.DataFrameModel]] = {
    "visits": VisitPlace,
    "finds": FindKey,
    "availability": PointKey,
    "absences": Absences,
    "squares": Squares,
}
PUBLIC_TABLES = ("taxa", "visits", "finds", "absences", "availability", "squares")
BY_HAND = ("taxa", "visits", "finds", "availability")


def is_shared(field: Field) -> bool:
    """Whether a declared field may be published as it is."""
    return not (field.protected or field.kind in ("day", "clock", "instant") or (field.table, field.name) in NOT_SHARED)


@cache
def public_fields(table: str) -> dict[str, Field]:
    """Fields of a public table, in order, by name.

    Parameters
    ----------
    table : str
        One of `PUBLIC_TABLES`.

    Returns
    -------
    dict of str to Field
    """
    return {field.name: field for field in _public(table)}


def _public(table: str) -> Iterator[Field]:
    if table in NEW:
        yield from fields_of(NEW[table], table)
    if table in BY_HAND:
        yield from (field for field in fields(table).values() if is_shared(field))


def purpose_of(table: str) -> str:
    """What a public table holds, in a sentence."""
    said = {"taxa": "Taxa of the published finds.", "visits": "Searches of a site, each in the grid square of its site.",
            "finds": "Animals met during the visits; finds of eggs and at nests are withheld.",
            "availability": "Readings taken where animals were not."}  # fmt: skip
    return said.get(table) or (NEW[table].__doc__ or "").strip()


def withheld_titles() -> list[str]:
    """Titles of the fields that are withheld, sorted, each once."""
    held = [field for table in ("sites", *BY_HAND[1:]) for field in fields(table).values() if not is_shared(field)]
    return sorted({field.title.lower() for field in held})
