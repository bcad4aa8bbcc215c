"""The night drop: how much cooler the night is than the day before it, by month, in the enclosure and in the field (method §6, §10)."""

from __future__ import annotations

from typing import Any

import pandas as pd

from pipeline.formulas.year_days import MONTH_NAMES
from pipeline.settings.limits import judgement
from pipeline.tanks.readings import HOUR_US, local_sql
from pipeline.tanks.stretch import Stretch
from pipeline.writing.words import NBSP, number

DAY_FROM, DAY_TO = 8, 20
"""Clock hours of the day in an enclosure, which has no sunset of its own."""

HOW = (
    f"Mean of the readings from {DAY_FROM}:00 to {DAY_TO}:00 less the mean of the night after, median of the month; in the field from"
    " sunrise to sunset. Below 0 the night was the warmer."
)
NO_LOGGER = (
    "No logger of this book hung where this taxon was found in this medium: the night drop of the field is not known, and this one is"
    " held against nothing."
)
NOT_SAID = "The file of targets says nothing of the field's night drop: this one is held against nothing."
COLUMNS = ("month", "night_drop", "n_nights")
SHOWN = ("month", "night_drop", "n_nights", "field_drop", "field_days", "words")


def night_drops(connection: Any, stretch: Stretch) -> pd.DataFrame:
    """Night drop of the series that is looked at, by month.

    Parameters
    ----------
    connection : DuckDBPyConnection
        After `readings.prepare`.
    stretch : Stretch
        What is looked at; its zone makes day and night.

    Returns
    -------
    DataFrame
        Columns ``COLUMNS``: °C, and how many nights with their day before stand behind it. A pair counts only if it holds
        `logger_day_share_least` of the readings that 24 hours have at the usual step.
    """
    least_us = judgement("logger_day_share_least") * 24 * HOUR_US
    frame = connection.execute(f"""
        WITH placed AS (SELECT {local_sql("a", stretch)} - INTERVAL {DAY_FROM} HOUR AS clock, va, epoch_us(b) - epoch_us(a) AS us
          FROM steps),
        parts AS (SELECT clock::DATE AS day, avg(va) FILTER (hour(clock) < {DAY_TO - DAY_FROM}) AS light,
          avg(va) FILTER (hour(clock) >= {DAY_TO - DAY_FROM}) AS dark, count(*) AS n FROM placed GROUP BY day)
        SELECT month(day) AS month, median(light - dark) AS night_drop, count(*) AS n_nights FROM parts
        WHERE light IS NOT NULL AND dark IS NOT NULL AND n * (SELECT median(us) FROM placed) >= {least_us}
        GROUP BY month ORDER BY month
    """).df()  # fmt: skip
    return frame.astype({"month": "int64", "night_drop": "float64", "n_nights": "int64"})[list(COLUMNS)]


def beside_field(own: pd.DataFrame, field: pd.DataFrame | None) -> pd.DataFrame:
    """Set the enclosure's night drop beside the field's of the same month.

    Parameters
    ----------
    own : DataFrame
        As :func:`night_drops`.
    field : DataFrame or None
        ``month``, ``night_drop``, ``n_days`` of the field, one row a month; None or empty where nothing is known.

    Returns
    -------
    DataFrame
        Columns ``SHOWN``; ``field_drop`` is missing in a month that the field's loggers do not tell, and ``words`` say which is larger.
    """
    known = pd.DataFrame(columns=["month", "night_drop", "n_days"]) if field is None else field
    known = known.rename(columns={"night_drop": "field_drop", "n_days": "field_days"})[["month", "field_drop", "field_days"]]
    shown = own.merge(known.astype({"month": "int64", "field_drop": "float64"}), on="month", how="left")
    return shown.assign(words=[_words(row.night_drop, row.field_drop) for row in shown.itertuples()])[list(SHOWN)]


def _words(own: float, field: float) -> str:
    if field != field:
        return "the field's is not known"
    apart = round(own - field, 1)
    if apart == 0:
        return "as in the field"
    return f"{number(abs(apart))}{NBSP}°C {'more' if apart > 0 else 'less'} than in the field"


def rows_of(shown: pd.DataFrame) -> list[dict[str, str]]:
    """Lines of the page's table."""

    def degrees(value: float) -> str:
        return "not known" if value != value else f"{number(round(value, 1))}{NBSP}°C"

    return [
        {
            "month": MONTH_NAMES[row.month - 1],
            "own": f"{degrees(row.night_drop)} ({row.n_nights} night{'' if row.n_nights == 1 else 's'})",
            "field": degrees(row.field_drop),
            "words": row.words,
        }
        for row in shown.itertuples()
    ]
