"""A small keeper's book in memory, and targets that are easy to reckon with."""

from __future__ import annotations

import json
from typing import Any

import duckdb
import numpy as np
import pandas as pd

from pipeline.tanks.audit import Audit, audit_enclosure
from pipeline.tanks.stretch import Stretch
from schemas.ddl import create_table
from schemas.frames.targets import COUNT_TARGET_COLUMNS, TARGET_COLUMNS

TAXON = {"scientific_name": "Desmognathus monticola", "group": "cool_stream"}
ENCLOSURE = {
    "enclosure_id": "T1", "taxon": "DMON", "population": "north", "life_stage": "larva", "medium": "water", "since": None, "until": None,
}  # fmt: skip
LINES = {"band_low": 11.0, "set_point": 12.0, "band_high": 14.0, "act_line": 16.0, "ceiling": 18.0, "floor": 5.0}
MONTHS = [str(month) for month in range(1, 13)]


def targets(*changes: dict[str, Any], months: list[str] | None = None, **lines: float) -> pd.DataFrame:
    """A row a month for each of the given changes; what is not said is DMON larva in water, population north."""
    rows = []
    for change in changes or ({},):
        for month in change.get("months", months or MONTHS):
            row = dict.fromkeys(TARGET_COLUMNS, np.nan)
            row |= {"taxon": "DMON", "population": "north", "life_stage": "larva", "medium": "water", "month": month}
            row |= {"quantity": "temperature", "status": "target", **LINES, **lines, **{k: v for k, v in change.items() if k != "months"}}
            rows.append(row)
    return pd.DataFrame(rows, columns=list(TARGET_COLUMNS))


def as_document(rows: pd.DataFrame) -> dict[str, Any]:
    """What `rillbook targets` writes as targets.json, of such rows."""
    counts = {name: 20 for name in COUNT_TARGET_COLUMNS}
    points = {"set_point_low": rows["set_point"], "set_point_high": rows["set_point"]}
    whole = rows.assign(**counts, **points, cut_by_ceiling=False, unit="°C", grade="C")
    return {"study": "Invented", "invented": True, "method_version": "2", "targets": json.loads(whole.to_json(orient="records"))}


def book(
    temps: pd.Series | None, medium: str = "water", events: list[dict[str, Any]] | None = None, tests: list[dict[str, Any]] | None = None
) -> duckdb.DuckDBPyConnection:
    """An open book with one enclosure's logger; `temps` by instant in UTC."""
    connection = duckdb.connect()
    for table in ("loggers", "logger_readings", "husbandry_events", "water_tests"):
        connection.execute(create_table(table))
    connection.execute("CREATE TABLE logger_files (load_id INTEGER, source INTEGER, logger_id VARCHAR, file VARCHAR, found VARCHAR)")
    connection.execute("INSERT INTO loggers (logger_id, enclosure_id, medium, accuracy_c) VALUES ('L1', 'T1', ?, 0.3)", [medium])
    if temps is not None:
        frame = pd.DataFrame({"logger_id": "L1", "read_at": temps.index.astype("datetime64[us]"), "temp_c": temps.to_numpy(dtype=float)})
        connection.register("readings", frame)
        connection.execute("INSERT INTO logger_readings (logger_id, read_at, temp_c) SELECT * FROM readings")
    for table, rows in (("husbandry_events", events), ("water_tests", tests)):
        for number, given in enumerate(rows or []):
            row = {("event_id" if table == "husbandry_events" else "test_id"): f"X{number}", "enclosure_id": "T1", **given}
            names = ", ".join(row)
            connection.execute(f"INSERT INTO {table} ({names}) VALUES ({', '.join('?' * len(row))})", list(row.values()))
    return connection


def steady(start: str, end: str, value: float = 12.5, step: str = "30min") -> pd.Series:
    """A chiller that swings by a tenth."""
    at = pd.date_range(start, end, freq=step, inclusive="left")
    return pd.Series(value + 0.1 * np.sin(np.arange(len(at))), index=at)


def audited(
    temps: pd.Series | None, rows: pd.DataFrame | None = None, start: str = "2025-07-01", end: str = "2025-07-08", zone: str = "UTC",
    enclosure: dict[str, Any] | None = None, **words: Any,
) -> Audit:  # fmt: skip
    """Audit the enclosure of such a book."""
    stretch = Stretch(pd.Timestamp(start), pd.Timestamp(end), zone)
    here = {**ENCLOSURE, **(enclosure or {})}
    return audit_enclosure(book(temps, **words), here, targets() if rows is None else rows, TAXON, stretch)
