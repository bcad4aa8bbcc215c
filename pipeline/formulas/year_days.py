"""The months, and the days of a year of 365 days: where each month begins, and which day a date is."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

MONTH_NAMES = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December")
LENGTHS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
YEAR = sum(LENGTHS)
STARTS = tuple(sum(LENGTHS[:month]) for month in range(12))
"""Days before each month; 29 February is shown as the 28th."""


def day_of_year(dates: pd.Series) -> NDArray[np.int64]:
    """Day of a year of 365 days, 1 to 365; 29 February counts as the 28th."""
    month, day = dates.dt.month.to_numpy(dtype=np.int64), dates.dt.day.to_numpy(dtype=np.int64)
    return np.asarray(STARTS, dtype=np.int64)[month - 1] + np.minimum(day, np.asarray(LENGTHS)[month - 1])
