"""From figures to a verdict: inside, warm, cold or unknown, since when, and every spell of the stretch.

Unknown is never inside: a silent, dead or absent sensor, a day that readings hardly cover, a month without evidence.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from pipeline.settings.limits import judgement
from pipeline.tanks.stretch import ONE_DAY, Stretch

INSIDE, WARM, COLD, UNKNOWN = "inside", "warm", "cold", "unknown"
WORST_FIRST = (WARM, COLD, UNKNOWN, INSIDE)
SPELL_COLUMNS = ("state", "start", "end", "hours", "worst", "why")
HOUR = pd.Timedelta(hours=1)
SILENT, STILL, THIN = "no reading", "the sensor shows one value and never another", "too few readings"
UNSEEN = "no evidence of the wild for this time"
ABOVE, BELOW = "above the act line", "below what is safe"
BAND_HIGH, BAND_LOW = "the day's mean is above the band", "the day's mean is below the band"
BY_DAY = (BAND_HIGH, BAND_LOW)
Spell = tuple[str, pd.Timestamp, pd.Timestamp, float, str]


@dataclass(frozen=True)
class Verdict:
    """What the record of one sensor says.

    Attributes
    ----------
    state : str
        At the end of the stretch: inside, warm, cold or unknown.
    since : Timestamp or None
        Since when (UTC); None for inside.
    why : str
        In words.
    spells : DataFrame
        Columns ``SPELL_COLUMNS``: every time outside or unknown, UTC, in order.
    """

    state: str
    since: pd.Timestamp | None
    why: str
    spells: pd.DataFrame = field(repr=False)

    @property
    def all_inside(self) -> bool:
        """Inside at the end and throughout."""
        return self.state == INSIDE and self.spells.empty


def judge(
    stretch: Stretch, days: pd.DataFrame, figures: pd.DataFrame, over: pd.DataFrame, under: pd.DataFrame, gaps: pd.DataFrame,
    last: tuple[pd.Timestamp, float] | None,
) -> Verdict:  # fmt: skip
    """Judge one sensor.

    Parameters
    ----------
    stretch : Stretch
        What is looked at.
    days : DataFrame
        As `stretch.local_days`, with the lines of `day_lines.lines_of_days` beside them.
    figures : DataFrame
        As `readings.daily`, with ``first_change`` and ``last_change``.
    over, under : DataFrame
        Spells above the act line (the ceiling where there is none) and below the cold line.
    gaps : DataFrame
        As `readings.gaps`.
    last : tuple or None
        Last reading.

    Returns
    -------
    Verdict
    """
    if last is None:
        spells = _frame([(UNKNOWN, stretch.start, stretch.end, np.nan, "no reading in this time")])
        return Verdict(UNKNOWN, stretch.start, "no reading in this time", spells)
    unknown = _silences(stretch, figures, gaps, last) + _still(figures, last) + _no_evidence(stretch, days)
    unknown += _thin_days(stretch, days, figures, unknown)
    warm = [(WARM, row.start, row.end, row.worst, ABOVE) for row in over.itertuples()]
    cold = [(COLD, row.start, row.end, row.worst, BELOW) for row in under.itertuples()]
    means = _band_days(stretch, days, figures, unknown)
    spells = _frame(warm + cold + means + unknown)
    state, since, why = _at_the_end(stretch, spells, last)
    return Verdict(state, since, why, spells)


def _frame(rows: list[Spell]) -> pd.DataFrame:
    frame = pd.DataFrame(rows, columns=["state", "start", "end", "worst", "why"])
    for name in ("start", "end"):
        frame[name] = frame[name].astype("datetime64[us]")
    frame["hours"] = (frame["end"] - frame["start"]) / HOUR
    return frame.sort_values(["start", "state"], kind="stable", ignore_index=True)[list(SPELL_COLUMNS)]


def _silences(stretch: Stretch, figures: pd.DataFrame, gaps: pd.DataFrame, last: tuple[pd.Timestamp, float]) -> list[Spell]:
    """No reading for longer than counts as fresh: inside the record, before its first reading and after its last."""
    most = judgement("reading_age_most")
    found = [(UNKNOWN, row.start, row.end, np.nan, SILENT) for row in gaps.itertuples() if row.hours > most]
    if (stretch.end - last[0]) / HOUR > most:
        found.append((UNKNOWN, last[0], stretch.end, np.nan, SILENT))
    begun = figures["first_at"].min()
    if (begun - stretch.start) / HOUR > most:
        found.insert(0, (UNKNOWN, stretch.start, begun, np.nan, SILENT))
    return found


def _still(figures: pd.DataFrame, last: tuple[pd.Timestamp, float]) -> list[Spell]:
    """A value that does not change at all: between the last change of one day and the first of a later one."""
    moved = figures.dropna(subset=["first_change"])
    starts = [figures["first_at"].min(), *moved["last_change"]]
    ends = [*moved["first_change"], last[0]]
    most = judgement("still_most")
    return [(UNKNOWN, start, end, np.nan, STILL) for start, end in zip(starts, ends, strict=True) if (end - start) / HOUR > most]


def _no_evidence(stretch: Stretch, days: pd.DataFrame) -> list[Spell]:
    lacks = days["evidence"].eq("none").to_numpy()
    return [(UNKNOWN, max(start, stretch.start), min(end, stretch.end), np.nan, UNSEEN) for start, end in _runs(days, lacks)]


def _thin_days(stretch: Stretch, days: pd.DataFrame, figures: pd.DataFrame, known: list[Spell]) -> list[Spell]:
    """Whole days that readings hardly cover though no single silence is long."""
    hours = figures.set_index("day")["hours"].reindex(days["day"]).fillna(0.0).to_numpy()
    length = ((days["ends"] - days["starts"]) / HOUR).to_numpy()
    whole = (days["starts"] >= stretch.start).to_numpy() & (days["ends"] <= stretch.end).to_numpy()
    thin = whole & (hours < judgement("day_known_least") * length)
    told = [any(start < row.ends and end > row.starts for _, start, end, *_ in known) for row in days.itertuples()]
    return [(UNKNOWN, start, end, np.nan, THIN) for start, end in _runs(days, thin & ~np.array(told, dtype=bool))]


def _band_days(stretch: Stretch, days: pd.DataFrame, figures: pd.DataFrame, unknown: list[Spell]) -> list[Spell]:
    """Runs of days whose mean left the band; only whole days that are covered and not unknown."""
    rows = days.merge(figures[["day", "hours", "mean"]], on="day", how="left")
    still = [(start, end) for _, start, end, _, why in unknown if why == STILL]
    whole = (rows["starts"] >= stretch.start) & (rows["ends"] <= stretch.end)
    length = (rows["ends"] - rows["starts"]) / HOUR
    known = whole & (rows["hours"] >= judgement("day_known_least") * length)
    known &= ~np.array([any(start < row.ends and end > row.starts for start, end in still) for row in rows.itertuples()], dtype=bool)
    found = []
    for state, outside, words, worst in (
        (WARM, rows["mean"] > rows["band_high"], BAND_HIGH, "max"),
        (COLD, rows["mean"] < rows["band_low"], BAND_LOW, "min"),
    ):
        flags = (known & outside).to_numpy()
        for start, end in _runs(days, flags):
            mine = rows[(rows["starts"] >= start) & (rows["ends"] <= end)]
            found.append((state, start, end, float(mine["mean"].agg(worst)), words))
    return found


def _runs(days: pd.DataFrame, flags: np.ndarray) -> list[tuple[pd.Timestamp, pd.Timestamp]]:
    edges = np.flatnonzero(np.diff(np.r_[False, flags, False].astype("int8")))
    return [(days["starts"].iloc[first], days["ends"].iloc[after - 1]) for first, after in zip(edges[::2], edges[1::2], strict=True)]


def joined(spells: pd.DataFrame, kind: str) -> pd.DataFrame:
    """Spells of one kind, those that overlap or touch as one; moments tell its ends better than days do, where there are any.

    Parameters
    ----------
    spells : DataFrame
        Columns ``SPELL_COLUMNS``; of several sensors too.
    kind : str
        State.

    Returns
    -------
    DataFrame
        ``start``, ``end`` (UTC), ``worst``, in order of time.
    """
    mine = spells[spells["state"] == kind].sort_values("start", kind="stable", ignore_index=True)
    reach = mine["end"].cummax().shift()
    cluster = (mine["start"] > reach).cumsum().rename("cluster")
    by_moment = _ends(mine[~mine["why"].isin(BY_DAY)], cluster)
    worst = mine.groupby(cluster)["worst"].agg("max" if kind == WARM else "min")
    return by_moment.combine_first(_ends(mine, cluster)).join(worst)[["start", "end", "worst"]].reset_index(drop=True)


def _ends(spells: pd.DataFrame, cluster: pd.Series) -> pd.DataFrame:
    return spells.groupby(cluster.loc[spells.index]).agg(start=("start", "min"), end=("end", "max"))


def _at_the_end(stretch: Stretch, spells: pd.DataFrame, last: tuple[pd.Timestamp, float]) -> tuple[str, pd.Timestamp | None, str]:
    """State at the end: an unknown that reaches it; then what the last reading, or the last whole day, is outside of."""
    whole_day = stretch.local(stretch.end).normalize() - ONE_DAY
    reaching = []
    for row in spells.itertuples():
        if row.why in BY_DAY:
            reaches = stretch.local(row.end) > whole_day
        else:
            reaches = row.end >= (last[0] if row.state != UNKNOWN or row.why == STILL else stretch.end)
        if reaches:
            # a sensor that cannot be trusted first, then what a good one says, then what the wild does not tell
            rank = 0 if row.why in (SILENT, STILL, THIN) else WORST_FIRST.index(row.state) + 1
            reaching.append((rank, row.why in BY_DAY, row.start, row.end, row.state, row.why))
    if not reaching:
        return INSIDE, None, ""
    *_, end, state, why = min(reaching)
    spans = joined(spells, state)
    return state, spans.loc[spans["end"] >= min(end, spans["end"].max()), "start"].iloc[-1], why
