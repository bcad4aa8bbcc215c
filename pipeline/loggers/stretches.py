"""What a check of a series remembers between parts: stretches that are open, and what was found."""

from __future__ import annotations

import csv
from array import array
from collections import Counter
from dataclasses import dataclass, field
from functools import cache

import numpy as np
import pandas as pd

from pipeline.settings import data_file

HOUR_US, DAY_US = 3_600_000_000, 86_400_000_000
FLAG_COLUMNS = ("rule", "field", "from_at", "to_at", "n", "value", "message", "remedy", "line")
# Flags of one rule kept a file, so that a broken sensor does not fill the book; the rest are counted in one more
KEPT = 200
# Rules of stretches that are told only where they last: the limit, and its unit in hours
LONG = {"wet_sensor": ("wet_sensor_hours", 1), "flat_line": ("flat_days", 24)}
REMEDY = {
    "out_of_range": "Was it lying in the hand, in the sun or out of its place? Look at the field notes.",
    "jump": "Was it moved, or did the water leave it? Look at the field notes.",
    "flat_line": "Is it dead, frozen in, or in a spring that never changes? Compare it with a thermometer.",
    "flat_day": "Is it buried or broken? Compare it with a thermometer.",
    "out_of_water": "Did the water fall below it? Leave these days out, or hang it deeper.",
    "gap": "Nothing is known of this time, and nothing is filled in.",
    "time_twice": "The first reading counts. Was the clock set back?",
    "time_back": "Was the clock set back, or were two exports put together? The readings are kept by their time.",
    "time_ambiguous": "It is read as standard time. State utc_offset if this clock does not follow daylight saving.",
    "time_skipped": "This clock seems not to follow daylight saving: state utc_offset in place of time_zone.",
    "clock_changed": "This clock seems to follow daylight saving: state time_zone in place of utc_offset, or export in UTC.",
    "wet_sensor": "It cannot judge until it has dried; its humidity here is no evidence.",
}


@cache
def limits() -> dict[tuple[str, str], float]:
    """Thresholds by quantity and medium (empty where it is the same for all), in the units of their names."""
    text = data_file("reference/logger_limits.csv").read_text(encoding="utf-8")
    return {(row["quantity"], row["medium"]): float(row["value"]) for row in csv.DictReader(text.splitlines())}


def limit(quantity: str, medium: str) -> float:
    """The limit of a quantity in a medium, or in any medium; nan where there is none."""
    known = limits()
    return known.get((quantity, medium), known.get((quantity, ""), float("nan")))


@dataclass
class Stretch:
    """A stretch of readings that break one rule, still open."""

    start: int
    last: int
    n: int
    low: float
    high: float
    line: int


@dataclass
class Watch:
    """What a check of one file remembers between chunks.

    Attributes
    ----------
    medium : str
        Code of the vocabulary logger_medium.
    step_us : int
        Commonest step of the file, µs; 0 where there is none.
    time_zone : str
        The book's zone, for changes of the clock.
    shift_us : int
        Standard offset of that zone, µs: the days of all loggers begin at the same instant.
    flags : list of dict
        Flags so far, in the columns of ``FLAG_COLUMNS``.
    days : dict
        Day of the zone's standard time to n, sum, sum of squares, low, high and first of the temperature, °C; sums are of differences
        from the day's first value, so that no digit is lost.
    """

    medium: str
    step_us: int
    time_zone: str
    shift_us: int
    flags: list[dict[str, object]] = field(default_factory=list)
    days: dict[int, array[float]] = field(default_factory=dict)
    count: Counter[str] = field(default_factory=Counter)
    runs: dict[str, Stretch] = field(default_factory=dict)
    last: tuple[int, float, int] | None = None
    last_temp: tuple[int, float, int] | None = None


def extend(
    state: Watch, rule: str, broken: np.ndarray, at: np.ndarray, values: np.ndarray, line: np.ndarray, begin: np.ndarray | None = None
) -> None:
    """Gather neighbouring readings that break a rule; a stretch ends with the first reading that does not."""
    if rule not in state.runs and not broken.any():
        return
    edges = np.flatnonzero(np.diff(np.concatenate([[False], broken, [False]]).astype("int8")))
    starts, ends = edges[::2], edges[1::2]
    if rule in state.runs and not broken[0]:
        close(state, rule)
    if rule in LONG:
        # a stretch that ends here too soon to be told; a series has a great many of two alike readings
        quantity, unit = LONG[rule]
        least = limit(quantity, state.medium) * unit * HOUR_US
        told = (at[ends - 1] - (at if begin is None else begin)[starts] >= least) | (starts == 0) | (ends == len(broken))
        starts, ends = starts[told], ends[told]
    for start, end in zip(starts, ends, strict=True):
        some = values[start:end]
        low, high = (float(np.nanmin(some)), float(np.nanmax(some))) if not np.isnan(some).all() else (float("nan"),) * 2
        run = state.runs.get(rule) if start == 0 else None
        if run is None:
            state.runs[rule] = Stretch(
                int((at if begin is None else begin)[start]), int(at[end - 1]), int(end - start), low, high, int(line[start])
            )
        else:
            run.last, run.n = int(at[end - 1]), run.n + int(end - start)
            run.low, run.high = float(np.fmin(run.low, low)), float(np.fmax(run.high, high))
        if end < len(broken):
            close(state, rule)


def close(state: Watch, rule: str) -> None:
    """End the open stretch of a rule, and tell it where it lasted long enough."""
    run = state.runs.pop(rule)
    hours = (run.last - run.start) / HOUR_US
    if rule == "wet_sensor":
        if hours > limit("wet_sensor_hours", state.medium):
            add_flag(state, rule, run, f"the humidity stays at {run.low:g} % or more for {hours:.0f} h.", run.high, "rh_pct")
        return
    if rule == "flat_line":
        if hours >= 24 * limit("flat_days", state.medium):
            # the reading before the first that did not change is one of them
            run.n += 1
            add_flag(state, rule, run, f"the temperature stays at {run.low:g} °C for {hours / 24:.0f} days.", run.low)
        return
    span = f"{run.low:g} °C" if run.low == run.high else f"{run.low:g} to {run.high:g} °C"
    low, high = limit("range_low", state.medium), limit("range_high", state.medium)
    words = {
        "out_of_range": f"{run.n} readings of {span}; {low:g} to {high:g} °C are expected in {state.medium}.",
        "time_ambiguous": f"{run.n} readings in the hour that came twice when daylight saving ended.",
        "time_skipped": f"{run.n} readings in the hour that was skipped when daylight saving began.",
    }
    extreme = run.high if rule != "out_of_range" or run.high > high else run.low
    add_flag(state, rule, run, words[rule], extreme, "temp_c" if rule == "out_of_range" else "read_at")


def add_flag(state: Watch, rule: str, run: Stretch, message: str, value: float, name: str = "temp_c") -> None:
    """Tell what was found; the first of each rule, and a count of the rest."""
    state.count[rule] += 1
    if state.count[rule] > KEPT:
        return
    state.flags.append({
        "rule": rule, "field": name, "from_at": _moment(run.start), "to_at": _moment(run.last), "n": run.n, "value": value,
        "message": message, "remedy": REMEDY[rule], "line": run.line,
    })  # fmt: skip


def _moment(at: int) -> pd.Timestamp:
    return pd.Timestamp(at, unit="us")


def point(start: int, end: int, value: float, line: int) -> Stretch:
    """A stretch of one reading."""
    return Stretch(start, end, 1, value, value, line)
