"""The tests of the TDWG Biodiversity Data Quality standard on place: coordinates, datum, elevation, depth, country code.

Source as in `pipeline.quality.responses`. Each docstring gives the expected response in our words: *cannot run* stands for
INTERNAL_PREREQUISITES_NOT_MET, *fails* for NOT_COMPLIANT.
"""

from __future__ import annotations

import re

from pipeline.formulas.places import names_earth_model
from pipeline.quality.heights import (
    DEPTH,
    ELEVATION,
    amendment_mindepthmaxdepth_from_verbatim,
    amendment_minelevationmaxelevation_from_verbatim,
    validation_maxdepth_inrange,
    validation_maxelevation_inrange,
    validation_mindepth_inrange,
    validation_mindepth_lessthan_maxdepth,
    validation_minelevation_inrange,
    validation_minelevation_lessthan_maxelevation,
)
from pipeline.quality.responses import (
    AMENDED,
    FILLED_IN,
    Response,
    Test,
    Value,
    empty,
    fold,
    in_range,
    in_vocabulary,
    internal,
    issue,
    no_proposal,
    not_empty,
    number,
    parameter,
    proposal,
    standardized,
    verdict,
)
from pipeline.reading.coordinates import read_angle, read_place
from schemas.vocabulary import vocabulary

NOT_RECORDED = "not recorded"
LOCATION_TERMS = (
    "higherGeographyID", "higherGeography", "continent", "country", "countryCode", "stateProvince", "county", "municipality", "waterBody",
    "island", "islandGroup", "locality", "locationID", "verbatimLocality", "decimalLatitude", "decimalLongitude", "verbatimCoordinates",
    "verbatimLatitude", "verbatimLongitude", "footprintWKT",
)  # fmt: skip
_PAIR = re.compile(r"\s*([+-]?\d+\.\d+)\s*[,; ]\s*([+-]?\d+\.\d+)\s*", re.ASCII)
SAME_DEGREES = 1e-6


def validation_decimallatitude_notempty(latitude: Value) -> Response:
    """Fails where decimalLatitude is empty."""
    return not_empty(latitude, "decimalLatitude")


def validation_decimallongitude_notempty(longitude: Value) -> Response:
    """Fails where decimalLongitude is empty."""
    return not_empty(longitude, "decimalLongitude")


def validation_decimallatitude_inrange(latitude: Value) -> Response:
    """Cannot run where decimalLatitude is empty or no number; fails outside -90 to 90."""
    return in_range(latitude, "decimalLatitude", -90, 90)


def validation_decimallongitude_inrange(longitude: Value) -> Response:
    """Cannot run where decimalLongitude is empty or no number; fails outside -180 to 180."""
    return in_range(longitude, "decimalLongitude", -180, 180)


def validation_coordinates_notzero(latitude: Value, longitude: Value) -> Response:
    """Cannot run where either is empty or no number; fails where both are zero. The span is not looked at."""
    north, east = number(latitude), number(longitude)
    if north is None or east is None:
        return internal("a coordinate is empty or no number")
    return verdict(bool(north or east), "not both are zero", "latitude and longitude are both zero")


def validation_coordinateuncertainty_inrange(uncertainty: Value) -> Response:
    """Cannot run where the uncertainty is empty or no number; fails outside 1 to 20037509 m, half of the equator.

    The text of the standard fails what is no number; published row 887 says that the test cannot run, and the row decides.
    """
    low, high = float(parameter("minimumUncertaintyInMeters")), float(parameter("maximumUncertaintyInMeters"))
    return in_range(uncertainty, "coordinateUncertaintyInMeters", low, high)


def validation_geodeticdatum_notempty(datum: Value) -> Response:
    """Fails where geodeticDatum is empty."""
    return not_empty(datum, "geodeticDatum")


def validation_geodeticdatum_standard(datum: Value) -> Response:
    """Cannot run where geodeticDatum is empty; passes for EPSG: with the number of a datum, an ellipsoid or a two-dimensional
    geographic system in degrees, and for the words "not recorded"; fails otherwise.
    """
    if empty(datum):
        return internal("geodeticDatum is empty")
    good = datum == NOT_RECORDED or names_earth_model(datum or "")
    return verdict(good, "geodeticDatum is a code of EPSG, or not recorded", "geodeticDatum is no code of EPSG in degrees")


def amendment_geodeticdatum_standardized(datum: Value) -> Response:
    """Cannot run where geodeticDatum is empty; proposes the EPSG code that a name can only mean (those of rillbook's own datums). Never
    proposes another datum.
    """
    if empty(datum):
        return internal("geodeticDatum is empty")
    known = {fold(text): row["source"] for code, row in vocabulary("datum").items() for text in (code, row["source"], row["definition"])}
    meant = known.get(fold(datum or ""), "")
    if not meant.startswith("EPSG:") or meant == datum:
        return no_proposal("geodeticDatum is in order, or cannot be told for sure")
    return proposal(AMENDED, f"{datum} can only mean {meant}", geodeticDatum=meant)


def amendment_coordinates_from_verbatim(
    latitude: Value, longitude: Value, datum: Value, coordinates: Value, north: Value, east: Value, srs: Value
) -> Response:
    """Cannot run where decimalLatitude or decimalLongitude is there, or neither verbatimCoordinates nor both verbatimLatitude and
    verbatimLongitude are; proposes latitude, longitude and datum where what was written can be read in one way only and agrees with
    itself. No coordinates are transformed, so that metres are never read.
    """
    if not empty(latitude) or not empty(longitude):
        return internal("decimalLatitude or decimalLongitude has a value")
    if empty(coordinates) and (empty(north) or empty(east)):
        return internal("nothing was written to read coordinates from")
    place = _read_written(coordinates, north, east)
    if place is None:
        return no_proposal("the place as written cannot be read in one way only")
    values = {"decimalLatitude": _degrees(place[0]), "decimalLongitude": _degrees(place[1])}
    if empty(datum) and not empty(srs):
        if not names_earth_model(srs or ""):
            return no_proposal("verbatimSRS is no code of EPSG in degrees")
        values["geodeticDatum"] = srs or ""
    return proposal(FILLED_IN, "read from the place as written", **values)


def _read_written(coordinates: Value, north: Value, east: Value) -> tuple[float, float] | None:
    """Latitude and longitude of all that was written, degrees; None where it cannot be read or disagrees."""
    lone = [None if empty(text) else read_angle((text or "").strip(), letters) for text, letters in ((north, "NS"), (east, "EW"))]
    if (not empty(north) and lone[0] is None) or (not empty(east) and lone[1] is None):
        return None
    if empty(coordinates):
        return (lone[0].degrees, lone[1].degrees) if lone[0] and lone[1] else None
    text = (coordinates or "").strip()
    pair = _PAIR.fullmatch(text)
    if pair and abs(float(pair[1])) > 90:
        # only a longitude can be so large, so that the order is sure
        text = f"{pair[2]}, {pair[1]}"
    place, _ = read_place(text)
    if place is None or place.precision_m is not None:
        return None
    found = (place.latitude, place.longitude)
    agree = all(one is None or abs(one.degrees - other) < SAME_DEGREES for one, other in zip(lone, found, strict=True))
    return found if agree else None


def _degrees(value: float) -> str:
    return f"{value:.7f}".rstrip("0").rstrip(".")


def validation_countrycode_notempty(code: Value) -> Response:
    """Fails where countryCode is empty."""
    return not_empty(code, "countryCode")


def validation_countrycode_standard(code: Value, source_authority: str = "countryCode") -> Response:
    """Cannot run where countryCode is empty; fails where it is no two-letter code of ISO 3166-1, nor XZ (high seas) or ZZ (unknown)."""
    return in_vocabulary(code, "countryCode", source_authority)


def amendment_countrycode_standardized(code: Value, source_authority: str = "countryCode") -> Response:
    """Cannot run where countryCode is empty; proposes the code of a country that is named in full, in English."""
    return standardized(code, "countryCode", source_authority, abbreviations=False)


def validation_country_notempty(country: Value, code: Value) -> Response:
    """Fails where country is empty, but for the high seas: countryCode XZ."""
    return verdict(not empty(country) or code == "XZ", "country has a value, or lies in the high seas", "country is empty")


def validation_location_notempty(*location: Value) -> Response:
    """Fails where each of the twenty terms of a place is empty."""
    return verdict(not all(map(empty, location)), "a term of the place has a value", "every term of the place is empty")


def issue_datageneralizations_notempty(generalizations: Value) -> Response:
    """A possible issue where dataGeneralizations has a value: the place may be coarser than it was. All that rillbook publishes has one."""
    return issue(not empty(generalizations), "dataGeneralizations")


LATITUDE, LONGITUDE, DATUM = "decimalLatitude", "decimalLongitude", "geodeticDatum"
VERBATIM = ("verbatimCoordinates", "verbatimLatitude", "verbatimLongitude", "verbatimSRS")
TESTS = (
    Test(validation_decimallatitude_notempty, "7d2485d5-1ba7-4f25-90cb-f4480ff1a275", "2023-09-18", (LATITUDE,)),
    Test(validation_decimallongitude_notempty, "9beb9442-d942-4f42-8b6a-fcea01ee086a", "2023-09-18", (LONGITUDE,)),
    Test(validation_decimallatitude_inrange, "b6ecda2a-ce36-437a-b515-3ae94948fe83", "2023-09-18", (LATITUDE,)),
    Test(validation_decimallongitude_inrange, "0949110d-c06b-450e-9649-7c1374d940d1", "2023-09-17", (LONGITUDE,)),
    Test(validation_coordinates_notzero, "1bf0e210-6792-4128-b8cc-ab6828aa4871", "2023-06-20", (LATITUDE, LONGITUDE)),
    Test(
        validation_coordinateuncertainty_inrange, "c6adf2ea-3051-4498-97f4-4b2f8a105f57", "2023-09-18", ("coordinateUncertaintyInMeters",)
    ),
    Test(validation_geodeticdatum_notempty, "239ec40e-a729-4a8e-ba69-e0bf03ac1c44", "2023-09-18", (DATUM,)),
    Test(validation_geodeticdatum_standard, "7e0c0418-fe16-4a39-98bd-80e19d95b9d1", "2025-03-03", (DATUM,)),
    Test(amendment_geodeticdatum_standardized, "0345b325-836d-4235-96d0-3b5caf150fc0", "2025-03-03", (DATUM,)),
    Test(
        amendment_coordinates_from_verbatim, "3c2590c7-af8a-4eb4-af57-5f73ba9d1f8e", "2024-08-20", (LATITUDE, LONGITUDE, DATUM, *VERBATIM)
    ),
    Test(validation_countrycode_notempty, "853b79a2-b314-44a2-ae46-34a1e7ed85e4", "2024-11-10", ("countryCode",)),
    Test(validation_countrycode_standard, "0493bcfb-652e-4d17-815b-b0cce0742fbe", "2024-09-19", ("countryCode",)),
    Test(amendment_countrycode_standardized, "fec5ffe6-3958-4312-82d9-ebcca0efb350", "2024-11-09", ("countryCode",)),
    Test(validation_country_notempty, "6ce2b2b4-6afe-4d13-82a0-390d31ade01c", "2024-09-27", ("country", "countryCode")),
    Test(validation_location_notempty, "58486cb6-1114-4a8a-ba1e-bd89cfe887e9", "2023-09-18", LOCATION_TERMS),
    Test(validation_minelevation_inrange, "0bb8297d-8f8a-42d2-80c1-558f29efe798", "2023-09-17", ELEVATION[:1]),
    Test(validation_maxelevation_inrange, "c971fe3f-84c1-4636-9f44-b1ec31fd63c7", "2023-09-18", ELEVATION[1:]),
    Test(validation_minelevation_lessthan_maxelevation, "d708526b-6561-438e-aa1a-82cd80b06396", "2023-09-18", ELEVATION),
    Test(
        amendment_minelevationmaxelevation_from_verbatim,
        "2d638c8b-4c62-44a0-a14d-fa147bf9823d",
        "2024-08-30",
        (*ELEVATION, "verbatimElevation"),
    ),
    Test(validation_mindepth_inrange, "04b2c8f3-c71b-4e95-8e43-f70374c5fb92", "2023-09-18", DEPTH[:1]),
    Test(validation_maxdepth_inrange, "3f1db29a-bfa5-40db-9fd1-fde020d81939", "2023-09-18", DEPTH[1:]),
    Test(validation_mindepth_lessthan_maxdepth, "8f1e6e58-544b-4365-a569-fb781341644e", "2023-09-18", DEPTH),
    Test(amendment_mindepthmaxdepth_from_verbatim, "c5658b83-4471-4f57-9d94-bf7d0a96900c", "2024-08-30", (*DEPTH, "verbatimDepth")),
    Test(issue_datageneralizations_notempty, "13d5a10e-188e-40fd-a22c-dbaa87b91df2", "2023-09-18", ("dataGeneralizations",)),
)
