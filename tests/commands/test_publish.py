"""What is published holds against the standards' own schemas and libraries, says what it withholds, and gives no site away."""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import math
import re
import shutil
import sqlite3
import struct
import xml.etree.ElementTree as ET
import zipfile
from itertools import pairwise
from pathlib import Path

import frictionless
import geopandas
import openpyxl
import pandas as pd
import pytest
from conftest import absent
from dwca.read import DwCAReader
from examples import FULL
from lxml import etree
from metapype.eml import validate
from metapype.model import metapype_io
from real_data_tables import SHEETS
from shapely.geometry import shape

from pipeline.book.connection import open_book
from pipeline.commands import run
from pipeline.commands.publish import ARCHIVE, publish
from pipeline.commands.reports import gaps
from pipeline.errors import RillbookError
from pipeline.publishing.memory import MEMORY, read_memory
from pipeline.settings import FILE_NAME

DAY = dt.date(2026, 11, 25)
DWC, ECO, OBIS = "http://rs.tdwg.org/dwc/terms/", "http://rs.tdwg.org/eco/terms/", "http://rs.iobis.org/obis/terms/"
# Sites of the invented study that may be shown: all but N11, which is withheld, and N10 and S01, whose coordinates are held back.
SHOWN = "site_id NOT IN ('N10', 'N11', 'S01')"
NOT_EGG = "life_stage <> 'egg_mass' AND microhabitat NOT IN ('nest_water', 'nest_edge')"
FORMULA = ("=", "+", "-", "@", "\t", "\r")


@pytest.fixture(scope="module")
def demo(demo_run: tuple[Path, run.Demo], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The invented study's book, published."""
    folder = Path(shutil.copytree(demo_run[0], tmp_path_factory.mktemp("published") / "book"))
    publish(folder, today=DAY)
    return folder


@pytest.fixture
def copied(demo: Path, tmp_path: Path) -> Path:
    """A copy of that book, to be changed."""
    return Path(shutil.copytree(demo, tmp_path / "book"))


def out(folder: Path) -> Path:
    return folder / "out" / "publish"


def ask(folder: Path, query: str) -> list[tuple]:
    with open_book(folder) as connection:
        return connection.execute(query).fetchall()


def archive(folder: Path) -> dict[str, str]:
    with zipfile.ZipFile(out(folder) / ARCHIVE) as whole:
        return {name: whole.read(name).decode("utf-8") for name in whole.namelist()}


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def table(folder: Path, name: str) -> list[dict[str, str]]:
    return rows_of((out(folder) / "data_package" / f"{name}.csv").read_text(encoding="utf-8"))


def change_settings(folder: Path, *changes: tuple[str, str]) -> None:
    path = folder / FILE_NAME
    text = path.read_text(encoding="utf-8")
    for before, after in changes:
        assert before in text
        text = text.replace(before, after)
    path.write_text(text, encoding="utf-8")


# Darwin Core Archive


def test_the_archive_is_read_whole_and_its_counts_are_those_of_the_book(demo):
    """Counted in the book by SQL, and in the archive by python-dwca-reader."""
    (visits,) = ask(demo, f"SELECT count(*) FROM visits WHERE {SHOWN}")[0]
    (finds,) = ask(demo, f"SELECT count(*) FROM finds JOIN visits USING (visit_id) WHERE {SHOWN} AND {NOT_EGG}")[0]
    with DwCAReader(out(demo) / ARCHIVE) as reader:
        assert reader.descriptor.core.type == DWC + "Event" and reader.metadata is not None
        extensions = [one.rowtype for row in reader for one in row.extensions]
        statuses = [one.data[DWC + "occurrenceStatus"] for row in reader for one in row.extensions if one.rowtype == DWC + "Occurrence"]
        assert len(reader.rows) == visits
    assert extensions.count(ECO + "Event") == visits
    assert statuses.count("present") == finds
    assert statuses.count("absent") == len(absences(demo)) > 0
    assert len(statuses) == finds + len(absences(demo))
    assert extensions.count(OBIS + "ExtendedMeasurementOrFact") == measurements(demo)


def absences(folder: Path) -> list[tuple]:
    """Visit and taxon, by SQL: looked for by a visit that counted everything, not found there, nothing hidden or unsure that may be it."""
    return ask(
        folder,
        f"""WITH wanted AS (SELECT visit_id, site_id, unnest(string_split(target_taxa, '|')) AS taxon FROM visits
              WHERE {SHOWN} AND all_counted AND NOT incomplete)
            SELECT visit_id, taxon FROM wanted w
              WHERE NOT EXISTS (SELECT 1 FROM finds f WHERE f.visit_id = w.visit_id AND f.taxon = w.taxon)
              AND NOT EXISTS (SELECT 1 FROM finds f WHERE f.visit_id = w.visit_id AND (NOT ({NOT_EGG})
                OR f.id_certainty IN ('genus_only', 'unsure')))
              AND NOT EXISTS (SELECT 1 FROM held h JOIN read_csv('{folder}/sheets/finds.csv', all_varchar = true) s ON s.find_id = h.row_key
                WHERE h.table_name = 'finds' AND h.whole_row AND h.parent_key = w.visit_id
                  AND (s.taxon = w.taxon OR s.taxon IS NULL OR s.taxon NOT IN ('DMON', 'EWIL', 'GPOR')))""",
    )


def _words(text: str) -> list[str]:
    return text.split()


# Typed by hand: what a visit, a find and a point have for which Darwin Core has no term, and the stage and condition in our own words.
OF_VISITS = _words(
    "search_minutes observer_count area_m2 length_m cover_objects_turned unsearched_pct thermometer_accuracy_c air_temp_c air_height_m "
    "rh_pct wet_bulb_c psychrometer water_temp_c water_depth_cm ph conductivity_us_cm conductivity_at_25c dissolved_oxygen_mg_l flow"
)
OF_FINDS = _words(
    "pass_no life_stage gills svl_mm total_length_mm tail_whole mass_g microhabitat cover_object cover_longest_mm substrate "
    "substrate_wetness sun reading_place depth_cm distance_to_water_m water_temp_c substrate_temp_c air_temp_c rh_pct wet_bulb_c condition "
    "disposition medium_assumed"
)
OF_POINTS = _words("microhabitat substrate water_temp_c substrate_temp_c air_temp_c rh_pct")


def measurements(folder: Path) -> int:
    total = 0
    for name, columns, rule in (("visits", OF_VISITS, "true"), ("finds", OF_FINDS, NOT_EGG), ("availability", OF_POINTS, "true")):
        source = "visits" if name == "visits" else f"{name} JOIN visits USING (visit_id)"
        counted = " + ".join(f"count({name}.{column})" for column in columns)
        total += ask(folder, f"SELECT {counted} FROM {source} WHERE {SHOWN} AND {rule.replace('microhabitat', f'{name}.microhabitat')}")[0][
            0
        ]
    return total


def test_the_archive_holds_against_the_schema_of_the_text_guide(demo, open_data):
    """The schema tdwg_dwc_text.xsd of the Darwin Core text guide; the two schemas that it fetches from the network are stood in for."""
    path = open_data.parent / "reference" / "xsd" / "tdwg_dwc_text.xsd"
    if not path.is_file():
        absent(f"{path.name} is not beside the open data.")
    stand_ins = {
        "http://rs.gbif.org/schema/xml.xsd": '<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" '
        'targetNamespace="http://www.w3.org/XML/1998/namespace"><xs:attribute name="lang" type="xs:language"/></xs:schema>',
        "tdwg_dwcterms.xsd": f'<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="{DWC}"/>',
    }

    class NoNetwork(etree.Resolver):
        def resolve(self, url, public_id, context):
            found = [text for name, text in stand_ins.items() if url.endswith(name)]
            return self.resolve_string(found[0], context) if found else None

    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(NoNetwork())
    schema = etree.XMLSchema(etree.parse(str(path), parser))
    text = archive(demo)["meta.xml"]
    schema.assertValid(etree.fromstring(text.encode()))
    assert not schema.validate(etree.fromstring(text.replace("<id index", "<nobody index").encode())), "the schema must be able to say no"


# Terms that the standards have, typed by hand from ../shared/reference/standards.md §1.2 to §1.8.
TERMS = {
    "event.csv": "eventID eventDate eventType habitat samplingProtocol sampleSizeValue sampleSizeUnit year month "
    "decimalLatitude decimalLongitude geodeticDatum coordinateUncertaintyInMeters coordinatePrecision footprintWKT footprintSRS "
    "georeferenceProtocol dataGeneralizations informationWithheld datasetID datasetName license rightsHolder"
    " bibliographicCitation language",
    "occurrence.csv": "eventID occurrenceID individualCount sex lifeStage vitality occurrenceStatus basisOfRecord "
    "scientificName taxonRank kingdom identificationVerificationStatus",
    "measurement.csv": "eventID occurrenceID measurementType verbatimMeasurementType measurementTypeID measurementValue "
    "measurementAccuracy measurementUnit measurementUnitID measurementMethod measurementRemarks",
    "humboldt.csv": "eventID isSamplingEffortReported samplingEffortProtocol samplingEffortValue samplingEffortUnit eventDurationValue "
    "eventDurationUnit totalAreaSampledValue totalAreaSampledUnit protocolNames targetTaxonomicScope taxonCompletenessReported "
    "isTaxonomicScopeFullyReported isAbsenceReported absentTaxa isAbundanceReported",
}


def test_every_column_is_a_term_and_meta_xml_says_which(demo):
    whole = archive(demo)
    meta = ET.fromstring(whole["meta.xml"])
    space = "{http://rs.tdwg.org/dwc/text/}"
    for part in meta:
        name = part.find(f"{space}files/{space}location").text
        header = next(csv.reader(io.StringIO(whole[name])))
        assert set(header) == set(TERMS[name].split())
        for field in part.findall(f"{space}field"):
            column = header[int(field.get("index"))]
            assert field.get("term").endswith("/" + column)
            if column in ("license", "language", "rightsHolder", "bibliographicCitation"):
                assert field.get("term") == "http://purl.org/dc/terms/" + column
            elif name == "humboldt.csv":
                assert field.get("term") == ECO + column
            elif column in ("measurementTypeID", "measurementUnitID"):
                assert field.get("term") == OBIS + column
            else:
                assert field.get("term") == DWC + column


def test_words_of_the_standard_stand_beside_our_own(demo):
    """GBIF vocabulary life_stage (standards.md §1.4): embryo, larva, juvenile, adult; occurrenceStatus as before 2026-05-26 (§1.1)."""
    whole = archive(demo)
    stage = {row["occurrenceID"]: row["lifeStage"] for row in rows_of(whole["occurrence.csv"])}
    pairs = {
        (row["measurementValue"], stage[row["occurrenceID"]])
        for row in rows_of(whole["measurement.csv"])
        if row["verbatimMeasurementType"] == "life_stage"
    }
    assert pairs == {
        ("hatchling", "juvenile"), ("larva", "larva"), ("metamorph", "juvenile"), ("juvenile", "juvenile"), ("adult", "adult"),
        ("undetermined", ""),
    }  # fmt: skip
    assert {row["occurrenceStatus"] for row in rows_of(whole["occurrence.csv"])} == {"present", "absent"}
    assert {row["individualCount"] for row in rows_of(whole["occurrence.csv"]) if row["occurrenceStatus"] == "absent"} == {"0"}
    assert "2026-05-26" in whole["eml.xml"]


def test_scope_and_absence_agree_within_an_event(demo):
    """Humboldt Extension (standards.md §1.8): with scope and a full report, a taxon of the scope that is not reported counts as zero."""
    whole = archive(demo)
    reported: dict[tuple[str, str], set[str]] = {}
    for row in rows_of(whole["occurrence.csv"]):
        reported.setdefault((row["eventID"], row["occurrenceStatus"]), set()).add(row["scientificName"])
    for row in rows_of(whole["humboldt.csv"]):
        event = row["eventID"]
        scope, absent_taxa = set(row["targetTaxonomicScope"].split(" | ")), set(filter(None, row["absentTaxa"].split(" | ")))
        assert reported.get((event, "absent"), set()) == absent_taxa
        assert (row["isAbsenceReported"] == "true") == bool(absent_taxa)
        assert (row["isAbundanceReported"] == "true") == bool(reported.get((event, "present")))
        if row["isTaxonomicScopeFullyReported"] == "true":
            assert scope - reported.get((event, "present"), set()) == absent_taxa
        else:
            assert not absent_taxa and row["taxonCompletenessReported"] in ("notReported", "reportedIncomplete")


def test_effort_is_net_minutes_times_observers(demo):
    """One visit worked out by hand: 58 minutes by 2 people are told as 60 minutes, and so as 120/60 person-hours."""
    visits = {row["event_id"]: row for row in table(demo, "visits")}
    found = [
        row for row in rows_of(archive(demo)["humboldt.csv"])
        if visits[row["eventID"]]["search_minutes"] == "60" and visits[row["eventID"]]["observer_count"] == "2"
    ]  # fmt: skip
    assert found and {row["samplingEffortValue"] for row in found} == {"2"}
    assert {(row["samplingEffortUnit"], row["eventDurationUnit"]) for row in found} == {("personHours", "minutes")}


def test_eml_is_sound_and_says_all_that_must_be_said(demo):
    text = archive(demo)["eml.xml"]
    faults: list = []
    validate.tree(metapype_io.from_xml(text), faults)
    assert not faults
    root = ET.fromstring(text)
    assert root.tag == "{https://eml.ecoinformatics.org/eml-2.2.0}eml" and root.get("packageId") and root.get("system")
    # The order that the schema asks for: standards.md §1.9.
    order = [child.tag for child in root.find("dataset")]
    wanted = ["title", "creator", "pubDate", "abstract", "intellectualRights", "licensed", "coverage", "contact", "methods"]
    assert [tag for tag in order if tag in wanted] == wanted
    said = " ".join(root.itertext())
    for words in (
        "Invented study",
        "Cite as:",
        "CC0-1.0",
        "grid of 1 degree",
        "Withheld to protect",
        "http://creativecommons.org/publicdomain/zero",
    ):
        assert words in said
    assert root.findtext("dataset/title").startswith("Invented study")
    assert root.findtext(".//beginDate/calendarDate") == "2022", "a period finer than a year would give a day away"


def test_the_generalising_is_stated_with_every_event(demo):
    for row in rows_of(archive(demo)["event.csv"]):
        assert f"grid of {row['coordinatePrecision']} degree" in row["dataGeneralizations"]
        assert "month" in row["dataGeneralizations"] and "Withheld" in row["informationWithheld"]
        assert re.fullmatch(r"\d{4}-\d{2}", row["eventDate"]) and row["geodeticDatum"] == "EPSG:4326"
        assert row["license"] == "http://creativecommons.org/publicdomain/zero/1.0/legalcode"


# Data Package


def test_the_data_package_is_valid(demo):
    """frictionless, the standard's own library: types, spans, codes, keys between the tables."""
    report = frictionless.validate(str(out(demo) / "data_package" / "datapackage.json"))
    assert report.valid, report.flatten(["fieldName", "rowNumber", "message"])[:5]
    assert {task.name for task in report.tasks} == {"taxa", "visits", "finds", "absences", "availability", "squares"}


def test_the_data_package_says_no_when_a_link_breaks(demo, tmp_path):
    folder = Path(shutil.copytree(out(demo) / "data_package", tmp_path / "package"))
    path = folder / "finds.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("EWIL", "XXXX", 1), encoding="utf-8")
    assert not frictionless.validate(str(folder / "datapackage.json")).valid


def test_the_package_says_what_it_is(demo):
    described = json.loads((out(demo) / "data_package" / "datapackage.json").read_text(encoding="utf-8"))
    read_me = (out(demo) / "data_package" / "README.md").read_text(encoding="utf-8")
    assert described["title"].startswith("Invented study") and described["licenses"][0]["name"] == "CC0-1.0"
    for text in (described["description"], read_me):
        assert "Invented study. No animal, place or person in it is real." in text and "Cite as:" in text and "Withheld to protect" in text
    units = {field["name"]: field.get("unit") for one in described["resources"] for field in one["schema"]["fields"]}
    assert units["water_temp_c"] == "°C" and units["coordinate_uncertainty_m"] == "m"


def test_the_readings_are_those_of_the_book(demo):
    """A value at a time, without the codes: the same multiset of temperatures, counts and microhabitats as the book has."""
    query = (
        f"SELECT f.taxon, f.life_stage, f.microhabitat, f.count, f.water_temp_c FROM finds f JOIN visits v USING (visit_id) WHERE {SHOWN}"
    )
    rule = NOT_EGG.replace("life_stage", "f.life_stage").replace("microhabitat", "f.microhabitat")
    # told to half a degree, halves upwards
    kept = sorted(
        (*row[:4], "" if row[4] is None else f"{math.floor(2 * row[4] + 0.5 + 1e-9) / 2:g}") for row in ask(demo, f"{query} AND {rule}")
    )
    shown = [
        (row["taxon"], row["life_stage"], row["microhabitat"], int(row["count"]), row["water_temp_c"] and f"{float(row['water_temp_c']):g}")
        for row in table(demo, "finds")
    ]
    assert sorted(shown) == kept


# GeoPackage and GeoJSON


def test_the_geopackage_opens_and_is_one(demo):
    path = out(demo) / "squares.gpkg"
    squares, visits = geopandas.read_file(path, layer="squares"), geopandas.read_file(path, layer="visits")
    assert len(squares) == len(table(demo, "squares")) and len(visits) == len(table(demo, "visits"))
    assert squares.crs.to_epsg() == visits.crs.to_epsg() == 4326
    for frame in (squares, visits):
        assert frame.geometry.is_valid.all()
    with sqlite3.connect(path) as connection:
        # OGC GeoPackage: "GPKG" in ASCII, standards.md §5.3
        assert connection.execute("PRAGMA application_id").fetchone() == (0x47504B47,)
        assert {row[0] for row in connection.execute("SELECT srs_id FROM gpkg_spatial_ref_sys")} >= {4326, -1, 0}
        described = connection.execute("SELECT data_type, description FROM gpkg_contents").fetchall()
    assert all(kind == "features" and "Invented study" in text and "Withheld" in text for kind, text in described)


def test_the_geojson_keeps_to_rfc_7946(demo):
    document = json.loads((out(demo) / "squares.geojson").read_text(encoding="utf-8"))
    assert document["type"] == "FeatureCollection" and "crs" not in document  # §4
    assert "Invented study" in document["description"] and len(document["features"]) == len(table(demo, "squares"))
    for feature in document["features"]:
        (ring,) = feature["geometry"]["coordinates"]
        assert ring[0] == ring[-1] and len(ring) == 5  # §3.1.6
        turns = sum((b[0] - a[0]) * (b[1] + a[1]) for a, b in pairwise(ring))
        assert turns < 0, "outer rings are counter-clockwise (§3.1.6, right-hand rule)"
        assert all(-180 <= x <= 180 and -90 <= y <= 90 for x, y in ring)  # WGS 84, longitude first (§3.1.1, §4)
        own = feature["properties"]
        assert shape(feature["geometry"]).bounds == (own["west"], own["south"], own["east"], own["north"])


# Nothing finer than a site's class


def dump(path: Path) -> str:
    """All text of a published file, also of the tables of a GeoPackage."""
    if path.suffix == ".zip":
        with zipfile.ZipFile(path) as whole:
            assert not whole.comment
            return "\n".join(
                [path.name, *(f"{one.filename} {one.date_time} {whole.read(one).decode('utf-8')}" for one in whole.infolist())]
            )
    if path.suffix == ".gpkg":
        with sqlite3.connect(path) as connection:
            names = [
                name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'rtree%'")
            ]
            cells = [str(row) for name in names for row in connection.execute(f'SELECT * FROM "{name}"')]
        return "\n".join([*cells, path.read_bytes().decode("latin-1")])
    return path.read_text(encoding="utf-8")


def published_texts(folder: Path) -> dict[str, str]:
    files = [path for path in sorted(out(folder).rglob("*")) if path.is_file()]
    assert len(files) >= 11
    return {str(path.relative_to(folder)): dump(path) for path in files}


def secret_words(folder: Path) -> set[str]:
    """Everything in the book that names a place, a person, a time or a row."""
    queries = [
        f"SELECT DISTINCT CAST({column} AS VARCHAR) FROM {name} WHERE {column} IS NOT NULL"
        for name, columns in {
            "sites": "site_id site_name waterbody population study_area county state remarks verbatim_coordinates elevation_m",
            "visits": "visit_id observers start_time end_time remarks thermometer permit disinfectant thermometer_checked_on "
            "strftime(visit_date,'%Y-%m-%d')",
            "finds": "find_id found_at identified_by photo animal_id remarks",
            "availability": "point_id",
        }.items()
        for column in columns.split()
    ]
    return {word for query in queries for (word,) in ask(folder, query)} - {""}


def test_no_name_code_time_or_day_of_the_book_is_published(demo):
    words = secret_words(demo)
    assert len(words) > 3000 and {"N01", "rill N01", "12:24", "2022-01-05", "N-high", "V0001-01", "observer 1; observer 2"} <= words
    # heights such as 985 m are numbers among numbers; no column holds them, which the next tests see to
    words = {word for word in words if not re.fullmatch(r"[\d.]+", word)}
    for name, text in published_texts(demo).items():
        tokens = set(re.findall(r"[\w:.-]+", text))
        assert not tokens & words, name
        long = [word for word in words if not re.fullmatch(r"[\w:.-]+", word)]
        assert not [word for word in long if word in text], name
        # no clock time and no day at all, but the day of publication, those of the standards' issues and empty hours of file formats
        assert set(re.findall(r"(?<![\w:.])\d{1,2}:\d{2}(?![\w:])", text)) == set(), name
        days = set(re.findall(r"(?<![\w-])\d{4}-\d{2}-\d{2}(?![\d-])", text))
        assert days <= {"2026-11-25", "2026-05-26", "2025-07-10"}, name


def true_points(folder: Path) -> list[tuple[float, float]]:
    return ask(
        folder,
        "SELECT latitude, longitude FROM sites WHERE latitude IS NOT NULL "
        "UNION ALL SELECT latitude, longitude FROM finds WHERE latitude IS NOT NULL",
    )


def test_no_true_coordinate_is_published_in_any_writing(demo):
    """At two to five decimals, with a point or a comma, and as the eight bytes of a double."""
    axes = {value for point in true_points(demo) for value in point}
    assert len(axes) > 100
    written = {f"{abs(value):.{digits}f}" for value in axes for digits in (3, 4, 5)}
    for name, text in published_texts(demo).items():
        numbers = set(re.findall(r"\d+\.\d+", text.replace(",", ".")))
        assert not numbers & written, name
    for path in out(demo).rglob("*"):
        if path.is_file():
            content = path.read_bytes()
            assert not [v for v in axes if struct.pack("<d", v) in content or struct.pack(">d", v) in content], path.name


def coordinates(folder: Path) -> set[tuple[float, float]]:
    """Every pair of latitude and longitude that any published file holds, in columns, WKT, shapes or bounds."""
    whole = archive(folder)
    found = {(float(row["decimalLatitude"]), float(row["decimalLongitude"])) for row in rows_of(whole["event.csv"])}
    found |= {(float(row["latitude"]), float(row["longitude"])) for row in table(folder, "visits")}
    polygons = {row["footprintWKT"] for row in rows_of(whole["event.csv"])} | {row["footprint_wkt"] for row in table(folder, "visits")}
    found |= {(float(y), float(x)) for polygon in polygons for x, y in re.findall(r"(-?[\d.]+) (-?[\d.]+)", polygon)}
    for row in table(folder, "squares"):
        found |= {(float(row[y]), float(row[x])) for y in ("south", "north") for x in ("west", "east")}
    for layer in ("squares", "visits"):
        for geometry in geopandas.read_file(out(folder) / "squares.gpkg", layer=layer).geometry:
            found |= {(y, x) for x, y in geometry.exterior.coords}
    for feature in json.loads((out(folder) / "squares.geojson").read_text(encoding="utf-8"))["features"]:
        found |= {(y, x) for x, y in feature["geometry"]["coordinates"][0]}
    root = ET.fromstring(whole["eml.xml"])
    bounds = {name: float(root.findtext(f".//{name}BoundingCoordinate")) for name in ("west", "east", "north", "south")}
    return found | {(bounds[y], bounds[x]) for y in ("south", "north") for x in ("west", "east")}


def test_every_published_coordinate_is_a_corner_or_a_centre_of_a_square(demo):
    """The squares are worked out here anew in whole hundredths: 1° at the spring and the seep, 0.1° elsewhere."""
    allowed = set()
    for site, latitude, longitude in ask(demo, f"SELECT site_id, latitude, longitude FROM sites WHERE {SHOWN} AND latitude IS NOT NULL"):
        step = 100 if site in ("N08", "N09") else 10
        south, west = (math.floor(round(value * 10000) / (step * 100)) * step for value in (latitude, longitude))
        allowed |= {((south + a) / 100, (west + b) / 100) for a in (0, step) for b in (0, step)} | {
            ((south + step / 2) / 100, (west + step / 2) / 100)
        }
    bounds = {(y, x) for y in {y for y, _ in allowed} for x in {x for _, x in allowed}}
    assert {(round(y, 6), round(x, 6)) for y, x in coordinates(demo)} <= bounds
    assert (36.15, -81.85) in coordinates(demo) and (36.5, -81.5) in coordinates(demo)


def public_pages(folder: Path) -> dict[str, str]:
    """Text of everything else under ``out/`` that is not private: maps, care sheets, gap lists, tables, pictures with their metadata.

    Path data of drawings are numbers of a page, not of the earth, and pictures inside a page are icons; both are taken out.
    """
    texts = {}
    for path in sorted((folder / "out").rglob("*")):
        if not path.is_file() or {"private", "publish"} & set(path.relative_to(folder / "out").parts):
            continue
        text = path.read_bytes().decode("latin-1") if path.suffix == ".png" else path.read_text(encoding="utf-8")
        text = re.sub(r'\b(?:d|points|transform|viewBox|style|x|y|x1|x2|y1|y2|cx|cy|width|height)="[^"]*"', "", text)
        texts[str(path.relative_to(folder))] = path.name + " " + re.sub(r"data:[a-z/+]+;base64,[A-Za-z0-9+/=]+", "", text)
    return texts


def test_no_other_public_page_or_picture_gives_a_place_away(demo):
    """Populations stand on care sheets, targets and gap lists: a target belongs to one, and its name is the keeper's own choice."""
    pages = public_pages(demo)
    kinds = {Path(name).suffix for name in pages}
    assert {".html", ".csv", ".json", ".svg", ".png"} <= kinds and {"out/map.html", "out/gaps.html", "out/care_sheet_EWIL.html"} <= set(
        pages
    )
    populations = {word for (word,) in ask(demo, "SELECT DISTINCT population FROM sites WHERE population IS NOT NULL")}
    words = {word for word in secret_words(demo) - populations if not re.fullmatch(r"[\d.]+", word) and len(word) > 2}
    assert {"N01", "rill N01", "2022-01-05", "V0001-01"} <= words
    written = {f"{abs(value):.{digits}f}" for point in true_points(demo) for value in point for digits in (3, 4, 5)}
    # what is drawn of the landscape follows from its file alone, wherever the sites lie: tests/maps/test_lines.py
    drawn = re.search(r'"lines":\[\[.*?\]\]\]\]', pages["out/map.html"])
    pages["out/map.html"] = pages["out/map.html"].replace(drawn[0], "")
    for name, text in pages.items():
        if name.endswith(".png"):
            assert not [chunk for chunk in ("tEXt", "iTXt", "zTXt", "eXIf") if chunk in text and "Software" not in text], name
            continue
        # a page of the keeper's own tank has days and clock times of its own
        clocks = {word for word in words if re.fullmatch(r"\d\d:\d\d|\d{4}-\d\d-\d\d", word)} if name.startswith("out/tanks/") else set()
        assert not set(re.findall(r"[\w:.-]+", text)) & (words - clocks), name
        assert not [word for word in words if not re.fullmatch(r"[\w:.-]+", word) and word in text], name
        near = {number for number in re.findall(r"(?<![\d.])\d+\.\d{3,}", text) if any(number.startswith(one[:-1]) for one in written)}
        assert not {number for number in near if f"{float(number):.3f}" in written}, name


def test_the_same_book_gives_the_same_bytes(demo, tmp_path):
    before = {path.name: path.read_bytes() for path in out(demo).rglob("*") if path.is_file()}
    publish(demo, today=DAY)
    assert {path.name: path.read_bytes() for path in out(demo).rglob("*") if path.is_file()} == before


def test_moving_a_site_within_its_square_changes_no_byte(copied):
    """The published files themselves, not only the frames that they are made of."""
    before = {path.name: path.read_bytes() for path in out(copied).rglob("*") if path.is_file()}
    with open_book(copied, write=True) as connection:
        connection.execute(
            "UPDATE sites_all SET latitude = 36.1999, longitude = -81.8001, site_name = 'moved', elevation_m = 5 WHERE site_id = 'S02'"
        )
        connection.execute("UPDATE sites_all SET latitude = 36.9, longitude = -81.1, coordinate_uncertainty_m = 99 WHERE site_id = 'N08'")
        connection.execute("UPDATE visits_all SET visit_date = date_trunc('month', visit_date) + INTERVAL 11 DAY, start_time = '03:33'")
        connection.execute("UPDATE finds_all SET latitude = 36.5, longitude = -81.2, photo = 'IMG_1.jpg', remarks = 'at the mill'")
    publish(copied, today=DAY)
    assert {path.name: path.read_bytes() for path in out(copied).rglob("*") if path.is_file()} == before


@pytest.mark.slow
@pytest.mark.open_data
@pytest.mark.parametrize("name", SHEETS if FULL else list(SHEETS)[:1])
def test_a_real_sheet_is_published_and_gives_nothing_away(real_sheet, tmp_path, name):
    """Three published sheets of ../shared/open_data, each through its column map."""
    folder = Path(shutil.copytree(real_sheet(name).folder, tmp_path / "book"))
    change_settings(folder, ("[book]\n", '[book]\nauthor = "nobody"\nlicence = "CC-BY-4.0"\n'))
    done = publish(folder, today=DAY)
    assert done.rows["finds"] > 100
    assert frictionless.validate(str(out(folder) / "data_package" / "datapackage.json")).valid
    words = {word for word in secret_words(folder) if len(word) > 3 and not re.fullmatch(r"[\d.]+", word)}
    written = {f"{abs(value):.{digits}f}" for point in true_points(folder) for value in point for digits in (3, 4, 5)}
    for name, content in published_texts(folder).items():
        assert not set(re.findall(r"[\w:.-]+", content)) & words, name
        assert not set(re.findall(r"\d+\.\d+", content)) & written, name


def test_every_private_page_says_so_in_the_page(copied):
    """Pages leave their folder: the banner goes with them. The workbook says it in its first line."""
    pages = {path.name: path for path in [*(copied / "out" / "private").glob("*.html"), *run.write_sheets(copied)]}
    assert {"map_exact.html", "revisit.html", "gaps.html", "permit_INVENTED-1.html", "landowner_A.html", "form.html", "paper.html"} <= set(
        pages
    )
    for name, path in pages.items():
        if path.suffix == ".html":
            assert re.search(r'<(p|b) class="banner private"[^>]*>[^<]{20,}<', path.read_text(encoding="utf-8")), name
        else:
            first = openpyxl.load_workbook(path).worksheets[0]
            assert str(first.cell(2, 1).value).startswith("Private"), name


# What a person may type


def hostile(folder: Path) -> None:
    trick = "=HYPERLINK('x')<script>alert(1)</script>${x}\\u0007"
    change_settings(
        folder,
        ('title = "Invented study of the Lark Ridge drainages"', f'title = "{trick}"'),
        ('author = "the rillbook authors"', 'author = "@SUM(1)</para><script>"'),
        ('scientific_name = "Eurycea wilderae"', 'scientific_name = "-cmd|calc\\n<b>&amp;"'),
        ("invented = true", "invented = false"),
    )


def test_hostile_text_is_inert_in_every_file(copied):
    hostile(copied)
    publish(copied, today=DAY)
    whole = archive(copied)
    texts = {**{name: text for name, text in whole.items() if name.endswith(".csv")},
             **{path.name: path.read_text(encoding="utf-8") for path in (out(copied) / "data_package").glob("*.csv")}}  # fmt: skip
    seen = 0
    for name, text in texts.items():
        for row in csv.reader(io.StringIO(text)):
            for cell in row:
                seen += cell.startswith("'")
                assert not cell.startswith(FORMULA) or re.fullmatch(r"-?[\d.e-]+", cell), (name, cell)
    assert seen > 100
    assert not ET.fromstring(whole["eml.xml"]).findall(".//script") and "\x07" not in whole["eml.xml"]
    faults: list = []
    validate.tree(metapype_io.from_xml(whole["eml.xml"]), faults)
    assert not faults
    read_me = (out(copied) / "data_package" / "README.md").read_text(encoding="utf-8")
    assert "<" not in read_me and "${" not in read_me
    with DwCAReader(out(copied) / ARCHIVE) as reader:
        assert len(reader.rows) == len(table(copied, "visits")), "a line break in a name must not make a row of its own"
    assert frictionless.validate(str(out(copied) / "data_package" / "datapackage.json")).valid
    json.loads((out(copied) / "squares.geojson").read_text(encoding="utf-8"))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (('licence = "CC0-1.0"', 'licence = ""'), "states no licence.*CC-BY-4.0"),
        (('licence = "CC0-1.0"', 'licence = "all mine"'), "'all mine' is not one that data portals take"),
        (('author = "the rillbook authors"', 'author = ""'), "states no author"),
        (
            ('title = "Invented study', 'title = "Invented headwater N01 and the study'),
            "title .* says 'invented headwater N01', which is site_name",
        ),
        (('scientific_name = "Eurycea wilderae"', 'scientific_name = "Eurycea rill N03"'), "says 'rill N03', which is waterbody"),
        (('public_precision_deg = "0.1"', 'public_precision_deg = "withheld"'), "nothing of this book may be published"),
    ],
)
def test_publication_is_refused_with_a_reason_and_the_files_stay(copied, change, message):
    before = (out(copied) / ARCHIVE).read_bytes()
    change_settings(copied, change)
    with pytest.raises(RillbookError, match=message):
        publish(copied, today=DAY)
    assert (out(copied) / ARCHIVE).read_bytes() == before
    assert not [path for path in (copied / "out").iterdir() if path.name.startswith(".publish")]


def test_no_map_is_drawn_under_a_title_that_names_a_site(copied):
    before = (copied / "out" / "map.html").read_bytes(), (copied / MEMORY).read_bytes()
    change_settings(copied, ('title = "Invented study', 'title = "Invented headwater N01 and the study'))
    with pytest.raises(RillbookError, match=r"title .* says 'invented headwater N01', which is site_name"):
        run.write_maps(copied)
    assert ((copied / "out" / "map.html").read_bytes(), (copied / MEMORY).read_bytes()) == before


def test_pages_that_others_copy_leave_out_a_title_that_names_a_site(copied):
    change_settings(copied, ('title = "Invented study', 'title = "Invented headwater N01 and the study'))
    derived = run.derive_targets(copied)
    written = run.write_care_sheets(copied, derived)
    gaps.write_gaps(copied, derived=derived)
    public = [*written, copied / "out" / "gaps.html", copied / "out" / "targets.json"]
    assert len(public) == 5
    for path in public:
        text = path.read_text(encoding="utf-8")
        assert "headwater" not in text and "“”" not in text, path
    assert "Study: not named here" in written[0].read_text(encoding="utf-8")
    assert "headwater N01" in (copied / "out" / "private" / "revisit.html").read_text(encoding="utf-8")


def test_a_licence_may_be_spelt_with_blanks(copied):
    change_settings(copied, ('licence = "CC0-1.0"', 'licence = "cc by 4.0"'))
    publish(copied, today=DAY)
    assert rows_of(archive(copied)["event.csv"])[0]["license"] == "http://creativecommons.org/licenses/by/4.0/legalcode"


def test_an_invented_study_says_so_even_if_its_title_does_not(copied):
    change_settings(copied, ("Invented study of the", "Study of the"))
    publish(copied, today=DAY)
    assert ET.fromstring(archive(copied)["eml.xml"]).findtext("dataset/title") == "Invented study: Study of the Lark Ridge drainages"


# The memory of what was published


@pytest.mark.parametrize("text", ["", "{}", "[1]", '{"key": "zz", "sites": {}}', '{"key": "00", "sites": []}'])
def test_a_damaged_memory_is_never_made_anew_in_silence(copied, text):
    (copied / MEMORY).write_text(text, encoding="utf-8")
    with pytest.raises(RillbookError, match=r"cannot be read.*Restore"):
        publish(copied, today=DAY)


def test_a_lost_memory_is_noticed(copied):
    (copied / MEMORY).unlink()
    with pytest.raises(RillbookError, match=r"published before.*is gone"):
        publish(copied, today=DAY)
    shutil.rmtree(out(copied))
    publish(copied, today=DAY)


def test_the_memory_stays_out_of_what_is_shared(demo):
    memory = read_memory(demo)
    steps = {site: one.step for site, one in memory.sites.items()}
    assert len(memory.key) == 32 and steps["N08"] == "1" and steps["S02"] == "0.1" and "N11" not in steps
    assert all(memory.key.hex() not in text for text in published_texts(demo).values())
    codes = pd.read_csv(demo / "out" / "private" / "public_codes.csv")
    assert set(codes.loc[codes["kind"] == "visit", "public_code"]) == {row["event_id"] for row in table(demo, "visits")}


def test_public_codes_stay_the_same_when_more_is_loaded(copied, tmp_path):
    before = {row["occurrence_id"] for row in table(copied, "finds")}
    head = "find_id,visit_id,taxon,life_stage,count,microhabitat\n"
    (tmp_path / "more.csv").write_text(head + "X1,V0002,GPOR,larva,1,rock_in_flow\n", encoding="utf-8")
    run.load_files(copied, [tmp_path / "more.csv"])
    publish(copied, today=DAY + dt.timedelta(30))
    after = {row["occurrence_id"] for row in table(copied, "finds")}
    assert before < after and len(after) == len(before) + 1


def test_an_empty_book_is_refused(tmp_path):
    run.init(tmp_path / "b", '[book]\ntitle = "t"\nauthor = "a"\nlicence = "CC0-1.0"\ntime_zone = "UTC"\n')
    with pytest.raises(RillbookError, match="the book is empty"):
        publish(tmp_path / "b")


TINY = """[book]
title = "t"
author = "a"
licence = "CC0-1.0"
time_zone = "UTC"
[[taxon]]
code = "AA"
scientific_name = "Genus alpha"
group = "cool_stream"
"""


@pytest.mark.parametrize("targets", ["AA", ""])
def test_a_book_without_any_find_is_published_too(tmp_path, targets):
    folder = tmp_path / "b"
    run.init(folder, TINY)
    (tmp_path / "sites.csv").write_text("site_id,habitat,latitude,longitude,datum\nS1,stream,36.21,-81.93,WGS84\n", encoding="utf-8")
    visit = f"visit_id,site_id,visit_date,protocol,target_taxa,all_counted\nV1,S1,2024-06-01,visual_encounter,{targets},yes\n"
    (tmp_path / "visits.csv").write_text(visit, encoding="utf-8")
    run.load_files(folder, [tmp_path / "sites.csv", tmp_path / "visits.csv"])
    done = publish(folder, today=DAY)
    assert done.rows["visits"] == 1 and done.rows["finds"] == 0 and done.rows["absences"] == len(targets) / 2
    with DwCAReader(out(folder) / ARCHIVE) as reader:
        assert len(reader.rows) == 1
    assert frictionless.validate(str(out(folder) / "data_package" / "datapackage.json")).valid
    faults: list = []
    validate.tree(metapype_io.from_xml(archive(folder)["eml.xml"]), faults)
    assert not faults
    assert geopandas.read_file(out(folder) / "squares.gpkg", layer="squares").empty
    assert json.loads((out(folder) / "squares.geojson").read_text(encoding="utf-8"))["features"] == []
