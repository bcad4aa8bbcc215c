"""Which temperature readings of the book count as evidence, and which finds give none and why."""

from __future__ import annotations

import hashlib
from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.settings import Settings
from pipeline.targets import usable_finds as finds
from schemas.frames.targets import Readings
from schemas.vocabulary import codes_with, codes_without

WITH_ANIMAL = finds.sql_list(codes_with("reading_place", "with_animal"))
APART = finds.sql_list(codes_without("reading_place", "with_animal"))

# A visit's water reading stands in only for animals in the channel; its air stands in for nothing (method §1).
JUDGED = f"""
WITH valued AS (
  SELECT *,
         CASE WHEN reading_place IN {finds.REACH} THEN NULL
              WHEN medium = 'water' THEN water_temp_c
              WHEN medium = 'land' AND reading_place NOT IN {APART} THEN substrate_temp_c
              WHEN medium = 'surface' THEN air_temp_c
              WHEN medium = 'edge' THEN coalesce(substrate_temp_c, water_temp_c) END AS own_value,
         CASE WHEN medium = 'water' AND in_channel AND life_stage NOT IN {finds.EGGS} THEN
              coalesce(CASE WHEN reading_place IN {finds.REACH} THEN water_temp_c END, visit_water_temp_c) END AS visit_value,
         own_value IS NULL AS from_visit
  FROM found
),
judged AS (
SELECT find_id, visit_id, taxon, population, life_stage, medium, site, site_id, visit_date, n_animals, animal_id, accuracy_c,
       medium_assumed, CASE WHEN medium = 'land' THEN depth_cm END AS depth_cm, latitude, longitude,
       coalesce(own_value, visit_value) AS value, from_visit, life_stage IN {finds.EGGS} AS at_nest, {finds.CLOCKS},
       coalesce(name_fault, stage_fault, state_fault,
         CASE WHEN life_stage IN {finds.EGGS} AND reading_place NOT IN {WITH_ANIMAL} THEN 'eggs not read at the nest'
              WHEN from_visit AND visit_value IS NOT NULL AND visit_flagged THEN '{finds.VISIT_FLAGGED}'
              WHEN from_visit AND visit_value IS NULL THEN 'no reading that counts for this medium'
              WHEN {finds.TOO_COARSE} END) AS reason
  FROM valued)
"""

AVAILABILITY = f"""
WITH places AS (SELECT unnest($micro::VARCHAR[]) AS code, unnest($medium::VARCHAR[]) AS medium),
{finds.UNSETTLED},
joined AS (
  SELECT coalesce(s.population, '') AS population, p.medium, coalesce(nullif(s.waterbody, ''), v.site_id) AS site, v.site_id,
         a.point_id, a.visit_id, v.visit_date AS date, month(v.visit_date) AS month,
         CASE p.medium WHEN 'water' THEN a.water_temp_c WHEN 'land' THEN a.substrate_temp_c WHEN 'surface' THEN a.air_temp_c
                       WHEN 'edge' THEN coalesce(a.substrate_temp_c, a.water_temp_c) END AS value
  FROM availability a JOIN visits v ON v.visit_id = a.visit_id JOIN sites s ON s.site_id = v.site_id
  JOIN places p ON p.code = a.microhabitat
  WHERE NOT EXISTS (SELECT 1 FROM unsettled u WHERE u.load_id = a.load_id AND u.table_name = 'availability' AND u.row_key = a.point_id)
)
SELECT * FROM joined WHERE value IS NOT NULL ORDER BY date, visit_id, point_id
"""

CELL = ["taxon", "population", "life_stage", "medium"]
ONE_READING = [*CELL, "month", "site", "date", "hour", "value"]


def readings(connection: Any, settings: Settings) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Choose the reading that belongs to each find; each reading counts once (method §1).

    Parameters
    ----------
    connection : duckdb connection
        An open book, with the views ``sites``, ``visits``, ``finds`` and the table ``flags``.
    settings : Settings
        Taxa, time zone and study areas of the book.

    Returns
    -------
    readings : DataFrame
        As :class:`schemas.frames.targets.Readings`, °C. Equal values of one cell, site, day and clock are one row: its ``n_animals`` is
        their sum,
        its accuracy the worst (missing where any is), its depth the least (missing where any is), its visit the first, and
        ``visit_ids`` all of them.
    exclusions : DataFrame
        Columns ``taxon``, ``life_stage``, ``reason``, ``n_finds``: the finds that give no reading, counted.

    Raises
    ------
    AssertionError
        Finds with a reading and finds without do not add up to the finds of the book.

    Notes
    -----
    The air of a visit enters no target. The same animal counts once a day in a cell. ``found_at`` before the visit's start means the next
    day: night and day are told by that date, the cluster stays the visit's date. A find without ``found_at`` has the visit's start as its
    clock time; a long search may have reached it hours later.
    """
    _, whole, excluded = readings_told(connection, settings, frozenset())
    return whole, excluded


def readings_told(connection: Any, settings: Settings, hidden: frozenset[str]) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Choose the readings once, and let them count twice: without some sites, and whole.

    Parameters
    ----------
    connection, settings
        As :func:`readings`. The table of :func:`pipeline.targets.usable_finds.join` is there afterwards.
    hidden : frozenset of str
        Codes of the sites that may not be told of.

    Returns
    -------
    told : DataFrame
        The readings of a book that never had these sites.
    readings, exclusions : DataFrame
        As :func:`readings`, of all sites.
    """
    finds.join(connection, settings)
    frame, left_out = judged(connection, settings)
    whole, excluded = once_each(frame, left_out)
    return (once_each(finds.not_at(frame, hidden), left_out)[0] if hidden else whole), whole, excluded


def judged(connection: Any, settings: Settings) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Choose the reading of each find, and say which finds give none, before equal readings are made one.

    Parameters
    ----------
    connection : duckdb connection
        An open book with the table of :func:`pipeline.targets.usable_finds.join`.
    settings : Settings
        Time zone of the book.

    Returns
    -------
    frame : DataFrame
        A row a find that has a reading, with its ``site_id``, ``night``, ``hour``, and a ``reason`` where it does not count for its hour.
    left_out : DataFrame
        Finds that have no reading that could count, as the exclusions of :func:`readings`.
    """
    frame = connection.execute(
        f"{JUDGED} SELECT * EXCLUDE (find_id) FROM judged WHERE reason IS NULL {finds.IN_ORDER}", finds.thermometer()
    ).df()
    left_out = connection.execute(f"{JUDGED} {finds.LEFT_OUT}", finds.thermometer()).df()
    frame["night"] = finds.night(frame, settings.time_zone)
    frame["hour"] = finds.hour(frame)
    surface, reason = frame["medium"] == "surface", pd.Series(None, index=frame.index, dtype=object)
    reason[surface] = finds.not_by_night(frame[surface], settings.time_zone)
    return frame.assign(reason=reason), left_out


def once_each(frame: pd.DataFrame, left_out: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Let each reading count once, and each marked animal once a day: arguments as :func:`judged` gives them, returns as :func:`readings`.

    `frame` may lack the rows of some sites; `left_out` then counts those of all.
    """
    frame = frame.reset_index(drop=True)
    reason = frame["reason"].mask(finds.repeated(frame, frame["reason"].isna()), finds.REPEATED)
    merged, excluded = _merge(frame[reason.isna()]), finds.with_left_out(frame, reason, left_out)
    counted = int(merged["n_finds"].sum()) + int(excluded["n_finds"].sum())
    assert counted == len(frame) + int(left_out["n_finds"].sum()), "finds read and finds left out do not add up"
    return Readings.validate(merged.drop(columns="n_finds")), excluded


def availability(connection: Any) -> pd.DataFrame:
    """Read the temperatures taken where animals were not, joined to their visits.

    Returns
    -------
    DataFrame
        Columns ``population``, ``medium``, ``site``, ``site_id``, ``point_id``, ``visit_id``, ``date``, ``month``, ``value`` (°C).
    """
    return connection.execute(AVAILABILITY, {name: value for name, value in finds.places().items() if name != "channel"}).df()


def input_hash(readings: pd.DataFrame) -> str:
    """SHA-256 of the readings as text, whatever their order: the same evidence has the same hash.

    Parameters
    ----------
    readings : DataFrame
        As :class:`schemas.frames.targets.Readings`.
    """
    columns = list(Readings.to_schema().columns)
    frame = readings[columns].astype({"date": "str"})
    rows = map(",".join, zip(*(_as_csv(frame[name]) for name in columns), strict=True))
    return hashlib.sha256("\n".join([",".join(columns), *sorted("\n".join(rows).splitlines())]).encode()).hexdigest()


def _as_csv(column: pd.Series[Any]) -> NDArray[Any]:
    """Cells of a column as pandas writes them to CSV, each distinct value once."""
    real = column.dtype.kind == "f"
    # by their bits, which tell 0 from -0 as the text does
    place, values = pd.factorize(column.to_numpy().view("int64") if real else column, use_na_sentinel=False)
    lines: list[str] = []
    # beside a second cell, since a line of one empty cell is written in quotes
    once = pd.DataFrame({"value": values.view("float64") if real else values, "end": 0})
    once.to_csv(SimpleNamespace(write=lines.append), index=False, header=False, lineterminator="\n")
    return np.array([line.removesuffix(",0\n") for line in lines], dtype=object)[place]


def _visits_of(groups: NDArray[np.int64], visits: pd.Series[Any]) -> NDArray[Any]:
    """The visits of each group, 0, 1 …, in order, one a line."""
    which, names = pd.factorize(visits, sort=True)
    # sorted here: numpy's unique numbers go through a table of hashes, which takes ten times as long
    pairs = np.sort(groups * max(len(names), 1) + which)
    group, visit = np.divmod(pairs[np.diff(pairs, prepend=-1) > 0], max(len(names), 1))
    texts, starts = np.asarray(names, dtype=object)[visit], np.flatnonzero(np.diff(group, prepend=-1))
    ends = np.append(starts[1:], len(group))
    told = texts[starts]
    for place in np.flatnonzero(ends - starts > 1):
        told[place] = "\n".join(texts[starts[place] : ends[place]])
    return told


def _merge(kept: pd.DataFrame) -> pd.DataFrame:
    rows = kept.assign(
        date=kept["visit_date"].astype("datetime64[us]"),
        # What is missing must win over what is known, or merging would hide it.
        night=kept["night"].astype("Float64").fillna(-1.0).astype("float64"),
        accuracy_c=kept["accuracy_c"].astype("float64").fillna(float("inf")),
        depth_cm=kept["depth_cm"].astype("float64").fillna(float("-inf")),
        n_finds=1,
    )
    rows["month"] = rows["date"].dt.month
    how = {
        "visit_id": "first", "night": "min", "accuracy_c": "max", "from_visit": "min", "medium_assumed": "max", "at_nest": "min",
        "depth_cm": "min", "n_animals": "sum", "n_finds": "sum",
    }  # fmt: skip
    grouped = rows.groupby(ONE_READING, dropna=False, sort=True)
    merged = grouped.agg(how).reset_index()
    merged["visit_ids"] = _visits_of(grouped.ngroup().to_numpy(dtype=np.int64), rows["visit_id"])
    merged["year"] = merged["date"].dt.year
    merged["night"] = merged["night"].where(merged["night"] >= 0).astype("boolean")
    merged[["accuracy_c", "depth_cm"]] = merged[["accuracy_c", "depth_cm"]].replace([float("inf"), float("-inf")], float("nan"))
    text = {name: "str" for name in (*CELL, "site", "visit_id", "visit_ids")}
    types = {"month": "Int64", "year": "Int64", "n_animals": "Int64", "from_visit": "bool", "medium_assumed": "bool", "at_nest": "bool"}
    order = list(Readings.to_schema().columns)
    return merged.astype({**text, **types, "value": "float64", "hour": "float64"})[[*order, "n_finds"]]
