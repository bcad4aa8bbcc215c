"""Readings of loggers reduced by pandas alone, in another way than the expressions: each reading asks for its sun."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from pipeline.formulas.exceedances import excursions
from pipeline.formulas.series import usual_step_h
from pipeline.formulas.sun import is_night
from pipeline.settings.limits import judgement
from schemas.frames.frame import framed
from schemas.frames.summaries import DailySummary, Excursion, NightSummary

DAY = pd.Timedelta(days=1)
NOON = 12


def _local(readings: pd.DataFrame, zone: str) -> pd.DataFrame:
    frame = readings[["logger_id", "read_at", "temp_c"]].dropna().sort_values(["logger_id", "read_at"])
    local = frame["read_at"].dt.tz_localize("UTC").dt.tz_convert(zone).dt.tz_localize(None)
    frame = frame.assign(local=local, day=local.dt.normalize()).reset_index(drop=True)
    steps = frame.groupby("logger_id")["read_at"].diff().dt.total_seconds().groupby(frame["logger_id"]).median().rename("step_s")
    return frame.merge(steps.reset_index(), on="logger_id")


def daily(readings: pd.DataFrame, zone: str) -> pd.DataFrame:
    """``DailySummary``."""
    days = _local(readings, zone).groupby(["logger_id", "step_s", "day"], dropna=False)["temp_c"]
    found = days.agg(n="size", mean_c="mean", low_c="min", high_c="max").reset_index()
    return framed(DailySummary, found.sort_values(["logger_id", "day"], ignore_index=True))


def nights(readings: pd.DataFrame, places: pd.DataFrame, zone: str) -> pd.DataFrame:
    """``NightSummary``; `places` has ``logger_id``, ``latitude``, ``longitude``."""
    frame = _local(readings, zone).merge(places[["logger_id", "latitude", "longitude"]], on="logger_id")
    dark = is_night(frame["latitude"], frame["longitude"], frame["day"], frame["local"].dt.strftime("%H:%M"), zone)
    frame = frame[dark.notna()].assign(night=dark[dark.notna()].astype("bool"))
    morning = frame["night"] & (frame["local"].dt.hour < NOON)
    frame["day"] = frame["day"].where(~morning, frame["day"] - DAY)
    parts = frame.groupby(["logger_id", "step_s", "day", "night"], dropna=False)["temp_c"].agg(["mean", "size"]).unstack("night")
    pairs = parts.reindex(columns=pd.MultiIndex.from_product([["mean", "size"], [False, True]])).dropna()
    light, night = pairs[("mean", False)], pairs[("mean", True)]
    found = pd.DataFrame({"n": pairs["size"].sum(axis=1), "day_c": light, "night_c": night, "night_drop": light - night})
    return framed(NightSummary, found.reset_index().sort_values(["logger_id", "day"], ignore_index=True))


def above(readings: pd.DataFrame, line_c: float) -> pd.DataFrame:
    """``Excursion`` of one line."""
    parts = []
    for logger_id, part in readings.dropna().sort_values("read_at").groupby("logger_id"):
        if len(part) > 1:
            gap_h = judgement("logger_gap_steps") * usual_step_h(part["read_at"])
            parts.append(excursions(part["read_at"], part["temp_c"], line_c, gap_h).assign(logger_id=logger_id, line_c=line_c))
    found = pd.concat(parts) if parts else pd.DataFrame(columns=["start", "end", "hours", "logger_id", "line_c"])
    for name in ("start", "end"):
        found[f"{name}_at"] = pd.to_datetime(found[name], utc=True).dt.tz_localize(None)
    return framed(Excursion, found.assign(highest_c=line_c))


def around(readings: pd.DataFrame) -> Callable[[pd.DataFrame], pd.DataFrame]:
    """The readings on both sides of moments, as `loggers.usable.values_around`."""
    series = readings[["logger_id", "read_at", "temp_c"]].assign(at=readings["read_at"]).sort_values("read_at")

    def sides(asked: pd.DataFrame) -> pd.DataFrame:
        wanted = asked.reset_index(names="row").sort_values("read_at")
        found = {}
        for name, way in (("before", "backward"), ("after", "forward")):
            one = pd.merge_asof(wanted, series, on="read_at", by="logger_id", direction=way).set_index("row").reindex(asked.index)
            found |= {f"{name}_at": one["at"], f"{name}_c": one["temp_c"]}
        return pd.DataFrame(found)

    return sides
