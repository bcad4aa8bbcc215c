"""Weights and seeds that several steps share."""

from __future__ import annotations

import zlib
from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike, NDArray


def site_day_weights(sites: ArrayLike, months: ArrayLike, dates: ArrayLike) -> NDArray[np.float64]:
    """Weights under which the estimand is a mean over site-days (method §2).

    Each site weighs the same; within a site each month; within a month each day; within a day each value. Days, not visits, because
    several transects of one stream on one day are one look at its temperature.

    Parameters
    ----------
    sites, months, dates : array_like, shape (n,)
        Site, month and date of each distinct value.

    Returns
    -------
    ndarray, shape (n,)
        Sum 1.
    """
    site, month, date = (np.unique(np.asarray(labels), return_inverse=True)[1].astype(np.int64) for labels in (sites, months, dates))
    # one number a site and month, and one a site, month and date: rows of a matrix take numpy ten times as long to tell apart
    n_months, n_dates = (int(codes.max(initial=0)) + 1 for codes in (month, date))
    days, day, in_day = np.unique((site * n_months + month) * n_dates + date, return_inverse=True, return_counts=True)
    blocks, block, days_in_block = np.unique(days // n_dates, return_inverse=True, return_counts=True)
    _, owner, months_of_site = np.unique(blocks // n_months, return_inverse=True, return_counts=True)
    per_block = 1 / (len(months_of_site) * months_of_site[owner])
    per_day = per_block[block.ravel()] / days_in_block[block.ravel()]
    return np.asarray((per_day / in_day)[day.ravel()], dtype=float)


def named_seed(names: Iterable[str], seed: int) -> int:
    """Seed of one figure, which must not depend on which other figures the book holds.

    Parameters
    ----------
    names : iterable of str
        What the figure is of, such as the parts of a cell.
    seed : int
        The book's seed, 0 or more.

    Returns
    -------
    int
        The same for the same names and seed.
    """
    sequence = np.random.SeedSequence([seed, zlib.crc32("|".join(names).encode())])
    return int(sequence.generate_state(1, np.uint64)[0])
