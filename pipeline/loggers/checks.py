"""Checks of logger readings, one file at a time and chunk by chunk: everything doubtful is marked, nothing is changed or dropped.

What is remembered from one chunk to the next is the last reading, the runs that are still open, and three sums a day.
The figures stand in data/reference/logger_limits.csv with their sources.
"""

from __future__ import annotations

from array import array
from functools import cache

import numpy as np
import pandas as pd

from pipeline.loggers.stretches import DAY_US, FLAG_COLUMNS, HOUR_US, KEPT, REMEDY, Stretch, Watch, add_flag, close, extend, limit, point
from pipeline.settings.limits import judgement


def watch(medium: str, step_s: float, time_zone: str) -> Watch:
    """Begin to check a file; `step_s` is its commonest step, s."""
    return Watch(medium, 0 if np.isnan(step_s) else round(step_s * 1e6), time_zone, standard_shift_us(time_zone))


def standard_shift_us(time_zone: str) -> int:
    """Offset of a zone from UTC in standard time, µs: the smaller one of winter and summer."""
    seasons = (pd.Timestamp(2024, month, 1, tz=time_zone).utcoffset() for month in (1, 7))
    return min(round(one.total_seconds()) for one in seasons) * 1_000_000


def feed(state: Watch, readings: pd.DataFrame) -> None:
    """Check one chunk.

    Parameters
    ----------
    state : Watch
        From :func:`watch`; it takes the flags.
    readings : DataFrame
        ``line``, ``read_at``, ``temp_c``, ``rh_pct``, ``ambiguous``, ``skipped``, in the order of the file.
    """
    if readings.empty:
        return
    at = readings["read_at"].to_numpy().astype("datetime64[us]").astype("int64")
    temp, line = readings["temp_c"].to_numpy(), readings["line"].to_numpy()
    low, high = limit("range_low", state.medium), limit("range_high", state.medium)
    extend(state, "out_of_range", (temp < low) | (temp > high), at, temp, line)
    extend(state, "time_ambiguous", readings["ambiguous"].to_numpy(), at, temp, line)
    extend(state, "time_skipped", readings["skipped"].to_numpy(), at, temp, line)
    humid = readings["rh_pct"].to_numpy()
    extend(state, "wet_sensor", humid >= limit("wet_sensor_pct", state.medium), at, humid, line)
    _times(state, at, temp, line)
    there = ~np.isnan(temp)
    if there.any():
        _changes(state, at[there], temp[there], line[there])
        _daily(state, (at[there] + state.shift_us) // DAY_US, temp[there])
    state.last = (int(at[-1]), float(temp[-1]), int(line[-1]))


def _times(state: Watch, at: np.ndarray, temp: np.ndarray, line: np.ndarray) -> None:
    """Gaps, repeated and backward times, and steps that are an hour off where daylight saving changes."""
    before = np.concatenate([[state.last[0] if state.last else at[0] - max(state.step_us, 1)], at[:-1]])
    steps = at - before
    if not state.step_us:
        return
    odd = np.flatnonzero((steps <= 0) | (steps > state.step_us) | (steps < state.step_us))
    for place in odd:
        step, run = int(steps[place]), point(int(before[place]), int(at[place]), float(temp[place]), int(line[place]))
        if _hour_off(state, step) and _clock_changes(state.time_zone, int(at[place])):
            add_flag(
                state,
                "clock_changed",
                run,
                "the clock moves by an hour in the night in which daylight saving changes.",
                step / HOUR_US,
                "read_at",
            )
        elif step == 0:
            add_flag(state, "time_twice", run, "two readings have the same time.", run.low, "read_at")
        elif step < 0:
            add_flag(state, "time_back", run, f"the time goes back by {-step / HOUR_US:.4g} h.", step / HOUR_US, "read_at")
        elif step > judgement("logger_gap_steps") * state.step_us:
            message = f"no reading for {step / HOUR_US:.4g} h; the usual step is {state.step_us / 6e7:g} min."
            add_flag(state, "gap", run, message, step / HOUR_US, "read_at")


def _hour_off(state: Watch, step: int) -> bool:
    return abs(abs(step - state.step_us) - HOUR_US) < 1_000_000


@cache
def _changes_of(time_zone: str, year: int) -> tuple[int, ...]:
    """Instants at which the zone's offset changes in a year, to the hour, µs UTC."""
    hours = pd.date_range(f"{year}-01-01", f"{year + 1}-01-01", freq="h", tz="UTC")
    local = hours.tz_convert(time_zone).tz_localize(None) - hours.tz_localize(None)
    moved = np.flatnonzero(np.diff(local.to_numpy().astype("timedelta64[s]").astype("int64")))
    return tuple(int(hours[place + 1].value // 1000) for place in moved)


def _clock_changes(time_zone: str, at: int) -> bool:
    year = int(np.datetime64(at, "us").astype("datetime64[Y]").astype(int)) + 1970
    return any(abs(at - change) <= DAY_US for change in _changes_of(time_zone, year))


def _changes(state: Watch, at: np.ndarray, temp: np.ndarray, line: np.ndarray) -> None:
    """Jumps within an hour of the reading before, and stretches that do not change at all."""
    first = state.last_temp is None
    last = state.last_temp or (int(at[0]), float(temp[0]), int(line[0]))
    before_at, before, before_line = (np.concatenate([[one], some[:-1]]) for one, some in zip(last, (at, temp, line), strict=True))
    jump = limit("jump_c", state.medium)
    near = np.abs(at - before_at) <= limit("jump_hours", state.medium) * HOUR_US
    for place in np.flatnonzero(near & (np.abs(temp - before) > jump)):
        change = float(temp[place] - before[place])
        run = point(int(before_at[place]), int(at[place]), float(temp[place]), int(line[place]))
        add_flag(
            state, "jump", run, f"{before[place]:g} to {temp[place]:g} °C within {(at[place] - before_at[place]) / 6e7:g} min.", change
        )
    same = temp == before
    if first:
        # the first reading belongs to the stretch that it begins
        same[0] = False
    extend(state, "flat_line", same, at, temp, before_line, before_at)
    state.last_temp = (int(at[-1]), float(temp[-1]), int(line[-1]))


def _daily(state: Watch, days: np.ndarray, temp: np.ndarray) -> None:
    starts = np.flatnonzero(np.concatenate([[True], days[1:] != days[:-1]]))
    least, most = np.minimum.reduceat(temp, starts), np.maximum.reduceat(temp, starts)
    for start, end, low, high in zip(starts.tolist(), [*starts[1:].tolist(), len(days)], least.tolist(), most.tolist(), strict=True):
        some = temp[start:end]
        day = state.days.setdefault(int(days[start]), array("d", (0, 0, 0, float("inf"), float("-inf"), some[0])))
        off = some - day[5]
        day[0], day[1], day[2] = day[0] + len(some), day[1] + float(off.sum()), day[2] + float((off * off).sum())
        day[3], day[4] = min(day[3], low), max(day[4], high)


def finish(state: Watch) -> tuple[pd.DataFrame, pd.DataFrame]:
    """End the check of a file.

    Returns
    -------
    flags : DataFrame
        Columns of ``FLAG_COLUMNS``; of a rule that broke more than ``KEPT`` times the rest are counted in one more row.
    days : DataFrame
        ``day``, ``n``, ``mean``, ``sd``, ``low``, ``high`` of the temperature, °C, by day of the zone's standard time.
    """
    for rule in list(state.runs):
        close(state, rule)
    days = _day_frame(state)
    least_sd = limit("day_sd_c", state.medium)
    full = days["n"] >= days["n"].median() if len(days) else days["n"] > 0
    for row in days[full & (days["sd"] < least_sd) & (days["n"] > 1)].itertuples():
        start = int(row.day.value // 1000) - state.shift_us
        run = Stretch(start, start + DAY_US, int(row.n), row.low, row.high, 0)
        add_flag(state, "flat_day", run, f"the readings of the day scatter by {row.sd:.2g} °C, less than {least_sd:g}.", row.sd)
    rows = list(state.flags)
    for rule, n in state.count.items():
        if n > KEPT:
            last = [one for one in state.flags if one["rule"] == rule][-1]
            rows.append(
                {
                    **last,
                    "n": n - KEPT,
                    "message": f"and {n - KEPT} more of this kind in the file.",
                    "from_at": last["to_at"],
                    "to_at": None,
                }
            )
    flags = pd.DataFrame(rows, columns=list(FLAG_COLUMNS))
    for name in ("from_at", "to_at"):
        flags[name] = pd.to_datetime(flags[name]).astype("datetime64[us]")
    return flags, days


def _day_frame(state: Watch) -> pd.DataFrame:
    rows = sorted(state.days.items())
    sums = np.array([values for _, values in rows], dtype="float64").reshape(len(rows), 6)
    n, off = sums[:, 0], sums[:, 1] / np.where(sums[:, 0] > 0, sums[:, 0], 1)
    spread = np.maximum(sums[:, 2] - n * off * off, 0)
    return pd.DataFrame({
        "day": pd.to_datetime(np.array([day for day, _ in rows], dtype="int64"), unit="D").astype("datetime64[us]"), "n": n.astype("int64"),
        "mean": sums[:, 5] + off, "sd": np.sqrt(spread / np.maximum(n - 1, 1)), "low": sums[:, 3], "high": sums[:, 4],
    })  # fmt: skip


def out_of_water(days: pd.DataFrame, shift_us: int, air: pd.DataFrame | None = None) -> pd.DataFrame:
    """Days on which a logger that should hang in water seems to read the air.

    Parameters
    ----------
    days : DataFrame
        ``day``, ``low``, ``high``, ``mean`` of the water logger, as :func:`finish` gives them.
    shift_us : int
        Standard offset of the zone whose days these are, as :func:`standard_shift_us` gives it.
    air : DataFrame, optional
        The same of an air logger at the same site.

    Returns
    -------
    DataFrame
        Columns of ``FLAG_COLUMNS``, times in UTC, one row a stretch of at least ``exposed_days`` days: the day's range is too large for
        water, or it is nearly that of the air while the means are close.
    """
    swing = days["high"] - days["low"]
    wide = swing > limit("exposed_range_c", "water")
    follows = pd.Series(False, index=days.index)
    if air is not None and len(air):
        beside = air.drop_duplicates("day").set_index("day").reindex(days["day"]).set_axis(days.index)
        alike = swing >= limit("exposed_share", "water") * (beside["high"] - beside["low"])
        follows = (
            alike & ((days["mean"] - beside["mean"]).abs() <= limit("exposed_difference_c", "water")) & (beside["high"] > beside["low"])
        )
    exposed = (wide | follows).to_numpy()
    day = days["day"].to_numpy().astype("datetime64[D]").astype("int64")
    block = np.cumsum(np.concatenate([[True], (np.diff(day) != 1) | (np.diff(exposed.astype("int8")) != 0)])) if len(day) else np.array([])
    shift = pd.Timedelta(shift_us, unit="us")
    rows = []
    for _, places in pd.Series(range(len(day))).groupby(block):
        first, last = places.iloc[0], places.iloc[-1]
        if not exposed[first] or len(places) < limit("exposed_days", "water"):
            continue
        by_air = follows.iloc[first : last + 1].any()
        worst = float(swing.iloc[first : last + 1].max())
        why = (
            "the daily range and mean follow the air logger of this site"
            if by_air
            else f"the temperature swings by up to {worst:.1f} °C a day"
        )
        rows.append({
            "rule": "out_of_water", "field": "temp_c", "from_at": days["day"].iloc[first] - shift,
            "to_at": days["day"].iloc[last] + pd.Timedelta(days=1) - shift,
            "n": int(days["n"].iloc[first : last + 1].sum()), "value": worst, "line": 0,
            "message": f"it seems to read the air: {why}, {len(places)} days.", "remedy": REMEDY["out_of_water"],
        })  # fmt: skip
    return pd.DataFrame(rows, columns=list(FLAG_COLUMNS))
