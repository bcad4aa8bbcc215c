"""Humidity: two statements, never one number (method §7): words and a hand test for the refuge, a largest deficit for the open part.

Only readings at animals in the open by night make a target. Missing evidence may raise the least humidity, never lower it: the deficit
is the lower of two bounds, cut down to its step, and the least humidity at a temperature the wetter of two, rounded up.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.formulas.humidity_to_keep import rh_for_deficit, why_not_attainable
from pipeline.formulas.moist_air import FORMULA, constant
from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.settings import Settings
from pipeline.settings.limits import judgement
from pipeline.statistics.bootstrap import bootstrap_percentile, crossed_bootstrap
from pipeline.statistics.grades import grade_of, missing_for_c, provisional, worse
from pipeline.statistics.quantiles import weighted_quantile
from pipeline.statistics.weights import named_seed, site_day_weights
from schemas.enums import Status
from schemas.frames.air_and_water import HumidityFigures, HumidityTable, HumidityTargets
from schemas.frames.frame import framed
from schemas.vocabulary import codes_without

CELL = ["taxon", "population", "life_stage"]
UNTOLD = codes_without("life_stage", "told")
# The thresholds of the width of an interval are in °C, so no humidity can be called strong.
BEST_GRADE = "B"
NONE_AT_NIGHT = "no humidity was read at an animal in the open by night"
OWN_BOUND = "your records"
CAP = "published limit"
BY_DEFICIT = "deficit"
BY_READINGS = "humidity read"
MIST = "mist, wet moss: a sensor cannot tell"
NOT_ATTAINABLE = "not attainable"
QUANTILES = {"min": 0.0, "p05": 0.05, "p25": 0.25, "p50": 0.5, "p75": 0.75, "p95": 0.95, "max": 1.0}


def humidity_targets(readings: pd.DataFrame, taxa: pd.DataFrame, settings: Settings, *, replicates: int | None = None) -> pd.DataFrame:
    """Derive the largest vapour pressure deficit for the open part of an enclosure.

    deficit = min(`bound_percentile` of the crossed bootstrap of the weighted median deficit, `deficit_cap`), rounded down. The refuge has
    no figure, so it has no row: :func:`refuge_words`.

    Parameters
    ----------
    readings : DataFrame
        As :class:`schemas.frames.air_and_water.HumidityReadings`; those with a `reason` give a row here and nothing else.
    taxa : DataFrame
        Column ``code``; other taxa get no row.
    settings : Settings
        The seed.
    replicates : int, optional
        Bootstrap replicates; the method's number if not given.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.air_and_water.HumidityTargets`, one row a taxon, population and stage with a reading; none for a stage not
        told. All months stand together: the table of :func:`humidity_table` goes by temperature, so nothing is borrowed between months.

    References
    ----------
    Feder & Londos 1984, Oecologia 64:413 (the cap; abstract read); Owen 2007 (the bootstrap, from memory).
    """
    draws = int(replicates or judgement("replicates"))
    known = readings[readings["taxon"].isin(taxa["code"]) & ~readings["life_stage"].isin(UNTOLD)]
    rows = [_target(tuple(map(str, key)), group, settings.seed, draws) for key, group in known.groupby(CELL, sort=True)]
    return framed(HumidityTargets, rows)


def _target(key: tuple[str, ...], group: pd.DataFrame, seed: int, replicates: int) -> dict[str, Any]:
    evidence = group[group["reason"] == ""]
    cap = constant("deficit_cap")
    row = {**dict(zip(CELL, key, strict=True)), **_evidence(evidence), "deficit_cap": cap, "formula": FORMULA, "bound_by": ""}
    row.update(dict.fromkeys(("rh_p25", "deficit_p50", "deficit_bound", "deficit"), math.nan), status=Status.REFUSED, grade="D")
    if evidence.empty:
        return {**row, "reason": NONE_AT_NIGHT}
    weights = _weights(evidence)
    row["rh_p25"] = weighted_quantile(evidence["rh_pct"], weights, 0.25)[0]
    row["deficit_p50"] = weighted_quantile(evidence["deficit_kpa"], weights, 0.5)[0]
    medians = crossed_bootstrap(
        evidence["deficit_kpa"], weights, evidence["site"], evidence["date"], [0.5], replicates, named_seed([*key, "humidity"], seed)
    )
    row["deficit_bound"] = bootstrap_percentile(medians[:, 0], judgement("bound_percentile"))
    # A width of 0 meets every condition on it; see BEST_GRADE.
    counts = {name: row[f"n_{name}"] for name in ("sites", "dates", "visits", "years")}
    counts.update(night_share=row["night_share"], half_width=0.0)
    row["grade"] = worse(grade_of(counts, monthly=False, only_from_visit=False), BEST_GRADE)
    if not provisional(row["grade"]):
        return {**row, "reason": missing_for_c(counts, monthly=False)}
    deficit = min(row["deficit_bound"], cap)
    remark = "one year only: it speaks of that year" if row["n_years"] == 1 else ""
    bound_by = OWN_BOUND if row["deficit_bound"] <= cap else CAP
    return {
        **row,
        "status": Status.TARGET,
        "reason": remark,
        "deficit": _cut(deficit, constant("target_deficit_step")),
        "bound_by": bound_by,
    }


def _cut(value: float, step: float) -> float:
    # 0.35/0.01 is a hair below 35.
    return round(math.floor(value / step + 1e-9) * step, 9)


def _weights(rows: pd.DataFrame) -> NDArray[np.float64]:
    return site_day_weights(rows["site"], rows["month"].astype("int64"), rows["date"])


def _evidence(rows: pd.DataFrame) -> dict[str, Any]:
    """Counts, months and span of temperature of some readings."""
    weights = _weights(rows) if len(rows) else np.empty(0)
    night = rows["night"].fillna(False).astype("bool")
    return {
        "n_readings": len(rows), "n_animals": int(rows["n_animals"].sum()), "n_visits": rows["visit_id"].nunique(),
        "n_dates": rows["date"].nunique(), "n_sites": rows["site"].nunique(), "n_years": rows["year"].nunique(),
        "months": month_words(rows["month"]), "night_share": float((night * weights).sum()) if len(rows) else math.nan,
        "medium_assumed_share": float(rows["medium_assumed"].mean()) if len(rows) else math.nan,
        "n_wettest_assumed": int(rows["wettest_assumed"].sum()),
        "temp_low": float(rows["air_temp_c"].min()) if len(rows) else math.nan,
        "temp_high": float(rows["air_temp_c"].max()) if len(rows) else math.nan,
    }  # fmt: skip


def sites_read(readings: pd.DataFrame, targets: pd.DataFrame) -> pd.Series[Any]:
    """At how many sites the evidence of each row was read; 0 where none of the readings is of it.

    Parameters
    ----------
    readings : DataFrame
        As :class:`schemas.frames.air_and_water.HumidityReadings`; may be a part of those that the rows were made of.
    targets : DataFrame
        As :class:`schemas.frames.air_and_water.HumidityTargets`.
    """
    counts = readings[readings["reason"] == ""].groupby(CELL)["site"].nunique()
    wanted = pd.MultiIndex.from_frame(targets[CELL])
    return pd.Series(counts.reindex(wanted).fillna(0).to_numpy(), index=targets.index, dtype="float64")


def month_words(months: Iterable[Any]) -> str:
    """Names of months in the order of the year, such as "June and July"; empty without any."""
    names = [MONTH_NAMES[number - 1] for number in sorted({int(month) for month in months})]
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def humidity_table(targets: pd.DataFrame) -> pd.DataFrame:
    """Least relative humidity at each whole degree at which humidities were read.

    RH(T) = max(100·(1 − deficit/e_s(T)), 25 % quantile of the RH read), rounded up. Outside the span of temperatures read there is no row:
    a deficit carried down to a cool tank would let it dry out.

    Parameters
    ----------
    targets : DataFrame
        As :class:`schemas.frames.air_and_water.HumidityTargets`; refused rows give nothing.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.air_and_water.HumidityTable`.
    """
    held = targets[targets["status"] == Status.TARGET]
    rows = [line for row in held.to_dict("records") for line in _lines(row)]
    return framed(HumidityTable, rows)


def _lines(row: Mapping[Any, Any]) -> Iterator[dict[str, Any]]:
    top, step = constant("sensor_top"), constant("target_rh_step")
    for temp_c in range(math.ceil(row["temp_low"]), math.floor(row["temp_high"]) + 1):
        line = {name: row[name] for name in CELL} | {"temp_c": temp_c}
        carried = float(rh_for_deficit(temp_c, row["deficit"]))
        if math.isnan(carried):
            yield {
                **line,
                "least_rh": math.nan,
                "printed": why_not_attainable(temp_c, row["deficit"]).rstrip("."),
                "set_by": NOT_ATTAINABLE,
            }
            continue
        least = min(math.ceil(max(carried, row["rh_p25"]) / step - 1e-9) * step, 100.0)
        yield {
            **line,
            "least_rh": least,
            "printed": MIST if least > top else f"{least:.0f} %",
            "set_by": BY_DEFICIT if carried >= row["rh_p25"] else BY_READINGS,
        }


def humidity_figures(readings: pd.DataFrame) -> pd.DataFrame:
    """Describe every humidity read for animals in the open, whether it feeds a target or not.

    Parameters
    ----------
    readings : DataFrame
        As :class:`schemas.frames.air_and_water.HumidityReadings`.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.air_and_water.HumidityFigures`: one row a taxon, population, stage (told or not), and whether it was
        read at the find or for the visit. Quantiles are weighted by site-days, not rounded; they say where animals were found, not what
        they bear.
    """
    rows = []
    for (*key, from_visit), group in readings.groupby([*CELL, "from_visit"], sort=True):
        weights = _weights(group)
        head = {**dict(zip(CELL, key, strict=True)), "read_at": "visit" if from_visit else "find", **_evidence(group)}
        for name, column in (("rh", "rh_pct"), ("deficit", "deficit_kpa")):
            values = weighted_quantile(group[column], weights, list(QUANTILES.values()))
            head.update(zip([f"{name}_{part}" for part in QUANTILES], values, strict=True))
        rows.append({**head, "caution": _caution(group, str(key[-1]), bool(from_visit)), "formula": FORMULA})
    return framed(HumidityFigures, rows)


def _caution(group: pd.DataFrame, life_stage: str, from_visit: bool) -> str:
    """What a reader must know of humidity readings of a stage."""
    months = sorted({int(month) for month in group["month"]})
    words = []
    silent = f"{month_words(months)} only: the other months are silent."
    words.append(silent if len(months) < len(MONTH_NAMES) else "All months.")
    if group["year"].nunique() == 1:
        words.append("One year only: it speaks of that year.")
    if group["night"].fillna(False).all():
        words.append(
            "By night only: animals come into the open on damp nights, so this is no measure of their days, which they spend in a refuge."
        )
    if from_visit:
        words.append("Read once for the search, not at the animals: for the record alone, and no target rests on it.")
    if life_stage in UNTOLD:
        words.append("The stage was not told, so no target rests on it.")
    return " ".join(words)
