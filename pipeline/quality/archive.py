"""A Darwin Core archive that someone else made, read as one row an occurrence in Darwin Core terms."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pandas as pd

from pipeline.errors import RillbookError

TEXT = "{http://rs.tdwg.org/dwc/text/}"
META, ID = "meta.xml", "coreid"
OCCURRENCE = "http://rs.tdwg.org/dwc/terms/Occurrence"
SIGNS = {"\\t": "\t", "\\n": "\n", "\\r": "\r"}
REMEDY = "Ask for the archive again, or unpack it and give the table of occurrences."
# An archive of a survey is far smaller; a file that unpacks to more is refused before it fills the memory
LARGEST_BYTES = 2_000_000_000


def is_archive(path: Path) -> bool:
    """Whether a file is a zip that holds a meta.xml."""
    try:
        return zipfile.is_zipfile(path) and META in zipfile.ZipFile(path).namelist()
    except OSError:
        return False


def read_archive(path: Path) -> pd.DataFrame:
    """Read the occurrences of an archive; terms of their events are added where an occurrence lacks them.

    Parameters
    ----------
    path : Path
        A zip with a meta.xml (Darwin Core text guide).

    Returns
    -------
    DataFrame of str
        Columns named by terms without namespace; the rows of the core where there is no table of occurrences.

    Raises
    ------
    RillbookError
        The archive is damaged, or its description does not fit its files.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            if sum(one.file_size for one in archive.infolist()) > LARGEST_BYTES:
                raise RillbookError("the archive is too large to read at once.", "Split it.", str(path))
            text = archive.read(META).decode("utf-8-sig")
            if "<!DOCTYPE" in text:
                raise RillbookError("meta.xml declares a document type, which is not read.", REMEDY, str(path))
            described = ElementTree.fromstring(text)
            cores = [one for one in described if one.tag == f"{TEXT}core"]
            extensions = [one for one in described if one.tag == f"{TEXT}extension" and str(one.get("rowType")) == OCCURRENCE]
            tables = [_table(archive, one) for one in [*cores[:1], *(one for one in extensions[:1] if cores)]]
    except (zipfile.BadZipFile, ElementTree.ParseError, KeyError, ValueError, LookupError, OSError, csv.Error) as problem:
        raise RillbookError(f"the Darwin Core archive cannot be read ({problem}).", REMEDY, str(path)) from None
    if not tables:
        raise RillbookError("meta.xml describes no core table.", REMEDY, str(path))
    return (tables[0] if len(tables) == 1 else _with_events(tables[1], tables[0])).drop(columns=ID)


def _files(described: Any) -> list[str]:
    return [str(one.text).strip() for one in described.iter(f"{TEXT}location")]


def _table(archive: zipfile.ZipFile, described: Any) -> pd.DataFrame:
    def sign(name: str, default: str) -> str:
        given = described.get(name, default)
        return SIGNS.get(given, given)

    fields = [one for one in described if one.tag == f"{TEXT}field"]
    key = next((one for one in described if one.tag in (f"{TEXT}id", f"{TEXT}coreid")), None)
    rows: list[list[str]] = []
    for name in _files(described):
        text = archive.read(name).decode(described.get("encoding", "UTF-8"))
        quote = sign("fieldsEnclosedBy", '"')
        style: dict[str, Any] = {"quotechar": quote} if quote else {"quoting": csv.QUOTE_NONE}
        lines = list(csv.reader(io.StringIO(text.lstrip("\ufeff"), newline=""), delimiter=sign("fieldsTerminatedBy", ","), **style))
        rows += [line for line in lines[int(described.get("ignoreHeaderLines", 0)) :] if line]
    columns: Mapping[str, list[str]] = {ID: ["" if key is None else _cell(row, key.get("index"), "") for row in rows]} | {
        str(one.get("term")).rpartition("/")[2]: [_cell(row, one.get("index"), one.get("default", "")) for row in rows] for one in fields
    }
    return pd.DataFrame(columns, dtype="str")


def _cell(row: list[str], index: str | None, default: str) -> str:
    return (row[int(index)] if index is not None and int(index) < len(row) else "") or default


def _with_events(occurrences: pd.DataFrame, events: pd.DataFrame) -> pd.DataFrame:
    missing = [name for name in events if name not in occurrences]
    shared = [name for name in events if name in occurrences and name != ID]
    joined = occurrences.merge(events.drop_duplicates(ID), on=ID, how="left", suffixes=("", " of the event"))
    for name in shared:
        joined[name] = joined[name].where(joined[name].ne(""), joined[f"{name} of the event"])
    return joined[[*occurrences.columns, *missing]].fillna("")
