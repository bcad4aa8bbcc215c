"""Waypoints of a receiver: they give a place to sites and finds that have none, by name or by time, and leave everything else alone."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pandas as pd

from pipeline.errors import RillbookError
from pipeline.formulas.places import place_figures
from pipeline.reading.georeference import coordinate_uncertainty_m
from pipeline.reading.rows import Mapped, MappedSource, SourceTable

# What a receiver writes into GPX: five decimals are a metre, more are noise
DECIMALS = 7
PLACE = ("latitude", "longitude")
NOTED = ("waypoint", "time_utc", "matched")


def read_waypoints(path: Path) -> pd.DataFrame:
    """Read the waypoints of a GPX file; tracks and routes are left alone.

    Parameters
    ----------
    path : Path
        GPX 1.0 or 1.1: WGS 84, times in UTC.

    Returns
    -------
    DataFrame
        ``name`` (empty where there is none), ``latitude``, ``longitude`` in degrees, ``time_utc`` (without zone; missing where not noted).

    Raises
    ------
    RillbookError
        The file cannot be read as GPX, or holds no waypoint.
    """
    import geopandas

    if not path.is_file():
        raise RillbookError("there is no such file.", "Check the name.", str(path))
    try:
        with warnings.catch_warnings():
            # fields of other makers are told about one by one
            warnings.simplefilter("ignore")
            found = geopandas.read_file(path, layer="waypoints", engine="pyogrio")
    except Exception as problem:
        raise RillbookError(
            f"its waypoints cannot be read ({str(problem).splitlines()[0].rstrip('.')}).", "Export it again as GPX.", str(path)
        ) from None
    if found.empty:
        raise RillbookError("it holds no waypoint.", "Tracks and routes are not read; mark waypoints, or leave the file out.", str(path))
    texts = found["name"] if "name" in found else pd.Series(np.nan, index=found.index)
    moments = found["time"] if "time" in found else pd.Series(pd.NaT, index=found.index)
    return pd.DataFrame({
        "name": texts.astype("object").where(texts.notna(), "").astype("str").str.strip().to_numpy(),
        "latitude": found.geometry.y.round(DECIMALS).to_numpy(),
        "longitude": found.geometry.x.round(DECIMALS).to_numpy(),
        "time_utc": pd.to_datetime(moments, utc=True, errors="coerce").dt.tz_localize(None).astype("datetime64[us]").to_numpy(),
    })  # fmt: skip


def place_by_waypoints(waypoints: pd.DataFrame, sites: pd.DataFrame, finds: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """Choose the site or finds that each waypoint places.

    Parameters
    ----------
    waypoints : DataFrame
        As :func:`read_waypoints`.
    sites, finds : DataFrame
        Rows of the load: ``site_id``, ``verbatim_coordinates``, ``datum``; ``find_id``, ``found_utc``; both ``latitude``, ``longitude``.

    Returns
    -------
    DataFrame
        ``waypoint`` (row of `waypoints`), ``table``, ``key``, ``matched`` (in words).
    list of str
        What was not used, and why.

    Notes
    -----
    By name first, case aside. By time only where one waypoint alone lies within the minutes of data/reference/places.csv (judgement) of
    the find; two are a guess, and are said instead. Nothing that has a place gets another.
    """
    chosen: list[tuple[int, str, str, str]] = []
    notes: list[str] = []
    named = {"sites": _by_name(sites, "site_id"), "finds": _by_name(finds, "find_id")}
    used: set[int] = set()
    for number, one in enumerate(waypoints.itertuples()):
        for table, rows in named.items():
            row = rows.get(str(one.name).casefold())
            if row is None:
                continue
            used.add(number)
            why = _why_not(row, table)
            if why or (table, row["key"]) in {(known, key) for _, known, key, _ in chosen}:
                notes.append(f"waypoint {one.name}: {row['key']} {why or 'was placed by another waypoint of that name'}; not used.")
            else:
                chosen.append((number, table, str(row["key"]), "by name"))
    placed = {key for _, table, key, _ in chosen if table == "finds"}
    free = finds[finds["latitude"].isna() & finds["longitude"].isna() & finds["found_utc"].notna() & ~finds["find_id"].isin(placed)]
    for find_id, moment in zip(free["find_id"], free["found_utc"], strict=True):
        apart = (waypoints["time_utc"] - moment).abs()
        near = np.flatnonzero(apart <= pd.Timedelta(minutes=float(place_figures()["beside_minutes"])))
        near = near[[number not in used for number in near]]
        if len(near) == 1:
            chosen.append((int(near[0]), "finds", str(find_id), f"by time, {apart.iloc[near[0]].total_seconds() / 60:.1f} min apart"))
        elif len(near) > 1:
            notes.append(f"find {find_id}: {len(near)} waypoints lie near it in time; none was taken.")
    by_time = [
        f"find {key} got the place of waypoint {waypoints['name'].iat[number] or number + 1} {matched}."
        for number, table, key, matched in chosen
        if matched != "by name"
    ]
    notes += by_time
    every = used | {number for number, *_ in chosen}
    left = [one.name or f"number {number + 1}" for number, one in enumerate(waypoints.itertuples()) if number not in every]
    if left:
        notes.append(f"waypoints without a site or find of that name or time, not used: {', '.join(left[:20])}.")
    return pd.DataFrame(chosen, columns=["waypoint", "table", "key", "matched"]), notes


def _by_name(rows: pd.DataFrame, key: str) -> dict[str, pd.Series]:
    known = rows[rows[key].notna()].rename(columns={key: "key"})
    return {str(row["key"]).casefold(): row for _, row in known.iterrows()}


def _why_not(row: pd.Series, table: str) -> str:
    if row[list(PLACE)].notna().any() or (table == "sites" and isinstance(row["verbatim_coordinates"], str)):
        return "has a place already"
    if table == "sites" and isinstance(row["datum"], str) and row["datum"] != "WGS84":
        return f"names the datum {row['datum']}, and waypoints are WGS 84"
    return ""


def as_sources(file: str, sha256: str, waypoints: pd.DataFrame, chosen: pd.DataFrame) -> list[MappedSource]:
    """Turn chosen waypoints into sheets of sites and finds, which are merged with the rows that they place.

    Parameters
    ----------
    file, sha256 : str
        Name and hash of the GPX file.
    waypoints, chosen : DataFrame
        As :func:`read_waypoints` and :func:`place_by_waypoints`.

    Returns
    -------
    list of MappedSource
        One a table; name, time and the way of matching stay with the source rows.
    """
    sources = []
    for table, key in (("sites", "site_id"), ("finds", "find_id")):
        mine = chosen[chosen["table"] == table]
        if mine.empty:
            continue
        taken = waypoints.iloc[mine["waypoint"].to_numpy()].reset_index(drop=True)
        cells = pd.DataFrame({
            key: mine["key"].to_numpy(),
            **{name: taken[name].map(lambda degrees: f"{degrees:.{DECIMALS}f}").to_numpy() for name in PLACE},
        }, dtype="str")  # fmt: skip
        if table == "sites":
            cells = cells.assign(datum="WGS84", coordinate_uncertainty_m=_radii(taken))
        fields = list(cells.columns)
        cells = cells.assign(waypoint=taken["name"], time_utc=taken["time_utc"].astype("str"), matched=mine["matched"].to_numpy())
        cells = cells.astype("str")
        source = SourceTable(file, f"waypoints of {table}", cells, mine["waypoint"].to_numpy() + 1, sha256, {}, 0)
        rows = np.arange(len(cells))
        mapped = Mapped(table, cells[fields].copy(), rows, {}, {name: (name,) for name in fields}, {})
        missing = (cells == "").to_numpy()
        sources.append(MappedSource(source, (mapped,), missing, NOTED, np.zeros(len(cells), dtype=bool), ()))
    return sources


def _radii(taken: pd.DataFrame) -> list[str]:
    """Uncertainty of each waypoint: its accuracy is in no field of GPX, its day may be."""
    return [
        str(
            coordinate_uncertainty_m(
                one.latitude, 10.0**-DECIMALS, read_on=None if pd.isna(one.time_utc) else one.time_utc.date(), datum="WGS84"
            )
        )
        for one in taken.itertuples()
    ]
