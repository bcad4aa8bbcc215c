"""Every sheet that was ever loaded, as it was written: the text of each cell with its file, its line and its load."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.book.damage import is_damage
from pipeline.book.engine import engine

if TYPE_CHECKING:
    from pipeline.book.engine import DuckDBPyConnection

OURS = ("load", "file", "sheet", "line", "fate")
AT_ONCE = 10_000


def sheets_as_written(connection: DuckDBPyConnection) -> Iterator[tuple[str, str | None, int]]:
    """Sheets of every load, those that were undone too.

    Parameters
    ----------
    connection : DuckDBPyConnection
        An open book.

    Yields
    ------
    name : str
        Name of the file to write it to: load, number in the load, file and sheet.
    text : str or None
        CSV: `OURS`, then the columns of the sheet under their headings, cell by cell as the file had them. What stood to the right of
        the headings comes in columns without a heading. None where the page of a damaged book that holds it cannot be read.
    rows : int
        Number of rows.
    """
    duckdb = engine()

    sources = connection.execute("SELECT load_id, source, file, sheet, header FROM source_files ORDER BY load_id, source").fetchall()
    for load_id, source, file, sheet, header in sources:
        words = re.sub(r"[^A-Za-z0-9._-]+", "_", f"{Path(file).stem}{'_' + sheet if sheet else ''}")[:60]
        name = f"load_{load_id}_{source + 1}_{words}.csv"
        # a connection of its own: after a page that cannot be read nothing more is answered in the same transaction
        apart = connection.cursor()
        try:
            yield name, *_one_sheet(apart, load_id, source, [file, sheet or ""], json.loads(header or "[]"))
        except duckdb.Error as problem:
            if not is_damage(problem):
                raise
            yield name, None, 0
        finally:
            apart.close()


def _one_sheet(connection: DuckDBPyConnection, load_id: int, source: int, where: list[str], header: list[str]) -> tuple[str, int]:
    rows = connection.execute(
        "SELECT line, fate, cells FROM source_rows WHERE load_id = ? AND source = ? ORDER BY source_row", [load_id, source]
    )
    out, number = io.StringIO(), 0
    # every text in quotes: a reader must not take 007 or 1:05 for something else
    writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\n")
    writer.writerow([*OURS, *header])
    while some := rows.fetchmany(AT_ONCE):
        writer.writerows([load_id, *where, line, fate, *json.loads(cells)] for line, fate, cells in some)
        number += len(some)
    return out.getvalue(), number
