"""One enclosure over a stretch of time: each sensor against its lines, the water tests, and one sentence that says it."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from pipeline.settings.limits import judgement
from pipeline.tanks import readings
from pipeline.tanks.day_lines import lines_of_days
from pipeline.tanks.humidity import Damp, humidity_of
from pipeline.tanks.night import night_drops
from pipeline.tanks.stretch import Stretch, local_days, stages
from pipeline.tanks.verdict import COLD, INSIDE, STILL, UNKNOWN, WARM, WORST_FIRST, Verdict, joined, judge
from pipeline.tanks.water_state import ACT, water_state
from pipeline.writing.words import number
from schemas.vocabulary import codes

COURSE_PARTS = 700
# the act line lies under the ceiling, so what reaches beyond the one has what reaches beyond the other in it
BEYOND = ("act_line", "ceiling", "watch_line")


@dataclass(frozen=True)
class Sensor:
    """One logger of an enclosure over the stretch.

    Attributes
    ----------
    logger_id, medium : str
        Its code, and what it reads.
    accuracy_c : float
        °C; nan where it was not noted.
    judged : bool
        It reads the medium in which the animals stay.
    verdict : Verdict or None
        None where it is not judged.
    days : DataFrame
        One row a local day: lines, and figures as from `readings.daily`.
    over_ceiling, gaps, course : DataFrame
        Spells above the ceiling; gaps; the series for a plot.
    gap_h : float
        Longest step that is no gap, h.
    last : tuple or None
        Last reading (UTC, °C).
    used : list of str
        Which lines, in words.
    night : DataFrame
        As `night.night_drops`.
    """

    logger_id: str
    medium: str
    accuracy_c: float
    judged: bool
    verdict: Verdict | None
    days: pd.DataFrame
    over_ceiling: pd.DataFrame
    gaps: pd.DataFrame
    course: pd.DataFrame
    gap_h: float
    last: tuple[pd.Timestamp, float] | None
    used: list[str]
    night: pd.DataFrame


@dataclass(frozen=True)
class Audit:
    """What the records of one enclosure say of a stretch of time."""

    enclosure: dict[str, Any]
    stretch: Stretch
    stage: str
    sensors: list[Sensor]
    damp: list[Damp]
    tests: pd.DataFrame
    water: pd.DataFrame
    events: pd.DataFrame
    state: str
    since: pd.Timestamp | None
    sentence: str

    @property
    def all_inside(self) -> bool:
        """Nothing outside, nothing unknown, at no time of the stretch; and no water value at which to act in the latest test."""
        judged = [sensor.verdict for sensor in self.sensors if sensor.verdict is not None]
        return bool(judged) and all(one.all_inside for one in judged) and not self.water_acts

    @property
    def water_acts(self) -> list[str]:
        """Values of the latest water test at which to act."""
        latest = self.water[self.water["tested"] == self.water["tested"].iloc[0]] if len(self.water) else self.water
        return [str(name) for name in latest.loc[latest["state"] == ACT, "quantity"]]


def audit_enclosure(
    connection: Any,
    enclosure: Mapping[str, Any],
    targets: pd.DataFrame,
    taxon: Mapping[str, Any],
    stretch: Stretch,
    deficit: float = math.nan,
) -> Audit:
    """Audit one enclosure.

    Parameters
    ----------
    connection : DuckDBPyConnection
        An open book.
    enclosure : mapping
        Row of the enclosures.
    targets : DataFrame
        Columns of ``schemas.frames.targets.TARGET_COLUMNS``, °C.
    taxon : mapping
        ``scientific_name`` and ``group``.
    stretch : Stretch
        What is looked at; cut to the days on which animals are in it.
    deficit : float
        Largest vapour pressure deficit that the open part may have, kPa; nan for the published cap alone.

    Returns
    -------
    Audit
    """
    stretch = _occupied(enclosure, stretch)
    code = enclosure["enclosure_id"]
    events = connection.execute("SELECT * FROM husbandry_events WHERE enclosure_id = ? ORDER BY event_date, event_time", [code]).df()
    tests = connection.execute("SELECT * FROM water_tests WHERE enclosure_id = ? ORDER BY tested_on, tested_at", [code]).df()
    loggers = connection.execute("SELECT * FROM loggers WHERE enclosure_id = ? ORDER BY logger_id", [code]).df()
    days = local_days(stretch)
    stage = stages(enclosure["life_stage"], events, days)
    sensors, damp = [], []
    for logger in loggers.to_dict("records"):
        sensors.append(_sensor(connection, logger, enclosure, targets, taxon, stretch, days, stage))
        if (found := humidity_of(connection, logger, stretch, deficit)) is not None:
            damp.append(found)
    state, since = _worst(sensors, stretch)
    until = stretch.local(stretch.end)
    tests = tests[tests["tested_on"] <= until]
    events = events[events["event_date"] <= until]
    sentence = _sentence(code, stretch, sensors, state, since)
    return Audit(dict(enclosure), stretch, stage.iloc[-1], sensors, damp, tests, water_state(tests), events, state, since, sentence)


def _occupied(enclosure: Mapping[str, Any], stretch: Stretch) -> Stretch:
    """The part of the stretch in which animals are in the enclosure; the whole where they never overlap."""
    start, end = stretch.start, stretch.end
    for name, days, cut in (("since", 0, max), ("until", 1, min)):
        day = enclosure.get(name)
        if day is not None and pd.notna(day):
            at = pd.Timestamp(day).normalize() + pd.Timedelta(days=days)
            utc = at.tz_localize(stretch.time_zone, ambiguous=False, nonexistent="shift_forward").tz_convert("UTC").tz_localize(None)
            start, end = (cut(start, utc), end) if name == "since" else (start, cut(end, utc))
    return Stretch(start, end, stretch.time_zone) if start < end else stretch


def _sensor(
    connection: Any,
    logger: Mapping[str, Any],
    enclosure: Mapping[str, Any],
    targets: pd.DataFrame,
    taxon: Mapping[str, Any],
    stretch: Stretch,
    days: pd.DataFrame,
    stage: pd.Series,
) -> Sensor:
    medium, wanted = logger["medium"], enclosure.get("medium")
    judged = medium == wanted if isinstance(wanted, str) and wanted else medium in codes("medium")
    lines, used = lines_of_days(days, stage, targets, enclosure, medium, taxon)
    used += _how_read(connection, logger["logger_id"])
    lines["act_or_ceiling"] = lines["act_line"].fillna(lines["ceiling"])
    lines["watch_line"] = judgement("watch_line")
    readings.open_series(connection, logger["logger_id"])
    gap_h = readings.prepare(connection, stretch, lines, ("act_or_ceiling", "watch_line"), ("cold_line",))
    figures = readings.daily(connection, BEYOND, ("cold_line",))
    last, gaps = readings.last_reading(connection), readings.gaps(connection, gap_h)
    with_lines = pd.concat([days, lines], axis=1)
    verdict = None
    if judged:
        over = readings.spells(connection, "act_or_ceiling", readings.HOT)
        under = readings.spells(connection, "cold_line", readings.COLD)
        verdict = judge(stretch, with_lines, figures, over, under, gaps, last)
    return Sensor(
        str(logger["logger_id"]),
        str(medium),
        float(logger["accuracy_c"]),
        judged,
        verdict,
        with_lines.merge(figures, on="day", how="left"),
        readings.spells(connection, "ceiling", readings.HOT),
        gaps,
        readings.shown_course(connection, COURSE_PARTS),
        gap_h,
        last,
        used,
        night_drops(connection, stretch),
    )


def _how_read(connection: Any, logger_id: str) -> list[str]:
    """How the logger's files were read: unit, clock and offset, each once."""
    rows = connection.execute("SELECT file, found FROM logger_files WHERE logger_id = ? ORDER BY load_id, source", [logger_id]).fetchall()
    ways: dict[str, list[str]] = {}
    for file, found in rows:
        told = json.loads(found)
        ways.setdefault(f"unit {told['unit']}, clock {told['clock']}, UTC {told['offset']}", []).append(file)
    return [
        f"Read from {files[0]}{f' and {len(files) - 1} more' if len(files) > 1 else ''}: {way}; stored in °C and UTC."
        for way, files in ways.items()
    ]


def _worst(sensors: list[Sensor], stretch: Stretch) -> tuple[str, pd.Timestamp | None]:
    """State of the enclosure: the worst of its sensors; unknown without one."""
    verdicts = [sensor.verdict for sensor in sensors if sensor.verdict is not None]
    if not verdicts:
        return UNKNOWN, stretch.start
    worst = min(verdicts, key=lambda one: (WORST_FIRST.index(one.state), one.since or stretch.end))
    return worst.state, worst.since


def moment(stretch: Stretch, at: pd.Timestamp) -> str:
    """An instant on the local clock, as people write it."""
    local = stretch.local(at).round("min")
    return f"{local.day} {local:%B %Y %H:%M}"


def _sentence(code: str, stretch: Stretch, sensors: list[Sensor], state: str, since: pd.Timestamp | None) -> str:
    judged = [sensor for sensor in sensors if sensor.verdict is not None]
    if not judged:
        return f"{code}: unknown. No logger reads the medium in which the animals stay."
    lead = next(one for one in judged if one.verdict is not None and (one.verdict.state, one.verdict.since) == (state, since))
    assert lead.verdict is not None
    before = _before(judged, stretch, state)
    if state == INSIDE:
        assert lead.last is not None
        now = f"inside, {number(round(lead.last[1], 1))} °C at {moment(stretch, lead.last[0])}"
        return f"{code}: {now}.{before}" if before else f"{code}: {now}, and all the time since {moment(stretch, stretch.start)}."
    shown = f"; {_shown(lead)}" if lead.last is not None and (state != UNKNOWN or lead.verdict.why == STILL) else ""
    return f"{code}: {state} since {moment(stretch, since or stretch.start)} ({lead.verdict.why}{shown}).{before}"


def _shown(sensor: Sensor) -> str:
    """Last reading, and whether it is at the limit that must never be reached."""
    assert sensor.last is not None
    ceiling = float(sensor.days["ceiling"].iloc[-1])
    at_it = f", and {number(ceiling)} °C must never be reached" if sensor.last[1] >= ceiling else ""
    return f"it shows {number(round(sensor.last[1], 1))} °C{at_it}"


def _before(sensors: list[Sensor], stretch: Stretch, state: str) -> str:
    """Earlier times outside or unknown, in words, the longest of each kind."""
    spells = pd.concat([sensor.verdict.spells for sensor in sensors if sensor.verdict is not None])
    words = []
    for kind in WORST_FIRST[:-1]:
        spans = joined(spells, kind)
        if kind == state:
            # the last one is the present one, and was said
            spans = spans.iloc[:-1]
        if spans.empty:
            continue
        longest = spans.loc[(spans["end"] - spans["start"]).idxmax()]
        farthest = {WARM: "at most", COLD: "at least"}.get(kind)
        worst = f", {farthest} {number(round(longest['worst'], 1))} °C" if farthest else ""
        more = f", and {len(spans) - 1} more time{'s' if len(spans) > 2 else ''}" if len(spans) > 1 else ""
        words.append(f"{kind} from {moment(stretch, longest['start'])} to {moment(stretch, longest['end'])}{worst}{more}")
    return f" It was {'; '.join(words)}." if words else ""
