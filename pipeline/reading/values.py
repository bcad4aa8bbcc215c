"""Typing of text: numbers, codes, dates and clock times, one column at a time; what cannot be read is said, never guessed."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import pandas as pd

from pipeline.reading.coordinates import read_angle
from pipeline.reading.dates import TIME_OF_DAY as TIME_OF_DAY
from pipeline.reading.dates import possible_days as possible_days
from pipeline.reading.style import CANONICAL as CANONICAL
from pipeline.reading.style import CLOCKS as CLOCKS
from pipeline.reading.style import DATE_ORDERS as DATE_ORDERS
from pipeline.reading.style import Style as Style
from pipeline.reading.units import UNITS, parted, to_stored, unit_named
from schemas.distinct import by_distinct, distinct_values, spread
from schemas.fields import Field
from schemas.vocabulary import codes

# What people write in rillbook's own sheets and form where there is nothing to write; a column map states its own.
NOT_AVAILABLE = ("na", "n/a")
NOTHING = (*(word.upper() for word in NOT_AVAILABLE), *NOT_AVAILABLE, "-", "–", "—")
NUMBER = re.compile(
    r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?"
    # a comma before just three digits may part thousands, unless nothing but a zero stands before it
    r"|[+-]?(\d+,(\d{1,2}|\d{4,})|0,\d+)",
    re.ASCII,
)
YES, NO = ("yes", "y", "true", "t", "1"), ("no", "n", "false", "f", "0")
EXAMPLES = {
    "real": "a number such as 12.5",
    "whole": "a whole number such as 3",
    "yes_no": "yes or no",
    "day": "a date as 2024-05-31",
    "clock": "a clock time as 21:30",
    "codes": "codes parted by |",
}
KIND_WORDS = {
    "real": "a number", "whole": "a whole number", "yes_no": "yes or no", "day": "a date", "clock": "a clock time", "code": "a code",
    "codes": "codes",
}  # fmt: skip


WRITTEN = ("day", "instant", "yes_no", "real", "whole")
"""Kinds whose values are no text themselves."""


@dataclass(frozen=True)
class Typed:
    """Values of one column with the faults met.

    Attributes
    ----------
    values : Series
        In the field's type; missing where the text is missing or faulty.
    faults : dict of str to Series
        Fault id (``unreadable``, ``clock_half_missing``, ``date_ambiguous``, ``code_unknown``) to a boolean mask.
    how : Series of str
        How a text was read that is not simply the value; missing where it is.
    at_least : Series of bool
        Whether the text says that the number is the fewest.
    """

    values: pd.Series
    faults: dict[str, pd.Series]
    how: pd.Series
    at_least: pd.Series


def read_column(text: pd.Series, field: Field, style: Style = CANONICAL) -> Typed:
    """Type one column.

    Parameters
    ----------
    text : Series of str
        As written; missing where there is nothing.
    field : Field
        The declared field.
    style : Style
        Unit, date order and clock of the text.

    Returns
    -------
    Typed
        Values in the stored unit.
    """
    place, distinct = distinct_values(text)
    if 2 * len(distinct) > len(text):
        return read_texts(text, field, style)
    once = read_texts(distinct, field, style)
    faults = {fault: spread(mask, place, text) for fault, mask in once.faults.items()}
    return Typed(spread(once.values, place, text), faults, spread(once.how, place, text), spread(once.at_least, place, text))


def read_texts(text: pd.Series, field: Field, style: Style = CANONICAL) -> Typed:
    """Type texts that hardly repeat, as :func:`read_column` does."""
    stripped = text.str.strip()
    stripped = stripped.where(stripped != "", np.nan)
    unique = pd.Series(stripped.dropna().unique(), dtype="str")
    nothing = pd.Series(np.nan, index=text.index, dtype="str")
    if field.kind == "text" and not (field.key or field.refers_to):
        return Typed(stripped.astype("str"), {}, nothing, nothing.notna())
    if field.kind == "text":
        one_space = stripped.astype("str").str.replace(r"\s+", " ", regex=True)
        changed = (one_space != stripped) & stripped.notna()
        return Typed(one_space, {}, nothing.mask(changed, "a run of spaces as one").astype("str"), changed & False)
    reader = {
        "real": _real, "whole": _whole, "yes_no": _yes_no, "day": _day, "instant": _instant, "clock": _clock, "code": _code,
        "codes": _codes,
    }[field.kind]  # fmt: skip
    read = {one: reader(one, field, style) for one in unique}
    values = stripped.map({one: value for one, (value, _, _) in read.items()})
    # most columns have neither a fault nor a value that was worked out
    problems = sorted({problem for _, problem, _ in read.values() if problem})
    faults = {name: stripped.isin([one for one, (_, problem, _) in read.items() if problem == name]) for name in problems}
    ways = {one: words for one, (_, _, words) in read.items() if words}
    how = stripped.map(ways).astype("str") if ways else nothing
    return Typed(_as_kind(values, field.kind), faults, how, how == AT_LEAST if ways else pd.Series(False, index=text.index))


def empty_column(kind: str, index: pd.Index) -> pd.Series:
    """A column of the kind with nothing in it."""
    return _as_kind(pd.Series(np.nan, index=index, dtype="object"), kind)


def _as_kind(values: pd.Series, kind: str) -> pd.Series:
    types = {"real": "float64", "whole": "Int64", "yes_no": "boolean", "day": "datetime64[us]", "instant": "datetime64[us]"}
    if kind in ("whole", "yes_no"):
        return values.astype("object").where(values.notna(), pd.NA).astype(types[kind])
    return values.astype(types.get(kind, "str"))


def as_text(values: pd.Series, kind: str) -> pd.Series:
    """Write typed values as text that `read_column` reads back the same; missing stays missing."""
    if values.isna().all():
        return pd.Series(np.nan, index=values.index, name=values.name, dtype="str")
    if kind == "real" and (np.signbit(values) & (values == 0)).any():
        # a minus zero and a zero are one value, and two texts
        return _as_text(values, kind)
    return by_distinct(values, lambda once: _as_text(once, kind)) if kind in WRITTEN else _as_text(values, kind)


def _as_text(values: pd.Series, kind: str) -> pd.Series:
    if kind in ("day", "instant"):
        written = values.dt.strftime("%Y-%m-%d" if kind == "day" else "%Y-%m-%dT%H:%M")
    elif kind == "yes_no":
        written = values.map({True: "yes", False: "no"}, na_action="ignore")
    elif kind == "real":
        written = values.map(lambda number: np.nan if pd.isna(number) else repr(float(number)))
    elif kind == "whole":
        written = values.map(lambda number: np.nan if pd.isna(number) else str(int(number)))
    else:
        written = values
    return written.where(values.notna(), np.nan).astype("str")


# value, fault, and how it was read where that is more than copying
Read = tuple[object, str, str]
UNREADABLE: Read = (np.nan, "unreadable", "")
AT_LEAST = "the fewest: more were there"


def number_of(text: str) -> float | None:
    """Number that a text states, None where it states none: no unit, no parted thousands, no infinity."""
    text = text.replace("\u2212", "-")
    if not NUMBER.fullmatch(text):
        return None
    number = float(text.replace(",", "."))
    # plus zero: a minus zero and a zero are one value
    return number + 0.0 if np.isfinite(number) else None


def _real(text: str, field: Field, style: Style) -> Read:
    if field.unit == "degree":
        return _angle(text, field)
    number, unit, stated = number_of(text), style.unit, "stated for the column"
    if number is None and (both := parted(text)):
        # a unit beside the number says more than one stated for the column
        number, unit, stated = number_of(both[0]), unit_named(both[1], field.unit) or "", "in the cell"
        if not unit:
            return UNREADABLE
    if number is None:
        return UNREADABLE
    ways = ["decimal comma"] if "," in text else []
    if unit and UNITS[field.unit][unit] != (1, 0):
        ways.append(f"{unit} {stated}")
        number = to_stored(number, unit, field.unit)
    return number, "", ", ".join(ways)


def _angle(text: str, field: Field) -> Read:
    number = number_of(text)
    if number is not None:
        return number, "", "decimal comma" if "," in text else ""
    angle = read_angle(text, "NS" if field.darwin_core == "decimalLatitude" else "EW")
    return UNREADABLE if angle is None else (angle.degrees, "", f"{angle.notation} with sign or letter")


def _whole(text: str, field: Field, style: Style) -> Read:
    fewest = re.fullmatch(r"(\d+)\s*\+", text, re.ASCII) if field.at_least else None
    number = number_of(fewest[1] if fewest else text)
    if number is None or number != int(number) or abs(number) >= 2**53:
        return UNREADABLE
    return int(number), "", AT_LEAST if fewest else "decimal comma" if "," in text else ""


def _yes_no(text: str, field: Field, style: Style) -> Read:
    folded = text.casefold()
    return (True, "", "") if folded in YES else (False, "", "") if folded in NO else UNREADABLE


def _code(text: str, field: Field, style: Style) -> Read:
    folded = re.sub(r"[\s-]+", "_", text.casefold())
    for code in codes(field.vocabulary):
        if code == text or code.casefold() == folded:
            return code, "", ""
    return np.nan, "code_unknown", ""


def _codes(text: str, field: Field, style: Style) -> Read:
    parts = [part for part in re.split(r"[|;,\s]+", text) if part]
    return ("|".join(parts) if parts else np.nan), "", ""


CLOCK_TEXT = re.compile(
    # a dot after a single zero: a spreadsheet's fraction of a day, not a clock; without a sign only four digits, or three with am or pm
    r"(?!0\.)(?:(?P<h>\d{1,2})[:.h](?P<m>\d{2})(?P<s>:[0-5]\d)?|(?P<hh>\d{2})(?P<mm>\d{2})|(?P<h1>\d)(?P<m1>\d{2})(?=\s*[aApP]))"
    r"(?:\s*(?P<half>[aApP])\.?[mM]?\.?)?",
    re.ASCII,
)


def _clock(text: str, field: Field, style: Style) -> Read:
    match = CLOCK_TEXT.fullmatch(text)
    if not match:
        return UNREADABLE
    written = (int(match["h"] or match["hh"] or match["h1"]), int(match["m"] or match["mm"] or match["m1"]))
    (hour, minute), half = written, (match["half"] or "").lower()
    if style.clock == "ampm" and not half:
        return UNREADABLE if hour > 23 or minute > 59 else (np.nan, "clock_half_missing", "")
    if half:
        if not 1 <= hour <= 12:
            return UNREADABLE
        hour = hour % 12 + (12 if half == "p" else 0)
    elif style.clock == "night" and hour <= 12:
        # evenings are written 9:52 and nights 1:05: half past nine is before midnight, half past twelve is after it
        hour = 0 if hour == 12 else hour + 12 if hour >= 6 else hour
    if hour > 23 or minute > 59:
        return UNREADABLE
    ways = [f"{half}m" if half else "", "hours of a night" if not half and hour != written[0] else ""]
    ways += ["no colon" if ":" not in text else "", "seconds left out" if match["s"] else ""]
    return f"{hour:02d}:{minute:02d}", "", ", ".join(way for way in ways if way)


def _day(text: str, field: Field, style: Style) -> Read:
    days = possible_days(text, style)
    if len(days) != 1:
        return (np.nan, "date_ambiguous", "") if days else UNREADABLE
    return pd.Timestamp(days.pop()), "", _way_of_day(text, style)


def _way_of_day(text: str, style: Style) -> str:
    """How a date was read; empty for year-month-day with hyphens."""
    day = TIME_OF_DAY.sub("", text)
    left_out = ["time of day left out"] if day != text else []
    if re.fullmatch(r"\d{4}-\d{1,2}-\d{1,2}", day, re.ASCII):
        return ", ".join(left_out)
    if re.search(r"[A-Za-z]", day):
        return ", ".join(["named month", *left_out])
    if style.date_order != "iso":
        return ", ".join([f"order {style.date_order} as stated", *left_out])
    return ", ".join(["the only order that gives a date", *left_out])


def _instant(text: str, field: Field, style: Style) -> Read:
    if not re.fullmatch(r"[1-9]\d{3}-\d\d-\d\dT\d\d:\d\d", text, re.ASCII):
        return UNREADABLE
    try:
        return pd.Timestamp(datetime.fromisoformat(text)), "", ""
    except ValueError:
        return UNREADABLE
