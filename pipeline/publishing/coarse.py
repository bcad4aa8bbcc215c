"""Published quantities are no finer than their use needs: thirteen exact numbers of a visit are as good as its name."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import cache

import numpy as np
import pandas as pd

from pipeline.settings import data_file
from schemas.public import public_fields

AS_IT_IS = ("latitude", "longitude", "coordinate_uncertainty_m", "observer_count", "pass_no", "count")
"""Quantities that are coarse already, or counts of few."""


@cache
def public_steps() -> dict[str, float]:
    """Step of each published quantity by field, in the field's unit; judgements of data/reference/public_steps.csv."""
    text = data_file("reference/public_steps.csv").read_text(encoding="utf-8")
    return {row["field"]: float(row["step"]) for row in csv.DictReader(text.splitlines())}


def coarsened(table: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Round the quantities of a public table to whole steps; what is more than nothing stays at least one step.

    Parameters
    ----------
    table : str
        One of `schemas.public.PUBLIC_TABLES`.
    frame : DataFrame
        Its rows.

    Returns
    -------
    DataFrame

    Raises
    ------
    KeyError
        A quantity has no step: nobody has thought about how finely it may be told.
    """
    names = [name for name, field in public_fields(table).items() if field.kind in ("real", "whole") and name not in AS_IT_IS]
    steps = np.array([public_steps()[name] for name in names])
    given = frame[names].astype("float64").to_numpy()
    # half a step goes up, whatever the parity; the last digits are those of the step
    whole = np.floor(given / steps + 0.5 + 1e-9)
    told = (np.where((given > 0) & (whole == 0), 1, whole) * steps).round(10)
    return frame.assign(
        **{name: pd.Series(told[:, place], index=frame.index).astype(frame[name].dtype) for place, name in enumerate(names)}
    )


def alone(tables: Mapping[str, pd.DataFrame]) -> tuple[int, int]:
    """Published visits that no other one equals in all that is said of them, and how many visits there are.

    Whoever has a second publication of the same visits could tie these to theirs.
    """
    visits = tables["visits"].drop(columns="event_id").astype("str")
    return int((~visits.duplicated(keep=False)).sum()), len(visits)
