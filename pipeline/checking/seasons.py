"""What the other visits of a site and of a sheet say of a visit: its water at that time of the year, and its year."""

from __future__ import annotations

from datetime import date

import numpy as np
import pandas as pd

from schemas.rules.figures import LAST_YEAR_DAYS, SEASON_ALIKE_C, SEASON_DAYS, SEASON_VISITS, SHEET_DAYS, SHEET_FAR_SHARE, SHEET_VISITS

YEAR_DAYS = 365.25
# A season begins and ends a little before and after the visits that were made in it.
MARGIN_DAYS = 14
MOST_PAIRS = 1_000_000
"""Pairs of visits that are compared at once."""


def season_apart(visits: pd.DataFrame) -> pd.Series:
    """How far the water of each visit lies outside of what others read at its site at that time of the year.

    Parameters
    ----------
    visits : DataFrame
        Columns ``site_id``, ``visit_date``, ``water_temp_c`` [°C].

    Returns
    -------
    Series of float
        [°C], on the index of `visits`; 0 inside of their span, missing where fewer than three others read the water within 30 days of the
        year, or where these span too much to say what is usual.
    """
    apart = np.full(len(visits), np.nan)
    days, waters = visits["visit_date"].dt.day_of_year.to_numpy(dtype="float64"), visits["water_temp_c"].to_numpy(dtype="float64")
    site = np.where(np.isnan(days) | np.isnan(waters), -1, pd.factorize(visits["site_id"])[0])
    order = np.argsort(site, kind="stable")
    for group in np.split(order, np.flatnonzero(np.diff(site[order])) + 1):
        if len(group) <= SEASON_VISITS or site[group[0]] < 0:
            continue
        day, water = days[group], waters[group]
        # some visits at a time, so that a site with very many needs no memory to speak of
        step = max(1, MOST_PAIRS // len(group))
        for start in range(0, len(group), step):
            mine = np.arange(start, min(start + step, len(group)))
            apart[group[mine]] = _apart(day, water, mine)
    return pd.Series(apart, index=visits.index)


def _apart(day: np.ndarray, water: np.ndarray, mine: np.ndarray) -> np.ndarray:
    """Of some visits of a site, how far their water lies outside of what the others read at that time of the year."""
    away = np.abs(day[mine, None] - day)
    near = np.minimum(away, YEAR_DAYS - away) <= SEASON_DAYS
    near[np.arange(len(mine)), mine] = False
    lowest, highest = np.where(near, water, np.inf).min(axis=1), np.where(near, water, -np.inf).max(axis=1)
    told = (near.sum(axis=1) >= SEASON_VISITS) & (highest - lowest <= SEASON_ALIKE_C)
    outside = np.maximum(np.maximum(lowest - water[mine], water[mine] - highest), 0.0)
    return np.where(told, outside, np.nan)


def days_since(dates: pd.Series, in_sheet: np.ndarray, today: date) -> pd.Series:
    """Days from each visit to the day of entry, where a year too many can be told from a sheet that holds the years before.

    Parameters
    ----------
    dates : Series of datetime
        Days of the visits.
    in_sheet : array of bool
        Which of them stand in the sheet that is loaded.
    today : date
        The day of entry.

    Returns
    -------
    Series of float
        [d], on the index of `dates`; missing throughout where three visits of the sheet or more are older than a year and a month.
    """
    ago = (pd.Timestamp(today) - dates).dt.days.astype("float64")
    if (ago[in_sheet] > LAST_YEAR_DAYS[1]).sum() >= SHEET_VISITS:
        return pd.Series(np.nan, index=dates.index, dtype="float64")
    return ago


def year_apart(dates: pd.Series) -> pd.Series:
    """Dates that lie far from the others of a sheet of one season, and among them with the year before or after.

    Parameters
    ----------
    dates : Series of datetime
        Days of the visits of one sheet.

    Returns
    -------
    Series of bool
        None where the sheet holds several seasons: there a year more is nothing odd.
    """
    away = (dates - dates.median()).dt.total_seconds() / 86400
    near = away.abs() <= SHEET_DAYS
    far = dates.notna() & ~near
    if (
        near.sum() < SHEET_VISITS
        or np.ptp(away[near]) > SHEET_DAYS
        or np.ptp(away[near]) > SHEET_DAYS
        or far.sum() > max(1, SHEET_FAR_SHARE * dates.notna().sum())
    ):
        return pd.Series(False, index=dates.index)
    moved = (away - np.sign(away) * YEAR_DAYS).where(far)
    return far & moved.between(away[near].min() - MARGIN_DAYS, away[near].max() + MARGIN_DAYS)
