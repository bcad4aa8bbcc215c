"""Terms of an archive and its description."""

from __future__ import annotations

from xml.etree import ElementTree

import pandas as pd

from pipeline.publishing.darwin_core import FILES, meta_xml, term_iri

SPACE = {"t": "http://rs.tdwg.org/dwc/text/"}


def test_every_term_stands_in_its_own_vocabulary() -> None:
    """Darwin Core quick reference; Humboldt Extension; Dublin Core terms (addresses by the standards' own namespaces)."""
    assert term_iri("event", "eventDate") == "http://rs.tdwg.org/dwc/terms/eventDate"
    assert term_iri("event", "license") == "http://purl.org/dc/terms/license"
    assert term_iri("humboldt", "eventID") == "http://rs.tdwg.org/dwc/terms/eventID"
    assert term_iri("humboldt", "targetTaxonomicScope") == "http://rs.tdwg.org/eco/terms/targetTaxonomicScope"
    assert term_iri("measurement", "measurementTypeID") == "http://rs.iobis.org/obis/terms/measurementTypeID"


def test_the_description_counts_columns_from_0_and_ties_extensions_by_their_first() -> None:
    """Darwin Core text guide: the core has an id, an extension a coreid, which is no field of its own here."""
    frames = {"event": pd.DataFrame(columns=["eventID", "eventDate"]), "occurrence": pd.DataFrame(columns=["eventID", "occurrenceID"])}
    archive = ElementTree.fromstring(meta_xml(frames))
    core, extension = archive.find("t:core", SPACE), archive.find("t:extension", SPACE)
    assert core is not None and extension is not None
    assert [one.get("index") for one in core.findall("t:field", SPACE)] == ["0", "1"] and core.find("t:id", SPACE) is not None
    assert [(one.get("index"), one.get("term")) for one in extension.findall("t:field", SPACE)] == [
        ("1", "http://rs.tdwg.org/dwc/terms/occurrenceID")
    ]
    assert [one.findtext("t:files/t:location", namespaces=SPACE) for one in (core, extension)] == [FILES[name][0] for name in frames]
    assert archive.get("metadata") == "eml.xml" and core.get("ignoreHeaderLines") == "1"
