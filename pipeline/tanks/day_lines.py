"""The lines that hold on each day: of the taxon, population, stage and medium, or what stands in for them, and which that was."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.settings.limits import judgement
from pipeline.targets.lines import outer_limits
from schemas.enums import Status
from schemas.vocabulary import CONSTANT, EGGS

LINES = ("band_low", "set_point", "band_high", "act_line", "ceiling")
COLUMNS = (*LINES, "cold_line", "evidence", "stage")
ONE_SIDED_NOTE = "no floor is known: the lowest band of the year stands for it"


def lines_of_days(
    days: pd.DataFrame, stage: pd.Series, targets: pd.DataFrame, enclosure: Mapping[str, Any], medium: str, taxon: Mapping[str, Any]
) -> tuple[pd.DataFrame, list[str]]:
    """Lines for each day of a stretch.

    Parameters
    ----------
    days : DataFrame
        As `stretch.local_days`.
    stage : Series of str
        Stage on each day.
    targets : DataFrame
        Columns of ``schemas.frames.targets.TARGET_COLUMNS``, °C.
    enclosure : mapping
        ``taxon`` and ``population`` (empty: unknown).
    medium : str
        What the logger reads.
    taxon : mapping
        ``scientific_name`` and ``group`` of the taxon.

    Returns
    -------
    DataFrame
        Columns ``COLUMNS``, °C, in the order of `days`; ``evidence`` is target, borrowed or none. Without evidence there is a
        ceiling and no band: such a day can be outside and never inside.
    list of str
        What was used, in words.
    """
    parts, words = [], []
    for name in dict.fromkeys(stage):
        rows, said = _rows_of(targets, enclosure, name, medium)
        table, more = _months(rows, name, taxon)
        mine = days.index[stage == name]
        parts.append(table.reindex(days.loc[mine, "month"]).set_axis(mine).assign(stage=name))
        unseen = sorted({int(month) for month in days.loc[mine, "month"] if table.at[month, "evidence"] == "none"})
        words += [*said, *more, *_unseen(unseen, name, medium, len(rows))]
    return pd.concat(parts).reindex(days.index)[list(COLUMNS)], list(dict.fromkeys(words))


def _rows_of(targets: pd.DataFrame, enclosure: Mapping[str, Any], stage: str, medium: str) -> tuple[pd.DataFrame, list[str]]:
    """Rows of the months, and whose they are; of an unknown population those of all."""
    rows = targets[
        (targets["taxon"] == enclosure["taxon"]) & (targets["life_stage"] == stage) & (targets["medium"] == medium)
        & (targets["quantity"] == "temperature") & targets["month"].astype("str").str.isdigit()
    ]  # fmt: skip
    whose = f"{enclosure['taxon']} {stage.replace('_', ' ')}, {medium}"
    if rows.empty:
        return rows, [f"No targets for {whose}: only the limits that hold for its group."]
    known = sorted(set(rows["population"].fillna("")))
    own = enclosure.get("population")
    if pd.notna(own) and own and own in known:
        return rows[rows["population"] == own], [f"Lines of {whose}, population {own}."]
    if len(known) == 1:
        of = f", population {known[0]}" if known[0] else ""
        note = "" if not own or pd.isna(own) else f" There are none of population {own}."
        return rows, [f"Lines of {whose}{of}.{note}"]
    why = "the population is unknown" if pd.isna(own) or not own else f"there are none of population {own}"
    return rows, [f"Lines of {whose}: {why}, so on each day the lowest line of {' and '.join(known)} holds."]


def _months(rows: pd.DataFrame, stage: str, taxon: Mapping[str, Any]) -> tuple[pd.DataFrame, list[str]]:
    """Lines by month, 1 to 12; the lowest of several populations."""
    table = pd.DataFrame(math.nan, index=range(1, 13), columns=[*LINES, "cold_line"]).assign(evidence="none")
    outer = min((limit for limit, _ in outer_limits(stage, str(taxon["scientific_name"]), str(taxon["group"]))), default=math.nan)
    ceilings = [*rows["ceiling"].dropna(), *([] if math.isnan(outer) else [outer])]
    table["ceiling"] = min(ceilings, default=math.nan)
    seen = rows[rows["status"] != Status.REFUSED]
    for month, part in seen.groupby(seen["month"].astype("int64")):
        table.loc[month, list(LINES)] = part[list(LINES)].min()
        table.loc[month, "evidence"] = (Status.TARGET if (part["status"] == Status.TARGET).all() else Status.BORROWED).value
    table["ceiling"] = np.fmin(table["ceiling"], min(ceilings, default=math.nan))
    _under_ceiling(table)
    two_sided = stage in EGGS or taxon["group"] in CONSTANT
    floor = float(rows["floor"].min()) if rows["floor"].notna().any() else math.nan
    if two_sided:
        table["cold_line"] = table["band_low"] - judgement("lower_act_line_step")
        return table, ["Too cold is as unsafe as too warm here."]
    table["cold_line"] = float(table["band_low"].min()) if math.isnan(floor) else floor
    return table, [] if not math.isnan(floor) or seen.empty else [f"{stage.replace('_', ' ').capitalize()}: {ONE_SIDED_NOTE}."]


def _under_ceiling(table: pd.DataFrame) -> None:
    """Another population's ceiling may lie under a line that this one's months give."""
    below = table["ceiling"] - judgement("act_under_ceiling")
    table["act_line"] = table["act_line"].where(~(table["act_line"] > below), below)
    highest = table["ceiling"] - judgement("thermostat_margin")
    for name in ("band_low", "set_point", "band_high"):
        table[name] = table[name].where(~(table[name] > highest), highest)


def _unseen(months: list[int], stage: str, medium: str, any_rows: int) -> list[str]:
    if not months or not any_rows:
        return []
    named = ", ".join(MONTH_NAMES[month - 1] for month in months)
    return [
        f"No evidence for {stage.replace('_', ' ')} in {medium} in {named}: only the ceiling is held, and nothing there is called inside."
    ]
