"""Units, date orders and clocks of strange columns: proposed with the reason, or left as ``ask`` where the numbers fit more than one."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pandas as pd

from pipeline.mapping.column_content import Content
from pipeline.reading.dates import possible_days
from pipeline.reading.style import Style
from pipeline.reading.units import UNITS, to_stored, unit_named
from pipeline.reading.values import CLOCK_TEXT
from schemas.fields import Field

ASK = "ask"
PIVOT = 30
ENOUGH, NEARLY_ALL = 0.9, 0.98
# units that surveys use; a unit that nobody uses would make every span look open
USUAL_UNITS = {
    "°C": ("degC", "degF"), "µS/cm": ("uS/cm", "mS/cm"), "%": ("percent", "fraction"), "mm": ("mm", "cm"), "m": ("m", "ft"),
    "g": ("g", "mg"),
}  # fmt: skip
ORDERS = ("mdy", "dmy", "ymd")


@dataclass(frozen=True)
class Proposed:
    """A word of a map: its value, why, and whether that is more than a guess; ``ask`` is a question to the reader."""

    value: str
    reason: str
    sure: bool = False


def unit_of(content: Content, declared: Field) -> Proposed | None:
    """Unit in which a column of numbers is written.

    Parameters
    ----------
    content : Content
        The column.
    declared : Field
        The field that it is to fill.

    Returns
    -------
    Proposed or None
        None where the field has no unit to choose, or each cell states its own.
    """
    known = UNITS.get(declared.unit, {})
    if not known:
        return None
    in_cells = {unit_named(one, declared.unit) for one in content.units}
    bare = content.text[content.numbers.notna()].str.fullmatch(r"[+\-\u2212]?[\d.,]+").any()
    if content.units and None not in in_cells and not bare:
        return None
    fitting = [one for one in USUAL_UNITS.get(declared.unit, known) if _share(content, one, declared) >= NEARLY_ALL]
    spread = _spread(content)
    if stated := _in_heading(content.name, declared.unit):
        if _share(content, stated, declared) >= ENOUGH:
            return Proposed(stated, f"the heading says {stated}", sure=True)
        return Proposed(ASK, f"the heading says {stated}, but the numbers, {spread}, do not fit it")
    if len(fitting) == 1:
        return Proposed(fitting[0], f"no unit is stated; the numbers, {spread}, are usual in {fitting[0]} alone")
    which = " and ".join(fitting) or "no usual unit"
    return Proposed(ASK, f"no unit is stated and the numbers, {spread}, fit {which}; known here: {', '.join(known)}")


def possible_in_some_unit(content: Content, declared: Field) -> float:
    """Greatest share of the numbers that are possible, whatever the unit."""
    known = content.numbers.dropna()
    if known.empty or declared.possible is None:
        return float(len(known) > 0)
    low, high = declared.possible
    units = UNITS.get(declared.unit, {})
    turned = [known.map(lambda number, unit=one: to_stored(number, unit, declared.unit)) for one in units] or [known]
    return max(float(one.between(low, high).mean()) for one in turned)


def _share(content: Content, unit: str, declared: Field) -> float:
    """Share of the numbers that are usual in a unit; for temperatures without frost, in which nobody searches (judgement)."""
    span = declared.expected or declared.possible
    if span is None:
        return 1.0
    low, high = (max(0.0, span[0]) if declared.unit == "°C" else span[0]), span[1]
    turned = content.numbers.dropna().map(lambda number: to_stored(number, unit, declared.unit))
    return float(turned.between(low, high).mean()) if len(turned) else 0.0


def _spread(content: Content) -> str:
    if content.may_be_a_place:
        return "not shown here"
    known = content.numbers.dropna()
    return f"{known.min():g} to {known.max():g}" if len(known) else "none"


def _in_heading(heading: str, stored: str) -> str:
    """Unit that a heading names: in brackets, or as its last word."""
    bracketed = re.search(r"[(\[]\s*([^()\[\]]+?)\s*[)\]]", heading)
    last = re.split(r"[\s_.,-]+", heading.strip())[-1]
    for spelt in (bracketed[1] if bracketed else "", last if last != heading.strip() else ""):
        if spelt and (named := unit_named(spelt, stored)):
            return named
    return ""


def readable_as_day(content: Content) -> float:
    """Greatest share of the texts that are dates in one order."""
    written = content.text.dropna().unique()
    if _serial(content):
        return 1.0
    if not len(written) or not any(re.search(r"\D", one) for one in written):
        return 0.0
    return max(_read(written, order) for order in ("iso", *ORDERS))


def date_order(content: Content) -> Proposed | None:
    """Order of day, month and year of a column of dates; None where all are year-month-day and need no word."""
    if _serial(content):
        return Proposed("serial", "whole numbers from 20000 to 60000 under a heading of a date: a spreadsheet's days")
    written = content.text.dropna().unique()
    plain = [one for one in written if re.match(r"\d{4}-\d{1,2}-\d{1,2}", one) or re.search(r"[A-Za-z]{3}", one)]
    rest = pd.Index(written).difference(plain)
    if rest.empty:
        return None
    whole = {order: _read(rest, order) for order in ORDERS}
    fitting = [order for order, share in whole.items() if share == 1]
    if len(fitting) == 1:
        other = max((order for order in ORDERS if order != fitting[0]), key=lambda order: whole[order])
        against = round((1 - whole[other]) * len(rest))
        return Proposed(fitting[0], f"{against} of {len(rest)} dates are none in the order {other}", sure=against > 1)
    if fitting:
        return Proposed(ASK, f"every date can be read as {' and as '.join(fitting)}")
    best = max(whole, key=lambda order: whole[order])
    return Proposed(ASK, f"no order reads every date; {best} reads {whole[best]:.0%}")


def _serial(content: Content) -> bool:
    """Whether a column may hold the day numbers of a spreadsheet: 1954 to 2064."""
    return content.numeric == 1 and content.whole and bool(content.numbers.dropna().between(20_000, 60_000).all())


def two_digit_years(content: Content) -> bool:
    """Whether a column of dates has years of two digits."""
    return bool(content.text.str.fullmatch(r"\d{1,2}[/.-]\d{1,2}[/.-]\d{2}(\D.*)?").fillna(False).any())


def _read(written: object, order: str) -> float:
    texts = list(written)  # type: ignore[call-overload]
    style = Style(date_order=order, pivot=PIVOT)
    return sum(len(possible_days(one, style)) == 1 for one in texts) / len(texts)


def readable_as_clock(content: Content) -> float:
    """Share of the texts that are clock times."""
    written = content.text.dropna()
    return float(written.map(lambda one: CLOCK_TEXT.fullmatch(one) is not None).mean()) if len(written) else 0.0


def hours(content: Content) -> pd.Series:
    """Hour as written of each clock time; missing where there is none."""
    found = content.text.str.extract(CLOCK_TEXT)
    return found["h"].fillna(found["hh"]).fillna(found["h1"]).astype("float64")


def clock(content: Content) -> Proposed:
    """Kind of clock of a column of times."""
    written = content.text.dropna()
    if written.str.contains(r"[ap]\.?m?\.?$", case=False, regex=True).mean() > 0.5:
        return Proposed("ampm", "the times carry am or pm", sure=True)
    known = hours(content).dropna()
    if known.between(13, 17).any():
        doubtful = known.between(1, 4).any()
        why = "hours from 13 to 17 and from 1 to 4 stand side by side" if doubtful else "hours after 12 are written"
        return Proposed(ASK if doubtful else "24h", why, sure=not doubtful)
    if known.between(18, 23).any():
        early = known.between(0, 12).any()
        if not early:
            return Proposed("24h", "all hours are from 18 to 23", sure=True)
        return Proposed("night", "hours from 18 to 23 stand beside hours up to 12, and none from 13 to 17: work at night")
    return Proposed(ASK, "no hour after 12 is written: 24h, ampm or night cannot be told apart")


def date_is_evening(days: Content, times: Content) -> Proposed | None:
    """Whether a date is that of the evening: work after midnight on dates with an evening and no eve."""
    found = date_order(days)
    if found is not None and found.value == ASK:
        return None
    style = Style(date_order=found.value if found else "iso", pivot=PIVOT)
    read = {one: next(iter(known)) for one in days.text.dropna().unique() if len(known := possible_days(one, style)) == 1}
    frame = pd.DataFrame({"day": pd.to_datetime(days.text.map(read)), "hour": hours(times)}).dropna()
    late = {day: bool(group["hour"].between(18, 23).any()) for day, group in frame.groupby("day")}
    early = [day for day, group in frame.groupby("day") if group["hour"].between(0, 5).any() or (group["hour"] == 12).any()]
    lone = [day for day in early if day - pd.Timedelta(days=1) not in late and late[day]]
    if not lone:
        return None
    return Proposed("evening", f"on {len(lone)} dates work goes on after midnight, and on the day before there was none")
