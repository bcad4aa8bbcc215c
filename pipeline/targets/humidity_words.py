"""Humidity as a page says it: the two statements, the figures behind them, and the hand test."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from pipeline.formulas.humidity_to_keep import printed_rh
from pipeline.formulas.moist_air import FORMULA
from pipeline.targets.humidity import MIST, NONE_AT_NIGHT, OWN_BOUND, humidity_table
from pipeline.writing.site_counts import in_class
from pipeline.writing.words import counted
from schemas.enums import Status
from schemas.vocabulary import vocabulary


def refuge_words() -> str:
    """Statement on the refuge: no figure, and the hand test of the vocabulary `substrate_wetness`."""
    meanings = {code: row["definition"] for code, row in vocabulary("substrate_wetness").items()}
    test = "; ".join(f"{code.replace('_', ' ')} ({text[0].lower()}{text[1:]})" for code, text in meanings.items() if code != "dry")
    dry = meanings["dry"]
    return (
        "Near saturation at all times, on wet substrate. There is no figure, because no sensor can tell there. Press the substrate by hand:"
        f" {test} are right; dry ({dry[0].lower()}{dry[1:]}) is not: wet it at once."
    )


def _wetness_words(wetness: pd.DataFrame) -> str:
    noted = wetness.groupby("wetness")["n_finds"].sum()
    return ", ".join(f"{code.replace('_', ' ')} {noted[code]}" for code in vocabulary("substrate_wetness") if code in noted.index)


def humidity_rows(
    target: Mapping[str, Any] | None,
    figures: pd.DataFrame,
    *,
    wetness: pd.DataFrame | None = None,
    ceiling: float = math.nan,
    floor: float = math.nan,
) -> list[dict[str, str]]:
    """Sentences on humidity for one taxon, population and stage, in the order of the page.

    Parameters
    ----------
    target : mapping or None
        Its row of :func:`humidity_targets`, or None where it has none.
    figures : DataFrame
        Its rows of :func:`humidity_figures`.
    wetness : DataFrame, optional
        Its rows, columns of ``schemas.frames.targets.WETNESS_COLUMNS``.
    ceiling, floor : float
        Temperatures that the page forbids to pass, °C: the table says nothing beyond them. Missing where there is none.

    Returns
    -------
    list of dict
        ``part`` (refuge, open, table, found, note), ``label``, ``text``. Parts refuge and open are never one number.
    """
    rows = [_row("refuge", "refuge", refuge_words())]
    if wetness is not None and len(wetness):
        rows.append(_row("refuge", "hand tests noted", f"{_wetness_words(wetness)}, at finds under cover or at the water's edge."))
    if target is None or target["status"] != Status.TARGET:
        reason = NONE_AT_NIGHT if target is None else target["reason"]
        rows.append(_row("open", "open part", f"No figure: {reason}. The refuge and its hand test stand alone."))
    else:
        rows += _open_rows(target, ceiling, floor)
    rows += [row for figure in figures.to_dict("records") for row in _found_rows(figure)]
    if len(figures) or (target is not None and target["status"] == Status.TARGET):
        rows.append(_row("note", "formula", FORMULA[0].upper() + FORMULA[1:] + "."))
    return rows


def _open_rows(target: Mapping[str, Any], ceiling: float, floor: float) -> list[dict[str, str]]:
    source = (
        "the lower bound of the median read at animals"
        if target["bound_by"] == OWN_BOUND
        else "a published limit, as your records allow more"
    )
    table = humidity_table(pd.DataFrame([dict(target)]))
    inside = table[~(table["temp_c"] > ceiling) & ~(table["temp_c"] < floor)]
    most = f"For long, a vapour pressure deficit of no more than {target['deficit']:.2f} kPa ({source})"
    if len(inside) and inside["printed"].eq(MIST).all():
        most = "As damp as mist and wet moss make it: what was read at the animals is nearer to saturation than a sensor can tell"
    text = f"{most}; grade {target['grade']}, from {_counts(target)}; {target['months']}, by night."
    rows = [_row("open", "open part", text)]
    # Neighbouring degrees that say the same stand in one line.
    for _, same in inside.groupby(inside["printed"].ne(inside["printed"].shift()).cumsum(), sort=False):
        first, last, printed = same["temp_c"].min(), same["temp_c"].max(), same["printed"].iloc[0]
        label = f"at {first} °C" if first == last else f"at {first} to {last} °C"
        rows.append(_row("table", label, f"at least {printed}" if printed.endswith("%") else printed))
    if len(inside):
        low, high = inside["temp_c"].min(), inside["temp_c"].max()
        rows.append(
            _row("note", "span", f"Below {low} °C and above {high} °C nothing is said: no humidity was read there or the page forbids it.")
        )
    else:
        rows.append(_row("note", "span", "No whole degree lies inside what was read and what the page allows: no table."))
    if target["reason"]:
        rows.append(_row("note", "limits", f"{target['reason'][0].upper()}{target['reason'][1:]}."))
    return rows


def _found_rows(figure: Mapping[Any, Any]) -> Iterator[dict[str, str]]:
    where = "read at the animals" if figure["read_at"] == "find" else "read for the visits"
    label = f"found, {figure['life_stage'].replace('_', ' ')}, {where}"
    rh = f"{printed_rh(figure['rh_p05'])}, median {printed_rh(figure['rh_p50'])}, {printed_rh(figure['rh_p95'])}"
    deficit = f"{figure['deficit_p05']:.2f}, median {figure['deficit_p50']:.2f}, {figure['deficit_p95']:.2f} kPa"
    low, high = f"{figure['temp_low']:.1f}", f"{figure['temp_high']:.1f}"
    span = f"at {low} °C" if low == high else f"at {low} to {high} °C"
    text = f"RH (P5, median, P95) {rh}; deficit {deficit}; {span}; {_counts(figure)};"
    text += f" {100 * figure['night_share']:.0f} % by night. {figure['caution']}"
    yield _row("found", label, text)
    if figure["n_wettest_assumed"]:
        text = (
            f"{figure['n_wettest_assumed']} with a wet bulb whose instrument or elevation was not noted: taken as wet as the pair can mean."
        )
        yield _row("note", label, text)


def _counts(row: Mapping[Any, Any]) -> str:
    words = [in_class(row["n_sites"]) if name == "sites" else counted(row[f"n_{name}"], one) for name, one in COUNTED.items()]
    return ", ".join(words)


COUNTED = {"animals": "animal", "readings": "reading", "visits": "visit", "dates": "date", "sites": "site", "years": "year"}


def _row(part: str, label: str, text: str) -> dict[str, str]:
    return {"part": part, "label": label, "text": text}
