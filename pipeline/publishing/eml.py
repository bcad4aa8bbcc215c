"""The description of a publication in the Ecological Metadata Language, version 2.2.0."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Mapping

import pandas as pd

from pipeline.formulas.grid_squares import grid_square
from pipeline.publishing.publication import INVENTED, Statement, generalised, standard_words

NAMESPACE = "https://eml.ecoinformatics.org/eml-2.2.0"
ABSTRACT = (
    "Finds of salamanders along streams with the temperature, humidity and water that was read where each animal was met, "
    "and the visits that found nothing."
)
METHODS = (
    "Each visit is one search of one site; its protocol and effort are given with it. Temperatures were read at the animal, under the same "
    "cover, beside it or in the reach, as stated with each find. A taxon is stated as not detected only where the visit had named it as a "
    "target and every animal was counted."
)


def eml_xml(tables: Mapping[str, pd.DataFrame], said: Statement) -> str:
    """Describe a publication.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        From `protect.public_rows`.
    said : Statement

    Returns
    -------
    str
        Text of `eml.xml`. The bounding box is that of the published squares, the period is given in years.

    References
    ----------
    Ecological Metadata Language 2.2.0.
    """
    attributes = {"xmlns:eml": NAMESPACE, "packageId": f"{said.dataset}/{said.published}", "system": "rillbook", "xml:lang": "en"}
    root = ET.Element("eml:eml", attributes)
    dataset = ET.SubElement(root, "dataset")
    _text(dataset, "alternateIdentifier", said.dataset)
    _text(dataset, "title", said.title)
    _party(dataset, "creator", said)
    _text(dataset, "pubDate", said.published)
    _text(dataset, "language", "en")
    steps = sorted(set(tables["visits"]["grid_step_deg"]), key=float)
    paragraphs = [INVENTED] if said.invented else []
    paragraphs += [ABSTRACT, *(generalised(step) for step in steps), said.withheld]
    _paragraphs(dataset, "abstract", paragraphs)
    _paragraphs(ET.SubElement(dataset, "additionalInfo"), "", [f"Cite as: {said.citation}", *_versions()])
    _paragraphs(dataset, "intellectualRights", [f"Shared under {said.licence}: {said.licence_iri}"])
    licensed = ET.SubElement(dataset, "licensed")
    for name, text in (("licenseName", said.licence), ("url", said.licence_iri), ("identifier", said.licence)):
        _text(licensed, name, text)
    _coverage(ET.SubElement(dataset, "coverage"), tables)
    _party(dataset, "contact", said)
    step = ET.SubElement(ET.SubElement(ET.SubElement(dataset, "methods"), "methodStep"), "description")
    _paragraphs(step, "", [METHODS, *(generalised(one) for one in steps)])
    ET.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def _versions() -> list[str]:
    words = standard_words()
    return [
        f"Words of Darwin Core as issued on {words['version', 'darwin_core'][0]}; but occurrenceStatus is present or absent, which that "
        "issue calls detected and notDetected.",
        f"Words of the Humboldt Extension as issued on {words['version', 'humboldt'][0]}.",
        "lifeStage is the standard's word; the word that was recorded is given as a measurement, life stage as recorded.",
    ]


def printable(text: str) -> str:
    """A text without the control characters that XML cannot hold."""
    return re.sub(r"[^\t\n\r\x20-\uD7FF\uE000-\uFFFD\U00010000-\U0010FFFF]", "", text)


def _text(parent: ET.Element, name: str, text: str) -> None:
    ET.SubElement(parent, name).text = printable(text)


def _paragraphs(parent: ET.Element, name: str, texts: list[str]) -> None:
    holder = ET.SubElement(parent, name) if name else parent
    for text in texts:
        _text(holder, "para", text)


def _party(parent: ET.Element, name: str, said: Statement) -> None:
    party = ET.SubElement(parent, name)
    _text(party, "organizationName", said.author)
    if said.contact:
        _text(party, "electronicMailAddress" if "@" in said.contact else "onlineUrl", said.contact)


def _coverage(coverage: ET.Element, tables: Mapping[str, pd.DataFrame]) -> None:
    visits = tables["visits"]
    places = set(visits[["latitude", "longitude", "grid_step_deg"]].itertuples(index=False, name=None))
    south, west, north, east = zip(*(grid_square(*place) for place in places), strict=True)
    geographic = ET.SubElement(coverage, "geographicCoverage")
    _text(geographic, "geographicDescription", "Bounding box of the published grid squares; the sites lie anywhere in them.")
    bounds = ET.SubElement(geographic, "boundingCoordinates")
    for name, value in (("west", min(west)), ("east", max(east)), ("north", max(north)), ("south", min(south))):
        _text(bounds, f"{name}BoundingCoordinate", f"{value:g}")
    period = ET.SubElement(ET.SubElement(coverage, "temporalCoverage"), "rangeOfDates")
    for name, month in (("beginDate", visits["month"].min()), ("endDate", visits["month"].max())):
        _text(ET.SubElement(period, name), "calendarDate", month[:4])
    taxonomic = ET.SubElement(coverage, "taxonomicCoverage") if len(tables["taxa"]) else None
    for name, rank in tables["taxa"][["scientific_name", "rank"]].itertuples(index=False):
        one = ET.SubElement(taxonomic, "taxonomicClassification")  # type: ignore[arg-type]
        _text(one, "taxonRankName", rank if isinstance(rank, str) else "species")
        _text(one, "taxonRankValue", name)
