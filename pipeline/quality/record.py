"""The tests of the TDWG Biodiversity Data Quality standard on the record itself: identifier, basis, type, licence, status, sex, origin.

Source as in `pipeline.quality.responses`. Each docstring gives the expected response in our words: *cannot run* stands for
INTERNAL_PREREQUISITES_NOT_MET, *fails* for NOT_COMPLIANT.
"""

from __future__ import annotations

import re

from pipeline.quality.responses import (
    AMENDED,
    FILLED_IN,
    Response,
    Test,
    Value,
    authority,
    empty,
    external,
    fold,
    folded,
    in_vocabulary,
    internal,
    issue,
    no_proposal,
    not_empty,
    parameter,
    proposal,
    standardized,
    verdict,
)

# The six licences of version 4.0 and the dedication to the public domain, as addresses
LICENSE = re.compile(
    r"https?://creativecommons\.org/(licenses/(by|by-sa|by-nc|by-nc-sa|by-nd|by-nc-nd)/4\.0|publicdomain/zero/1\.0)/?(legalcode)?"
)


def validation_occurrenceid_notempty(occurrence_id: Value) -> Response:
    """Fails where occurrenceID is empty."""
    return not_empty(occurrence_id, "occurrenceID")


def validation_occurrencestatus_notempty(status: Value) -> Response:
    """Fails where occurrenceStatus is empty."""
    return not_empty(status, "occurrenceStatus")


def validation_occurrencestatus_standard(status: Value, source_authority: str = "occurrenceStatus") -> Response:
    """Cannot run where occurrenceStatus is empty; fails where it is neither present nor absent.

    Darwin Core of 2026-05-26 recommends detected and notDetected; the tests still ask for the older words.
    """
    return in_vocabulary(status, "occurrenceStatus", source_authority)


def amendment_occurrencestatus_standardized(status: Value, source_authority: str = "occurrenceStatus") -> Response:
    """Cannot run where occurrenceStatus is empty; proposes present or absent where nothing else can be meant: 1 and 0, detected and
    notDetected.
    """
    return standardized(status, "occurrenceStatus", source_authority)


def amendment_occurrencestatus_assumeddefault(status: Value, count: Value, quantity: Value) -> Response:
    """Proposes present where occurrenceStatus, individualCount and organismQuantity are all empty; proposes nothing otherwise.

    Where the status has a value the text of the standard says that the test cannot run; published rows 566, 567 and 568 say that nothing
    is proposed, and the rows decide.
    """
    if not (empty(status) and empty(count) and empty(quantity)):
        return no_proposal("the status or a number has a value")
    default = parameter("defaultOccurrenceStatus")
    return proposal(FILLED_IN, f"{default} is assumed where nothing says otherwise", occurrenceStatus=default)


def validation_basisofrecord_notempty(basis: Value) -> Response:
    """Fails where basisOfRecord is empty."""
    return not_empty(basis, "basisOfRecord")


def validation_basisofrecord_standard(basis: Value, source_authority: str = "basisOfRecord") -> Response:
    """Cannot run where basisOfRecord is empty; fails where it is not the name of a class of Darwin Core, exactly."""
    return in_vocabulary(basis, "basisOfRecord", source_authority)


def amendment_basisofrecord_standardized(basis: Value, source_authority: str = "basisOfRecord") -> Response:
    """Cannot run where basisOfRecord is empty; proposes the class that a beginning or another way of writing can only mean."""
    return standardized(basis, "basisOfRecord", source_authority)


def validation_dctype_notempty(kind: Value) -> Response:
    """Fails where dc:type is empty."""
    return not_empty(kind, "type")


def validation_dctype_standard(kind: Value, source_authority: str = "type") -> Response:
    """Cannot run where dc:type is empty; fails where it is no term of the DCMI type vocabulary, exactly."""
    return in_vocabulary(kind, "type", source_authority)


def amendment_dctype_standardized(kind: Value, source_authority: str = "type") -> Response:
    """Cannot run where dc:type is empty; proposes the term that a beginning or one slip of a letter can only mean."""
    return standardized(kind, "type", source_authority)


def validation_sex_standard(sex: Value, source_authority: str = "sex") -> Response:
    """Cannot run where sex is empty; fails where it is no term of the vocabulary, exactly: Male, Female, Hermaphrodite, Indeterminate."""
    return in_vocabulary(sex, "sex", source_authority)


def amendment_sex_standardized(sex: Value, source_authority: str = "sex") -> Response:
    """Cannot run where sex is empty; proposes the term that a letter or a beginning can only mean."""
    return standardized(sex, "sex", source_authority)


def validation_establishmentmeans_standard(means: Value, source_authority: str = "establishmentMeans") -> Response:
    """Cannot run where establishmentMeans is empty; fails where it is no term of the vocabulary, exactly."""
    return in_vocabulary(means, "establishmentMeans", source_authority)


def amendment_establishmentmeans_standardized(means: Value, source_authority: str = "establishmentMeans") -> Response:
    """Cannot run where establishmentMeans is empty; proposes the term that it can only mean."""
    return standardized(means, "establishmentMeans", source_authority)


def issue_establishmentmeans_notempty(means: Value) -> Response:
    """A possible issue where establishmentMeans has a value: the animal may not be there by itself."""
    return issue(not empty(means), "establishmentMeans")


def validation_degreeofestablishment_standard(degree: Value, source_authority: str = "degreeOfEstablishment") -> Response:
    """Cannot run where degreeOfEstablishment is empty; fails where it is no term of the vocabulary, exactly.

    Published row 1208 passes "spreading", which the vocabulary of 2025-07-10 does not hold; the row decides.
    """
    return in_vocabulary(degree, "degreeOfEstablishment", source_authority)


def amendment_degreeofestablishment_standardized(degree: Value, source_authority: str = "degreeOfEstablishment") -> Response:
    """Cannot run where degreeOfEstablishment is empty; proposes the term that it can only mean."""
    return standardized(degree, "degreeOfEstablishment", source_authority)


def validation_license_notempty(licence: Value) -> Response:
    """Fails where dcterms:license is empty."""
    return not_empty(licence, "license")


def validation_license_standard(licence: Value, source_authority: str = "license") -> Response:
    """Cannot run where dcterms:license is empty; fails where it is not the address of a Creative Commons licence 4.0 or of CC0 1.0."""
    if authority(source_authority) is None:
        return external(source_authority)
    if empty(licence):
        return internal("license is empty")
    return verdict(bool(LICENSE.fullmatch(licence or "")), "license is an address of Creative Commons", "license is no such address")


def amendment_license_standardized(licence: Value, source_authority: str = "license") -> Response:
    """Proposes the address of a licence that is named with its version; nothing where dcterms:license is empty (rows 1057 to 1059)."""
    if authority(source_authority) is None:
        return external(source_authority)
    meant = folded(source_authority).get(fold(licence or ""))
    if meant is None or LICENSE.fullmatch(licence or ""):
        return no_proposal("license is empty, in order, or cannot be told for sure")
    return proposal(AMENDED, "license is named without its address", license=meant)


TESTS = (
    Test(validation_occurrenceid_notempty, "c486546c-e6e5-48a7-b286-eba7f5ca56c4", "2023-09-17", ("occurrenceID",)),
    Test(validation_occurrencestatus_notempty, "eb4a17f6-6bea-4cdd-93dd-d5a7e9d1eccf", "2023-09-18", ("occurrenceStatus",)),
    Test(validation_occurrencestatus_standard, "7af25f1e-a4e2-4ff4-b161-d1f25a5c3e47", "2025-02-18", ("occurrenceStatus",)),
    Test(amendment_occurrencestatus_standardized, "f8f3a093-042c-47a3-971a-a482aaaf3b75", "2025-03-03", ("occurrenceStatus",)),
    Test(
        amendment_occurrencestatus_assumeddefault,
        "96667a0a-ae59-446a-bbb0-b7f2b0ca6cf5",
        "2024-11-13",
        ("occurrenceStatus", "individualCount", "organismQuantity"),
    ),
    Test(validation_basisofrecord_notempty, "ac2b7648-d5f9-48ca-9b07-8ad5879a2536", "2023-09-17", ("basisOfRecord",)),
    Test(validation_basisofrecord_standard, "42408a00-bf71-4892-a399-4325e2bc1fb8", "2024-08-18", ("basisOfRecord",)),
    Test(amendment_basisofrecord_standardized, "07c28ace-561a-476e-a9b9-3d5ad6e35933", "2024-07-24", ("basisOfRecord",)),
    Test(validation_dctype_notempty, "374b091a-fc90-4791-91e5-c1557c649169", "2023-09-18", ("type",)),
    Test(validation_dctype_standard, "cdaabb0d-a863-49d0-bc0f-738d771acba5", "2023-09-18", ("type",)),
    Test(amendment_dctype_standardized, "bd385eeb-44a2-464b-a503-7abe407ef904", "2024-08-16", ("type",)),
    Test(validation_sex_standard, "88d8598b-3318-483d-9475-a5acf9887404", "2024-02-09", ("sex",)),
    Test(amendment_sex_standardized, "33c45ae1-e2db-462a-a59e-7169bb01c5d6", "2024-03-25", ("sex",)),
    Test(validation_establishmentmeans_standard, "4eb48fdf-7299-4d63-9d08-246902e2857f", "2024-02-08", ("establishmentMeans",)),
    Test(amendment_establishmentmeans_standardized, "15d15927-7a22-43f8-88d6-298f5eb45c4c", "2024-02-08", ("establishmentMeans",)),
    Test(issue_establishmentmeans_notempty, "acc8dff2-d8d1-483a-946d-65a02a452700", "2023-09-18", ("establishmentMeans",)),
    Test(validation_degreeofestablishment_standard, "060e7734-607d-4737-8b2c-bfa17788bf1a", "2024-02-09", ("degreeOfEstablishment",)),
    Test(amendment_degreeofestablishment_standardized, "74ef1034-e289-4596-b5b0-cde73796697d", "2024-04-16", ("degreeOfEstablishment",)),
    Test(validation_license_notempty, "15f78619-811a-4c6f-997a-a4c7888ad849", "2023-09-18", ("license",)),
    Test(validation_license_standard, "3136236e-04b6-49ea-8b34-a65f25e3aba1", "2024-03-21", ("license",)),
    Test(amendment_license_standardized, "dcbe5bd2-42a0-4aab-bb4d-8f148c6490f8", "2023-09-18", ("license",)),
)
