"""Published rows as a Darwin Core Archive: events, occurrences, measurements, the Humboldt extension, and meta.xml."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator, Mapping
from functools import partial

import numpy as np
import pandas as pd

from pipeline.publishing.publication import Statement, generalised, standard_words, texts_of, word
from schemas.distinct import numbered_rows
from schemas.fields import Field
from schemas.public import NEW, public_fields

DWC = "http://rs.tdwg.org/dwc/terms/"
DCTERMS = "http://purl.org/dc/terms/"
ECO = "http://rs.tdwg.org/eco/terms/"
OBIS = "http://rs.iobis.org/obis/terms/"
TEXT = "http://rs.tdwg.org/dwc/text/"
LIST = " | "
FILES = {
    "event": ("event.csv", DWC + "Event"),
    "occurrence": ("occurrence.csv", DWC + "Occurrence"),
    "measurement": ("measurement.csv", OBIS + "ExtendedMeasurementOrFact"),
    "humboldt": ("humboldt.csv", ECO + "Event"),
}
DUBLIN_CORE = ("license", "language", "accessRights", "rightsHolder", "bibliographicCitation")
OBIS_TERMS = ("measurementTypeID", "measurementUnitID")
IN_HUMBOLDT = ("target_taxa", "all_counted")
IN_OUR_WORDS = ("life_stage", "condition")
PROTOCOL = (
    "Chapman & Wieczorek 2020, Georeferencing Best Practices, doi:10.15468/doc-gg7h-s853; "
    "Chapman 2020, Current Best Practices for Generalizing Sensitive Species Occurrence Data, doi:10.15468/doc-5jp4-5g10"
)


def archive_frames(tables: Mapping[str, pd.DataFrame], text: Mapping[str, pd.DataFrame], said: Statement) -> dict[str, pd.DataFrame]:
    """The four data files of the archive.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        From `protect.public_rows`.
    text : mapping of str to DataFrame
        The same as text, from `publication.texts`.
    said : Statement

    Returns
    -------
    dict of str to DataFrame
        ``event``, ``occurrence``, ``measurement``, ``humboldt``: text only, the first column the event's code, the others Darwin Core
        terms. An event is a visit. An occurrence is a find, or a taxon that a complete visit looked for and did not find. A measurement is
        one value for which Darwin Core has no term. The Humboldt extension has one row an event.

    References
    ----------
    Darwin Core, issue of 2026-05-26; Humboldt Extension, issue of 2025-07-10: scope and completeness are stated only where they were
    recorded during the visit.
    """
    taxa = tables["taxa"].set_index("code")
    order = {event: number for number, event in enumerate(tables["visits"]["event_id"])}
    return {
        "event": _events(text["visits"], said),
        "occurrence": _occurrences(text, taxa, order),
        "measurement": _measurements(text, order),
        "humboldt": _humboldt(text["visits"], tables, taxa["scientific_name"].to_dict()),
    }


def _events(text: pd.DataFrame, said: Statement) -> pd.DataFrame:
    declared = [field for field in public_fields("visits").values() if field.darwin_core]
    frame = pd.DataFrame({field.darwin_core: text[field.name] for field in declared}, index=text.index)
    minutes = text["search_minutes"]
    return frame.assign(
        year=text["month"].str[:4],
        month=text["month"].str[5:].str.lstrip("0"),
        eventType="Survey",
        geodeticDatum="EPSG:4326",
        footprintSRS="EPSG:4326",
        georeferenceProtocol=PROTOCOL,
        sampleSizeValue=minutes,
        sampleSizeUnit=pd.Series("minute", index=minutes.index, dtype="str").where(minutes != "", ""),
        dataGeneralizations=_each(generalised, text["grid_step_deg"]),
        informationWithheld=said.withheld,
        datasetID=said.dataset,
        datasetName=said.title,
        license=said.licence_iri,
        rightsHolder=said.author,
        bibliographicCitation=said.citation,
        language="en",
    )


def _each(said: Callable[[str], str], column: pd.Series) -> pd.Series:
    """What is said of each value of a column of text, asked once for each distinct one."""
    return column.map({one: said(one) for one in column.unique()}).astype("str")


def _occurrences(text: Mapping[str, pd.DataFrame], taxa: pd.DataFrame, order: Mapping[str, int]) -> pd.DataFrame:
    finds, absences = text["finds"], text["absences"]
    declared = {field.darwin_core: field.name for field in public_fields("finds").values() if field.darwin_core}
    found = pd.DataFrame({term: finds[name] for term, name in declared.items()}, index=finds.index)
    found = found.assign(taxon=finds["taxon"], occurrenceStatus=word("occurrenceStatus", "yes"))
    found["lifeStage"] = _each(partial(word, "lifeStage"), finds["life_stage"])
    found["sex"] = _each(partial(word, "sex"), finds["sex"])
    found["vitality"] = _each(partial(word, "vitality"), finds["condition"])
    missed = pd.DataFrame({"eventID": absences["event_id"], "occurrenceID": absences["occurrence_id"], "taxon": absences["taxon"]})
    missed = missed.assign(individualCount="0", occurrenceStatus=word("occurrenceStatus", "no"))
    both = pd.concat([found, missed], ignore_index=True).astype("str").fillna("")
    both["place"] = both["eventID"].map(order)
    both = both.sort_values(["place", "occurrenceID"], ignore_index=True).drop(columns="place")
    both = both.assign(
        scientificName=both["taxon"].map(taxa["scientific_name"].to_dict()),
        taxonRank=both["taxon"].map(taxa["rank"].to_dict()).fillna(""),
        kingdom="Animalia",
        basisOfRecord="HumanObservation",
    )
    return both[["eventID", *(name for name in both.columns if name not in ("eventID", "taxon"))]]


def _measured(table: str) -> list[Field]:
    """Fields whose values become measurements: Darwin Core has no term for them; stage and condition are given again in our own words."""
    # the square of a visit is told by Darwin Core terms, whatever its own fields are called
    skip = {*IN_HUMBOLDT, "taxon", *NEW["visits"].to_schema().columns}
    listed = [field for name, field in public_fields(table).items() if name not in skip and not (field.key or field.refers_to)]
    return [field for field in listed if not field.darwin_core or field.name in IN_OUR_WORDS]


def _measurements(text: Mapping[str, pd.DataFrame], order: Mapping[str, int]) -> pd.DataFrame:
    """All measurements in the order of their events; each column as the numbers of its distinct texts, for there are millions of cells."""
    # numbers of events are their places
    known: dict[str, dict[str, int]] = {"eventID": dict(order)}
    parts = list(_long(text, known))
    whole = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    sorted_by = np.argsort(whole["eventID"], kind="stable")
    return pd.DataFrame({name: pd.Categorical.from_codes(codes[sorted_by], list(known[name])) for name, codes in whole.items()})


def _long(text: Mapping[str, pd.DataFrame], known: dict[str, dict[str, int]]) -> Iterator[dict[str, np.ndarray]]:
    """The measurements of each field, column by column, as numbers of texts that are known then."""
    accuracy = dict(zip(text["visits"]["event_id"], text["visits"]["thermometer_accuracy_c"], strict=True))
    for table, of_occurrence in (("visits", ""), ("finds", "occurrence_id"), ("availability", "")):
        rows, nothing = text[table], pd.Series("", index=text[table].index)
        columns = {
            "eventID": rows["event_id"],
            "occurrenceID": rows[of_occurrence] if of_occurrence else nothing,
            "measurementAccuracy": rows["event_id"].map(accuracy).fillna(""),
            "measurementRemarks": "Where no animal was: " + rows["microhabitat"] if table == "availability" else nothing,
        }
        numbers = {name: numbered_rows(column, known.setdefault(name, {})) for name, column in columns.items()}
        for field in _measured(table):
            yield _of_field(field, rows[field.name], numbers, known)


def _of_field(
    field: Field, values: pd.Series, numbers: Mapping[str, np.ndarray], known: dict[str, dict[str, int]]
) -> dict[str, np.ndarray]:
    """The measurements of a field, one a value."""
    warm = field.unit == "°C" and field.name.endswith("_temp_c")
    name, iri = standard_words().get(("measurementType", field.name), (field.name.replace("_", " "), ""))
    whole: dict[str, np.ndarray | str] = {
        "eventID": numbers["eventID"],
        "occurrenceID": numbers["occurrenceID"],
        "measurementType": name,
        "verbatimMeasurementType": field.name,
        "measurementTypeID": iri,
        "measurementValue": numbered_rows(values, known.setdefault("measurementValue", {})),
        "measurementAccuracy": numbers["measurementAccuracy"] if warm else "",
        "measurementUnit": field.unit,
        "measurementUnitID": standard_words().get(("measurementUnit", field.unit), ("", ""))[1],
        "measurementMethod": field.meaning,
        "measurementRemarks": numbers["measurementRemarks"],
    }
    kept = np.flatnonzero((values != "").to_numpy())
    told = {}
    for term, one in whole.items():
        words = known.setdefault(term, {})
        told[term] = np.full(len(kept), words.setdefault(one, len(words)), "int32") if isinstance(one, str) else one[kept]
    return told


def _humboldt(text: pd.DataFrame, tables: Mapping[str, pd.DataFrame], names: Mapping[str, str]) -> pd.DataFrame:
    visits = tables["visits"]
    absent: dict[str, list[str]] = {}
    for event, taxon in zip(tables["absences"]["event_id"], tables["absences"]["taxon"], strict=True):
        absent.setdefault(event, []).append(taxon)
    effort = visits["search_minutes"].astype(float) * visits["observer_count"].astype(float) / 60
    scope, counted = text["target_taxa"], text["all_counted"]
    complete = np.select([(scope != "") & (counted == "true"), (scope != "") & (counted == "false")],
                         ["reportedComplete", "reportedIncomplete"], "notReported")  # fmt: skip
    frame = pd.DataFrame({"eventID": text["event_id"]})
    frame["isSamplingEffortReported"] = np.where(effort.notna(), "true", "false")
    frame["samplingEffortProtocol"] = np.where(effort.notna(), "net search time multiplied by the number of observers", "")
    frame["samplingEffortValue"] = texts_of(effort.round(4), "real")
    frame["samplingEffortUnit"] = np.where(effort.notna(), word("unit", "effort"), "")
    for value, unit, field in (
        ("eventDurationValue", "eventDurationUnit", "search_minutes"),
        ("totalAreaSampledValue", "totalAreaSampledUnit", "area_m2"),
    ):
        frame[value] = text[field]
        frame[unit] = np.where(text[field] != "", word("unit", field), "")
    frame["protocolNames"] = text["protocol"]
    frame["targetTaxonomicScope"] = _each(lambda targets: _names(targets.split("|") if targets else [], names), scope)
    frame["taxonCompletenessReported"] = complete
    full = np.where(complete == "reportedComplete", "true", "false")
    frame["isTaxonomicScopeFullyReported"] = np.where(complete == "notReported", "", full)
    frame["isAbsenceReported"] = np.where(text["event_id"].isin(absent), "true", "false")
    frame["absentTaxa"] = [_names(absent.get(event, []), names) for event in text["event_id"]]
    # every find states a number; a visit without a published find states none
    frame["isAbundanceReported"] = np.where(text["event_id"].isin(tables["finds"]["event_id"]), "true", "false")
    return frame


def _names(listed: list[str], names: Mapping[str, str]) -> str:
    return LIST.join(sorted(names[code] for code in listed))


def meta_xml(frames: Mapping[str, pd.DataFrame]) -> str:
    """Describe the data files of an archive.

    Parameters
    ----------
    frames : mapping of str to DataFrame
        From :func:`archive_frames`.

    Returns
    -------
    str
        Text of `meta.xml`.

    References
    ----------
    Darwin Core text guide, namespace http://rs.tdwg.org/dwc/text/.
    """
    archive = ET.Element("archive", {"xmlns": TEXT, "metadata": "eml.xml"})
    for name, frame in frames.items():
        file, row_type = FILES[name]
        core = name == "event"
        how = {"encoding": "UTF-8", "fieldsTerminatedBy": ",", "linesTerminatedBy": "\\n", "fieldsEnclosedBy": '"'}
        part = ET.SubElement(archive, "core" if core else "extension", {**how, "ignoreHeaderLines": "1", "rowType": row_type})
        ET.SubElement(ET.SubElement(part, "files"), "location").text = file
        ET.SubElement(part, "id" if core else "coreid", {"index": "0"})
        for index, column in enumerate(frame.columns):
            # the first column of an extension only ties it to its event
            if core or index:
                ET.SubElement(part, "field", {"index": str(index), "term": term_iri(name, column)})
    ET.indent(archive)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(archive, encoding="unicode") + "\n"


def term_iri(name: str, column: str) -> str:
    """Address of the term that a column of a data file holds."""
    if name == "humboldt" and column != "eventID":
        return ECO + column
    if column in DUBLIN_CORE:
        return DCTERMS + column
    return (OBIS if column in OBIS_TERMS else DWC) + column
