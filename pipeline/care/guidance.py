"""Guidance from elsewhere on a care sheet: visibly apart, and never against a ceiling or a floor of the page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from pipeline.settings.limits import published_guidance
from pipeline.writing.words import STAGES, Row, degrees, fahrenheit, figure, named, number


def guidance_lines(group: str, name: str, cells: list[Row], facts: Mapping[str, Any]) -> list[Row]:
    """Guidance for the group of a taxon, figures of one source together.

    Parameters
    ----------
    group, name : str
        Code of the group, and scientific name.
    cells : list of dict
        ``stage``, ``ceiling`` (with ``c``, °C, or None) and ``floor_c`` of the page's cells; a figure beyond them is not repeated.
    facts : mapping
        ``guidance`` (as from `pipeline.settings.limits.published_guidance`, which is asked where this is missing).

    Returns
    -------
    list of dict
        ``who``, ``stages``, ``kind``, ``source``, ``note``, ``figures``.
    """
    return _guidance(facts["guidance"] if "guidance" in facts else _published(group, name, cells), cells)


def _published(group: str, name: str, cells: list[Row]) -> pd.DataFrame:
    stages = [stage for stage in STAGES if any(cell["stage"] == stage for cell in cells)] or list(STAGES)
    return pd.concat([published_guidance(group, stage, name) for stage in stages]).drop_duplicates(ignore_index=True)


def _guidance(guidance: pd.DataFrame, cells: list[Row]) -> list[Row]:
    """Guidance from elsewhere, figures of one source together; a figure that this page's own ceiling or floor forbids is not repeated."""
    together: dict[tuple[str, ...], list[str]] = {}
    for record in guidance.astype(object).where(guidance.notna(), None).to_dict("records"):
        stages = [stage for stage in str(record.get("life_stage") or "").split("|") if stage]
        who = str(record.get("taxon_or_group") or "").replace("_", " ")
        words = ", ".join(named(STAGES, stage).lower() for stage in stages)
        key = (who, words, *(str(record.get(column) or "") for column in ("kind", "source", "note")))
        its = [cell for cell in cells if not stages or cell["stage"] in stages]
        together.setdefault(key, []).extend(_guidance_figure(record, its))
    return [
        {"who": who, "stages": stages, "kind": kind, "source": source or "no source", "note": note.rstrip("."), "figures": figures}
        for (who, stages, kind, source, note), figures in together.items()
    ]


def _guidance_figure(record: Row, cells: list[Row]) -> list[str]:
    value, unit = figure(record["value"]), record.get("unit") or ""
    if value is None:
        return []
    what = str(record["quantity"]).removeprefix("guide_").replace("_", " ")
    if unit != "°C":
        return [f"{what} {number(value)} {unit}"]
    if any(cell["ceiling"] and value > cell["ceiling"]["c"] for cell in cells):
        return [f"{what}: above a ceiling of this page, so not repeated"]
    if any(cell["floor_c"] is not None and value < cell["floor_c"] for cell in cells):
        return [f"{what}: below a floor of this page, so not repeated"]
    return [f"{what} {degrees(value, fahrenheit(value))}"]
