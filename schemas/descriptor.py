"""Declared fields as a Table Schema."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from schemas.fields import CLOCK_PATTERN, Field
from schemas.frames.frame import Frame, columns_of
from schemas.vocabulary import vocabulary

DARWIN_CORE = "http://rs.tdwg.org/dwc/terms/"
TABLE_SCHEMA_TYPES = {
    "text": "string",
    "code": "string",
    "codes": "string",
    "real": "number",
    "whole": "integer",
    "yes_no": "boolean",
    "day": "date",
    "clock": "string",
    "instant": "datetime",
}
# Of the columns of frames, by pandera's name of their type.
FRAME_TYPES = {
    "string[python]": "string", "int64": "integer", "Int64": "integer", "float64": "number", "bool": "boolean", "boolean": "boolean",
    "datetime64[ns]": "date",
}  # fmt: skip


def describe(declared: Iterable[Field], keys: Iterable[str], key_of: Mapping[str, str]) -> dict[str, Any]:
    """Describe fields as a Table Schema.

    Parameters
    ----------
    declared : iterable of Field
        Fields in order.
    keys : iterable of str
        Names of those that together name a row.
    key_of : mapping of str to str
        Key of each table that a field may refer to.

    Returns
    -------
    dict
        Descriptor, ready for JSON. A field of several codes has no foreign key: the standard knows none for lists.

    References
    ----------
    Frictionless Data, Table Schema, version 1.
    """
    listed, named = list(declared), list(keys)
    links = [
        {"fields": field.name, "reference": {"resource": field.refers_to, "fields": key_of[field.refers_to]}}
        for field in listed
        if field.refers_to and field.kind != "codes"
    ]
    schema: dict[str, Any] = {
        "fields": [_schema_field(field) for field in listed],
        "primaryKey": named[0] if len(named) == 1 else named,
        "missingValues": [""],
    }
    if links:
        schema["foreignKeys"] = links
    return schema


def describe_frame(model: type[Frame]) -> dict[str, Any]:
    """Describe a table that rillbook writes, as a Table Schema.

    Parameters
    ----------
    model : type of Frame
        Its columns, types and meanings.

    Returns
    -------
    dict
        Descriptor, ready for JSON. A number, count or yes-or-no that every row has is required; a text may be empty, which the standard
        cannot tell from missing. Yes and no are written as True and False.

    References
    ----------
    Frictionless Data, Table Schema, version 1.
    """
    columns = model.to_schema().columns
    types = {name: FRAME_TYPES[str(column.dtype)] for name, column in columns.items()}
    required = {name for name, column in columns.items() if not column.nullable and types[name] != "string"}
    listed = [
        {"name": name, "type": types[name], "description": meaning, **({"constraints": {"required": True}} if name in required else {})}
        for name, meaning in columns_of(model).items()
    ]
    return {"fields": listed, "missingValues": [""]}


def _constraints(field: Field) -> dict[str, Any]:
    constraints: dict[str, Any] = {}
    if field.required:
        constraints["required"] = True
    if field.required and field.kind == "text":
        constraints["minLength"] = 1
    if field.possible is not None:
        low, high = field.possible
        whole = field.kind == "whole"
        constraints.update(minimum=int(low) if whole else low, maximum=int(high) if whole else high)
    if field.kind == "code":
        constraints["enum"] = list(vocabulary(field.vocabulary))
    if field.kind == "clock":
        constraints["pattern"] = CLOCK_PATTERN
    return constraints


def _schema_field(field: Field) -> dict[str, Any]:
    described: dict[str, Any] = {
        "name": field.name,
        "type": TABLE_SCHEMA_TYPES[field.kind],
        "title": field.title,
        "description": field.meaning,
    }
    if field.kind in ("day", "instant"):
        described["format"] = "default"
    if field.unit:
        described["unit"] = field.unit
    if field.darwin_core:
        described["rdfType"] = DARWIN_CORE + field.darwin_core
    constraints = _constraints(field)
    if constraints:
        described["constraints"] = constraints
    return described
