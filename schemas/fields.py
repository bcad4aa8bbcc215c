"""How a field is declared: one call makes a pandera field that carries all that is known of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pandas as pd

from schemas.pandera_alone import Series, pa
from schemas.vocabulary import codes

Text = Series[str]
Real = Series[float]
Whole = Series[pd.Int64Dtype]
YesNo = Series[pd.BooleanDtype]
Day = Series["datetime64[us]"]  # type: ignore[type-arg]
Instant = Day

CLOCK_PATTERN = r"([01][0-9]|2[0-3]):[0-5][0-9]"
Span = tuple[float, float]


@dataclass(frozen=True)
class Field:
    """One field of one table, as declared.

    Attributes
    ----------
    name, table : str
        The field and the table that holds it.
    kind : str
        ``text``, ``code``, ``codes`` (several, separated by ``|``),
        ``real``, ``whole``, ``yes_no``, ``day``, ``clock`` or ``instant`` (UTC).
    title, meaning : str
        What a person reads; the unit stands in `unit`.
    unit : str
        Unit in which the value is stored, empty where there is none.
    required, key, protected, derived : bool
        A row needs it; it names the row; it is never published; rillbook fills it in.
    possible, expected : tuple of float or None
        Outside `possible` a value is held back, outside `expected` it is kept and flagged.
    vocabulary : str
        Name of the code list, empty where there is none.
    refers_to : str
        Table whose key this field holds, empty where there is none.
    darwin_core : str
        Darwin Core term, empty where the standard has none.
    at_least : bool
        A number may be written with a plus, ``3+``: it is kept as the fewest and flagged.
    """

    name: str
    table: str
    kind: str
    title: str
    meaning: str
    unit: str
    required: bool
    key: bool
    protected: bool
    derived: bool
    possible: Span | None
    expected: Span | None
    vocabulary: str
    refers_to: str
    darwin_core: str
    at_least: bool = False


def declare(
    title: str,
    meaning: str,
    *,
    kind: str,
    unit: str = "",
    required: bool = False,
    key: bool = False,
    protected: bool = False,
    derived: bool = False,
    possible: Span | None = None,
    expected: Span | None = None,
    vocabulary: str = "",
    refers_to: str = "",
    darwin_core: str = "",
    at_least: bool = False,
) -> Any:
    """Declare a field of a table; see :class:`Field` for the words.

    Returns
    -------
    pandera field
        With the span, the codes and the pattern as pandera checks and everything else as metadata.
    """
    checks: dict[str, Any] = {}
    if possible is not None:
        checks.update(ge=possible[0], le=possible[1])
    if vocabulary and kind == "code":
        checks["isin"] = list(codes(vocabulary))
    if kind == "clock":
        checks["str_matches"] = f"^{CLOCK_PATTERN}$"
        # a pattern's $ also matches before a final line break
        checks["str_length"] = {"min_value": 5, "max_value": 5}
    if kind == "text" and required:
        checks["str_length"] = {"min_value": 1}
    return pa.Field(
        nullable=not required,
        unique=False,
        title=title,
        description=meaning,
        metadata={
            "kind": kind,
            "unit": unit,
            "required": required,
            "key": key,
            "protected": protected,
            "derived": derived,
            "possible": possible,
            "expected": expected,
            "vocabulary": vocabulary,
            "refers_to": refers_to,
            "darwin_core": darwin_core,
            "at_least": at_least,
        },
        **checks,
    )


def fields_of(model: type[pa.DataFrameModel], table: str) -> Iterator[Field]:
    """Read the declared fields of a model back, in order."""
    for name, column in model.to_schema().columns.items():
        yield Field(name=name, table=table, title=column.title, meaning=column.description, **column.metadata)
