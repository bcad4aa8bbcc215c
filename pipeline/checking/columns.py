"""Checks of one column alone: unreadable cells, missing required values, spans and codes."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import lru_cache
from typing import Any

import pandas as pd

from pipeline.checking.merging import rows_stored
from pipeline.checking.sheet import Sheet, as_written, flag, hold, take_out
from pipeline.reading.values import EXAMPLES, KIND_WORDS
from schemas.frames.frame import is_of
from schemas.rules.column_faults import COLUMN_FAULTS
from schemas.rules.rules import FLAG
from schemas.tables import MODELS, fields, key_of
from schemas.vocabulary import codes


def words(fault: str, sheet: Sheet, row: int, name: str) -> tuple[str, str]:
    """Message and remedy of a column fault, with what stands in the cell."""
    declared = fields(sheet.table)[name]
    text = as_written(sheet, row, name)
    value = sheet.typed.at[row, name] if declared.kind in ("real", "whole") else None
    low, high = (declared.possible if fault != "unexpected" else declared.expected) or ("", "")
    words = {
        "title": declared.title, "text": "" if pd.isna(text) else text, "unit": declared.unit, "kind": KIND_WORDS.get(declared.kind, ""),
        "example": EXAMPLES.get(declared.kind, ""), "low": low, "high": high, "vocabulary": declared.vocabulary.replace("_", " "),
        "codes": ", ".join(codes(declared.vocabulary)) if declared.vocabulary else "",
        "celsius": "" if value is None or pd.isna(value) else f"{(value - 32) / 1.8:.1f}",
    }  # fmt: skip
    known = next(one for one in COLUMN_FAULTS if one.id == fault)
    return tuple(" ".join(part.format(**words).split()).replace(" )", ")") for part in (known.message, known.remedy))  # type: ignore[return-value]


def check_columns(sheet: Sheet) -> None:
    """Unreadable cells, missing required values, spans and codes; faulty values are taken out of the typed frame."""
    faults: dict[tuple[int, str], str] = {}
    stored = {name: rows_stored(sheet.one, sheet.merged, name) for name in sheet.one.faults["field"].unique()}
    later = {int(row) for row, is_later in zip(sheet.merged.row_of, sheet.merged.later, strict=True) if is_later}
    for row, name, fault in sheet.one.faults.itertuples(index=False):
        at = int(row if row in later else stored[name][row])
        if at >= 0:
            faults[(at, name)] = fault
    for row, name, number in _failures(sheet):
        faults.setdefault((row, name), "required_missing" if number is None else _span_fault(sheet.table, name, number))
    for (row, name), fault in faults.items():
        declared = fields(sheet.table)[name]
        message, remedy = words(fault, sheet, row, name)
        hold(sheet, row, name, fault, message, remedy, declared.required)
    for name in dict.fromkeys(name for _, name in faults):
        take_out(sheet, [row for row, other in faults if other == name], name)
    for row in sorted(later):
        named = [name for name, mask in sheet.merged.differs.items() if mask[sheet.one.text.index.get_loc(row)]]
        key = sheet.typed.at[row, key_of(sheet.table)]
        known = next(one for one in COLUMN_FAULTS if one.id == "described_twice")
        message = known.message.format(
            key=f"{sheet.table[:-1] if sheet.table != 'availability' else 'point'} {key}", fields=", ".join(named)
        )
        hold(sheet, row, "", "described_twice", message, known.remedy, True)


def _failures(sheet: Sheet) -> list[tuple[int, str, float | None]]:
    """Rows and fields that pandera refuses: the value of a span failure, None where a required value is missing."""
    from pandera.errors import SchemaErrors

    if sheet.typed.empty:
        return []
    model: Any = MODELS[sheet.table]
    names = tuple(name for name, declared in fields(sheet.table).items() if declared.required or sheet.typed[name].notna().any())
    whole = _schema(model, names)
    if not (whole.checks or whole.unique or whole.index is not None):
        # every fault is pandera's to tell; a column without any is seen to be so in a hundredth of the time
        names = tuple(name for name in names if not _is_sound(whole.columns[name], sheet.typed[name]))
    if not names:
        return []
    try:
        _schema(model, names).validate(sheet.typed[list(names)], lazy=True)
    except SchemaErrors as problem:
        cases = problem.failure_cases
    else:
        return []
    lost = cases[cases["index"].isna()]
    assert lost.empty, f"a check of {sheet.table} failed without naming a row: {lost.to_dict('records')}"
    found: list[tuple[int, str, float | None]] = []
    for case in cases.itertuples(index=False):
        if case.check == "not_nullable":
            found.append((int(case.index), case.column, None))
        elif str(case.check).startswith(("greater_than_or_equal_to", "less_than_or_equal_to", "in_range")):
            found.append((int(case.index), case.column, float(case.failure_case)))
        else:
            raise AssertionError(f"unknown failure of {sheet.table}.{case.column}: {case.check} at {case.index}")
    return found


def _is_sound(declared: Any, column: pd.Series) -> bool:
    """Whether a column passes all that a schema asks of it; of what is not looked at here the answer is no."""
    if declared.unique or declared.coerce or declared.regex or not is_of(declared.dtype, column.dtype):
        return False
    there = column.dropna()
    if len(there) < len(column) and not declared.nullable:
        return False
    if there.empty or not declared.checks:
        return True
    values = there.unique()
    return all(check.name in PASSED and bool(PASSED[check.name](values, **check.statistics)) for check in declared.checks)


PASSED: dict[str, Callable[..., bool]] = {
    "greater_than_or_equal_to": lambda values, min_value: (values >= min_value).all(),
    "less_than_or_equal_to": lambda values, max_value: (values <= max_value).all(),
    "isin": lambda values, allowed_values: set(values) <= set(allowed_values),
    "str_length": lambda values, min_value, max_value, exact_value: (
        exact_value is None and min_value <= min(map(len, values)) and (max_value is None or max(map(len, values)) <= max_value)
    ),
    "str_matches": lambda values, pattern: all(re.match(pattern, value) for value in values),
}
"""The checks that most columns have, of distinct values."""


@lru_cache(maxsize=256)
def _schema(model: Any, names: tuple[str, ...]) -> Any:
    """The schema of a model for the fields that must be there or that hold anything; a check of an empty column says nothing."""
    schema = model.to_schema()
    return schema.select_columns([name for name in names if name in schema.columns])


def _span_fault(table: str, name: str, number: float) -> str:
    declared = fields(table)[name]
    celsius = (number - 32) / 1.8
    in_water = declared.unit == "°C" and name in ("water_temp_c", "substrate_temp_c")
    return "likely_fahrenheit" if in_water and declared.possible is not None and 0 <= celsius <= declared.possible[1] else "not_possible"


def flag_several(sheet: Sheet) -> None:
    """Mark values that were made of several readings."""
    fault = next(one for one in COLUMN_FAULTS if one.id == "several_readings")
    for at, name, text, how in sheet.one.several.itertuples(index=False):
        row = int(sheet.merged.row_of[sheet.one.text.index.get_loc(at)])
        flag(sheet, row, (name,), fault.id, FLAG, fault.message.format(text=text, how=how), fault.remedy)


def flag_unexpected(sheet: Sheet, accepted: pd.DataFrame) -> None:
    """Mark accepted values outside the span that is expected."""
    for name, declared in fields(sheet.table).items():
        if declared.expected is None or accepted[name].isna().all():
            continue
        values = accepted[name].astype("float64")
        odd = (values < declared.expected[0]) | (values > declared.expected[1])
        for row in accepted.index[odd]:
            if pd.notna(as_written(sheet, row, name)):
                flag(sheet, int(row), (name,), "unexpected", FLAG, *words("unexpected", sheet, int(row), name))
