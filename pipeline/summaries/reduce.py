"""Readings in any engine to hourly, daily, excursion and night tables as Parquet, by the rules of method §6 and §10."""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pipeline.errors import RillbookError
from pipeline.formulas.local_clock import offsets
from pipeline.formulas.sun import place_of_sun, rise_and_set
from pipeline.settings.limits import judgement
from pipeline.summaries import expressions as made
from pipeline.summaries.columns import Engine, refuse_unfit
from pipeline.writing.words import some_of
from schemas.frames.summaries import SUMMARIES
from schemas.tables import fields

ABOUT = "summaries.json"
FATES = ("rows", "no_logger", "no_moment", "no_value", "not_possible", "in_doubt", "counted")
MINUTE_US = 60_000_000
MOST_NAMED = 3


class NoReadingCounts(RillbookError):
    """Nothing is left to reduce."""


@dataclass(frozen=True)
class Asked:
    """What a reduction needs to know beside the readings.

    Attributes
    ----------
    time_zone : str
        IANA name; days are local.
    lines_c : tuple of float
        Lines whose passing is timed, °C.
    places : DataFrame
        ``logger_id``, ``latitude``, ``longitude`` (°): loggers whose sun is known.
    in_doubt : DataFrame
        ``logger_id``, ``from_at``, ``to_at`` (UTC without zone): stretches that are left out, both ends included.
    """

    time_zone: str
    lines_c: tuple[float, ...]
    places: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=["logger_id", "latitude", "longitude"]))
    in_doubt: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=["logger_id", "from_at", "to_at"]))


def reduce_readings(
    engine: Engine, asked: Asked, folder: Path, progress: Callable[[str], None], wanted: Iterable[str] = SUMMARIES
) -> dict[str, Any]:
    """Reduce readings and write the tables into a new folder.

    Parameters
    ----------
    engine : Engine
        An adapter: `in_duckdb`, `in_spark` or `in_postgresql`.
    asked : Asked
        Zone, lines, places and stretches in doubt.
    folder : Path
        Where the tables go; it must not exist. It is there when all are written, or not at all.
    progress : callable
        Told each step.
    wanted : iterable of str
        Names of the tables that are made.

    Returns
    -------
    dict
        What also stands in ``summaries.json``: ``readings`` (how many rows had which fate), ``loggers`` (how many), ``without_place``
        (loggers without nights), ``time_zone``, ``lines_c``, ``gap_steps``, ``first_at`` and ``last_at``.

    Raises
    ------
    NoReadingCounts
        There are none, or none counts.
    RillbookError
        The folder exists or cannot be made; a column is missing or of another kind; a logger has two readings of one moment.
    """
    if folder.exists() or folder.is_symlink():
        raise RillbookError("this folder is there already.", "Name a new one: nothing is written over.", str(folder))
    refuse_unfit(engine.kinds(), engine.where)
    engine.open()
    progress("counting the readings")
    readings, tally = _counted(engine, asked)
    series = _series(engine, readings, tally)
    first, last = min(row[1] for row in series), max(row[2] for row in series)
    shifts = [(_us(at), shift) for at, shift in offsets(_moment(first), _moment(last), asked.time_zone)]
    wanted = tuple(wanted)
    if "nights" in wanted:
        engine.put("suns", _suns(asked, series))
    about = {
        "readings": tally, "loggers": len(series), "without_place": sorted({row[0] for row in series} - set(_placed(asked)["logger_id"])),
        "time_zone": asked.time_zone, "lines_c": list(asked.lines_c), "gap_steps": judgement("logger_gap_steps"),
        "first_at": _moment(first).isoformat(), "last_at": _moment(last).isoformat(),
    }  # fmt: skip
    tables = _tables(readings, asked, shifts)
    _write(engine, {name: tables[name] for name in wanted}, about, folder, progress)
    return about


def _counted(engine: Engine, asked: Asked) -> tuple[Any, dict[str, int]]:
    """The readings that count, as an expression, and how many of all had which fate."""
    low, high = fields("logger_readings")["temp_c"].possible  # type: ignore[misc]
    every = made.table("readings", made.READINGS)
    tally = dict.fromkeys(FATES, 0)
    for fate, n in engine.rows(made.sql_of(made.tally(every, low, high), engine.dialect)):
        tally["rows"] += int(n)
        tally["counted" if fate == made.FATES[-1] else fate] += int(n)
    stretches = None
    if len(asked.in_doubt):
        frame = asked.in_doubt
        spans = {name: frame[f"{name}_at"].map(_us).astype("int64") for name in ("from", "to")}
        given = pd.DataFrame({"logger_id": frame["logger_id"].astype("str"), "from_us": spans["from"], "to_us": spans["to"]})
        engine.put("stretches", given.drop_duplicates())
        stretches = made.table("stretches", made.STRETCHES)
    return made.counted(every, stretches, low, high), tally


def _series(engine: Engine, readings: Any, tally: dict[str, int]) -> list[tuple[Any, ...]]:
    """Loggers with first and last moment and steps; what is in doubt is known from what is left."""
    engine.keep("series", made.sql_of(made.series(readings), engine.dialect))
    names = [*made.SERIES, "n"]
    found = engine.rows(made.sql_of(made.table("series", {**made.SERIES, "n": "int64"})[names], engine.dialect))
    left = sum(int(row[-1]) for row in found)
    tally["in_doubt"], tally["counted"] = tally["counted"] - left, left
    if not found:
        lost = ", ".join(f"{n} {fate}" for fate, n in tally.items() if n and fate != "rows") or "there are none"
        raise NoReadingCounts(f"no reading counts ({lost}).", "Are read_at and temp_c filled, and temp_c in °C?")
    twice = sorted(row[0] for row in found if row[3] == 0)
    if twice:
        remedy = "Settle which holds; the same file may be there twice."
        raise RillbookError(f"two readings of one moment: {some_of(twice, MOST_NAMED)}.", remedy)
    return found


def _placed(asked: Asked) -> pd.DataFrame:
    return asked.places.dropna(subset=["latitude", "longitude"])


def _suns(asked: Asked, series: list[tuple[Any, ...]]) -> pd.DataFrame:
    """Sunrise and sunset of each placed logger on each of its local days, in the columns of `expressions.SUNS`."""
    spans = pd.DataFrame([row[:3] for row in series], columns=["logger_id", "first", "last"])
    placed = _placed(asked).astype({"latitude": "float64", "longitude": "float64"})
    rows = spans.merge(
        placed.assign(latitude=place_of_sun(placed["latitude"]), longitude=place_of_sun(placed["longitude"])), on="logger_id"
    )
    if rows.empty:
        return pd.DataFrame({name: pd.Series(dtype="str" if name == "logger_id" else "int64") for name in made.SUNS})
    local = [
        pd.date_range(*(_moment(at).tz_localize("UTC").tz_convert(asked.time_zone).tz_localize(None).normalize() for at in span), freq="D")
        for span in zip(rows["first"], rows["last"], strict=True)
    ]
    days = rows.assign(date=local).explode("date").astype({"date": "datetime64[us]"}).reset_index(drop=True)
    where = ["latitude", "longitude", "date"]
    suns = days.merge(rise_and_set(days[where].drop_duplicates(), asked.time_zone), on=where)
    # clocks were compared by the minute that they show: a minute that has begun is later than a sunrise inside the one before it
    edges = {f"{name}_us": (np.ceil(suns[name]) * MINUTE_US).astype("int64") for name in ("rise", "set")}
    return pd.DataFrame({"logger_id": suns["logger_id"], "day_us": suns["date"].astype("int64"), **edges})


def _tables(readings: Any, asked: Asked, shifts: list[tuple[int, int]]) -> dict[str, Any]:
    """Expressions of the reduced tables, by name."""
    series, suns = made.table("series", made.SERIES), made.table("suns", made.SUNS)
    over = [made.excursions(readings, series, line, judgement("logger_gap_steps")) for line in asked.lines_c]
    return {
        "hourly": made.hourly(readings),
        "daily": made.daily(readings, series, shifts),
        "excursions": over[0].union(*over[1:]) if len(over) > 1 else over[0],
        "nights": made.nights(readings, series, suns, shifts),
    }


def _write(engine: Engine, tables: dict[str, Any], about: dict[str, Any], folder: Path, progress: Callable[[str], None]) -> None:
    """Write all beside the place, then put it there in one go."""
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        beside = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", suffix=".new", dir=folder.parent))
    except OSError as problem:
        raise RillbookError(f"the tables cannot be written ({problem.strerror}).", "Check the rights of the folder.", str(folder)) from None
    try:
        for name, expression in tables.items():
            progress(f"reducing: {name}")
            engine.write(name, made.sql_of(expression, engine.dialect), str(beside / name))
        (beside / ABOUT).write_text(json.dumps(about, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
        beside.rename(folder)
    except OSError as problem:
        raise RillbookError(f"the tables cannot be written ({problem.strerror}).", "Is the disk full?", str(folder)) from None
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def _us(at: pd.Timestamp) -> int:
    return int((at - pd.Timestamp(0)) // pd.Timedelta(microseconds=1))


def _moment(us: int) -> pd.Timestamp:
    return pd.Timestamp(us, unit="us")
