"""Numbers of sites as others may know them: published sites alone, in classes, so that none is noticed that was left out."""

from __future__ import annotations

import re
from collections.abc import Mapping

import pandas as pd

from pipeline.formulas.places import place_figures
from pipeline.statistics.grades import NONE, needs

LOWEST = tuple(int(text) for text in place_figures()["site_classes"].split("|"))
"""Least number of each class, ascending; the first is 0."""


def least_of_class(n: float) -> int:
    """The least number of sites of the class that a number falls into."""
    return max(low for low in LOWEST if low <= (0 if pd.isna(n) else n))


def in_class(n: float) -> str:
    """A number of sites in words: "3 to 5 sites"."""
    low = least_of_class(n)
    if low == 0:
        return "no site that may be told"
    above = [one for one in LOWEST if one > low]
    return f"{low} to {above[0] - 1} sites" if above else f"{low} sites or more"


def coarse_sites(frame: pd.DataFrame) -> pd.DataFrame:
    """A table to share, its `n_sites` as the least of their class; a table without the column as it is."""
    if "n_sites" not in frame:
        return frame
    return frame.assign(n_sites=frame["n_sites"].map(least_of_class).astype(frame["n_sites"].dtype))


def told_words(reason: object) -> object:
    """A reason such as "2 of 3 sites needed" without the number of sites there are: it counts those that are withheld."""
    if not isinstance(reason, str):
        return reason
    return re.sub(
        r"\b(\d+) of (\d+) sites", lambda found: f"{'fewer than' if int(found[1]) < int(found[2]) else 'at least'} {found[2]} sites", reason
    )


def told_sites(frame: pd.DataFrame, published: pd.Series | None = None) -> pd.DataFrame:
    """A table to share, without the number of sites that are withheld.

    Parameters
    ----------
    frame : DataFrame
        A table with `n_sites`, all sites counted, and where it has them `grade`, `reason` and `word`; one without is given back as it is.
    published : Series, optional
        How many of the sites are published.

    Returns
    -------
    DataFrame
        `n_sites` is the least of the class of what is published, or of what the row tells without it, if that is more: a grade, or a
        reason that does not name the sites, says that there are so many; with less in the table a withheld site would show. `reason`
        has no number.
    """
    if "n_sites" not in frame or frame.empty:
        return frame
    n = frame["n_sites"].astype("float64").fillna(0)
    said = pd.Series([_said(row) for row in frame.to_dict("records")], index=frame.index, dtype="float64")
    told = n.clip(upper=said) if published is None else published.clip(lower=n.clip(upper=said))
    more = {"reason": frame["reason"].map(told_words).astype(frame["reason"].dtype)} if "reason" in frame else {}
    return frame.assign(n_sites=told.map(least_of_class).astype(frame["n_sites"].dtype), **more)


def told_of_cell(rows: pd.DataFrame, published: int) -> str:
    """At how many sites all months of a cell were read, in words, as :func:`told_sites` counts.

    Parameters
    ----------
    rows : DataFrame
        Targets of the cell, as :func:`without_hidden` gives them.
    published : int
        How many of its sites are published.
    """
    least = int(rows["n_sites"].max()) if len(rows) and rows["n_sites"].notna().any() else 0
    return in_class(max(published, least))


def _said(row: Mapping[str, object]) -> float:
    """How many sites a row says that there are, without a number: by its grade, by being selected, or by lacking something else alone."""
    grade, reason = str(row.get("grade") or NONE)[:1], str(row.get("reason") or "")
    if grade in "ABC":
        return needs(grade, False)["sites"]
    if row.get("word") == "selected" or (reason.endswith("needed") and "sites" not in reason):
        return needs("C", False)["sites"]
    return 1.0


def without_hidden(targets: pd.DataFrame, told: pd.DataFrame, seasons: Mapping[str, tuple[int, ...]]) -> pd.DataFrame:
    """Targets to share: `n_sites` as :func:`told_sites` has it, and `reason` without numbers of sites; no other figure changes.

    Parameters
    ----------
    targets : DataFrame
        As :class:`schemas.frames.targets.Targets`.
    told : DataFrame
        Readings of the published sites, as :class:`schemas.frames.targets.Readings`.
    seasons : mapping of str to tuple of int
        Months of ``warm`` and ``cold``.
    """
    cell = ["taxon", "population", "life_stage", "medium"]
    spans = {**seasons, **{str(month): (month,) for month in range(1, 13)}}
    parts = [told[told["month"].isin(months)].groupby(cell)["site"].nunique() for months in spans.values()]
    counts = pd.concat(parts, keys=spans, names=["month", *cell]).reorder_levels([*cell, "month"])
    wanted = pd.MultiIndex.from_frame(targets[[*cell, "month"]])
    found = pd.Series(counts.reindex(wanted).fillna(0).to_numpy(), index=targets.index, dtype="float64")
    return told_sites(targets, found.clip(upper=targets["n_sites"].astype("float64")))
