"""Table Schemas against the reader of Frictionless Data: valid, with the spans and codes that the checks have."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import frictionless
import pytest

from schemas.generate import table_schema
from schemas.tables import LOADED, MODELS, fields, key_of, keys_of

# One row a table that breaks nothing; the values are invented.
SOUND: dict[str, dict[str, str]] = {
    "taxa": {"code": "AAA", "scientific_name": "Aus bus", "group": "cool_stream", "paedomorphic": "false", "overlap_svl_low_mm": "30"},
    "sites": {"site_id": "s1", "habitat": "stream", "latitude": "40.5", "longitude": "-80.25", "stream_order": "1"},
    "visits": {
        "visit_id": "v1",
        "site_id": "s1",
        "visit_date": "2024-05-06",
        "start_time": "09:05",
        "protocol": "chance",
        "water_temp_c": "11.5",
    },
    "finds": {"find_id": "f1", "visit_id": "v1", "taxon": "AAA", "life_stage": "adult", "count": "1", "microhabitat": "wet_rock"},
    "availability": {"point_id": "p1", "visit_id": "v1", "microhabitat": "wet_rock", "rh_pct": "100"},
    "enclosures": {"enclosure_id": "e1", "taxon": "AAA", "life_stage": "larva", "volume_l": "40"},
    "loggers": {"logger_id": "l1", "site_id": "s1", "medium": "water", "height_or_depth_cm": "15"},
    "water_tests": {"test_id": "w1", "enclosure_id": "e1", "tested_on": "2024-05-06", "ph": "6.8"},
    "husbandry_events": {"event_id": "h1", "enclosure_id": "e1", "event_date": "2024-05-06", "event": "fed"},
    "logger_readings": {"logger_id": "l1", "read_at": "2024-05-06T04:15:00Z", "temp_c": "11.5"},
}


def read_schema(root: Path, table: str) -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads((root / f"schemas/table_schema/{table}.json").read_text(encoding="utf-8"))
    return loaded


# Source of what counts as valid: the frictionless library, from the authors of the Table Schema standard.
@pytest.mark.parametrize("table", MODELS)
def test_table_schema_is_valid(root: Path, table: str) -> None:
    schema = frictionless.Schema.from_descriptor(read_schema(root, table))
    assert schema.field_names == list(fields(table))
    assert schema.primary_key == list(keys_of(table))


@pytest.mark.parametrize("table", MODELS)
def test_table_schema_has_the_spans_and_codes_that_pandera_checks(root: Path, table: str) -> None:
    columns = MODELS[table].to_schema().columns
    for field in read_schema(root, table)["fields"]:
        constraints = field.get("constraints", {})
        column = columns[field["name"]]
        assert constraints.get("required", False) is not column.nullable
        checks = {check.name: check.statistics for check in column.checks}
        spans = {
            "minimum": checks.get("greater_than_or_equal_to", {}).get("min_value"),
            "maximum": checks.get("less_than_or_equal_to", {}).get("max_value"),
            "minLength": checks.get("str_length", {}).get("min_value") if "pattern" not in constraints else None,
        }
        for name, bound in spans.items():
            assert constraints.get(name) == bound, (field["name"], name)
        assert set(constraints.get("enum", [])) == set(checks.get("isin", {}).get("allowed_values", []))
        assert ("pattern" in constraints) == ("str_matches" in checks)


def package(root: Path, folder: Path, rows: dict[str, dict[str, str]]) -> frictionless.Report:
    """Write one row a table to CSV files and let frictionless judge them, with their links."""
    resources = []
    for table, row in rows.items():
        with (folder / f"{table}.csv").open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, list(fields(table)))
            writer.writeheader()
            writer.writerow(row)
        resources.append({"name": table, "path": f"{table}.csv", "schema": read_schema(root, table)})
    return frictionless.Package.from_descriptor({"resources": resources}, basepath=str(folder)).validate()


def test_a_sound_row_a_table_is_valid(root: Path, tmp_path: Path) -> None:
    assert not package(root, tmp_path, SOUND).flatten(["message"])


@pytest.mark.parametrize(
    ("table", "field", "value", "fault"),
    [
        ("finds", "visit_id", "v9", "foreign-key"),
        ("finds", "taxon", "BBB", "foreign-key"),
        ("visits", "site_id", "s9", "foreign-key"),
        ("availability", "point_id", "", "primary-key"),
        ("availability", "microhabitat", "", "constraint-error"),
        ("sites", "latitude", "90.5", "constraint-error"),
        ("sites", "habitat", "Stream", "constraint-error"),
        ("sites", "stream_order", "1.5", "type-error"),
        ("visits", "start_time", "9:05", "constraint-error"),
        ("visits", "start_time", "24:00", "constraint-error"),
        ("visits", "visit_date", "6/5/2024", "type-error"),
        ("visits", "water_temp_c", "30.1", "constraint-error"),
        ("finds", "count", "0", "constraint-error"),
        ("loggers", "medium", "Water", "constraint-error"),
        ("loggers", "enclosure_id", "e9", "foreign-key"),
        ("logger_readings", "logger_id", "l9", "foreign-key"),
        ("logger_readings", "read_at", "", "constraint-error"),
        ("logger_readings", "temp_c", "-200", "constraint-error"),
    ],
)
def test_a_fault_is_seen_through_the_table_schema(root: Path, tmp_path: Path, table: str, field: str, value: str, fault: str) -> None:
    assert fault in {kind for (kind,) in package(root, tmp_path, SOUND | {table: SOUND[table] | {field: value}}).flatten(["type"])}


def test_links_point_to_keys_of_declared_tables() -> None:
    for table in LOADED:
        for link in table_schema(table).get("foreignKeys", []):
            assert link["reference"]["fields"] == key_of(link["reference"]["resource"])
