"""Readings of loggers in the book: staged chunk by chunk, compared in SQL with what is there, appended; all through an open connection."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

# Two exports of one reading may round differently in the last binary digit
ALIKE = 1e-6

# Beyond this DuckDB puts what is staged on disk, beside the book
MEMORY = "300MB"
STAGED = """
CREATE TABLE staged (source INTEGER, line BIGINT, logger_id VARCHAR, read_at TIMESTAMP, temp_c DOUBLE, rh_pct DOUBLE);
CREATE TABLE texts (source INTEGER, source_row INTEGER, line INTEGER, fate VARCHAR, cells VARCHAR)"""
SAME = f"""coalesce(abs(s.temp_c - o.temp_c) <= {ALIKE}, s.temp_c IS NULL AND o.temp_c IS NULL)
  AND coalesce(abs(s.rh_pct - o.rh_pct) <= {ALIKE}, s.rh_pct IS NULL AND o.rh_pct IS NULL)"""
# Files whose times rise and in whose span neither another file of their logger nor the book has anything: nothing is to be compared
APART = """
CREATE OR REPLACE TEMP TABLE apart AS
WITH spans AS (SELECT source, logger_id, min(read_at) AS low, max(read_at) AS high FROM staged GROUP BY ALL)
SELECT * FROM spans s WHERE list_contains($1::INTEGER[], source)
  AND NOT EXISTS (SELECT 1 FROM spans o WHERE o.logger_id = s.logger_id AND o.source <> s.source AND o.low <= s.high AND s.low <= o.high)
  AND NOT EXISTS (SELECT 1 FROM logger_readings r WHERE r.logger_id = s.logger_id AND r.read_at BETWEEN s.low AND s.high)
"""
# The first reading of a logger and instant counts: the book's, else the first in the order of files and lines
COMPARED = f"""
CREATE OR REPLACE TEMP TABLE compared AS
WITH staged AS (SELECT * FROM staged WHERE source NOT IN (SELECT source FROM apart)),
firsts AS (SELECT * FROM staged QUALIFY row_number() OVER (PARTITION BY logger_id, read_at ORDER BY source, line) = 1),
known AS (SELECT logger_id, read_at, temp_c, rh_pct FROM logger_readings SEMI JOIN firsts USING (logger_id, read_at)),
owners AS (SELECT * FROM known UNION ALL SELECT logger_id, read_at, temp_c, rh_pct FROM firsts ANTI JOIN known USING (logger_id, read_at))
SELECT s.source, s.line, s.logger_id, s.read_at, s.temp_c, s.rh_pct, CASE WHEN f.line IS NOT NULL AND k.logger_id IS NULL THEN 'stored'
  WHEN {SAME} THEN 'same' ELSE 'differs' END AS fate, k.logger_id IS NOT NULL AS in_book, o.temp_c AS other_c, o.rh_pct AS other_pct
FROM staged s JOIN owners o USING (logger_id, read_at)
LEFT JOIN firsts f ON f.source = s.source AND f.line = s.line LEFT JOIN known k ON k.logger_id = s.logger_id AND k.read_at = s.read_at;
"""
JUDGED = """
CREATE OR REPLACE TEMP VIEW judged AS SELECT * FROM compared UNION ALL
SELECT source, line, logger_id, read_at, temp_c, rh_pct, 'stored' AS fate, FALSE AS in_book, temp_c AS other_c, rh_pct AS other_pct
FROM staged WHERE source IN (SELECT source FROM apart)
"""


def known_loggers(connection: Any) -> pd.DataFrame:
    """Loggers of the book: ``logger_id``, ``site_id``, ``enclosure_id``, ``medium``."""
    return connection.execute("SELECT logger_id, site_id, enclosure_id, medium FROM loggers ORDER BY logger_id").df()


def begin(connection: Any) -> None:
    """Make room for readings that are on their way, in a database of their own: the book is left to others meanwhile."""
    _sparing(connection)
    # rows come in small parts: a second thread waits more than it works
    connection.execute("SET threads = 1")
    connection.execute(STAGED)


def take(connection: Any, path: Path) -> None:
    """Show an open book what was staged in a database that is closed by now."""
    _sparing(connection)
    place = str(path).replace("'", "''")
    connection.execute(f"ATTACH '{place}' AS scratch (READ_ONLY)")
    for name in ("staged", "texts"):
        connection.execute(f"CREATE OR REPLACE TEMP VIEW {name} AS SELECT * FROM scratch.{name}")


def _sparing(connection: Any) -> None:
    connection.execute(f"SET memory_limit = '{MEMORY}'")
    connection.execute("SET preserve_insertion_order = false")


def add(connection: Any, source: int, logger_id: str, readings: pd.DataFrame) -> None:
    """Stage the readings of one chunk of a file."""
    if len(readings):
        named = logger_id.replace("'", "''")
        frame = connection.from_df(readings[["line", "read_at", "temp_c", "rh_pct"]])
        frame.project(f"{source}, line, '{named}', read_at, temp_c, rh_pct").insert_into("staged")


def add_rows(connection: Any, source: int, rows: pd.DataFrame, first_row: int) -> None:
    """Stage all rows of one chunk of a file as text; `first_row` is the number of the first, from 0."""
    if len(rows):
        frame = connection.from_df(rows.assign(source_row=np.arange(first_row, first_row + len(rows))))
        frame.project(f"{source}, source_row, line, fate, cells").insert_into("texts")


def _append(connection: Any, table: str, frame: pd.DataFrame, columns: tuple[str, ...]) -> None:
    """Append rows; the columns must be those of the table, in order.

    A registered frame would be kept until the transaction ends, chunk after chunk; this way each is let go at once.
    """
    if len(frame):
        connection.from_df(frame[list(columns)]).insert_into(table)


def judge(connection: Any, rising: list[int] | None = None) -> pd.DataFrame:
    """Compare staged readings with one another and with the book.

    Parameters
    ----------
    connection : DuckDBPyConnection
        A book in which readings are staged.
    rising : list of int, optional
        Numbers of the files in which each reading is later than the one before.

    Returns
    -------
    DataFrame
        ``source``, ``fate`` (stored, same, differs), ``n``, and of the first such reading ``line``, ``read_at``, ``temp_c``, ``rh_pct``,
        ``other_c``, ``other_pct`` (what is stored in its place).
    """
    connection.execute(APART, [rising or []])
    connection.execute(COMPARED)
    connection.execute(JUDGED)
    return connection.execute("""
        SELECT source, fate, count(*) AS n, min(line) AS line, arg_min(read_at, line) AS read_at, arg_min(temp_c, line) AS temp_c,
          arg_min(rh_pct, line) AS rh_pct, arg_min(other_c, line) AS other_c, arg_min(other_pct, line) AS other_pct
        FROM judged GROUP BY source, fate ORDER BY source, fate""").df()


def overlaps(connection: Any) -> pd.DataFrame:
    """Files whose span holds readings of the same logger from another file of the load or from the book.

    Returns
    -------
    DataFrame
        ``source``, ``from_at``, ``to_at`` (of the others), ``n`` of them, ``same`` and ``differs`` (readings of the file at their times).
    """
    return connection.execute("""
        WITH spans AS (SELECT source, logger_id, min(read_at) AS low, max(read_at) AS high, count(*) FILTER (fate = 'same') AS same,
          count(*) FILTER (fate = 'differs') AS differs FROM compared GROUP BY ALL),
        others AS (SELECT -1 AS source, logger_id, read_at FROM logger_readings UNION ALL SELECT source, logger_id, read_at FROM compared)
        SELECT s.source, min(o.read_at) AS from_at, max(o.read_at) AS to_at, count(*) AS n, any_value(s.same) AS same,
          any_value(s.differs) AS differs
        FROM spans s JOIN others o ON o.logger_id = s.logger_id AND o.source < s.source AND o.read_at BETWEEN s.low AND s.high
        GROUP BY s.source ORDER BY s.source""").df()


def air_days(connection: Any, site_id: str, shift_us: int, *, staged: bool = True) -> pd.DataFrame:
    """Daily figures of the air loggers at a site, from the book and from what is staged: ``day``, ``low``, ``high``, ``mean``, °C."""
    waiting = "UNION SELECT logger_id, read_at, temp_c FROM judged SEMI JOIN one USING (logger_id) WHERE fate = 'stored'" if staged else ""
    return connection.execute(
        f"""WITH one AS (SELECT min(logger_id) AS logger_id FROM loggers WHERE site_id = $1 AND medium = 'air'),
        air AS (SELECT logger_id, read_at, temp_c FROM logger_readings SEMI JOIN one USING (logger_id) {waiting})
        SELECT date_trunc('day', read_at + to_microseconds($2))::TIMESTAMP AS day, min(temp_c) AS low, max(temp_c) AS high,
          avg(temp_c) AS mean
        FROM air WHERE temp_c IS NOT NULL
        GROUP BY day ORDER BY day""",
        [site_id, shift_us],
    ).df()


def store(connection: Any, load_id: int, files: pd.DataFrame, flags: pd.DataFrame, held: pd.DataFrame) -> None:
    """Append what is staged to the book.

    Parameters
    ----------
    connection : DuckDBPyConnection
        A book that is open for writing.
    load_id : int
        Number of the load.
    files : DataFrame
        One row a file: ``source``, ``logger_id``, ``file``, ``sha256``, ``serial``, ``step_s``, and as JSON ``found``, ``account``,
        ``header``.
    flags, held : DataFrame
        Rows of logger_flags_all and logger_held_all, without load_id.
    """
    # sorted already where files come one after the other; a sort of all readings costs more than to store them
    spans = connection.execute("SELECT logger_id, low FROM apart ORDER BY source").fetchall()
    compared = connection.execute("SELECT 1 FROM compared LIMIT 1").fetchall()
    connection.execute("SET preserve_insertion_order = true")
    connection.execute(
        f"""INSERT INTO logger_readings_all (load_id, source, line, logger_id, read_at, temp_c, rh_pct)
        SELECT ?, source, line, logger_id, read_at, temp_c, rh_pct FROM judged WHERE fate = 'stored'
        {"ORDER BY logger_id, read_at" if compared or spans != sorted(spans) else ""}""",
        [load_id],
    )
    connection.execute(
        """INSERT INTO source_rows (load_id, source, source_row, line, fate, cells)
        SELECT ?, source, source_row, line, fate, cells FROM texts""",
        [load_id],
    )
    connection.execute(
        """INSERT INTO rests SELECT DISTINCT ?, a.load_id FROM compared j
        JOIN logger_readings_all a ON a.logger_id = j.logger_id AND a.read_at = j.read_at SEMI JOIN active ON active.load_id = a.load_id
        WHERE j.in_book AND a.load_id <> ?""",
        [load_id, load_id],
    )
    named = files.assign(load_id=load_id, sheet="")
    _append(connection, "source_files", named, ("load_id", "source", "file", "sheet", "sha256", "header"))
    _append(
        connection, "logger_files_all", named, ("load_id", "source", "logger_id", "file", "sha256", "serial", "step_s", "found", "account")
    )
    columns = ("load_id", "source", "logger_id", "file", "rule", "field")
    _append(
        connection,
        "logger_flags_all",
        flags.assign(load_id=load_id),
        (*columns, "from_at", "to_at", "n", "value", "message", "remedy", "line"),
    )
    _append(connection, "logger_held_all", held.assign(load_id=load_id), (*columns, "text", "n", "message", "remedy", "line"))


def summary(connection: Any) -> dict[str, Any]:
    """What the book holds of loggers: readings, files, flags by rule, and how much is held back."""
    readings, loggers = connection.execute("SELECT count(*), count(DISTINCT logger_id) FROM logger_readings").fetchall()[0]
    rules = connection.execute("SELECT rule, count(*) FROM logger_flags GROUP BY rule ORDER BY rule").fetchall()
    held = connection.execute("SELECT coalesce(sum(n), 0) FROM logger_held").fetchall()[0][0]
    return {"readings": readings, "loggers_with_readings": loggers, "flags": dict(rules), "held": int(held)}


def as_json(value: Any) -> str:
    """Compact JSON text."""
    return json.dumps(value, ensure_ascii=False)
