"""The page of the gap list."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import pandas as pd

from pipeline.reports.gaps import GROUP, LISTED, MONTHS, SHARE, SHOWN, below
from pipeline.settings import Settings
from pipeline.settings.limits import judgement
from pipeline.statistics.grades import needs
from pipeline.writing.page import render
from pipeline.writing.words import counted, month_name
from schemas.report_frames import ABSENCE_COLUMNS


def page(
    gaps: pd.DataFrame, months: pd.DataFrame, absence: pd.DataFrame, never: pd.DataFrame, n_cells: int, settings: Settings, today: date
) -> str:
    """Write the gap list as a page without a site in it.

    Parameters
    ----------
    gaps, months, never : DataFrame
        As :func:`gap_list`, :func:`best_months`, :func:`unseen`.
    absence : DataFrame
        As :class:`schemas.report_frames.Absence`.
    n_cells : int
        Month cells in all, of grade A too; those of eggs not counted.
    settings : Settings
        Title, taxa.
    today : date
        Stands on the page.

    Returns
    -------
    str
        HTML that needs no other file.
    """
    names = dict(zip(settings.taxa["code"], settings.taxa["scientific_name"], strict=True))
    assert list(absence.columns) == list(ABSENCE_COLUMNS)
    groups = [
        {"names": names.get(key[0], key[0]), "key": key, "rows": [_line(row) for row in rows.to_dict("records")]}
        for key, rows in gaps.groupby(GROUP, sort=False)
    ]
    return render(
        "reports",
        "gaps.html",
        settings=settings, today=today.isoformat(), names=names, below=below(gaps), n_cells=n_cells, groups=groups,
        months=[_month(row) for row in months.head(SHOWN).to_dict("records")], n_months=len(months),
        absence=absence.to_dict("records"), never=never.to_dict("records"), grade_needs={grade: needs(grade, True) for grade in "CBA"},
        rest=f"{judgement('revisit_days_least'):g}",
    )  # fmt: skip


def _month(row: Mapping[str, Any]) -> dict[str, Any]:
    cells = str(row["cells"]).split("; ")
    more = f"; and {len(cells) - LISTED} more" if len(cells) > LISTED else ""
    return {**row, "month": month_name(row["month"]), "cells": "; ".join(cells[:LISTED]) + more}


def _line(row: Mapping[str, Any]) -> dict[str, Any]:
    visits = int(row["more_visits"])
    parts = []
    if visits:
        own = [f"{row['more_sites']} at new sites"] if row["more_sites"] else []
        own += [f"in {counted(row['more_years'], 'new year')}"] if row["more_years"] else []
        own += [f"{row['more_at_night']} at night, never alone"] if row["more_at_night"] else []
        own += ["one reading at an animal"] if row["at_animal"] else []
        parts.append(counted(visits, "visit") + (f" ({', '.join(own)})" if own else ""))
    if row["interval"]:
        parts.append(f"the interval of the median: {row['interval']}")
    so_far = f"{row['n_with_reading']} of {row['n_searches']}" if row["n_searches"] else "not searched"
    trips = f", so about {counted(row['trips'], 'day')} of search" if visits and row["trips_basis"] == SHARE else ""
    title = month_name(row["month"]) if row["month"] in MONTHS else f"{row['month']} season"
    has = ", ".join(counted(row[f"n_{name}s"], name) for name in ("site", "date", "visit"))
    return {**row, "title": title, "has": has, "lacks": "; ".join(parts), "so_far": so_far + trips}
