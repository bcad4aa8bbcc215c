"""Millions of readings against the lines of their days, in SQL: hours and degree-hours by exact crossing, gaps never bridged (method §10).

The same definitions as in `formulas.series` and `formulas.exceedances`, which a test holds against these: linear between readings, broken
where two readings are further apart than `logger_gap_steps` usual steps. A step that crosses local midnight is cut there, for the lines may
change with the day.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from pipeline.settings.limits import judgement
from pipeline.tanks.stretch import Stretch, local_days, offsets

HOT, COLD = "warm", "cold"
MEMORY = "500MB"
HOUR_US = 3.6e9
STEPS = """CREATE OR REPLACE TEMP TABLE steps AS
SELECT read_at AS a, lead(read_at) OVER w AS b, v AS va, lead(v) OVER w AS vb, ({day})::DATE AS day
FROM series WHERE v IS NOT NULL AND read_at >= ? AND read_at < ? WINDOW w AS (ORDER BY read_at)"""
# `h` is empty across a gap, so that sums leave it out; values between two readings of a gap are never used
PIECES = """CREATE OR REPLACE TEMP VIEW pieces AS
WITH placed AS (SELECT s.*, d.* EXCLUDE (day), epoch_us(b) - epoch_us(a) AS us FROM steps s JOIN days d USING (day)),
cut AS (
  SELECT p.us, d.*, p.a >= d.starts AS is_reading, greatest(p.a, d.starts) AS a, least(p.b, d.ends) AS b,
    p.va + (p.vb - p.va) * (epoch_us(greatest(p.a, d.starts)) - epoch_us(p.a)) / p.us AS va,
    p.va + (p.vb - p.va) * (epoch_us(least(p.b, d.ends)) - epoch_us(p.a)) / p.us AS vb
  FROM placed p JOIN days d ON d.starts < p.b AND d.ends > p.a WHERE p.b > p.ends),
whole AS (SELECT *, true AS is_reading FROM placed WHERE b IS NULL OR b <= ends)
SELECT *, CASE WHEN us <= {gap_us} THEN (epoch_us(b) - epoch_us(a)) / 3.6e9 END AS h
FROM (SELECT * FROM whole UNION ALL BY NAME SELECT * FROM cut)"""


def open_series(connection: Any, logger_id: str, column: str = "temp_c") -> None:
    """Make the readings of one logger of the book the series that is looked at."""
    name = logger_id.replace("'", "''")
    connection.execute(
        f"CREATE OR REPLACE TEMP VIEW series AS SELECT read_at, {column} AS v FROM logger_readings WHERE logger_id = '{name}'"
    )


def prepare(
    connection: Any,
    stretch: Stretch,
    lines: pd.DataFrame,
    above: Sequence[str],
    below: Sequence[str] = (),
    longest_step_h: float | None = None,
) -> float:
    """Cut the series into steps, find its gaps, set the lines of each day beside them, and set aside what reaches beyond one of them.

    Parameters
    ----------
    connection : DuckDBPyConnection
        With a view ``series`` (``read_at`` in UTC, ``v``), one reading an instant.
    stretch : Stretch
        What is looked at.
    lines : DataFrame
        One row a day of the stretch, in order: columns of limits; missing where a day has none.
    above, below : sequence of str
        Columns of `lines` that are upper and lower limits.
    longest_step_h : float, optional
        Longest step that is no gap, hours; `logger_gap_steps` usual steps where it is not given.

    Returns
    -------
    float
        Longest step that is no gap, hours; nan with fewer than two readings.
    """
    connection.execute(f"SET memory_limit = '{MEMORY}'")
    span = [stretch.start.to_pydatetime(), stretch.end.to_pydatetime()]
    connection.execute(STEPS.format(day=local_sql("read_at", stretch)), span)
    days = pd.concat([local_days(stretch), lines.reset_index(drop=True)], axis=1)
    connection.register("days_of_stretch", days)
    names = ", ".join(f"nullif({name}, 'NaN'::DOUBLE) AS {name}" for name in lines.columns if pd.api.types.is_float_dtype(lines[name]))
    connection.execute(
        f"CREATE OR REPLACE TEMP TABLE days AS SELECT day::DATE AS day, starts, ends{', ' + names if names else ''} FROM days_of_stretch"
    )
    connection.unregister("days_of_stretch")
    step_us = connection.execute("SELECT median(epoch_us(b) - epoch_us(a)) FROM steps WHERE b IS NOT NULL").fetchall()[0][0]
    usual = float("nan") if step_us is None else step_us / HOUR_US * judgement("logger_gap_steps")
    gap_h = usual if longest_step_h is None else longest_step_h
    # a clock that counts milliseconds must not make a gap of a step
    gap_us = 0.0 if gap_h != gap_h else gap_h * HOUR_US * (1 + 1e-9)
    connection.execute(PIECES.format(gap_us=repr(gap_us)))
    reach = [f"va > {name} OR vb > {name}" for name in above] + [f"va < {name} OR vb < {name}" for name in below]
    connection.execute(f"CREATE OR REPLACE TEMP TABLE far AS SELECT * FROM pieces WHERE h > 0 AND ({' OR '.join(reach)})")
    return gap_h


def local_sql(column: str, stretch: Stretch) -> str:
    """SQL of the local clock time of an instant: the offsets of the zone, which change twice a year at most."""
    (_, first), *later = offsets(stretch)
    whens = "".join(f" WHEN {column} >= TIMESTAMP '{at}' THEN {us}" for at, us in reversed(later))
    return f"{column} + to_microseconds({f'CASE{whens} ELSE {first} END' if later else first})"


def daily(connection: Any, above: Sequence[str] = (), below: Sequence[str] = ()) -> pd.DataFrame:
    """Figures of each day with a reading.

    Parameters
    ----------
    connection : DuckDBPyConnection
        After :func:`prepare`.
    above, below : sequence of str
        Names of lines, of those that were given there: hours and degree-hours beyond them.

    Returns
    -------
    DataFrame
        ``day``, ``n`` (readings), ``hours`` (covered), ``mean`` (time-weighted), ``low``, ``high`` (of the readings), ``jump`` (largest
        change within an hour), ``first_at`` (first reading, UTC), ``first_change`` and ``last_change`` (UTC; gaps count as changes), and
        ``NAME_h`` and ``NAME_dh`` of each line: missing on a day without it, which is not the same as 0.
    """
    figures = connection.execute("""
        SELECT day::TIMESTAMP AS day, count(*) FILTER (is_reading) AS n, coalesce(sum(h), 0) AS hours,
          sum(h * (va + vb)) / 2 / sum(h) AS mean, min(va) FILTER (is_reading) AS low, max(va) FILTER (is_reading) AS high,
          max(abs(vb - va)) FILTER (us <= 3.6e9) AS jump, min(a) FILTER (is_reading) AS first_at,
          min(a) FILTER (va <> vb OR h IS NULL) AS first_change, max(b) FILTER (va <> vb OR h IS NULL) AS last_change
        FROM pieces GROUP BY day ORDER BY day""").df()
    parts, has = [], []
    for name in above:
        parts += _beyond(name, "greatest(va, vb)", "least(va, vb)", name, 1)
    for name in below:
        parts += _beyond(name, "-least(va, vb)", "-greatest(va, vb)", f"(-{name})", -1)
    names = [*above, *below]
    if not names:
        return figures
    has = [f"{name} IS NOT NULL AS has_{name}" for name in names]
    beyond = connection.execute(f"SELECT day::TIMESTAMP AS day, {', '.join(parts)} FROM far GROUP BY day").df()
    known = connection.execute(f"SELECT day::TIMESTAMP AS day, {', '.join(has)} FROM days").df()
    joined = figures.merge(beyond, on="day", how="left").merge(known, on="day")
    for name in names:
        for of in ("h", "dh"):
            joined[f"{name}_{of}"] = joined[f"{name}_{of}"].fillna(0.0).where(joined[f"has_{name}"])
    return joined.drop(columns=[f"has_{name}" for name in names])


def _beyond(name: str, high: str, low: str, line: str, sign: int) -> list[str]:
    """Hours and degree-hours over a line: a step lies over it whole, not at all, or from the crossing on."""
    share = f"h * ({high} - {line}) / ({high} - ({low}))"
    hours = f"CASE WHEN {high} <= {line} THEN 0 WHEN {low} >= {line} THEN h ELSE {share} END"
    mean = f"{sign} * (va + vb) / 2 - {line}"
    area = f"CASE WHEN {high} <= {line} THEN 0 WHEN {low} >= {line} THEN h * ({mean}) ELSE {share} * ({high} - {line}) / 2 END"
    return [f"sum({made}) AS {name}_{of}" for made, of in ((hours, "h"), (area, "dh"))]


def spells(connection: Any, line: str, kind: str) -> pd.DataFrame:
    """Unbroken stretches beyond the line of their day, from crossing to crossing; a gap ends one.

    Parameters
    ----------
    connection : DuckDBPyConnection
        After :func:`prepare`.
    line : str
        Name of the line.
    kind : str
        ``HOT``: above it, ``COLD``: below it.

    Returns
    -------
    DataFrame
        ``start``, ``end`` (UTC), ``hours``, ``worst`` (the farthest value), in order of time.
    """
    sign = "" if kind == HOT else "-"
    worst, farther = ("max", "greatest") if kind == HOT else ("min", "least")
    return connection.execute(f"""
        WITH beyond AS (SELECT a, b, h, {sign}va AS x, {sign}vb AS y, {sign}{line} AS l, {farther}(va, vb) AS v
          FROM far WHERE greatest({sign}va, {sign}vb) > {sign}{line}),
        ends AS (SELECT *, CASE WHEN x >= l THEN 0 ELSE (l - x) / (y - x) END AS p, CASE WHEN y >= l THEN 1 ELSE (x - l) / (x - y) END AS q
          FROM beyond),
        crossed AS (SELECT a + to_microseconds(round(p * h * 3.6e9)::BIGINT) AS enters, a + to_microseconds(round(q * h * 3.6e9)::BIGINT)
          AS leaves, (q - p) * h AS over_h, v FROM ends),
        marked AS (SELECT *, coalesce(enters > lag(leaves) OVER (ORDER BY enters), true) AS new FROM crossed WHERE over_h > 0),
        numbered AS (SELECT *, sum(new::INT) OVER (ORDER BY enters ROWS UNBOUNDED PRECEDING) AS number FROM marked)
        SELECT min(enters) AS start, max(leaves) AS end, sum(over_h) AS hours, {worst}(v) AS worst
        FROM numbered GROUP BY number ORDER BY start
    """).df()  # fmt: skip


def gaps(connection: Any, gap_h: float) -> pd.DataFrame:
    """Stretches between two readings that are longer than a step: ``start``, ``end`` (UTC), ``hours``."""
    return connection.execute(
        """SELECT a AS start, b AS end, (epoch_us(b) - epoch_us(a)) / 3.6e9 AS hours FROM steps
        WHERE epoch_us(b) - epoch_us(a) > ? ORDER BY a""",
        [gap_h * HOUR_US * (1 + 1e-9)],
    ).df()


def last_reading(connection: Any) -> tuple[pd.Timestamp, float] | None:
    """Last reading of the stretch (UTC), or None."""
    rows = connection.execute("SELECT a, va FROM steps WHERE b IS NULL").fetchall()
    return (pd.Timestamp(rows[0][0]), float(rows[0][1])) if rows else None


def shown_course(connection: Any, points: int) -> pd.DataFrame:
    """The series for a plot: lowest and highest reading of each of `points` parts: ``since``, ``until``,
    ``low``, ``high``, ``first``, ``last``.
    """
    return connection.execute(
        """WITH span AS (SELECT epoch_us(min(a)) AS low, epoch_us(max(a)) - epoch_us(min(a)) + 1 AS width FROM steps)
        SELECT min(a) AS since, min(va) AS low, max(va) AS high, arg_min(va, a) AS first, arg_max(va, a) AS last, max(a) AS until
        FROM steps, span GROUP BY (epoch_us(a) - span.low) * ? // span.width ORDER BY since""",
        [points],
    ).df()
