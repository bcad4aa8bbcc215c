"""The page of the gap list."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import pandas as pd

from pipeline.reports.gaps import GROUP, MONTHS, NOT_KNOWN, SHARE, SHOWN, below, curable, for_others
from pipeline.settings import Settings
from pipeline.settings.limits import judgement
from pipeline.statistics.grades import ORDER, needs
from pipeline.writing.page import render
from pipeline.writing.words import MEDIA, STAGES, counted, month_name, named
from schemas.frames.reports import ABSENCE_COLUMNS


def page(
    gaps: pd.DataFrame,
    months: pd.DataFrame,
    absence: pd.DataFrame,
    never: pd.DataFrame,
    n_cells: int,
    settings: Settings,
    today: date,
    *,
    private: bool = False,
) -> str:
    """Write the gap list as a page without a site in it.

    Parameters
    ----------
    gaps, months, never : DataFrame
        As :func:`gap_list`, :func:`best_months`, :func:`unseen`.
    absence : DataFrame
        As :class:`schemas.frames.reports.Absence`.
    n_cells : int
        Month cells in all, of grade A too; those of eggs not counted.
    settings : Settings
        Title, taxa.
    today : date
        Stands on the page.
    private : bool
        For the keeper alone: with how often was searched, and all sites counted.

    Returns
    -------
    str
        HTML that needs no other file. Lines that no visit can cure are counted and left out.
    """
    names = dict(zip(settings.taxa["code"], settings.taxa["scientific_name"], strict=True))
    assert list(absence.columns) == list(ABSENCE_COLUMNS)
    open_lines = curable(gaps)
    shown = open_lines if private else for_others(open_lines)
    groups = [
        {
            "names": names.get(key[0], key[0]),
            "what": _what(key[2], key[3]),
            "population": key[1],
            "rows": [_line(row) for row in rows.to_dict("records")],
        }
        for key, rows in shown.groupby(GROUP, sort=False)
    ]
    return render(
        "reports",
        "gaps.html",
        settings=settings, today=today.isoformat(), names=names, below=below(gaps), n_cells=n_cells, groups=groups, private=private,
        months=[_month(row, names) for row in months.head(SHOWN).to_dict("records")], n_months=len(months),
        n_closed=len(gaps) - len(open_lines),
        absence=absence.to_dict("records"), grade_needs={grade: needs(grade, True) for grade in "CBA"},
        never=[{**row, "stage": named(STAGES, row["life_stage"]).lower()} for row in never.to_dict("records")],
        rest=f"{judgement('revisit_days_least'):g}", worth=(f"{judgement('warm_month_worth'):g}", f"{judgement('better_grade_worth'):g}"),
    )  # fmt: skip


def _what(stage: str, medium: str) -> str:
    return f"{named(STAGES, stage).lower()} {named(MEDIA, medium)}"


def _month(row: Mapping[str, Any], names: Mapping[str, str]) -> dict[str, Any]:
    """A line of the ranking: its cells in words, those that get their first target apart, by species."""
    parts: dict[bool, dict[str, list[str]]] = {True: {}, False: {}}
    for cell in str(row["cells"]).split("; "):
        taxon, stage, medium, _, grade = cell.split(" ")
        parts[grade == ORDER[2]].setdefault(names.get(taxon, taxon), []).append(_what(stage, medium))
    return {**row, "month": month_name(row["month"]), "first": list(parts[True].items()), "better": list(parts[False].items())}


def _line(row: Mapping[str, Any]) -> dict[str, Any]:
    visits = int(row["more_visits"])
    own = [f"{row['more_sites']} at new sites"] if row["more_sites"] else []
    own += [f"in {counted(row['more_years'], 'new year')}"] if row["more_years"] else []
    own += [f"{row['more_at_night']} at night, never alone"] if row["more_at_night"] else []
    own += ["one reading at an animal"] if row["at_animal"] else []
    lacks = counted(visits, "visit") + (f" ({', '.join(own)})" if own else "")
    title = month_name(row["month"]) if row["month"] in MONTHS else f"{row['month']} season"
    days = (
        "nobody knows"
        if row["trips_basis"] == NOT_KNOWN
        else f"about {row['trips']:.0f}" + ("" if row["trips_basis"] == SHARE else ", a guess")
    )
    so_far = f"{row['n_with_reading']} of {row['n_searches']}" if row.get("n_searches") else "not searched"
    return {**row, "title": title, "lacks": lacks, "days": days, "so_far": so_far}
