"""Rows that fit a table's declaration, and how pandera sees them."""

from __future__ import annotations

from schemas.tables import MODELS, fields

DTYPES = {
    "text": "str",
    "code": "str",
    "codes": "str",
    "clock": "str",
    "real": "float64",
    "whole": "Int64",
    "yes_no": "boolean",
    "day": "datetime64[us]",
    "instant": "datetime64[us]",
}
ALL_FIELDS = [field for table in MODELS for field in fields(table).values()]
