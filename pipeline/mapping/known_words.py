"""Words by which a first map knows a heading or a cell of a strange sheet.

All are common practice, no source: they only propose, and what rests on them alone is marked as a guess.
"""

from __future__ import annotations

import re

# Each phrase is words that a heading must have; one behind ~ is too general to be sure of.
HEADINGS: dict[str, str] = {
    "sites.latitude": "latitude, lat, ~ddlat",
    "sites.longitude": "longitude, long, lon, lng, ~ddlon, ~ddlong",
    "sites.datum": "datum",
    "sites.waterbody": "stream name, creek name, waterbody, water body, ~stream, ~creek, ~river, ~brook",
    "sites.county": "county, county name",
    "sites.elevation_m": "elevation, elev, altitude",
    "sites.stream_order": "stream order, ~order",
    "sites.canopy_pct": "canopy, canopy cover",
    "visits.visit_date": "date, survey date, visit date, sample date, ~day, ~night",
    "visits.start_time": "start time, time start, begin time, ~time, ~start, ~clock, ~began, ~begin",
    "visits.end_time": "end time, time end, stop time, finish time, ~end, ~ended, ~stop, ~finish",
    "visits.observers": "observer, observers, surveyor, surveyors, ~crew, ~recorder, ~initials, ~who, ~obs",
    "visits.search_minutes": "search minutes, search time, ~minutes, ~mins, ~duration, ~effort",
    "visits.observer_count": "observers n, number observers, people, ~persons",
    "visits.area_m2": "area searched, ~area",
    "visits.length_m": "length searched, reach length, segment length, transect length, ~segment, ~reach",
    "visits.cover_objects_turned": "cover objects, objects turned, rocks turned, cover turned, ~objects, ~turned",
    "visits.water_temp_c": "water temp, water temperature, stream temp, stream temperature, wtemp, ~water, ~h2o",
    "visits.substrate_temp_c": "substrate temp, soil temp, ground temp, soil temperature, substrate temperature, ~soil",
    "visits.air_temp_c": "air temp, air temperature, atemp, ~air, ~temp, ~temperature",
    "visits.rh_pct": "relative humidity, humidity, rh",
    "visits.wet_bulb_c": "wet bulb",
    "visits.soil_ph": "soil ph",
    "visits.ph": "ph, water ph",
    "visits.conductivity_us_cm": "conductivity, conductance, ~cond, ~spc, ~ec",
    "visits.dissolved_oxygen_mg_l": "dissolved oxygen, ~oxygen, ~do",
    "visits.flow": "flow, ~water level",
    "visits.sky": "sky, weather, ~cloud",
    "visits.rain_24h": "rain 24h, rain, ~precipitation",
    "visits.rain_mm": "rain mm, ~rainfall",
    "visits.wind_beaufort": "wind beaufort, beaufort, ~wind",
    "finds.taxon": "species, taxon, species code, taxon code, ~spp, ~sp, ~kind, ~salamander, ~animal",
    "finds.life_stage": "life stage, stage, age class, ~age, ~lifestage, ~ageclass",
    "finds.count": "count, number caught, total count, ~caught, ~number, ~n, ~num, ~abundance, ~individuals, ~found, ~how many",
    "finds.pass_no": "pass, pass number, pass no",
    "finds.sex": "sex",
    "finds.svl_mm": "svl, snout vent, snout vent length",
    "finds.total_length_mm": "total length, ~tl",
    "finds.mass_g": "mass, weight, ~wt",
    "finds.microhabitat": "microhabitat",
    "finds.cover_object": "cover object, cover type",
    "finds.cover_longest_mm": "cover size",
    "finds.substrate": "substrate",
    "finds.distance_to_water_m": "distance water, dist water",
    "finds.condition": "condition",
    "finds.recaptured": "recapture, recap, recaptured",
    "finds.animal_id": "animal id, mark, individual id, ~tag",
    "finds.photo": "photo, picture",
    "finds.colour_morph": "colour morph, color morph, morph",
    "finds.remarks": "remarks, comments, notes, comment, remark, note",
}
# Words that add nothing to what a heading says, units apart
NEUTRAL = frozenset((
    "s", "the", "of", "in", "at", "start", "survey", "field", "code", "name", "id", "no", "nr", "recorded", "spp", "mean", "l",
))  # fmt: skip
SITE_WORDS = (
    "site", "plot", "transect", "point", "station", "stn", "sta", "location", "reach", "stream", "creek", "brook", "name", "spring", "run",
)  # fmt: skip
# Headings of things that a survey counts and that are no salamanders, or of parts of a reach
OTHER_THINGS = frozenset((
    "pool", "run", "riffle", "width", "wet", "bank", "near", "orig", "fish", "crayfish", "code", "modified", "max", "min", "sd", "se",
    "present", "type", "water", "soil", "air", "body", "substrate", "litter", "stream", "creek",
))  # fmt: skip
STREAM_NAME = re.compile(r"\b(run|creek|branch|brook|river|fork|prong|stream|burn|beck|rill|tributary|ut\d*)\b\s*\S{0,4}$", re.I)
MISSING = ("NA", "N/A", "n/a", "na", "NULL", "null", "NaN", "nan", "-", "--", "–", "?", ".", "#N/A", "nd", "ND")
SENTINELS = ("-99", "-999", "-9999", "-99.0", "-999.0", "-9999.0", "999", "9999")
NO_FIND = ("none", "nothing", "no animals", "no salamanders", "not found", "nothing found", "no find", "no captures", "0", "zero", "empty")
CODE_WORDS: dict[str, dict[str, str]] = {
    "life_stage": {
        "l": "larva", "larva": "larva", "larvae": "larva", "larval": "larva", "lar": "larva", "a": "adult", "ad": "adult", "adult": "adult",
        "adults": "adult", "j": "juvenile", "juv": "juvenile", "juvenile": "juvenile", "juveniles": "juvenile", "m": "metamorph",
        "metamorph": "metamorph", "metamorphs": "metamorph", "meta": "metamorph", "met": "metamorph", "metamorphosing": "metamorph",
        "recently metamorphosed": "metamorph", "egg": "egg_mass", "eggs": "egg_mass", "egg mass": "egg_mass", "egg masses": "egg_mass",
        "clutch": "egg_mass", "hatchling": "hatchling", "hatchlings": "hatchling", "u": "undetermined", "unk": "undetermined",
        "unknown": "undetermined", "undetermined": "undetermined",
    },
    "sky": {
        "clear": "clear", "sunny": "clear", "mist": "fog", "fog": "fog", "foggy": "fog", "rain": "rain", "rainy": "rain",
        "drizzle": "drizzle", "overcast": "overcast", "cloudy": "overcast", "partly cloudy": "part_cloud", "part cloud": "part_cloud",
        "snow": "snow",
    },
    "sex": {"m": "male", "f": "female", "male": "male", "female": "female", "u": "undetermined", "unknown": "undetermined"},
    "flow": {"dry": "dry", "pools": "pools", "low": "low", "normal": "usual", "usual": "usual", "high": "high",
        "flood": "spate", "spate": "spate"},
    "rain_24h": {"none": "none", "no": "none", "light": "light", "moderate": "moderate", "heavy": "heavy"},
    "datum": {"wgs84": "WGS84", "wgs 84": "WGS84", "nad83": "NAD83", "nad 83": "NAD83", "nad27": "NAD27",
        "nad 27": "NAD27", "unknown": "unknown"},
    "cover_object": {"rock": "rock", "stone": "rock", "log": "log", "bark": "bark", "board": "board",
        "leaves": "leaves", "moss": "moss", "none": "none"},
}  # fmt: skip


def tokens(heading: str) -> tuple[str, ...]:
    """Words of a heading in lower case, cut at signs, digits and capitals: ``StartWaterTemp`` is start, water, temp."""
    return tuple(part.lower() for part in re.findall(r"pH\b|[A-Z]+(?=[A-Z][a-z])|[A-Z]?[a-z]+|[A-Z]+|\d+|°", heading))
