"""The tests of the TDWG Biodiversity Data Quality standard on names that need no taxonomic authority.

Source as in `pipeline.quality.responses`. Each docstring gives the expected response in our words: *cannot run* stands for
INTERNAL_PREREQUISITES_NOT_MET, *fails* for NOT_COMPLIANT.
"""

from __future__ import annotations

import re

from pipeline.quality.responses import Response, Test, Value, empty, in_vocabulary, internal, not_empty, standardized, verdict

TAXON_TERMS = (
    "taxonID", "scientificNameID", "acceptedNameUsageID", "parentNameUsageID", "originalNameUsageID", "taxonConceptID", "scientificName",
    "higherClassification", "kingdom", "phylum", "class", "order", "superfamily", "family", "subfamily", "tribe", "subtribe", "genus",
    "genericName", "subgenus", "infragenericEpithet", "specificEpithet", "infraspecificEpithet", "vernacularName", "cultivarEpithet",
)  # fmt: skip
# Words and signs between the parts of a name that are no part of it
_BETWEEN = re.compile(r"(cf|aff|ssp|subsp|var|subvar|f|forma|sp|nr|agg)\.?|[?×x]|\(.*\)", re.IGNORECASE)
_ID_FORMS = (
    r"urn:lsid:[A-Za-z0-9][\w.-]*:[^\s:]+:[^\s:]+(:[^\s:]+)?",
    r"urn:(?!lsid:)[A-Za-z0-9][A-Za-z0-9-]{0,31}:[^\s:]+.*",
    r"[a-z][a-z0-9+.-]*://[^\s/]+/[^\s/]\S*",
    # a scope and an identifier; published row 1159 fails the name of a term, so that the identifier needs a digit (judgement)
    r"(?!urn:)[A-Za-z][\w.+-]*:(?!//)[^\s:]*\d[^\s:]*",
)


def validation_scientificname_notempty(name: Value) -> Response:
    """Fails where scientificName is empty."""
    return not_empty(name, "scientificName")


def validation_scientificnameauthorship_notempty(authorship: Value) -> Response:
    """Fails where scientificNameAuthorship is empty."""
    return not_empty(authorship, "scientificNameAuthorship")


def validation_scientificnameid_notempty(name_id: Value) -> Response:
    """Fails where scientificNameID is empty."""
    return not_empty(name_id, "scientificNameID")


def validation_scientificnameid_complete(name_id: Value) -> Response:
    """Cannot run where scientificNameID is empty; passes for an LSID, a URN with its parts, a scope and an identifier, or an address with
    a host and a path; fails otherwise.
    """
    if empty(name_id):
        return internal("scientificNameID is empty")
    good = any(re.fullmatch(form, name_id or "", re.IGNORECASE) for form in _ID_FORMS)
    return verdict(good, "scientificNameID is a whole identifier", "scientificNameID is no whole identifier")


def validation_taxon_notempty(*taxon: Value) -> Response:
    """Fails where each of the twenty-five terms of a taxon is empty."""
    return verdict(not all(map(empty, taxon)), "a term of the taxon has a value", "every term of the taxon is empty")


def validation_taxonrank_notempty(rank: Value) -> Response:
    """Fails where taxonRank is empty."""
    return not_empty(rank, "taxonRank")


def validation_taxonrank_standard(rank: Value, source_authority: str = "taxonRank") -> Response:
    """Cannot run where taxonRank is empty; fails where it is none of the ranks of the vocabulary.

    The text of the standard asks for the term itself; published row 1104 passes "especie", the vocabulary's preferred label in Spanish,
    so that preferred labels pass in any language.
    """
    return in_vocabulary(rank, "taxonRank", source_authority, ("term", "label"))


def amendment_taxonrank_standardized(rank: Value, source_authority: str = "taxonRank") -> Response:
    """Cannot run where taxonRank is empty; proposes the rank that an abbreviation or a label in another language can only mean."""
    return standardized(rank, "taxonRank", source_authority)


def validation_polynomial_consistent(name: Value, generic: Value, specific: Value, infraspecific: Value) -> Response:
    """Cannot run where scientificName is empty or all of genericName, specificEpithet and infraspecificEpithet are; fails where a part that
    has a value does not stand in its place in the name.
    """
    if empty(name) or (empty(generic) and empty(specific) and empty(infraspecific)):
        return internal("scientificName is empty, or all of its parts are")
    # a no-break space is a value, and no word
    first, *others = (name or "").split() or [""]
    parts = [part for part in others if not _BETWEEN.fullmatch(part)]
    good = (
        (empty(generic) or generic == first)
        and (empty(specific) or parts[:1] == [specific])
        and (empty(infraspecific) or infraspecific in parts[1:])
    )
    return verdict(good, "the parts agree with scientificName", "a part does not stand in its place in scientificName")


TESTS = (
    Test(validation_scientificname_notempty, "7c4b9498-a8d9-4ebb-85f1-9f200c788595", "2023-09-18", ("scientificName",)),
    Test(validation_scientificnameauthorship_notempty, "49f1d386-5bed-43ae-bd43-deabf7df64fc", "2024-02-04", ("scientificNameAuthorship",)),
    Test(validation_scientificnameid_notempty, "401bf207-9a55-4dff-88a5-abcd58ad97fa", "2023-09-18", ("scientificNameID",)),
    Test(validation_scientificnameid_complete, "6eeac3ed-f691-457f-a42e-eaa9c8a71ce8", "2023-09-18", ("scientificNameID",)),
    Test(validation_taxon_notempty, "06851339-843f-4a43-8422-4e61b9a00e75", "2023-09-18", TAXON_TERMS),
    Test(validation_taxonrank_notempty, "14da5b87-8304-4b2b-911d-117e3c29e890", "2023-09-18", ("taxonRank",)),
    Test(validation_taxonrank_standard, "7bdb13a4-8a51-4ee5-be7f-20693fdb183e", "2023-09-18", ("taxonRank",)),
    Test(amendment_taxonrank_standardized, "e39098df-ef46-464c-9aef-bcdeee2a88cb", "2023-09-18", ("taxonRank",)),
    Test(
        validation_polynomial_consistent,
        "17f03f1f-f74d-40c0-8071-2927cfc9487b",
        "2023-09-18",
        ("scientificName", "genericName", "specificEpithet", "infraspecificEpithet"),
    ),
)
