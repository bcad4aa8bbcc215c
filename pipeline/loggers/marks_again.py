"""Marks of stored readings that rest on the time zone of the book, made anew after a change of it: days, and nights when clocks change.

The instants of readings rest on the offset that the file or its map states, and never move.
"""

from __future__ import annotations

import json
from typing import Any

import pandas as pd

from pipeline.errors import RillbookError
from pipeline.loggers import checks, staging
from pipeline.loggers.stretches import FLAG_COLUMNS

AGAIN = ("clock_changed", "gap", "time_back", "time_twice", "flat_day", "out_of_water")
"""Rules that ask for the day, or for the nights in which daylight saving changes."""
COLUMNS = ("load_id", "source", "logger_id", "file", *FLAG_COLUMNS)


def marks_again(connection: Any, time_zone: str) -> tuple[int, int]:
    """Check the stored readings of every logger file again for what rests on the time zone.

    Parameters
    ----------
    connection : DuckDBPyConnection
        A book that is open for writing.
    time_zone : str
        IANA name.

    Returns
    -------
    int, int
        Files that were checked, and how many of them have other marks now.

    Raises
    ------
    RillbookError
        Of a file not every reading is stored, because another file brought some of them: its days cannot be told from what is stored.

    Notes
    -----
    Days out of the water are compared with the air logger of the site as the book has it now, which may have come later.
    """
    files = connection.execute("""
        WITH known AS (SELECT logger_id, arg_max(medium, load_id) AS medium, arg_max_null(site_id, load_id) AS site_id
          FROM loggers_all GROUP BY ALL)
        SELECT f.load_id, f.source, f.logger_id, f.file, f.step_s, f.account, k.medium, k.site_id
        FROM logger_files_all f JOIN loads l USING (load_id) JOIN known k USING (logger_id)
        WHERE l.undone_at IS NULL ORDER BY f.load_id, f.source""").df()
    _refuse_parts(connection, files)
    changed = 0
    for one in files.itertuples():
        where = [one.load_id, one.source]
        listed = ", ".join(COLUMNS)
        of_file = f"FROM logger_flags_all WHERE load_id = ? AND source = ? AND rule IN {AGAIN}"
        before = connection.execute(f"SELECT {listed} {of_file}", where).df()
        new = _marks(connection, one, time_zone).assign(load_id=one.load_id, source=one.source, logger_id=one.logger_id, file=one.file)
        connection.execute(f"DELETE {of_file}", where)
        connection.register("incoming", new[list(COLUMNS)])
        connection.execute(f"INSERT INTO logger_flags_all ({listed}) SELECT {listed} FROM incoming")
        connection.unregister("incoming")
        after = connection.execute(f"SELECT {listed} {of_file}", where).df()
        changed += _as_set(before) != _as_set(after)
    return len(files), changed


def move_days_to_the_local_clock(connection: Any, time_zone: str) -> int:
    """Mend days out of the water of books that knew no settings of their rows: they were stored as if local midnight were that of UTC.

    Returns
    -------
    int
        Marks that were moved.
    """
    shift = checks.standard_shift_us(time_zone)
    moved = connection.execute(
        "UPDATE logger_flags_all SET from_at = from_at - to_microseconds($1), to_at = to_at - to_microseconds($1)"
        " WHERE rule = 'out_of_water' AND $1 <> 0",
        {"1": shift},
    ).fetchall()
    return int(moved[0][0])


def _marks(connection: Any, file: Any, time_zone: str) -> pd.DataFrame:
    readings = connection.execute(
        "SELECT line, read_at, temp_c, rh_pct FROM logger_readings_all WHERE load_id = ? AND source = ? ORDER BY line",
        [file.load_id, file.source],
    ).df()
    state = checks.watch(file.medium, float("nan") if file.step_s is None else float(file.step_s), time_zone)
    # hours that came twice or never were rest on the clock of the file: those marks stay as they are
    checks.feed(state, readings.assign(ambiguous=False, skipped=False))
    flags, days = checks.finish(state)
    found = [flags[flags["rule"].isin(AGAIN)]]
    if file.medium == "water":
        here = file.site_id if isinstance(file.site_id, str) else ""
        shift = checks.standard_shift_us(time_zone)
        air = staging.air_days(connection, here, shift, staged=False) if here else None
        found.append(checks.out_of_water(days, shift, air))
    some = [one for one in found if len(one)]
    return pd.concat(some, ignore_index=True) if some else flags.iloc[:0]


def _refuse_parts(connection: Any, files: pd.DataFrame) -> None:
    differing = set(connection.execute("SELECT DISTINCT load_id, source FROM logger_held_all WHERE rule = 'reading_differs'").fetchall())
    for one in files.itertuples():
        if json.loads(one.account)["rows"].get("same") or (one.load_id, one.source) in differing:
            what = (
                f"the time zone in rillbook.toml was changed, and the days of {one.file} of load {one.load_id} cannot be told anew: some "
                "of its readings stand in the book by another file. Nothing was changed."
            )
            remedy = f"Put time_zone back; or `rillbook undo {one.load_id}`, and load that file again after the change."
            raise RillbookError(what, remedy)


def _as_set(frame: pd.DataFrame) -> set[tuple[str, ...]]:
    return set(frame.astype("str").itertuples(index=False, name=None))
