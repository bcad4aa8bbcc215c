"""The one declaration of every table that a person fills in."""

from __future__ import annotations

from functools import cache

from schemas.fields import Day, Field, Instant, Real, Text, Whole, YesNo, declare, fields_of
from schemas.kinds import as_clock, as_code, as_real, as_text, as_whole, as_yes_no
from schemas.pandera_alone import pa


class Taxa(pa.DataFrameModel):
    """The taxa of a book; they stand in its `rillbook.toml`."""

    code: Text = as_text("Taxon code", "Short code used in the sheets", key=True, required=True)
    scientific_name: Text = as_text("Scientific name", "Accepted name", required=True, darwin_core="scientificName")
    rank: Text = as_code("Rank", "Rank of the name; only species and subspecies get targets", "taxon_rank", darwin_core="taxonRank")
    group: Text = as_code("Group", "Way of life; chooses the group cap and whether both directions are unsafe", "taxon_group", required=True)
    sensitivity: Text = as_code("Public precision", "Finest grid step at which a place of this taxon may be shown", "public_precision")
    paedomorphic: YesNo = as_yes_no("Paedomorphic", "Adults with gills are normal in this taxon")
    overlap_svl_low_mm: Real = as_real("Overlap from", "SVL from which larvae, metamorphs and adults overlap", "mm", (5, 200))
    overlap_svl_high_mm: Real = as_real("Overlap to", "SVL up to which larvae, metamorphs and adults overlap", "mm", (5, 200))
    aliases: Text = declare("Aliases", "Other codes or spellings in the sheets, separated by |", kind="codes")


class Sites(pa.DataFrameModel):
    """Places that are searched."""

    site_id: Text = as_text("Site", "Code of the site", key=True, required=True, protected=True, darwin_core="locationID")
    site_name: Text = as_text("Site name", "Name of the site; never published", protected=True, darwin_core="locality")
    waterbody: Text = as_text("Waterbody", "Stream, seep or spring; sites with the same word are one site in the statistics", protected=True, darwin_core="waterBody")
    population: Text = as_text("Population", "Drainage and elevation band; animals of two populations are never pooled")
    study_area: Text = as_text("Study area", "Code of the study area in rillbook.toml")
    county: Text = as_text("County", "County", protected=True, darwin_core="county")
    state: Text = as_text("State", "State or province", darwin_core="stateProvince")
    habitat: Text = as_code("Habitat", "Kind of reach", "habitat", required=True, darwin_core="habitat")
    water_source: Text = as_code("Water source", "Where the water comes from", "water_source")
    latitude: Real = as_real("Latitude", "Decimal degrees, north positive", "degree", (-90, 90), protected=True, darwin_core="decimalLatitude")
    longitude: Real = as_real("Longitude", "Decimal degrees, east positive; the Americas are negative", "degree", (-180, 180), protected=True, darwin_core="decimalLongitude")
    verbatim_coordinates: Text = as_text("Coordinates as written", "Place as it stands in the notes", protected=True, darwin_core="verbatimCoordinates")
    datum: Text = as_code("Datum", "Datum of the coordinates", "datum", darwin_core="geodeticDatum")
    coordinate_uncertainty_m: Real = as_real("Uncertainty", "Radius that surely holds the site", "m", (1, 20037509), (1, 10000), protected=True, darwin_core="coordinateUncertaintyInMeters")
    elevation_m: Real = as_real("Elevation", "Height above sea level", "m", (-430, 8850), (-10, 3000), protected=True, darwin_core="minimumElevationInMeters")
    stream_order: Whole = as_whole("Stream order", "Strahler order", "", (0, 12))
    canopy_pct: Real = as_real("Canopy", "Share of sky covered by leaves", "%", (0, 100))
    public_precision_deg: Text = as_code("Public precision", "Finest grid step at which this site may be shown", "public_precision")
    remarks: Text = as_text("Remarks", "Anything else; never published", protected=True)


class Visits(pa.DataFrameModel):
    """One search of one site, with or without finds."""

    visit_id: Text = as_text("Visit", "Code of the visit", key=True, required=True, darwin_core="eventID", protected=True)
    site_id: Text = as_text("Site", "Site that was searched", required=True, refers_to="sites", protected=True, darwin_core="locationID")
    visit_date: Day = declare("Date", "Local civil date on which the visit began", kind="day", required=True, darwin_core="eventDate", protected=True)
    start_time: Text = as_clock("Start", "Local clock time at which the search began", protected=True, darwin_core="eventTime")
    end_time: Text = as_clock("End", "Local clock time at which the search ended; earlier than the start means the next day", protected=True)
    observers: Text = as_text("Observers", "Who searched", protected=True, darwin_core="recordedBy")
    protocol: Text = as_code("Protocol", "How the site was searched", "protocol", required=True, darwin_core="samplingProtocol")
    search_minutes: Real = as_real("Search time", "Net minutes of search, without walking and writing", "min", (0, 1440), (1, 480))
    observer_count: Whole = as_whole("Number of observers", "Number of people who searched", "", (1, 100), (1, 20))
    area_m2: Real = as_real("Area", "Area searched", "m2", (0, 1000000), (0.5, 10000))
    length_m: Real = as_real("Length", "Length of reach searched", "m", (0, 100000), (0.5, 1000))
    cover_objects_turned: Whole = as_whole("Cover turned", "Cover objects turned and put back; 50+ is kept as 50, the fewest, and flagged", "", (0, 100000), (0, 2000), at_least=True)
    unsearched_pct: Real = as_real("Left unsearched", "Share of the habitat left unsearched", "%", (0, 100))
    target_taxa: Text = declare("Target taxa", "Taxa that this visit looked for, separated by |; absence is stated for these only", kind="codes", refers_to="taxa")
    all_counted: YesNo = as_yes_no("All counted", "Every animal met was counted")
    thermometer: Text = as_text("Thermometer", "Which instrument")
    thermometer_accuracy_c: Real = as_real("Thermometer accuracy", "Accuracy of the thermometer, plus or minus", "°C", (0.01, 5), (0.05, 1))
    thermometer_checked_on: Day = declare("Checked on", "Date of the last check against a reference", kind="day")
    air_temp_c: Real = as_real("Air", "Air temperature in the shade; enters no target", "°C", (-30, 45), (-10, 36))
    air_height_m: Real = as_real("Air height", "Height of the air reading", "m", (0, 10), (0, 3))
    rh_pct: Real = as_real("Humidity", "Relative humidity of the air", "%", (0, 100), (15, 100))
    wet_bulb_c: Real = as_real("Wet bulb", "Wet-bulb temperature", "°C", (-30, 45), (-10, 30))
    psychrometer: Text = as_code("Psychrometer", "How the humidity was read", "psychrometer")
    water_temp_c: Real = as_real("Water", "Water temperature in the main flow", "°C", (-0.5, 30), (0, 25))
    substrate_temp_c: Real = as_real("Substrate", "Temperature of the substrate, read once for the visit; enters no target", "°C", (-0.5, 30), (0, 25))
    soil_ph: Real = as_real("Soil pH", "pH of the soil or the litter", "", (2, 12), (3, 8.5))
    water_depth_cm: Real = as_real("Water depth", "Depth of the water reading", "cm", (0, 1000), (0, 200))
    ph: Real = as_real("pH", "pH of the water", "", (2, 12), (4, 9.5))
    conductivity_us_cm: Real = as_real("Conductivity", "Electrical conductivity", "µS/cm", (0, 10000), (3, 2000))
    conductivity_at_25c: YesNo = as_yes_no("At 25 °C", "The meter already corrected the conductivity to 25 °C")
    dissolved_oxygen_mg_l: Real = as_real("Oxygen", "Dissolved oxygen", "mg/L", (0, 25), (2, 16))
    flow: Text = as_code("Flow", "State of the water", "flow")
    start_utc: Instant = declare("Start, UTC", "Start as an instant; filled in by rillbook from the book's time zone", kind="instant", derived=True, protected=True)
    sky: Text = as_code("Sky", "Sky during the search", "sky")
    rain_24h: Text = as_code("Rain", "Rain in the last 24 hours", "rain_24h")
    rain_mm: Real = as_real("Rain, measured", "Rain in the last 24 hours by a gauge", "mm", (0, 2000), (0, 150))
    wind_beaufort: Whole = as_whole("Wind", "Force on the Beaufort scale (WMO code table 1100), 0 calm to 12", "", (0, 12), (0, 7))
    days_since_rain: Real = as_real("Days since rain", "Days since the last rain", "d", (0, 400), (0, 60))
    disinfectant: Text = as_text("Disinfectant", "Product, strength and minutes used before this visit")
    permit: Text = as_text("Permit", "Permit under which the visit was made", protected=True)
    remarks: Text = as_text("Remarks", "Anything else; never published", protected=True)


class Finds(pa.DataFrameModel):
    """An animal or egg mass met in the field."""

    find_id: Text = as_text("Find", "Code of the find", key=True, required=True, protected=True, darwin_core="occurrenceID")
    visit_id: Text = as_text("Visit", "Visit during which it was met", required=True, refers_to="visits", protected=True, darwin_core="eventID")
    found_at: Text = as_clock("Found at", "Local clock time; earlier than the visit's start means the next day", protected=True)
    pass_no: Whole = as_whole("Pass", "Number of the pass", "", (1, 20))
    taxon: Text = as_text("Taxon", "Taxon code of the book", required=True, refers_to="taxa")
    verbatim_taxon: Text = as_text("Taxon as written", "Name as it stands in the notes", darwin_core="verbatimIdentification")
    identified_by: Text = as_text("Identified by", "Who named it", protected=True, darwin_core="identifiedBy")
    id_certainty: Text = as_code("Certainty", "How sure the name is", "id_certainty", darwin_core="identificationVerificationStatus")
    life_stage: Text = as_code("Life stage", "Stage of the animal", "life_stage", required=True, darwin_core="lifeStage")
    gills: Text = as_code("Gills", "State of the gills", "gills")
    count: Whole = as_whole("Count", "Animals or egg masses in this row; 3+ is kept as 3, the fewest, and flagged", "", (1, 10000), (1, 100), required=True, at_least=True, darwin_core="individualCount")
    sex: Text = as_code("Sex", "Sex", "sex", darwin_core="sex")
    svl_mm: Real = as_real("SVL", "Snout to the posterior edge of the vent", "mm", (3, 300), (8, 130))
    total_length_mm: Real = as_real("Total length", "Snout to tip of tail", "mm", (4, 500), (10, 250))
    tail_whole: YesNo = as_yes_no("Tail whole", "The tail is whole")
    mass_g: Real = as_real("Mass", "Body mass", "g", (0.005, 300), (0.01, 60))
    microhabitat: Text = as_code("Microhabitat", "Where it was; decides the medium", "microhabitat", required=True)
    cover_object: Text = as_code("Cover", "What covered it", "cover_object")
    cover_longest_mm: Real = as_real("Cover size", "Longest axis of the cover object", "mm", (1, 20000), (20, 3000))
    substrate: Text = as_code("Substrate", "What it lay on", "substrate")
    substrate_wetness: Text = as_code("Wetness", "Hand test of the substrate", "substrate_wetness")
    sun: Text = as_code("Sun", "Light on the spot", "sun")
    reading_place: Text = as_code("Reading place", "Where the readings of this find were taken", "reading_place")
    depth_cm: Real = as_real("Depth", "Depth in water or soil", "cm", (0, 1000), (0, 150))
    distance_to_water_m: Real = as_real("To water", "Distance to the water's edge", "m", (0, 10000), (0, 500))
    water_temp_c: Real = as_real("Water", "Water temperature at the animal", "°C", (-0.5, 30), (0, 25))
    substrate_temp_c: Real = as_real("Substrate", "Temperature of the substrate at the animal", "°C", (-0.5, 30), (0, 25))
    air_temp_c: Real = as_real("Air", "Air temperature at the animal", "°C", (-30, 45), (-10, 30))
    rh_pct: Real = as_real("Humidity", "Relative humidity at the animal", "%", (0, 100), (30, 100))
    wet_bulb_c: Real = as_real("Wet bulb", "Wet-bulb temperature at the animal", "°C", (-30, 45), (-10, 30))
    latitude: Real = as_real("Latitude", "Latitude of the find where it was taken; else the site's", "degree", (-90, 90), protected=True, darwin_core="decimalLatitude")
    longitude: Real = as_real("Longitude", "Longitude of the find where it was taken; else the site's", "degree", (-180, 180), protected=True, darwin_core="decimalLongitude")
    condition: Text = as_code("Condition", "How the animal looked; a sick or dead animal feeds no target", "condition", darwin_core="vitality")
    disposition: Text = as_code("Disposition", "What became of it", "disposition")
    recaptured: YesNo = as_yes_no("Recaptured", "It carried a mark when it was met")
    board: Text = as_text("Board or plot", "Number of the cover board or the plot", protected=True)
    colour_morph: Text = as_text("Colour morph", "Colour form, in the words of the study")
    animal_id: Text = as_text("Animal", "Mark of a known animal; it counts once a day", darwin_core="organismID", protected=True)
    photo: Text = as_text("Photo", "Name of the photo file; never published with its position", protected=True)
    found_utc: Instant = declare("Found, UTC", "Time of the find as an instant; filled in by rillbook from the book's time zone", kind="instant", derived=True, protected=True)
    medium_assumed: YesNo = as_yes_no("Medium assumed", "The microhabitat was set by a column map, not noted in the field", derived=True)
    remarks: Text = as_text("Remarks", "Anything else; never published", protected=True)


class Availability(pa.DataFrameModel):
    """Readings taken where animals were not, paired with a visit."""

    point_id: Text = as_text("Point", "Code of the point", key=True, required=True, protected=True)
    visit_id: Text = as_text("Visit", "Visit during which it was read", required=True, refers_to="visits", protected=True)
    microhabitat: Text = as_code("Microhabitat", "Kind of place that was read", "microhabitat", required=True)
    substrate: Text = as_code("Substrate", "What was there", "substrate")
    water_temp_c: Real = as_real("Water", "Water temperature", "°C", (-0.5, 30), (0, 25))
    substrate_temp_c: Real = as_real("Substrate", "Temperature of the substrate", "°C", (-0.5, 30), (0, 25))
    air_temp_c: Real = as_real("Air", "Air temperature", "°C", (-30, 45), (-10, 30))
    rh_pct: Real = as_real("Humidity", "Relative humidity", "%", (0, 100), (30, 100))


class Enclosures(pa.DataFrameModel):
    """Tanks and boxes in which animals are kept."""

    enclosure_id: Text = as_text("Enclosure", "Code of the enclosure", key=True, required=True)
    taxon: Text = as_text("Taxon", "Taxon code of the book", required=True, refers_to="taxa")
    population: Text = as_text("Population", "Where the animals' line comes from, as the sites name it; empty where nobody knows: then the coolest population's lines hold")
    life_stage: Text = as_code("Life stage", "Stage of the animals when they came in; a stage that they reach later stands among the husbandry events", "life_stage", required=True)
    medium: Text = as_code("Medium", "Where the animals stay", "medium")
    since: Day = declare("Since", "First local day with animals in it", kind="day")
    until: Day = declare("Until", "Last local day with animals in it; empty while they are there", kind="day")
    volume_l: Real = as_real("Volume", "Volume of the enclosure", "L", (0.01, 1000000), (0.5, 5000))
    remarks: Text = as_text("Remarks", "Anything else; never published", protected=True)


class Loggers(pa.DataFrameModel):
    """Instruments that write readings by themselves, and where each hangs: at a site or in an enclosure."""

    logger_id: Text = as_text("Logger", "Code of the logger at this place; one that is moved gets a new code", key=True, required=True, protected=True)
    site_id: Text = as_text("Site", "Site at which it hangs; it or the enclosure is needed", refers_to="sites", protected=True, darwin_core="locationID")
    enclosure_id: Text = as_text("Enclosure", "Enclosure in which it hangs; it or the site is needed", refers_to="enclosures")
    medium: Text = as_code("Medium", "What its sensor reads", "logger_medium", required=True)
    position: Text = as_text("Position", "Where exactly: which pool, which end, under which cover", protected=True)
    height_or_depth_cm: Real = as_real("Height or depth", "Height over the ground, or depth in water or soil", "cm", (0, 10000), (0, 300))
    accuracy_c: Real = as_real("Accuracy", "Accuracy of the sensor, plus or minus", "°C", (0.01, 5), (0.05, 1))
    remarks: Text = as_text("Remarks", "Anything else; never published", protected=True)


class WaterTests(pa.DataFrameModel):
    """Tests of water: at a stream, several a visit, or in an enclosure."""

    test_id: Text = as_text("Test", "Code of the test", key=True, required=True, protected=True)
    visit_id: Text = as_text("Visit", "Visit at whose stream it was made; it or the enclosure is needed", refers_to="visits", protected=True, darwin_core="eventID")
    enclosure_id: Text = as_text("Enclosure", "Enclosure whose water it was; it or the visit is needed", refers_to="enclosures")
    tested_on: Day = declare("Date", "Local day of the test; needed for an enclosure, else it is the visit's", kind="day", protected=True)
    tested_at: Text = as_clock("Time", "Local clock time of the test", protected=True)
    instrument: Text = as_text("Instrument", "Which meter, kit or strips")
    water_temp_c: Real = as_real("Water", "Water temperature at the test", "°C", (-0.5, 30), (0, 25))
    ph: Real = as_real("pH", "pH of the water", "", (2, 12), (4, 9.5))
    total_ammonia_mg_l_n: Real = as_real("Total ammonia", "Ammonia and ammonium together, as nitrogen", "mg/L NH3-N", (0, 100), (0, 2))
    nitrite_mg_l_n: Real = as_real("Nitrite", "Nitrite, as nitrogen", "mg/L NO2-N", (0, 100), (0, 1))
    nitrate_mg_l_n: Real = as_real("Nitrate", "Nitrate, as nitrogen", "mg/L NO3-N", (0, 1000), (0, 25))
    hardness_mg_l_caco3: Real = as_real("Hardness", "Total hardness, as calcium carbonate", "mg/L CaCO3", (0, 5000), (0, 400))
    conductivity_us_cm: Real = as_real("Conductivity", "Electrical conductivity", "µS/cm", (0, 10000), (3, 2000))
    conductivity_at_25c: YesNo = as_yes_no("At 25 °C", "The meter already corrected the conductivity to 25 °C")
    chlorine_mg_l: Real = as_real("Chlorine", "Total chlorine, chloramine with it", "mg/L", (0, 50), (0, 0.05))
    dissolved_oxygen_mg_l: Real = as_real("Oxygen", "Dissolved oxygen", "mg/L", (0, 25), (2, 16))
    tested_utc: Instant = declare("Tested, UTC", "Time of the test as an instant; filled in by rillbook from the book's time zone", kind="instant", derived=True, protected=True)
    remarks: Text = as_text("Remarks", "Anything else; never published", protected=True)


class HusbandryEvents(pa.DataFrameModel):
    """The log of the keeper: what was done in an enclosure, and what happened in it."""

    event_id: Text = as_text("Event", "Code of the event", key=True, required=True, protected=True)
    enclosure_id: Text = as_text("Enclosure", "Enclosure in which it happened", required=True, refers_to="enclosures")
    event_date: Day = declare("Date", "Local day", kind="day", required=True)
    event_time: Text = as_clock("Time", "Local clock time")
    event: Text = as_code("What", "What happened or was done", "husbandry_event", required=True)
    animal_id: Text = as_text("Animal", "Which animal; empty for all in the enclosure", protected=True)
    life_stage: Text = as_code("Stage", "Stage that the animals of the enclosure have from then on", "life_stage")
    to_enclosure_id: Text = as_text("To", "Enclosure to which it was moved", refers_to="enclosures")
    what: Text = as_text("With what", "Food, product, part or animal, in the keeper's words", protected=True)
    amount: Text = as_text("How much", "Amount with its unit, in the keeper's words", protected=True)
    mass_g: Real = as_real("Mass", "Body mass", "g", (0.005, 300), (0.01, 60))
    svl_mm: Real = as_real("SVL", "Snout to the posterior edge of the vent", "mm", (3, 300), (8, 130))
    total_length_mm: Real = as_real("Total length", "Snout to tip of tail", "mm", (4, 500), (10, 250))
    water_changed_pct: Real = as_real("Water changed", "Share of the water that was changed", "%", (0, 100), (1, 50))
    water_from: Text = as_text("Water from", "Source and treatment of the new water", protected=True)
    done_by: Text = as_text("By", "Who did or saw it; of a treatment who prescribed it", protected=True)
    event_utc: Instant = declare("Event, UTC", "Time of the event as an instant; filled in by rillbook from the book's time zone", kind="instant", derived=True)
    remarks: Text = as_text("Remarks", "Anything else; never published", protected=True)


class LoggerReadings(pa.DataFrameModel):
    """What loggers wrote; it comes from their own files, never from a sheet."""

    logger_id: Text = as_text("Logger", "Logger that read it", key=True, required=True, refers_to="loggers", protected=True)
    read_at: Instant = declare("Read at, UTC", "Instant of the reading, in UTC", kind="instant", key=True, required=True)
    temp_c: Real = as_real("Temperature", "Temperature at the sensor", "°C", (-40, 85))
    rh_pct: Real = as_real("Humidity", "Relative humidity at the sensor", "%", (0, 100))


MODELS: dict[str, type[pa.DataFrameModel]] = {
    "taxa": Taxa,
    "sites": Sites,
    "visits": Visits,
    "finds": Finds,
    "availability": Availability,
    "enclosures": Enclosures,
    "loggers": Loggers,
    "water_tests": WaterTests,
    "husbandry_events": HusbandryEvents,
    "logger_readings": LoggerReadings,
}

LOADED = ("sites", "visits", "finds", "availability", "enclosures", "loggers", "water_tests", "husbandry_events")
"""Tables that sheets bring, parents first; logger_readings come from logger files by a path of their own."""


@cache
def fields(table: str) -> dict[str, Field]:
    """Declared fields of a table, in order, by name."""
    return {field.name: field for field in fields_of(MODELS[table], table)}


@cache
def key_of(table: str) -> str:
    """Name of the field that names a row of the table; the first of several."""
    return keys_of(table)[0]


@cache
def keys_of(table: str) -> tuple[str, ...]:
    """Names of the fields that together name a row of the table."""
    return tuple(field.name for field in fields(table).values() if field.key)


def purpose(table: str) -> str:
    """What a table holds, in a sentence."""
    return (MODELS[table].__doc__ or "").strip()
