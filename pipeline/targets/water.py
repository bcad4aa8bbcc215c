"""Water of aquatic stages: the band that was found, by season, and apart from it what is published (method §7)."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import pandas as pd
from numpy.typing import NDArray

from pipeline.formulas.water import water_limit, water_limits
from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.settings import Settings
from pipeline.statistics.grades import grade_of, missing_for_c, provisional
from pipeline.statistics.quantiles import weighted_quantile
from pipeline.statistics.weights import site_day_weights
from pipeline.targets.figures import columns_of, rows_of
from pipeline.writing.site_counts import in_class
from schemas.enums import Status
from schemas.frames.air_and_water import WaterTargets
from schemas.frames.frame import framed

Columns = Mapping[str, NDArray[Any]]

CELL = ["taxon", "population", "life_stage"]
SEASONS = ("warm", "cold", "other")
UNITS = {"ph": "", "conductivity": "µS/cm at 25 °C", "oxygen": "mg/L", "saturation": "% saturation", "hardness": "mg/L CaCO3"}
LABELS = {
    "ph": "pH", "conductivity": "conductivity", "oxygen": "dissolved oxygen", "saturation": "dissolved oxygen", "hardness": "hardness",
}  # fmt: skip
NO_FIELD = "not recorded: a visit has no field for hardness"
NOT_MEASURED = "not measured where it was found"
PUBLISHED = {
    "ph_low": "not below {:g}", "ph_high": "not above {:g}", "ph_shift_act": "act at a shift of {:g} within a day",
    "ph_lc50": "{:g} killed half of the animals of a test", "conductivity_share": "within {:g} % of the wild site's median",
    "conductivity_field": "many in streams of {:g} µS/cm", "conductivity_unexplained_act": "look for the cause above {:g} µS/cm",
    "oxygen_aim_above": "aim above {:g} % saturation", "oxygen_act_below": "act below {:g} % saturation",
    "hardness_soft_below": "soft water lies below {:g} mg/L CaCO3",
}  # fmt: skip
BANDS = (
    "P10 to P90 of what meters showed in the reach on visits that found it, each waterbody and day once: where it was found, not what it"
    " bears. pH is told by its median and quantiles, never by a mean."
)
# These two stand in only where the water of the site is not known.
WITHOUT_A_SITE = ("ph_low", "ph_high")


def water_targets(readings: pd.DataFrame, left_out: pd.DataFrame, taxa: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Describe the water in which each aquatic stage was found: P10 to P90 by season.

    Parameters
    ----------
    readings : DataFrame
        As :class:`schemas.frames.air_and_water.WaterReadings`, one value a waterbody and day.
    left_out : DataFrame
        As :class:`schemas.frames.air_and_water.WaterLeftOut`.
    taxa : DataFrame
        Column ``code``; other taxa get no row.
    settings : Settings
        Warm and cold months; the others are ``other``.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.air_and_water.WaterTargets`: for each taxon, population and stage with a value, used or not, a row for
        each season and quantity. Quantiles are weighted by site-days; the ends of a band are rounded inward. ``hardness`` is always
        refused: a visit has no field for it. Never better than grade C, since a meter reads the reach and not the animal's place.
    """
    groups = pd.concat([readings[CELL], left_out[CELL]]).drop_duplicates().sort_values(CELL)
    groups = groups[groups["taxon"].isin(taxa["code"])]
    readings, left_out = _with_season(readings, settings), _with_season(left_out, settings)
    used, unused = _by_row(readings), _by_row(left_out)
    none, none_left = columns_of(readings.iloc[:0]), columns_of(left_out.iloc[:0])
    rows = [
        _row(key, season, quantity, used.get((*key, season, quantity), none), unused.get((*key, season, quantity), none_left))
        for key in groups.itertuples(index=False, name=None)
        for season in SEASONS
        for quantity in UNITS
    ]
    return framed(WaterTargets, rows)


def _with_season(frame: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    names = ["warm" if month in settings.warm_months else "cold" if month in settings.cold_months else "other" for month in frame["month"]]
    return frame.assign(season=pd.Series(names, index=frame.index, dtype="str"))


def _by_row(frame: pd.DataFrame) -> dict[Any, Columns]:
    columns = columns_of(frame)
    return {key: rows_of(columns, inside) for key, inside in frame.groupby([*CELL, "season", "quantity"]).indices.items()}


def _row(key: tuple[Any, ...], season: str, quantity: str, values: Columns, unused: Columns) -> dict[str, Any]:
    """Counts, quantiles and band of one quantity in one season, or why there is no band."""
    counts = {name: len(set(values[column].tolist())) for name, column in (("sites", "site"), ("dates", "date"), ("years", "year"))}
    counts["visits"] = n_values = len(values["value"])
    by_reason: dict[str, int] = {}
    for reason, n in zip(unused["reason"], unused["n_visits"], strict=True):
        by_reason[reason] = by_reason.get(reason, 0) + int(n)
    not_used = "; ".join(f"{n} {reason}" for reason, n in sorted(by_reason.items()))
    row: dict[str, Any] = {
        **dict(zip(CELL, key, strict=True)), "season": season, "quantity": quantity, "unit": UNITS[quantity], "status": Status.REFUSED,
        "n_readings": n_values, "n_animals": int(values["n_animals"].sum()), **{f"n_{name}": n for name, n in counts.items()},
        "months": ", ".join(MONTH_NAMES[int(month) - 1] for month in sorted(set(values["month"].tolist()))),
        "n_not_used": sum(by_reason.values()), "not_used": not_used,
        **dict.fromkeys(("min", "p10", "p50", "p90", "max", "band_low", "band_high"), math.nan), "grade": "D",
    }  # fmt: skip
    if not n_values:
        return {**row, "reason": NO_FIELD if quantity == "hardness" else f"read and not usable ({not_used})" if not_used else NOT_MEASURED}
    weights = site_day_weights(values["site"], values["month"].astype("int64"), values["date"])
    probabilities = [0.0, water_limit("band_low_percentile") / 100, 0.5, water_limit("band_high_percentile") / 100, 1.0]
    row.update(zip(("min", "p10", "p50", "p90", "max"), weighted_quantile(values["value"], weights, probabilities), strict=True))
    evidence = {**counts, "night_share": 0.0, "half_width": math.nan}
    row["grade"] = grade_of(evidence, monthly=False, only_from_visit=True)
    if not provisional(row["grade"]):
        return {**row, "reason": missing_for_c(evidence, monthly=False)}
    low, high = _band(row["p10"], row["p90"], water_limit(f"band_step_{quantity}"))
    remark = "one year only: it speaks of that year" if counts["years"] == 1 else ""
    return {**row, "status": Status.FOUND, "reason": remark, "band_low": low, "band_high": high}


def _band(low: float, high: float, step: float) -> tuple[float, float]:
    """Ends rounded inward; a band narrower than a step is the value below it."""
    # The machine's fraction of a decimal step ends a hair beside it.
    bottom, top = (round(end * step, 9) for end in (math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)))
    return min(bottom, top), top


def water_guidance(scientific_name: str) -> pd.DataFrame:
    """Published limits and judgements on pH, conductivity, oxygen and hardness, for any taxon or for this very species.

    Parameters
    ----------
    scientific_name : str
        Genus and species.

    Returns
    -------
    DataFrame
        ``quantity``, ``life_stage``, ``value``, ``unit``, ``kind``, ``source``, ``year``, ``note``, as in `water_limits.csv`. None is a
        target.
    """
    frame = water_limits()
    rows = frame[frame["quantity"].isin(PUBLISHED) & frame["taxon_or_group"].isin(["all", scientific_name])]
    return rows[["quantity", "life_stage", "value", "unit", "kind", "source", "year", "note"]].reset_index(drop=True)


def water_rows(targets: pd.DataFrame, scientific_name: str, life_stage: str) -> list[dict[str, str]]:
    """Sentences on water for one taxon, population and stage: what was found first, what is published after and apart.

    Parameters
    ----------
    targets : DataFrame
        Its rows of :func:`water_targets`; may be empty.
    scientific_name : str
        For limits of this very species.
    life_stage : str
        Code; limits of other stages are left out.

    Returns
    -------
    list of dict
        ``part`` (found, refused, published, note), ``season`` (empty for published), ``label``, ``text``.
    """
    told = targets.to_dict("records")
    rows = [line for quantity in UNITS for line in _lines_of([row for row in told if row["quantity"] == quantity], quantity)]
    if not told:
        rows.append(_line(Status.REFUSED, "", "water", f"No band: {NOT_MEASURED}."))
    known = {row["quantity"] for row in told if row["status"] == Status.FOUND}
    if known:
        rows.append(_line("note", "", "bands", BANDS))
    for limit in water_guidance(scientific_name).itertuples():
        if (limit.life_stage and limit.life_stage != life_stage) or (limit.quantity in WITHOUT_A_SITE and "ph" in known):
            continue
        source = f"{limit.kind}: {limit.source}" if limit.source else limit.kind
        value = 100 * limit.value if limit.unit == "share" else limit.value
        text = f"{PUBLISHED[limit.quantity].format(value)} ({source}). {limit.note.rstrip('.')}."
        rows.append(_line("published", "", LABELS[limit.quantity.split("_")[0]], text))
    return rows


def _lines_of(targets: Sequence[Mapping[Any, Any]], quantity: str) -> Iterator[dict[str, str]]:
    """A line a season with a band, then one for each reason why the others have none."""
    label, unit = LABELS[quantity], f" {UNITS[quantity]}".rstrip()
    for row in targets:
        if row["status"] != Status.FOUND:
            continue
        low, middle, high = (_printed(row[name], quantity) for name in ("band_low", "p50", "band_high"))
        years = "1 year" if row["n_years"] == 1 else f"{row['n_years']} years"
        words = [
            f"{low} to {high}{unit}, median {middle}; grade {row['grade']}",
            f"{row['n_visits']} site-days at {in_class(row['n_sites'])} on {row['n_dates']} dates in {years}",
            row["months"],
            *([row["reason"]] if row["reason"] else []),
            *([f"not used: {row['not_used']}"] if row["not_used"] else []),
        ]
        yield _line("found", row["season"], label, f"{'; '.join(words)}.")
    refused: dict[str, list[str]] = {}
    for row in targets:
        if row["status"] == Status.REFUSED:
            refused.setdefault(row["reason"], []).append(row["season"])
    for reason, names in refused.items():
        seasons = "" if len(names) == len(SEASONS) else f" ({' and '.join(names)} months)"
        yield _line(Status.REFUSED, ", ".join(names), label, f"No band{f' in{unit}' if unit else ''}{seasons}: {reason}.")


def _printed(value: float, quantity: str) -> str:
    digits = max(0, -math.floor(math.log10(water_limit(f"band_step_{quantity}"))))
    return f"{value:.{digits}f}"


def _line(part: str, season: str, label: str, text: str) -> dict[str, str]:
    return {"part": part, "season": season, "label": label, "text": text}
