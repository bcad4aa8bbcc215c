"""The archive is what others read: by the text guide's schema, by an archive reader, and by a validator of tables that knows no archive.

The guide's own example archive is built here from memory (a core of whales with two extensions, Darwin Core text guide, "Example"), to
show that the three readers take what the standard shows and that nothing of our own making is what they take.
"""

from __future__ import annotations

import csv
import io
import xml.etree.ElementTree as ET
import zipfile
from pathlib import Path

import frictionless
import pandas as pd
import pytest
from dwca.read import DwCAReader
from public_cases import KEY, book_settings, find, published, rows, site, visit

from pipeline.publishing.darwin_core import archive_frames, meta_xml
from pipeline.publishing.eml import eml_xml
from pipeline.publishing.protect import opaque
from pipeline.publishing.publication import Statement, texts

SPACE = "{http://rs.tdwg.org/dwc/text/}"
DWC = "http://rs.tdwg.org/dwc/terms/"
SAID = Statement("t", "a", False, "CC0-1.0", "http://x/", "c", "2026-11-28", "w", opaque(KEY, "dataset", "", ""), "curator@example.org")
WHALES = {
    "meta.xml": f"""<archive xmlns="http://rs.tdwg.org/dwc/text/">
  <core encoding="UTF-8" fieldsTerminatedBy="," linesTerminatedBy="\\n" fieldsEnclosedBy='"' ignoreHeaderLines="1" rowType="{DWC}Taxon">
    <files><location>whales.csv</location></files>
    <id index="0"/>
    <field index="1" term="{DWC}scientificName"/>
    <field default="ICZN" term="{DWC}nomenclaturalCode"/>
  </core>
  <extension encoding="UTF-8" fieldsTerminatedBy="," linesTerminatedBy="\\n" fieldsEnclosedBy='"' ignoreHeaderLines="1"
    rowType="http://rs.gbif.org/terms/1.0/TypesAndSpecimen">
    <files><location>types.csv</location></files>
    <coreid index="0"/>
    <field index="1" term="{DWC}typeStatus"/>
  </extension>
  <extension encoding="UTF-8" fieldsTerminatedBy="," linesTerminatedBy="\\n" fieldsEnclosedBy='"' ignoreHeaderLines="1"
    rowType="http://rs.gbif.org/terms/1.0/Distribution">
    <files><location>distribution.csv</location></files>
    <coreid index="0"/>
    <field index="1" term="{DWC}countryCode"/>
  </extension>
</archive>
""",
    "whales.csv": "id,scientificName\n1,Balaena mysticetus\n2,Orcinus orca\n",
    "types.csv": "id,typeStatus\n1,holotype\n",
    "distribution.csv": "id,countryCode\n1,NO\n1,GL\n2,NZ\n",
}


@pytest.fixture(scope="module")
def ours() -> dict[str, str]:
    """An archive of three visits: one with a find and an absence, one with eggs that are left out, one that named no target."""
    both = {"target_taxa": "AA|BB"}
    visits = [visit("V1", "A", **both), visit("V2", "A", **both), visit("V3", "A", target_taxa=None, all_counted=None)]
    finds = [find("F1", "V1", "AA"), find("F2", "V2", "AA", "egg_mass"), find("F3", "V3", "AA")]
    tables, _ = published(rows([site("A")], visits, finds), book_settings("0.01", AA="0.01", BB="0.01"))
    frames = archive_frames(tables, texts(tables), SAID)
    made = {f"{name}.csv": frame.to_csv(index=False, quoting=csv.QUOTE_ALL, lineterminator="\n") for name, frame in frames.items()}
    return {**made, "meta.xml": meta_xml(frames), "eml.xml": eml_xml(tables, SAID)}


def as_tables(files: dict[str, str], folder: Path) -> frictionless.Report:
    """Hold an archive's files, by its own meta.xml and nothing else, as tables with a key that the extensions refer to."""
    root, resources, core = ET.fromstring(files["meta.xml"]), [], ""
    for part in root:
        name = part.findtext(f"{SPACE}files/{SPACE}location") or ""
        header = next(csv.reader(io.StringIO(files[name])))
        columns = {int(field.get("index", -1)): field.get("term", "") for field in part.findall(f"{SPACE}field")}
        is_core = part.tag == f"{SPACE}core"
        key = int(part.find(f"{SPACE}{'id' if is_core else 'coreid'}").get("index"))
        assert set(columns) - {-1} <= set(range(len(header))), "meta.xml names a column that the file has not"
        fields = [{"name": column, "type": "string"} for column in header]
        schema = {"fields": fields, "missingValues": [""]}
        if is_core:
            core, schema["primaryKey"] = Path(name).stem, [header[key]]
            core_key = header[key]
        else:
            schema["foreignKeys"] = [{"fields": [header[key]], "reference": {"resource": core, "fields": [core_key]}}]
        (folder / name).write_text(files[name], encoding="utf-8", newline="\n")
        resources.append({"name": Path(name).stem, "path": name, "type": "table", "format": "csv", "encoding": "utf-8", "schema": schema})
    return frictionless.Package.from_descriptor({"name": "archive", "resources": resources}, basepath=str(folder)).validate()


@pytest.mark.parametrize("which", ["whales", "ours"])
def test_two_readers_that_know_nothing_of_rillbook_take_the_archive_whole(which: str, ours: dict[str, str], tmp_path: Path) -> None:
    """frictionless 5 holds keys and references; python-dwca-reader ties the rows of extensions to those of the core."""
    files = ours if which == "ours" else WHALES
    report = as_tables(files, tmp_path)
    assert report.valid, report.flatten(["name", "rowNumber", "message"])[:5]
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        for name, text in files.items():
            archive.writestr(name, text)
    with DwCAReader(tmp_path / "a.zip") as reader:
        read = [row for row in reader]
        assert [len(row.extensions) for row in read] == ([3, 1] if which == "whales" else [len(row.extensions) for row in read])
        assert sum(len(row.extensions) for row in read) == sum(
            len(list(csv.DictReader(io.StringIO(text)))) for name, text in files.items() if name.endswith(".csv")
        ) - len(read)


def test_the_validator_says_no_to_a_row_of_no_event_and_to_an_event_twice(ours: dict[str, str], tmp_path: Path) -> None:
    event, *_ = ours["occurrence.csv"].splitlines()[1].split(",")
    stray = {**ours, "occurrence.csv": ours["occurrence.csv"].replace(event, '"nowhere"')}
    twice = {**ours, "event.csv": ours["event.csv"] + ours["event.csv"].splitlines()[1] + "\n"}
    assert not as_tables(stray, tmp_path).valid and not as_tables(twice, tmp_path).valid


def test_presence_absence_and_numbers_are_true_to_the_row(ours: dict[str, str]) -> None:
    """Humboldt Extension: a row says that absences or numbers are reported only if this very event reports one."""
    occurrences, humboldt = (
        pd.read_csv(io.StringIO(ours[f"{name}.csv"]), dtype="str", keep_default_na=False) for name in ("occurrence", "humboldt")
    )
    assert set(occurrences["occurrenceStatus"]) == {"present", "absent"}
    seen = set()
    for row in humboldt.to_dict("records"):
        own = occurrences[occurrences["eventID"] == row["eventID"]]
        absent, present = own[own["occurrenceStatus"] == "absent"], own[own["occurrenceStatus"] == "present"]
        assert row["isAbsenceReported"] == ("true" if len(absent) else "false")
        assert sorted(filter(None, row["absentTaxa"].split(" | "))) == sorted(absent["scientificName"])
        assert row["isAbundanceReported"] == ("true" if len(present) else "false") and (present["individualCount"] != "").all()
        seen.add((row["isAbsenceReported"], row["isAbundanceReported"]))
    # the visit with eggs claims nothing, neither that it found nor that it missed something
    assert seen == {("true", "true"), ("false", "false"), ("false", "true")}


def test_the_contact_is_a_party_with_an_address(ours: dict[str, str]) -> None:
    """EML 2.2.0, ResponsibleParty: a name of a person, an organisation or a position first, then the addresses."""
    dataset = ET.fromstring(ours["eml.xml"]).find("dataset")
    for party in ("creator", "contact"):
        assert [child.tag for child in dataset.find(party)] == ["organizationName", "electronicMailAddress"]
    assert dataset.findtext("contact/electronicMailAddress") == "curator@example.org"
