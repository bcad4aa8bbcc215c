"""Archives of Darwin Core as they are read for the tests."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest

from pipeline.errors import RillbookError
from pipeline.quality import archive as archive_file

META = """<?xml version="1.0" encoding="UTF-8"?>
<archive xmlns="http://rs.tdwg.org/dwc/text/">
 <core encoding="UTF-8" fieldsTerminatedBy="\\t" linesTerminatedBy="\\n" fieldsEnclosedBy="" ignoreHeaderLines="1" rowType="http://rs.tdwg.org/dwc/terms/Event">
  <files><location>event.txt</location></files><id index="0"/>
  <field index="1" term="http://rs.tdwg.org/dwc/terms/eventDate"/><field default="EPSG:4326" term="http://rs.tdwg.org/dwc/terms/geodeticDatum"/>
 </core>
 <extension encoding="UTF-8" fieldsTerminatedBy="," linesTerminatedBy="\\n" fieldsEnclosedBy='"' ignoreHeaderLines="0" rowType="http://rs.tdwg.org/dwc/terms/Occurrence">
  <files><location>occurrence.csv</location></files><coreid index="0"/>
  <field index="1" term="http://rs.tdwg.org/dwc/terms/occurrenceID"/><field index="2" term="http://rs.tdwg.org/dwc/terms/eventDate"/>
 </extension>
 <extension rowType="http://rs.tdwg.org/eco/terms/Event"><files><location>lost.csv</location></files><coreid index="0"/></extension>
</archive>"""


def archive(folder: Path, meta: str = META) -> Path:
    path = folder / "theirs.zip"
    with zipfile.ZipFile(path, "w") as file:
        file.writestr("meta.xml", meta)
        file.writestr("event.txt", "id\teventDate\ne1\t2021-05-08\ne2\t2021-05-09\n")
        file.writestr("occurrence.csv", 'e1,"o,1",\ne2,o2,2021-05-10\ne9,o3,\n')
    return path


def test_an_archive_of_events_is_read_by_occurrence(tmp_path):
    path = archive(tmp_path)
    assert archive_file.is_archive(path)
    rows = archive_file.read_archive(path)
    assert rows.to_dict("list") == {
        "occurrenceID": ["o,1", "o2", "o3"],
        "eventDate": ["2021-05-08", "2021-05-10", ""],
        "geodeticDatum": ["EPSG:4326", "EPSG:4326", ""],
    }


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("event.txt", "gone.txt", "cannot be read"),
        ("</archive>", "", "cannot be read"),
        ("<archive", "<!DOCTYPE a [<!ENTITY b 'c'>]><archive", "document type"),
        ("<core", "<extra", "cannot be read"),
        ('index="1"', 'index="one"', "cannot be read"),
        ('encoding="UTF-8" fields', 'encoding="no such" fields', "cannot be read"),
    ],
)
def test_a_damaged_archive_is_an_error(tmp_path, old, new, message):
    with pytest.raises(RillbookError, match=message):
        archive_file.read_archive(archive(tmp_path, META.replace(old, new)))
