"""Readings of loggers in the book: staged chunk by chunk, compared in SQL with what is there, appended; all through an open connection."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pandas as pd

# Two exports of one reading may round differently in the last binary digit
ALIKE = 1e-6

# Beyond this DuckDB puts what it works on in the folder of what is staged
MEMORY = "128MB"
# To compare and to sort readings it needs more
MEMORY_TO_COMPARE = "300MB"
# Readings that are compared at once
SLICE = 200_000
STAGED = """
CREATE TABLE staged (source INTEGER, line BIGINT, logger_id VARCHAR, read_at TIMESTAMP, temp_c DOUBLE, rh_pct DOUBLE);
CREATE TABLE texts (source INTEGER, source_row INTEGER, line INTEGER, n INTEGER, fate VARCHAR,
  cells VARCHAR USING COMPRESSION uncompressed)"""
SAME = f"""coalesce(abs(s.temp_c - o.temp_c) <= {ALIKE}, s.temp_c IS NULL AND o.temp_c IS NULL)
  AND coalesce(abs(s.rh_pct - o.rh_pct) <= {ALIKE}, s.rh_pct IS NULL AND o.rh_pct IS NULL)"""
SPANS = """
CREATE OR REPLACE TEMP TABLE spans AS
SELECT source, logger_id, min(read_at) AS low, max(read_at) AS high FROM staged GROUP BY ALL
"""
# Files whose times rise and in whose span neither another file of their logger nor the book has anything: nothing is to be compared
APART = """
CREATE OR REPLACE TEMP TABLE apart AS
SELECT * FROM spans s WHERE list_contains($1::INTEGER[], source)
  AND NOT EXISTS (SELECT 1 FROM spans o WHERE o.logger_id = s.logger_id AND o.source <> s.source AND o.low <= s.high AND s.low <= o.high)
  AND source NOT IN (SELECT DISTINCT source FROM logger_readings r JOIN spans USING (logger_id) WHERE r.read_at BETWEEN low AND high)
"""
TO_COMPARE = """
SELECT date_trunc('day', read_at)::TIMESTAMP AS day, count(*) AS n FROM staged ANTI JOIN apart USING (source) GROUP BY day ORDER BY day
"""
NOTHING_COMPARED = """
CREATE OR REPLACE TEMP TABLE compared (source INTEGER, line BIGINT, logger_id VARCHAR, read_at TIMESTAMP, temp_c DOUBLE, rh_pct DOUBLE,
  fate VARCHAR, in_load INTEGER, other_c DOUBLE, other_pct DOUBLE)
"""
# The first reading of a logger and instant counts: the book's, else the first in the order of files and lines
COMPARED = f"""
INSERT INTO compared
WITH slice AS (SELECT *, source::BIGINT << 40 | line AS place FROM staged ANTI JOIN apart USING (source)
  WHERE read_at >= $1 AND read_at < $2),
firsts AS (SELECT logger_id, read_at, min(place) AS place, arg_min_null(temp_c, place) AS temp_c, arg_min_null(rh_pct, place) AS rh_pct
  FROM slice GROUP BY ALL),
known AS (SELECT logger_id, read_at, temp_c, rh_pct, load_id FROM logger_readings SEMI JOIN spans USING (logger_id)
  WHERE read_at >= $1 AND read_at < $2),
owners AS (SELECT f.logger_id, f.read_at, f.place, k.load_id, if(k.load_id IS NULL, f.temp_c, k.temp_c) AS temp_c,
  if(k.load_id IS NULL, f.rh_pct, k.rh_pct) AS rh_pct
  FROM firsts f LEFT JOIN known k ON k.logger_id = f.logger_id AND k.read_at = f.read_at)
SELECT s.source, s.line, s.logger_id, s.read_at, s.temp_c, s.rh_pct, CASE WHEN o.load_id IS NULL AND s.place = o.place THEN 'stored'
  WHEN {SAME} THEN 'same' ELSE 'differs' END AS fate, o.load_id AS in_load, o.temp_c AS other_c, o.rh_pct AS other_pct
FROM slice s JOIN owners o ON o.logger_id = s.logger_id AND o.read_at = s.read_at
"""
JUDGED = """
CREATE OR REPLACE TEMP VIEW judged AS SELECT * FROM compared UNION ALL
SELECT source, line, logger_id, read_at, temp_c, rh_pct, 'stored' AS fate, NULL AS in_load, temp_c AS other_c, rh_pct AS other_pct
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
    place, beside = (str(one).replace("'", "''") for one in (path, path.parent))
    connection.execute(f"SET temp_directory = '{beside}'")
    connection.execute(f"ATTACH '{place}' AS scratch (READ_ONLY)")
    for name in ("staged", "texts"):
        connection.execute(f"CREATE OR REPLACE TEMP VIEW {name} AS SELECT * FROM scratch.{name}")


def _sparing(connection: Any) -> None:
    connection.execute(f"SET memory_limit = '{MEMORY}'")
    connection.execute("SET preserve_insertion_order = false")
    # each thread needs memory of its own
    connection.execute("SET threads = 2")


def add(connection: Any, source: int, logger_id: str, chunk: pd.DataFrame) -> None:
    """Stage the readings of one chunk of a file; DuckDB finds the frame by its name here, and lets it go at once."""
    if len(chunk):
        connection.execute("INSERT INTO staged SELECT ?, line, ?, read_at, temp_c, rh_pct FROM chunk", [source, logger_id])


def add_texts(connection: Any, source: int, chunk: pd.DataFrame, first_row: int) -> None:
    """Stage all rows of one chunk of a file as text; `first_row` is the number of the first, from 0."""
    connection.execute("INSERT INTO texts SELECT ?, ? + first, line, n, fate, cells FROM chunk", [source, first_row])


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
    # a table of its own, so that the database knows that it is small, and looks up readings in it and not it in all readings
    connection.execute(SPANS)
    connection.execute(APART, [rising or []])
    connection.execute(NOTHING_COMPARED)
    days = connection.execute(TO_COMPARE).df()
    if len(days):
        connection.execute(f"SET memory_limit = '{MEMORY_TO_COMPARE}'")
    for low, high in _slices(days):
        connection.execute(COMPARED, [low, high])
    connection.execute(JUDGED)
    return connection.execute("""
        SELECT source, fate, count(*) AS n, min(line) AS line, arg_min(read_at, line) AS read_at, arg_min(temp_c, line) AS temp_c,
          arg_min(rh_pct, line) AS rh_pct, arg_min(other_c, line) AS other_c, arg_min(other_pct, line) AS other_pct
        FROM judged GROUP BY source, fate ORDER BY source, fate""").df()


def _slices(days: pd.DataFrame) -> Iterator[tuple[pd.Timestamp, pd.Timestamp]]:
    """Spans of whole days, each with about `SLICE` readings: what is compared at once stays small, however long a file is."""
    for _, some in days.groupby(days["n"].cumsum() // SLICE):
        yield some["day"].iloc[0], some["day"].iloc[-1] + pd.Timedelta(days=1)


def overlaps(connection: Any) -> pd.DataFrame:
    """Files whose span holds readings of the same logger from another file of the load or from the book.

    Returns
    -------
    DataFrame
        ``source``, ``from_at``, ``to_at`` (of the others), ``n`` of them, ``same`` and ``differs`` (readings of the file at their times).
    """
    # a table of its own for the same reason as the spans of all
    connection.execute("""
        CREATE OR REPLACE TEMP TABLE touched AS
        SELECT source, logger_id, min(read_at) AS low, max(read_at) AS high, count(*) FILTER (fate = 'same') AS same,
          count(*) FILTER (fate = 'differs') AS differs FROM compared GROUP BY ALL""")
    return connection.execute("""
        WITH others AS (SELECT -1 AS source, logger_id, read_at FROM logger_readings
          UNION ALL SELECT source, logger_id, read_at FROM compared)
        SELECT s.source, min(o.read_at) AS from_at, max(o.read_at) AS to_at, count(*) AS n, any_value(s.same) AS same,
          any_value(s.differs) AS differs
        FROM touched s JOIN others o ON o.logger_id = s.logger_id AND o.source < s.source AND o.read_at BETWEEN s.low AND s.high
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
    unsorted = spans != sorted(spans) or bool(connection.execute("SELECT 1 FROM compared LIMIT 1").fetchall())
    connection.execute("SET preserve_insertion_order = true")
    if unsorted:
        connection.execute(f"SET memory_limit = '{MEMORY_TO_COMPARE}'")
    connection.execute(
        f"""INSERT INTO logger_readings_all (load_id, source, line, logger_id, read_at, temp_c, rh_pct)
        SELECT ?, source, line, logger_id, read_at, temp_c, rh_pct FROM judged WHERE fate = 'stored'
        {"ORDER BY logger_id, read_at" if unsorted else ""}""",
        [load_id],
    )
    connection.execute(
        """INSERT INTO source_rows (load_id, source, source_row, line, fate, cells)
        SELECT ?, source, source_row + i, line + i, fate, cells
        FROM (SELECT * REPLACE (unnest(string_split(cells, chr(10))) AS cells), unnest(range(n)) AS i FROM texts)""",
        [load_id],
    )
    connection.execute(
        "INSERT INTO rests SELECT DISTINCT ?, in_load FROM compared WHERE in_load IS NOT NULL",
        [load_id],
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
