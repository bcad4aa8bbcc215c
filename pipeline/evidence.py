"""Which temperature readings of the book count as evidence, and which finds give none and why."""

from __future__ import annotations

import hashlib
from typing import Any

import pandas as pd

from pipeline.limits import judgement
from pipeline.settings import Area, Settings
from pipeline.sun import is_night
from schemas.frames import Readings
from schemas.vocabulary import codes, vocabulary

BY_DAY = "on the surface by day"
NO_HOUR = "on the surface, day or night not known"
REPEATED = "animal already counted that day"
NOT_A_SPECIES = ("genus", "family")
DAY = 24

# In order of visit and find codes and not of clocks: see _repeated.
# A visit's water reading stands in only for animals in the channel; its air stands in for nothing (method §1).
FINDS = """
WITH places AS (SELECT unnest($micro::VARCHAR[]) AS code, unnest($medium::VARCHAR[]) AS medium, unnest($channel::BOOLEAN[]) AS in_channel),
known AS (SELECT unnest($taxon::VARCHAR[]) AS code, unnest($rank::VARCHAR[]) AS rank),
centres AS (SELECT unnest($area::VARCHAR[]) AS code, unnest($lat::DOUBLE[]) AS latitude, unnest($lon::DOUBLE[]) AS longitude),
unsettled AS (SELECT DISTINCT load_id, table_name, row_key FROM flags WHERE effect = 'flag_exclude' AND coalesce(settled_by, '') = ''),
joined AS (
  SELECT f.find_id, f.visit_id, f.taxon, coalesce(s.population, '') AS population, f.life_stage, p.medium,
         coalesce(nullif(s.waterbody, ''), v.site_id) AS site, v.visit_date, f.count AS n_animals, nullif(f.animal_id, '') AS animal_id,
         nullif(f.found_at, '') AS found_at, nullif(v.start_time, '') AS start_time, nullif(v.end_time, '') AS end_time,
         v.thermometer_accuracy_c AS accuracy_c,
         coalesce(f.medium_assumed, FALSE) AS medium_assumed, CASE WHEN p.medium = 'land' THEN f.depth_cm END AS depth_cm,
         CASE WHEN s.latitude IS NULL OR s.longitude IS NULL THEN c.latitude ELSE s.latitude END AS latitude,
         CASE WHEN s.latitude IS NULL OR s.longitude IS NULL THEN c.longitude ELSE s.longitude END AS longitude,
         coalesce(f.reading_place, '') IN ('at_animal', 'under_same_cover') AS at_animal,
         CASE WHEN coalesce(f.reading_place, '') = 'reach' THEN NULL
              WHEN p.medium = 'water' THEN f.water_temp_c
              WHEN p.medium = 'land' AND coalesce(f.reading_place, '') <> 'beside' THEN f.substrate_temp_c
              WHEN p.medium = 'surface' THEN f.air_temp_c
              WHEN p.medium = 'edge' THEN coalesce(f.substrate_temp_c, f.water_temp_c) END AS own_value,
         CASE WHEN p.medium = 'water' AND p.in_channel AND f.life_stage <> 'egg_mass' THEN
              coalesce(CASE WHEN f.reading_place = 'reach' THEN f.water_temp_c END, v.water_temp_c) END AS visit_value,
         t.code IS NULL AS stranger, t.rank, f.id_certainty, f.condition, f.disposition,
         v.visit_id IS NULL AS no_visit, uf.row_key IS NOT NULL AS find_flagged, uv.row_key IS NOT NULL AS visit_flagged
  FROM finds f
  LEFT JOIN visits v ON v.visit_id = f.visit_id
  LEFT JOIN sites s ON s.site_id = v.site_id
  LEFT JOIN places p ON p.code = f.microhabitat
  LEFT JOIN known t ON t.code = f.taxon
  LEFT JOIN centres c ON c.code = s.study_area
  LEFT JOIN unsettled uf ON uf.table_name = 'finds' AND uf.row_key = f.find_id AND uf.load_id = f.load_id
  LEFT JOIN unsettled uv ON uv.table_name = 'visits' AND uv.row_key = v.visit_id AND uv.load_id = v.load_id
)
SELECT find_id, visit_id, taxon, population, life_stage, medium, site, visit_date, n_animals, animal_id, accuracy_c, medium_assumed,
       depth_cm, latitude, longitude, coalesce(own_value, visit_value) AS value, own_value IS NULL AS from_visit,
       life_stage = 'egg_mass' AS at_nest,
       CASE WHEN own_value IS NULL THEN start_time ELSE coalesce(found_at, start_time) END AS clock,
       CASE WHEN own_value IS NOT NULL AND found_at IS NULL THEN end_time END AS until,
       own_value IS NOT NULL AND found_at IS NULL AS some_time_in_visit,
       visit_date + CASE WHEN own_value IS NOT NULL AND found_at < start_time THEN 1 ELSE 0 END AS clock_date,
       CASE WHEN no_visit THEN 'visit not in the book'
            WHEN stranger THEN 'taxon not in the book''s list'
            WHEN list_contains($no_species, rank) THEN 'named to ' || rank || ' only'
            WHEN id_certainty IN ('genus_only', 'unsure') THEN 'name not sure'
            WHEN life_stage = 'undetermined' THEN 'life stage not told'
            WHEN coalesce(nullif(condition, ''), 'well') <> 'well' OR disposition IN ('dead', 'salvaged') THEN 'animal not well'
            WHEN coalesce(medium, '') = '' THEN 'microhabitat not noted'
            WHEN find_flagged THEN 'flagged, not settled'
            WHEN life_stage = 'egg_mass' AND NOT at_animal THEN 'eggs not read at the nest'
            WHEN own_value IS NULL AND visit_value IS NOT NULL AND visit_flagged THEN 'its visit flagged, not settled'
            WHEN own_value IS NULL AND visit_value IS NULL THEN 'no reading that counts for this medium'
            WHEN accuracy_c > $worst THEN 'thermometer worse than ' || $worst_text || ' °C' END AS reason
FROM joined ORDER BY visit_date, visit_id, find_id
"""

AVAILABILITY = """
WITH places AS (SELECT unnest($micro::VARCHAR[]) AS code, unnest($medium::VARCHAR[]) AS medium),
unsettled AS (SELECT DISTINCT load_id, table_name, row_key FROM flags WHERE effect = 'flag_exclude' AND coalesce(settled_by, '') = ''),
joined AS (
  SELECT coalesce(s.population, '') AS population, p.medium, coalesce(nullif(s.waterbody, ''), v.site_id) AS site, a.point_id, a.visit_id,
         v.visit_date AS date, month(v.visit_date) AS month,
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
        As :class:`schemas.frames.Readings`, °C. Equal values of one cell, site, day and clock are one row: its ``n_animals`` is their sum,
        its accuracy the worst (missing where any is), its depth the least (missing where any is), its visit the first.
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
    frame = connection.execute(FINDS, _parameters(settings)).df()
    frame["night"] = _night(frame, settings.time_zone)
    frame["hour"] = _hour(frame)
    surface = frame["reason"].isna() & (frame["medium"] == "surface")
    began = frame["night"].fillna(_is_night_at(frame, frame["clock"], frame["clock_date"], settings.time_zone).where(frame["until"].isna()))
    frame.loc[surface & began.isna(), "reason"] = NO_HOUR
    frame.loc[surface & (began == False).fillna(False), "reason"] = BY_DAY  # noqa: E712
    frame.loc[_repeated(frame), "reason"] = REPEATED
    kept = frame[frame["reason"].isna()]
    excluded = frame[frame["reason"].notna()].groupby(["taxon", "life_stage", "reason"]).size().rename("n_finds").reset_index()
    merged = _merge(kept)
    assert int(merged["n_finds"].sum()) + int(excluded["n_finds"].sum()) == len(frame), "finds read and finds left out do not add up"
    return Readings.validate(merged.drop(columns="n_finds")), excluded


def availability(connection: Any) -> pd.DataFrame:
    """Read the temperatures taken where animals were not, joined to their visits.

    Returns
    -------
    DataFrame
        Columns ``population``, ``medium``, ``site``, ``point_id``, ``visit_id``, ``date``, ``month``, ``value`` (°C).
    """
    return connection.execute(AVAILABILITY, {name: value for name, value in _places().items() if name != "channel"}).df()


def input_hash(readings: pd.DataFrame) -> str:
    """SHA-256 of the readings as text, whatever their order: the same evidence has the same hash.

    Parameters
    ----------
    readings : DataFrame
        As :class:`schemas.frames.Readings`.
    """
    columns = list(Readings.to_schema().columns)
    text = readings[columns].astype({"date": "str"}).to_csv(index=False, header=False, lineterminator="\n")
    return hashlib.sha256("\n".join([",".join(columns), *sorted(text.splitlines())]).encode()).hexdigest()


def _places() -> dict[str, list[Any]]:
    rows = vocabulary("microhabitat")
    return {
        "micro": list(codes("microhabitat")),
        "medium": [row["medium"] for row in rows.values()],
        "channel": [row["in_channel"] == "yes" for row in rows.values()],
    }


def _parameters(settings: Settings) -> dict[str, Any]:
    centres = [_centre(area) for area in settings.areas]
    worst = float(judgement("accuracy_default"))
    return {
        **_places(),
        "taxon": settings.taxa["code"].tolist(),
        "rank": settings.taxa["rank"].tolist(),
        "no_species": list(NOT_A_SPECIES),
        "area": [area.code for area in settings.areas],
        "lat": [latitude for latitude, _ in centres],
        "lon": [longitude for _, longitude in centres],
        "worst": worst,
        "worst_text": f"{worst:g}",
    }


def _centre(area: Area) -> tuple[float, float]:
    if area.kind == "circle":
        return area.numbers[0], area.numbers[1]
    south, west, north, east = area.numbers
    return (south + north) / 2, (west + east) / 2


def _night(frame: pd.DataFrame, time_zone: str) -> pd.Series:
    began = _is_night_at(frame, frame["clock"], frame["clock_date"], time_zone)
    next_day = pd.to_timedelta((frame["until"] < frame["clock"]).fillna(False).astype(int), unit="D")
    ended = _is_night_at(frame, frame["until"], frame["clock_date"] + next_day, time_zone)
    return began.where(~frame["some_time_in_visit"].astype(bool) | (ended == began).fillna(False), pd.NA)


def _is_night_at(frame: pd.DataFrame, clock: pd.Series, date: pd.Series, time_zone: str) -> pd.Series:
    night = pd.Series(pd.NA, index=frame.index, dtype="boolean")
    known = frame[["latitude", "longitude"]].notna().all(axis=1) & clock.notna() & date.notna()
    if known.any():
        rows = frame[known]
        night[known] = is_night(rows["latitude"], rows["longitude"], date[known], clock[known], time_zone)
    return night


def _hour(frame: pd.DataFrame) -> pd.Series:
    """Decimal hour of each reading; for a find met some time during its visit the warmest hour of that span."""
    first, last, peak = _decimal(frame["clock"]), _decimal(frame["until"]), judgement("daytime_peak_hour")
    holds_peak = (peak - first) % DAY <= (last - first) % DAY
    nearer = first.where(_hours_apart(first, peak) <= _hours_apart(last, peak), last)
    return first.where(~frame["some_time_in_visit"].astype(bool), nearer.where(~holds_peak, peak).where(first.notna() & last.notna()))


def _decimal(clock: pd.Series) -> pd.Series:
    parts = clock.astype("str").str.split(":", expand=True).reindex(columns=[0, 1]).astype("float64")
    return parts[0] + parts[1] / 60


def _hours_apart(hour: pd.Series, peak: float) -> pd.Series:
    apart = (hour - peak).abs() % DAY
    return apart.where(apart <= DAY / 2, DAY - apart)


def _repeated(frame: pd.DataFrame) -> pd.Series:
    # Marks are unique at a site, not always in a study; an animal is not at two sites in one day. The first by code stands, not by clock: a
    # clock time that is missing must not change which reading counts.
    marked = frame[frame["reason"].isna() & frame["animal_id"].notna()]
    again = marked.duplicated([*CELL, "site", "visit_date", "animal_id"], keep="first")
    return again.reindex(frame.index, fill_value=False)


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
    merged = rows.groupby(ONE_READING, dropna=False, sort=True).agg(how).reset_index()
    merged["year"] = merged["date"].dt.year
    merged["night"] = merged["night"].where(merged["night"] >= 0).astype("boolean")
    merged[["accuracy_c", "depth_cm"]] = merged[["accuracy_c", "depth_cm"]].replace([float("inf"), float("-inf")], float("nan"))
    text = {name: "str" for name in (*CELL, "site", "visit_id")}
    types = {"month": "Int64", "year": "Int64", "n_animals": "Int64", "from_visit": "bool", "medium_assumed": "bool", "at_nest": "bool"}
    order = list(Readings.to_schema().columns)
    return merged.astype({**text, **types, "value": "float64", "hour": "float64"})[[*order, "n_finds"]]
