"""Small books in memory: rows given by hand, everything else empty."""

from __future__ import annotations

from typing import Any

import duckdb

from schemas.ddl import create_table
from schemas.vocabulary import codes

TOML = """
[book]
time_zone = "America/New_York"
[[area]]
code = "north"
circle = [40.0, -75.0, 50]
[[area]]
code = "south"
box = [34.0, -84.0, 36.0, -82.0]
[[taxon]]
code = "DFUS"
scientific_name = "Desmognathus fuscus"
group = "cool_stream"
[[taxon]]
code = "PCIN"
scientific_name = "Plethodon cinereus"
group = "woodland"
[[taxon]]
code = "DESM"
scientific_name = "Desmognathus"
rank = "genus"
group = "cool_stream"
"""
SITE = {"site_id": "S1", "habitat": "stream", "latitude": 40.0, "longitude": -75.0}
VISIT = {
    "visit_id": "V1",
    "site_id": "S1",
    "visit_date": "2021-07-10",
    "start_time": "10:00",
    "protocol": codes("protocol")[0],
    "water_temp_c": 14.0,
}
FIND = {"find_id": "F1", "visit_id": "V1", "taxon": "DFUS", "life_stage": "larva", "count": 1, "microhabitat": "rock_in_flow"}


def book(**tables: list[dict[str, Any]]) -> duckdb.DuckDBPyConnection:
    """An open book in memory with the given rows; what a row does not name is empty."""
    connection = duckdb.connect()
    for table in ("sites", "visits", "finds", "availability"):
        extra = ", ".join(["load_id VARCHAR", "row_no BIGINT"] + (["incomplete BOOLEAN"] if table == "visits" else []))
        connection.execute(create_table(table, extra=extra))
        for number, given in enumerate(tables.get(table, [])):
            row = {"load_id": "L1", "row_no": number, **given}
            names = ", ".join(f'"{name}"' for name in row)
            connection.execute(f"INSERT INTO {table} ({names}) VALUES ({', '.join('?' * len(row))})", list(row.values()))
    connection.execute(
        "CREATE TABLE flags (load_id VARCHAR, table_name VARCHAR, row_key VARCHAR, field VARCHAR, rule VARCHAR, effect VARCHAR,"
        " message VARCHAR, value VARCHAR, settled_by VARCHAR, settled_reason VARCHAR)"
    )
    for flag in tables.get("flags", []):
        row = {"load_id": "L1", "effect": "flag_exclude", **flag}
        connection.execute(f"INSERT INTO flags ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})", list(row.values()))
    return connection
