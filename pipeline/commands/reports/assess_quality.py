"""From a book, or a file that someone sends, to the report of data quality."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path

import pandas as pd

from pipeline.commands.publish import statement
from pipeline.commands.reports.report_files import Written
from pipeline.errors import RillbookError
from pipeline.intake.settings_changed import settled
from pipeline.publishing.darwin_core import archive_frames
from pipeline.publishing.public_book import public_book
from pipeline.publishing.publication import standard_words, texts
from pipeline.quality import archive as archive_file
from pipeline.quality import report as quality
from pipeline.reading import files as read
from pipeline.reading.rows import refuse_repeats
from pipeline.settings import Settings
from pipeline.writing.files import write_files
from pipeline.writing.spreadsheet import csv_text
from schemas.fields import Field
from schemas.tables import fields

FROM_TABLES = ("finds", "visits", "sites")
OURS = ("visit_id", "site_id", "taxon")
KEYS = {"visits": "visit_id", "sites": "site_id"}
OWN = "the book's own rows, as they would be published"


def write_quality(folder: Path, paths: Sequence[Path] = ()) -> Written:
    """Write the report of data quality, page and tables, to ``out/private/``.

    Parameters
    ----------
    folder : Path
        The book.
    paths : sequence of Path
        A file in Darwin Core terms (text with delimiters, workbook or Darwin Core archive), or files made for rillbook that belong
        together; the book's own rows, as they would be published, where none is given.

    Returns
    -------
    Written
        Tables ``summary``, ``responses`` and ``records`` of `quality.Assessment`.

    Raises
    ------
    RillbookError
        The book is empty, the file cannot be read or has no column that any test reads, or the report cannot be written.
    """
    settings = settled(folder)
    rows, names = file_rows(list(paths), settings) if paths else own_rows(folder, settings)
    found = quality.assess(rows, names)
    stem = f"quality_{re.sub(r'[^A-Za-z0-9.-]+', '_', paths[-1].stem).strip('._') or 'file'}" if paths else "quality"
    out = folder / "out" / "private"
    tables = {"summary": found.summary, "responses": found.responses, "records": found.records}
    files = [out / f"{stem}.html", *(out / f"{stem}_{name}.csv" for name in tables)]
    page = quality.page(found, ", ".join(path.name for path in paths) or OWN, settings)
    write_files(dict(zip(files, [page, *map(csv_text, tables.values())], strict=True)), "the report")
    return Written(files, tables)


def own_rows(folder: Path, settings: Settings) -> tuple[pd.DataFrame, pd.Series]:
    """Occurrences of the book with their events, in Darwin Core terms, exactly as they would be published.

    Returns
    -------
    DataFrame of str
        One row a find, or a taxon that was looked for and not found.
    Series of str
        Code of the find in the book, or the public code where there is none.
    """
    shown = public_book(folder, settings)
    licence = standard_words().get(("license", re.sub(r"[\s-]+", "-", settings.licence.strip().lower())), (settings.licence,) * 2)
    said = statement(settings, licence, date.today().isoformat(), shown.memory.key)
    frames = archive_frames(shown.tables, texts(shown.tables), said)
    events = frames["event"]
    fresh = [name for name in events if name == "eventID" or name not in frames["occurrence"]]
    rows = frames["occurrence"].merge(events[fresh], on="eventID", how="left")
    own = shown.withheld.codes
    return rows, rows["occurrenceID"].map(dict(zip(own["public_code"], own["code"], strict=True))).fillna(rows["occurrenceID"])


def file_rows(paths: list[Path], settings: Settings) -> tuple[pd.DataFrame, pd.Series]:
    """Rows of files in Darwin Core terms, and what to call each: its line.

    Raises
    ------
    RillbookError
        A file cannot be read, there are several in Darwin Core terms, or none has a column that any test reads.
    """
    where = ", ".join(map(str, paths))
    if archive_file.is_archive(paths[0]) and len(paths) == 1:
        rows = archive_file.read_archive(paths[0])
        return rows, pd.Series(range(1, len(rows) + 1)).astype(str)
    sources = read.read_files(paths)
    for one in sources:
        refuse_repeats(one)
    tables = {table: source for source in sources if (table := _table_of(source.cells))}
    base = next((name for name in FROM_TABLES if name in tables), None)
    if base is not None:
        return _joined({name: source.cells for name, source in tables.items()}, settings), pd.Series(tables[base].lines).astype(str)
    readable = [source for source in sources if set(quality.in_terms(source.cells.head(0))) & quality.READ_TERMS]
    if len(readable) > 1:
        raise RillbookError("more than one table is in Darwin Core terms.", "Give one at a time.", where)
    if not readable:
        raise RillbookError(
            "no column is named by a term of Darwin Core that a test reads, and it is no sheet made for rillbook.",
            "Name the columns by terms such as eventDate, scientificName and decimalLatitude.",
            where,
        )
    return readable[0].cells, pd.Series(readable[0].lines).astype(str)


def _table_of(cells: pd.DataFrame) -> str:
    """Which table of rillbook a sheet holds, by its required columns; empty for none."""
    for table in FROM_TABLES:
        if {name for name, field in fields(table).items() if field.key} <= set(cells) and len(set(cells) & set(fields(table))) > 1:
            return table
    return ""


def _joined(tables: Mapping[str, pd.DataFrame], settings: Settings) -> pd.DataFrame:
    """Finds with their visits and sites, or what there is of them; a term of the visit or site fills what the find leaves empty."""
    base = next(name for name in FROM_TABLES if name in tables)
    joined = _terms(tables[base], fields(base), keep=OURS)
    for table, key in KEYS.items():
        if table in tables and table != base and key in joined:
            more = _terms(tables[table], fields(table), keep=OURS).drop_duplicates(key).set_index(key)
            found = more.reindex(joined[key]).fillna("").set_axis(joined.index)
            for name in found:
                joined[name] = joined[name].where(joined[name] != "", found[name]) if name in joined else found[name]
    if "taxon" in joined:
        taxa = _terms(settings.taxa, fields("taxa"), keep=("code",)).drop_duplicates("code").set_index("code")
        joined = joined.join(taxa, on="taxon")
    return joined.drop(columns=[name for name in OURS if name in joined])


def _terms(frame: pd.DataFrame, declared: Mapping[str, Field], keep: tuple[str, ...] = ()) -> pd.DataFrame:
    """Columns of a table as text under their Darwin Core terms; those of `keep` under their own names as well."""
    columns = {field.darwin_core: frame[name] for name, field in declared.items() if name in frame and field.darwin_core}
    columns |= {name: frame[name] for name in keep if name in frame}
    return pd.DataFrame({name: column.astype(object).where(column.notna(), "").astype(str) for name, column in columns.items()})
