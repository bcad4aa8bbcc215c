"""Days between the things that a keeper does again and again, as the book states them under `[intervals]`."""

from __future__ import annotations

from typing import Any

from pipeline.errors import RillbookError

DUTIES = ("water_test", "water_change", "filter_cleaning", "sensor_check", "weighing", "alarm_test")
LONGEST = 3650


def intervals_of(entry: dict[str, Any], where: str) -> dict[str, int]:
    """Read the intervals.

    Parameters
    ----------
    entry : dict
        What stands under `[intervals]`.
    where : str
        Names the file in errors.

    Returns
    -------
    dict of str to int
        Days by the names of ``DUTIES``; what the book does not state is missing.

    Raises
    ------
    RillbookError
        Another word, or what is no whole number of days.
    """
    for word, days in entry.items():
        if word not in DUTIES:
            raise RillbookError(f"unknown word {word!r}.", f"Known here: {', '.join(DUTIES)}.", f"{where}, [intervals]")
        if type(days) is not int or not 1 <= days <= LONGEST:
            raise RillbookError(f"{word} must be a whole number of days from 1 to {LONGEST}.", "Mend it.", f"{where}, [intervals]")
    return dict(entry)
