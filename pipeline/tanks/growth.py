"""Growth and condition: what the keeper measured, beside the wild finds of the same stage and month; and wild sizes by month.

Few finds make no band: the number stands beside every figure. Size is no health, and a wild animal of the month is of any age.
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from pipeline.settings.limits import judgement
from pipeline.statistics.quantiles import weighted_quantile
from pipeline.tanks.stretch import stage_after

MEASURES = {"svl_mm": "SVL, mm", "mass_g": "Mass, g", "total_length_mm": "Total length, mm"}
COLUMNS = ("day", "animal", "stage", "measure", "value", "n_wild", "wild_low", "wild_middle", "wild_high", "words")
SIZE_COLUMNS = ("life_stage", "month", "n", "low", "middle", "high")
ENDS = (0.10, 0.50, 0.90)
WILD = """
SELECT f.life_stage, month(v.visit_date) AS month, f.svl_mm, f.mass_g, f.total_length_mm, f.tail_whole
FROM finds f JOIN current_visits v USING (visit_id) JOIN sites s USING (site_id)
WHERE f.taxon = $1 AND ($2 = '' OR s.population = $2) AND coalesce(f.condition, 'well') = 'well' AND f.count = 1
"""
LARVAL_PERIOD = "Common practice, no source: larvae take 1.5 to 3.5 years, by population."


def wild_sizes(connection: Any, taxon: str, population: str) -> pd.DataFrame:
    """Sizes of single, well animals in the field.

    Parameters
    ----------
    connection : DuckDBPyConnection
        An open book.
    taxon, population : str
        Taxon code; population, or empty for all.

    Returns
    -------
    DataFrame
        ``life_stage``, ``month``, ``svl_mm``, ``mass_g``, ``total_length_mm``; total length only of whole tails.
    """
    frame = connection.execute(WILD, [taxon, population]).df()
    frame["total_length_mm"] = frame["total_length_mm"].where(frame["tail_whole"].fillna(False).astype(bool))
    return frame.drop(columns="tail_whole")


def growth(events: pd.DataFrame, wild: pd.DataFrame, life_stage: str) -> pd.DataFrame:
    """Set what was measured beside the wild.

    Parameters
    ----------
    events : DataFrame
        Husbandry events of the enclosure.
    wild : DataFrame
        As :func:`wild_sizes`.
    life_stage : str
        Stage in which the animals came.

    Returns
    -------
    DataFrame
        Columns ``COLUMNS``, in order of time; ``wild_low`` to ``wild_high`` are P10, P50 and P90 of the wild finds of that stage and month,
        missing where they are fewer than `growth_finds_least`.
    """
    rows = []
    stage = life_stage
    for event in events.sort_values("event_date", kind="stable").to_dict("records"):
        stage = stage_after(event["event"], event["life_stage"]) or stage
        for name, title in MEASURES.items():
            if pd.isna(event[name]):
                continue
            same = wild.loc[(wild["life_stage"] == stage) & (wild["month"] == event["event_date"].month), name].dropna()
            low, middle, high = _band(same)
            rows.append(
                {
                    "day": event["event_date"],
                    "animal": event["animal_id"] if isinstance(event["animal_id"], str) else "",
                    "stage": stage,
                    "measure": title,
                    "value": float(event[name]),
                    "n_wild": len(same),
                    "wild_low": low,
                    "wild_middle": middle,
                    "wild_high": high,
                    "words": _words(float(event[name]), len(same), low, high),
                }
            )
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _band(values: pd.Series) -> tuple[float, float, float]:
    if len(values) < judgement("growth_finds_least"):
        return float("nan"), float("nan"), float("nan")
    low, middle, high = (float(value) for value in weighted_quantile(values.to_numpy(), [1.0] * len(values), ENDS))
    return low, middle, high


def _words(value: float, n: int, low: float, high: float) -> str:
    if low != low:
        return f"{n} wild finds of this stage and month: too few for a band"
    where = "below P10" if value < low else "above P90" if value > high else "between P10 and P90"
    return f"{where} of {n} wild finds of this stage and month"


def sizes_by_month(wild: pd.DataFrame, stages: tuple[str, ...] = ("larva", "metamorph")) -> pd.DataFrame:
    """SVL of larvae and metamorphs by month: from one year's crop to the next the eye may read the time to metamorphosis.

    Returns
    -------
    DataFrame
        Columns ``SIZE_COLUMNS``; low, middle and high are P10, P50 and P90, missing where the finds are few.
    """
    rows = []
    sized = wild.dropna(subset=["svl_mm"])
    for (stage, month), part in sized[sized["life_stage"].isin(stages)].groupby(["life_stage", "month"]):
        low, middle, high = _band(part["svl_mm"])
        rows.append({"life_stage": stage, "month": int(month), "n": len(part), "low": low, "middle": middle, "high": high})
    return pd.DataFrame(rows, columns=list(SIZE_COLUMNS))
