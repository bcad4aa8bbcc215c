"""Numbers of sites as others may know them: published sites alone, in classes, so that none is noticed that was left out."""

from __future__ import annotations

from collections.abc import Collection, Mapping

import pandas as pd

from pipeline.formulas.places import place_figures

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


def without_hidden(
    targets: pd.DataFrame, readings: pd.DataFrame, hidden: Collection[str], seasons: Mapping[str, tuple[int, ...]]
) -> pd.DataFrame:
    """Targets whose `n_sites` counts no site of which all is withheld; nothing else changes.

    Parameters
    ----------
    targets : DataFrame
        As :class:`schemas.frames.Targets`.
    readings : DataFrame
        As :class:`schemas.frames.Readings`.
    hidden : collection of str
        Names of `site` in the readings that are published nowhere.
    seasons : mapping of str to tuple of int
        Months of ``warm`` and ``cold``.
    """
    if not hidden:
        return targets
    cell = ["taxon", "population", "life_stage", "medium"]
    told = readings[~readings["site"].isin(hidden)]
    spans = {**seasons, **{str(month): (month,) for month in range(1, 13)}}
    parts = [told[told["month"].isin(months)].groupby(cell)["site"].nunique() for months in spans.values()]
    counts = pd.concat(parts, keys=spans, names=["month", *cell]).reorder_levels([*cell, "month"])
    wanted = pd.MultiIndex.from_frame(targets[[*cell, "month"]])
    found = pd.Series(counts.reindex(wanted).fillna(0).to_numpy(), index=targets.index).clip(upper=targets["n_sites"])
    return targets.assign(n_sites=found.astype(targets["n_sites"].dtype))
