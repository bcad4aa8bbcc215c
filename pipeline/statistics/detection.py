"""How often a search finds an animal where it lives, and how many searches without a find state absence."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import pandas as pd

from pipeline.settings.limits import judgement
from pipeline.statistics.sample_size import visits_for_absence
from schemas.frames.frame import framed
from schemas.frames.reports import Absence

STATED = "stated in rillbook.toml"
COMPUTED = "computed from repeat visits"
NOT_KNOWN = "not known"


def searches(visits: pd.DataFrame, finds: pd.DataFrame) -> pd.DataFrame:
    """One row a visit and taxon that it looked for, with whether it found it.

    Parameters
    ----------
    visits : DataFrame
        Columns of ``schemas.tables.Visits`` and ``incomplete``.
    finds : DataFrame
        Columns ``visit_id``, ``taxon``.

    Returns
    -------
    DataFrame
        ``visit_id``, ``site_id``, ``visit_date``, ``taxon``, ``found``, in order of taxon, site, date and start. Visits whose finds were
        held back, and taxa that no visit names as a target, are left out: they say nothing of absence.
    """
    whole = visits[~visits["incomplete"].fillna(False).astype("bool")]
    rows = whole[["visit_id", "site_id", "visit_date", "start_time", "target_taxa"]]
    rows = rows.assign(taxon=rows["target_taxa"].fillna("").astype("str").str.split("|")).explode("taxon")
    rows["taxon"] = rows["taxon"].str.strip()
    rows = rows[rows["taxon"] != ""].drop_duplicates(["visit_id", "taxon"])
    met = set(zip(finds["visit_id"], finds["taxon"], strict=True))
    found = [pair in met for pair in zip(rows["visit_id"], rows["taxon"], strict=True)]
    rows = rows.assign(found=found, start_time=rows["start_time"].fillna(""))
    rows = rows.sort_values(["taxon", "site_id", "visit_date", "start_time", "visit_id"], ignore_index=True)
    return rows[["visit_id", "site_id", "visit_date", "taxon", "found"]]


def detections(looked: pd.DataFrame, taxa: list[str], stated: Mapping[str, float]) -> pd.DataFrame:
    """Detection of each taxon as stated, else naively from repeat visits, else not known.

    Parameters
    ----------
    looked : DataFrame
        As :func:`searches`.
    taxa : list of str
        Codes.
    stated : mapping
        Code to the share that a person states.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.reports.Absence`.

    Notes
    -----
    Naive share: of the visits that came after the first find at their site, how many found it again. The first find shows that it lives
    there, so no site without it lowers the share, and the find that chose the site is not counted. It takes every visit for alike and the
    site for lived in all year; where either fails, the share is only a mean, and a season in which animals are below ground needs more
    visits than it says.
    """
    return framed(Absence, [_of_taxon(looked[looked["taxon"] == taxon], taxon, stated) for taxon in taxa])


def _of_taxon(looked: pd.DataFrame, taxon: str, stated: Mapping[str, float]) -> dict[str, Any]:
    enough = looked[looked.groupby("site_id")["visit_id"].transform("size") >= judgement("detection_visits_least")]
    # a visit is later if one before it at its site had a find
    before = enough.groupby("site_id")["found"].cumsum() - enough["found"].astype("int64")
    later = enough[before > 0]
    n, again = len(later), int(later["found"].sum())
    row: dict[str, Any] = {
        "taxon": taxon, "detection": math.nan, "basis": NOT_KNOWN, "n_later": n, "n_found_again": again,
        "n_sites": later["site_id"].nunique(), "visits_to_absence": math.nan, "why": "",
    }  # fmt: skip
    if taxon in stated:
        row |= {"detection": stated[taxon], "basis": STATED}
    elif n == 0:
        return row | {"why": "no site where it was found was searched for it again"}
    elif again in (0, n):
        return row | {"why": f"found again on {'none' if again == 0 else 'all'} of {n} later visits: no search is sure to fail or to find"}
    else:
        row |= {"detection": again / n, "basis": COMPUTED}
    return row | {"visits_to_absence": visits_for_absence(row["detection"], judgement("absence_confidence"))}
