"""Figures from the literature and judgements, all read from `data/reference/limits.csv`; none stands in code.

CTmax is the temperature at which an animal collapses while it is warmed by about 1 °C a minute. It is no keeping limit, and no larva
was ever measured. Columns, kinds and sources of the file are explained in `data/reference/README.md`.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import pandas as pd

from pipeline.settings import data_file

FAMILY = "Plethodontidae"
FIELD_FRESH = "field-fresh"
GUIDANCE = (
    "guide_winter_low",
    "guide_winter_high",
    "guide_active_low",
    "guide_active_high",
    "guide_caution_above",
    "guide_act_above",
    "emergency_line",
    "preferred_temperature",
    "water_at_capture",
    "no_figure",
)


@cache
def _read() -> pd.DataFrame:
    with data_file("reference/limits.csv").open("r", encoding="utf-8") as file:
        frame = pd.read_csv(file, dtype=str, keep_default_na=False)
    frame["field_fresh"] = frame["acclimation_c"].eq(FIELD_FRESH)
    frame["acclimation_c"] = pd.to_numeric(frame["acclimation_c"].mask(frame["field_fresh"]).replace("", None))
    frame["value"] = pd.to_numeric(frame["value"].replace("", None))
    for name in ("n_animals", "year"):
        frame[name] = pd.to_numeric(frame[name].replace("", None)).astype("Int64")
    return frame


def read_limits() -> pd.DataFrame:
    """Read the table of limits.

    Returns
    -------
    DataFrame
        The columns of `limits.csv`; `value` and `acclimation_c` as float (°C where the unit says so), and `field_fresh`, true where the
        animals were tested on the day of collection. A copy: changing it changes nothing elsewhere.
    """
    return _read().copy()


def ctmax_rows(scientific_name: str) -> pd.DataFrame:
    """CTmax rows of one species, acclimated at 10 °C or more or field-fresh.

    Parameters
    ----------
    scientific_name : str
        Genus and species. Rows that their study gave to a subspecies of it are included; no other name is, however close a relative.

    Returns
    -------
    DataFrame
        One row a study, endpoint and acclimation; `value` in °C. `own` is false for a subspecies other than the nominal one: such animals
        may bear another species name today.

    References
    ----------
    Pottier et al. 2025, Scientific Data (compilation), and the study named in `source`.
    """
    words = scientific_name.split()
    name = " ".join(words)
    frame = _read()
    same = frame["taxon_or_group"].eq(name)
    if len(words) > 1:
        same |= frame["taxon_or_group"].str.startswith(name + " ")
    rows = frame[frame["quantity"].eq("ctmax") & same]
    rows = rows[rows["field_fresh"] | rows["acclimation_c"].ge(judgement("ctmax_acclimation_least"))]
    nominal = " ".join([*words, *words[-1:]])
    return rows.assign(own=rows["taxon_or_group"].isin([name, nominal])).reset_index(drop=True)


def ctmax_limit(scientific_name: str) -> dict[str, Any]:
    """Highest ceiling that the heat limits of adults allow: the lowest CTmax less the margin.

    value = min(lowest CTmax of the species, family's 10th percentile where the species has fewer than `ctmax_rows_least` own rows) -
    `ctmax_margin`. One row sets it, so endpoints are never averaged; the row's endpoint is named. Do not use it for eggs, nor for spring
    or cave taxa, where too cold is unsafe as well.

    Parameters
    ----------
    scientific_name : str
        Genus and species, or any other name; a name without rows gets the family's figure alone.

    Returns
    -------
    dict
        ``value`` and ``ctmax`` (°C), ``endpoint``, ``study``, ``life_stage`` of the row that set it, ``n_rows`` and ``n_own_rows`` of
        the species, ``family`` (true where the family's figure set it), ``note`` (a sentence for the page).

    References
    ----------
    Pottier et al. 2025, Scientific Data, and the study named; margin and least number of rows are judgements.
    """
    rows = ctmax_rows(scientific_name)
    margin = judgement("ctmax_margin")
    lowest = rows.loc[rows["value"].idxmin()] if len(rows) else None
    own = int(rows["own"].sum())
    family = _one(_read()["quantity"].eq("ctmax_p10") & _read()["taxon_or_group"].eq(FAMILY), "ctmax_p10")
    use_family = bool(own < judgement("ctmax_rows_least") and (lowest is None or family["value"] < lowest["value"]))
    source = family if use_family or lowest is None else lowest
    return {
        "value": round(float(source["value"]) - margin, 6),
        "ctmax": float(source["value"]),
        "endpoint": "mixed" if use_family else source["endpoint"],
        "study": source["source"],
        "life_stage": source["life_stage"],
        "n_rows": len(rows),
        "n_own_rows": own,
        "family": use_family,
        "note": _ctmax_note(source, use_family, rows, margin),
    }


def _ctmax_note(source: Any, use_family: bool, rows: pd.DataFrame, margin: float) -> str:
    if use_family:
        own = int(rows["own"].sum())
        few = "no row" if own == 0 else "1 row" if own == 1 else f"{own} rows"
        which = f"{FAMILY}, 10th percentile of the family because this species has {few} of its own"
    else:
        which = f"lowest of {len(rows)} rows: {source['source']}, {source['endpoint']}"
    data = str(source["life_stage"]).capitalize()
    return f"CTmax {source['value']:g} °C ({which}) less {margin:g} °C. {data} data: no larva was ever measured."


def group_cap(group: str) -> dict[str, Any] | None:
    """Cap of a taxon group, above which no ceiling stands.

    Parameters
    ----------
    group : str
        Code of the vocabulary `taxon_group`.

    Returns
    -------
    dict or None
        ``value`` (°C), ``kind`` and ``note`` (the reason); None for a group without a cap.
    """
    frame = _read()
    rows = frame[frame["quantity"].eq("group_cap") & frame["taxon_or_group"].eq(group)]
    return None if rows.empty else {"value": float(rows["value"].iloc[0]), "kind": rows["kind"].iloc[0], "note": rows["note"].iloc[0]}


@cache
def judgement(name: str) -> float:
    """One judgement or common-practice number of the method.

    Parameters
    ----------
    name : str
        Its `quantity` in `limits.csv`, such as ``"ctmax_margin"``, ``"bound_percentile"`` or ``"grade_a_sites"``.

    Returns
    -------
    float
        In the unit that the file states.

    Raises
    ------
    KeyError
        No such number, or more than one (a number that depends on a taxon or group has a function of its own).
    """
    found = _judged().get(name, [])
    if len(found) != 1:
        raise KeyError(f"limits.csv has {len(found)} rows for {name!r} and needs one.")
    return found[0]


@cache
def _judged() -> dict[str, list[float]]:
    """Values of each judgement and number of common practice."""
    rows = _read()[_read()["kind"].isin(["judgement", "common practice"])]
    return {str(name): values.tolist() for name, values in rows.groupby("quantity")["value"]}


def _one(mask: pd.Series[bool], name: str) -> pd.Series[Any]:
    rows = _read()[mask]
    if len(rows) != 1:
        raise KeyError(f"limits.csv has {len(rows)} rows for {name!r} and needs one.")
    return rows.iloc[0]


@cache
def grade_rules() -> pd.DataFrame:
    """What each grade asks for.

    Returns
    -------
    DataFrame
        Index A, B, C; columns sites, dates, visits, years, night_share (at least) and half_width (°C, at most). 0 and inf mean no
        condition; a half-width that could not be computed meets only an infinite one.
    """
    names = ("sites", "dates", "visits", "years", "half_width", "night_share")
    rows = {grade.upper(): {name: judgement(f"grade_{grade}_{name}") for name in names} for grade in "abc"}
    return pd.DataFrame.from_dict(rows, orient="index")


def published_guidance(group: str, life_stage: str, scientific_name: str | None = None) -> pd.DataFrame:
    """What can be shown beside a cell that got no target, each row with its kind and source.

    Nothing here is a target; each row says whether it is published guidance, common practice or a judgement. Eggs and hatchlings never get
    the figures of other stages.

    Parameters
    ----------
    group : str
        Code of the vocabulary `taxon_group`.
    life_stage : str
        Code of the vocabulary `life_stage`.
    scientific_name : str, optional
        Adds the rows of that very species.

    Returns
    -------
    DataFrame
        taxon_or_group, life_stage, quantity, value (°C; missing for ``no_figure``, whose `note` is the statement), unit, kind, n_animals,
        source, year, doi, note. Empty where nothing is known.
    """
    frame = _read()
    named = [group, FAMILY] + ([scientific_name] if scientific_name else [])
    stage = frame["life_stage"].str.split("|").map(lambda stages: life_stage in stages)
    rows = frame[frame["quantity"].isin(GUIDANCE) & frame["taxon_or_group"].isin(named) & stage]
    columns = ["taxon_or_group", "life_stage", "quantity", "value", "unit", "kind", "n_animals", "source", "year", "doi", "note"]
    return rows[columns].reset_index(drop=True)
