"""Finds joined to their visits and sites, and what keeps a find from being evidence whatever is read there."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from pipeline.formulas.sun import is_night
from pipeline.settings import Area, Settings
from pipeline.settings.limits import judgement
from schemas.enums import Effect
from schemas.vocabulary import codes, codes_with, codes_without, vocabulary

BY_DAY = "on the surface by day"
NO_HOUR = "on the surface, day or night not known"
REPEATED = "animal already counted that day"
VISIT_FLAGGED = "its visit flagged, not settled"
NOT_A_SPECIES = codes_without("taxon_rank", "species")
DAY = 24


def sql_list(codes: tuple[str, ...]) -> str:
    """Codes as a list in SQL, for ``IN``; one that no code equals where there are none."""
    return "(" + ", ".join(f"'{code}'" for code in codes or ("",)) + ")"


EGGS = sql_list(codes_with("life_stage", "at_nest"))
REACH = sql_list(codes_with("reading_place", "of_reach"))
UNSETTLED = (
    "unsettled AS (SELECT DISTINCT load_id, table_name, row_key FROM flags"
    f" WHERE effect = '{Effect.FLAG_EXCLUDE}' AND coalesce(settled_by, '') = '')"
)

# The faults stand in three parts, since some figures are listed for animals of an unknown stage.
FOUND = f"""
WITH places AS (SELECT unnest($micro::VARCHAR[]) AS code, unnest($medium::VARCHAR[]) AS medium, unnest($channel::BOOLEAN[]) AS in_channel),
known AS (SELECT unnest($taxon::VARCHAR[]) AS code, unnest($rank::VARCHAR[]) AS rank),
centres AS (SELECT unnest($area::VARCHAR[]) AS code, unnest($lat::DOUBLE[]) AS latitude, unnest($lon::DOUBLE[]) AS longitude),
{UNSETTLED},
found AS (
  SELECT f.find_id, f.visit_id, f.taxon, coalesce(s.population, '') AS population, f.life_stage, p.medium, p.in_channel,
         coalesce(nullif(s.waterbody, ''), v.site_id) AS site, v.site_id, v.visit_date, f.count AS n_animals,
         nullif(f.animal_id, '') AS animal_id, nullif(f.found_at, '') AS found_at, nullif(v.start_time, '') AS start_time,
         nullif(v.end_time, '') AS end_time, v.thermometer_accuracy_c AS accuracy_c, coalesce(f.medium_assumed, FALSE) AS medium_assumed,
         f.depth_cm, coalesce(f.reading_place, '') AS reading_place, f.water_temp_c, f.substrate_temp_c, f.air_temp_c, f.rh_pct,
         f.wet_bulb_c, v.water_temp_c AS visit_water_temp_c, v.air_temp_c AS visit_air_temp_c, v.rh_pct AS visit_rh_pct,
         v.wet_bulb_c AS visit_wet_bulb_c, nullif(v.psychrometer, '') AS psychrometer, s.elevation_m,
         nullif(f.substrate_wetness, '') AS substrate_wetness, v.ph, v.conductivity_us_cm, v.conductivity_at_25c, v.dissolved_oxygen_mg_l,
         CASE WHEN s.latitude IS NULL OR s.longitude IS NULL THEN c.latitude ELSE s.latitude END AS latitude,
         CASE WHEN s.latitude IS NULL OR s.longitude IS NULL THEN c.longitude ELSE s.longitude END AS longitude,
         uv.row_key IS NOT NULL AS visit_flagged,
         CASE WHEN v.visit_id IS NULL THEN 'visit not in the book'
              WHEN t.code IS NULL THEN 'taxon not in the book''s list'
              WHEN list_contains($no_species, t.rank) THEN 'named to ' || t.rank || ' only'
              WHEN f.id_certainty IN {sql_list(codes_with("id_certainty", "doubtful"))} THEN 'name not sure' END AS name_fault,
         CASE WHEN f.life_stage IN {sql_list(codes_without("life_stage", "told"))} THEN 'life stage not told' END AS stage_fault,
         CASE WHEN nullif(f.condition, '') IN {sql_list(codes_without("condition", "well"))}
                OR f.disposition IN {sql_list(codes_with("disposition", "dead"))} THEN 'animal not well'
              WHEN coalesce(p.medium, '') = '' THEN 'microhabitat not noted'
              WHEN uf.row_key IS NOT NULL THEN 'flagged, not settled' END AS state_fault
  FROM finds f
  LEFT JOIN visits v ON v.visit_id = f.visit_id
  LEFT JOIN sites s ON s.site_id = v.site_id
  LEFT JOIN places p ON p.code = f.microhabitat
  LEFT JOIN known t ON t.code = f.taxon
  LEFT JOIN centres c ON c.code = s.study_area
  LEFT JOIN unsettled uf ON uf.table_name = 'finds' AND uf.row_key = f.find_id AND uf.load_id = f.load_id
  LEFT JOIN unsettled uv ON uv.table_name = 'visits' AND uv.row_key = v.visit_id AND uv.load_id = v.load_id
)"""

# For a SELECT from the table `found` with a column from_visit: a visit's reading is of its start, an animal's of when it was met.
CLOCKS = """
  CASE WHEN from_visit THEN start_time ELSE coalesce(found_at, start_time) END AS clock,
  CASE WHEN NOT from_visit AND found_at IS NULL THEN end_time END AS until,
  NOT from_visit AND found_at IS NULL AS some_time_in_visit,
  visit_date + CASE WHEN NOT from_visit AND found_at < start_time THEN 1 ELSE 0 END AS clock_date"""

# In order of visit and find codes and not of clocks: see repeated.
IN_ORDER = "ORDER BY visit_date, visit_id, find_id"

# For a query with the finds as `judged`.
LEFT_OUT = "SELECT taxon, life_stage, reason, count(*) AS n_finds FROM judged WHERE reason IS NOT NULL GROUP BY ALL"


def places() -> dict[str, list[Any]]:
    """Microhabitat codes with their medium and whether they lie in the channel, as parameters of a query."""
    rows = vocabulary("microhabitat")
    return {
        "micro": list(codes("microhabitat")),
        "medium": [row["medium"] for row in rows.values()],
        "channel": [row["in_channel"] == "yes" for row in rows.values()],
    }


def join(connection: Any, settings: Settings) -> None:
    """Join the finds of a book to their visits and sites, as the temporary table ``found`` of this connection.

    The steps that judge finds each select from it: to join the current version of a book costs many times as much as to read it.

    Parameters
    ----------
    connection : duckdb connection
        An open book, with the views ``sites``, ``visits``, ``finds`` and the table ``flags``.
    settings : Settings
        Taxa and study areas of the book.
    """
    connection.execute(f"CREATE OR REPLACE TEMP TABLE found AS {FOUND} SELECT * FROM found", parameters(settings))


def parameters(settings: Settings) -> dict[str, Any]:
    """Parameters of ``FOUND``.

    Parameters
    ----------
    settings : Settings
        Taxa and study areas of the book.
    """
    centres = [_centre(area) for area in settings.areas]
    return {
        **places(),
        "taxon": settings.taxa["code"].tolist(),
        "rank": settings.taxa["rank"].tolist(),
        "no_species": list(NOT_A_SPECIES),
        "area": [area.code for area in settings.areas],
        "lat": [latitude for latitude, _ in centres],
        "lon": [longitude for _, longitude in centres],
    }


def thermometer() -> dict[str, Any]:
    """Parameters of ``TOO_COARSE``."""
    worst = float(judgement("accuracy_default"))
    return {"worst": worst, "worst_text": f"{worst:g}"}


TOO_COARSE = "accuracy_c > $worst THEN 'thermometer worse than ' || $worst_text || ' °C'"


def _centre(area: Area) -> tuple[float, float]:
    if area.kind == "circle":
        return area.numbers[0], area.numbers[1]
    south, west, north, east = area.numbers
    return (south + north) / 2, (west + east) / 2


def night(frame: pd.DataFrame, time_zone: str) -> pd.Series[Any]:
    """Tell night from day for finds with ``CLOCKS``; missing where a search began in one and ended in the other.

    Parameters
    ----------
    frame : DataFrame
        Columns of ``FOUND`` and ``CLOCKS``.
    time_zone : str
        IANA name.

    Returns
    -------
    Series of boolean
    """
    began = _is_night_at(frame, frame["clock"], frame["clock_date"], time_zone)
    next_day = pd.to_timedelta((frame["until"] < frame["clock"]).fillna(False).astype(int), unit="D")
    ended = _is_night_at(frame, frame["until"], frame["clock_date"] + next_day, time_zone)
    return began.where(~frame["some_time_in_visit"].astype(bool) | (ended == began).fillna(False), pd.NA)


def not_by_night(frame: pd.DataFrame, time_zone: str) -> pd.Series[Any]:
    """Say why finds on the surface are not evidence of the open: met by day, or nobody knows when.

    Parameters
    ----------
    frame : DataFrame
        As for :func:`night`, with its result as ``night``.
    time_zone : str
        IANA name.

    Returns
    -------
    Series of str
        Missing where the find was by night; a search without an end counts by its start.
    """
    began = frame["night"].fillna(_is_night_at(frame, frame["clock"], frame["clock_date"], time_zone).where(frame["until"].isna()))
    reason = pd.Series(None, index=frame.index, dtype=object)
    reason[began.isna()] = NO_HOUR
    reason[(began == False).fillna(False)] = BY_DAY  # noqa: E712
    return reason


def _is_night_at(frame: pd.DataFrame, clock: pd.Series, date: pd.Series, time_zone: str) -> pd.Series:
    dark = pd.Series(pd.NA, index=frame.index, dtype="boolean")
    known = frame[["latitude", "longitude"]].notna().all(axis=1) & clock.notna() & date.notna()
    if known.any():
        rows = frame[known]
        dark[known] = is_night(rows["latitude"], rows["longitude"], date[known], clock[known], time_zone)
    return dark


def hour(frame: pd.DataFrame) -> pd.Series[Any]:
    """Decimal hour of each reading; for a find met some time during its visit the warmest hour of that span.

    Parameters
    ----------
    frame : DataFrame
        Columns of ``CLOCKS``.

    Returns
    -------
    Series of float
        0 to 24; missing where it cannot be told.
    """
    first, last, peak = _decimal(frame["clock"]), _decimal(frame["until"]), judgement("daytime_peak_hour")
    holds_peak = (peak - first) % DAY <= (last - first) % DAY
    nearer = first.where(_hours_apart(first, peak) <= _hours_apart(last, peak), last)
    return first.where(~frame["some_time_in_visit"].astype(bool), nearer.where(~holds_peak, peak).where(first.notna() & last.notna()))


def _decimal(clock: pd.Series) -> pd.Series:
    which, texts = pd.factorize(clock.astype("str"))
    parts = pd.Series(texts, dtype="str").str.split(":", expand=True).reindex(columns=[0, 1]).astype("float64")
    decimal = (parts[0] + parts[1] / 60).to_numpy()
    return pd.Series(np.append(decimal, np.nan)[which], index=clock.index)


def _hours_apart(hour: pd.Series, peak: float) -> pd.Series:
    apart = (hour - peak).abs() % DAY
    return apart.where(apart <= DAY / 2, DAY - apart)


def not_at(frame: pd.DataFrame, sites: frozenset[str]) -> pd.DataFrame:
    """Rows of other sites than these, by ``site_id``; finds of a visit that is not in the book are at none."""
    return frame[~frame["site_id"].isin(sites)] if sites else frame


def with_left_out(frame: pd.DataFrame, reason: pd.Series[Any], left_out: pd.DataFrame) -> pd.DataFrame:
    """Count the finds that give nothing, by taxon, stage and reason: those of a frame that have one, and others counted already.

    Parameters
    ----------
    frame : DataFrame
        Columns ``taxon``, ``life_stage``.
    reason : Series of str
        Of each row; missing where it counts.
    left_out : DataFrame
        As ``LEFT_OUT`` gives it.

    Returns
    -------
    DataFrame
        ``taxon``, ``life_stage``, ``reason``, ``n_finds``, in order.
    """
    more = frame[["taxon", "life_stage"]].assign(reason=reason, n_finds=1)[reason.notna()]
    both = pd.concat([left_out, more]).astype({"taxon": "str", "life_stage": "str", "reason": "str", "n_finds": "int64"})
    return both.groupby(["taxon", "life_stage", "reason"])["n_finds"].sum().reset_index()


def repeated(frame: pd.DataFrame, counted: pd.Series[Any]) -> pd.Series[Any]:
    """Find the rows of a marked animal after its first of a day in a cell.

    Marks are unique at a site, not always in a study; an animal is not at two sites in one day. The first by code stands, not by clock: a
    clock time that is missing must not change which reading counts.

    Parameters
    ----------
    frame : DataFrame
        In order of ``IN_ORDER``, with the columns of ``FOUND``.
    counted : Series of bool
        Rows that count so far.

    Returns
    -------
    Series of bool
    """
    marked = frame[counted & frame["animal_id"].notna()]
    again = marked.duplicated(["taxon", "population", "life_stage", "medium", "site", "visit_date", "animal_id"], keep="first")
    return again.reindex(frame.index, fill_value=False)
