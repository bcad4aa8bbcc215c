"""What all frames between rooms have in common: how a column is declared, and how rows become a frame that is checked."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any, get_type_hints

import pandas as pd

from schemas.fields import Text
from schemas.pandera_alone import Series, pa, pandas_engine

Count = Series[int]
Flag = Series[bool]

# Meanings that several frames share.
MEANINGS = {
    "taxon": "taxon code of the book",
    "population": "population of the site, empty where the book sets none",
    "life_stage": "stage",
    "medium": "water, edge, land or surface",
    "month": "1 to 12",
    "n_readings": "readings, each counted once",
    "n_animals": "animals that share them",
    "n_visits": "visits with a reading",
    "n_dates": "dates with a reading",
    "n_sites": "sites with a reading; in what is shared, the least number of their class (1, 3, 6, 11, 21, 51)",
    "n_years": "years with a reading",
    "site": "waterbody where filled, else site_id",
    "reason": "why refused, or what limits the row",
    "night_share": "share of readings between sunset and sunrise",
    "run": "number of the run of months, 1 or more",
    "months": "months with a reading, in words",
    "medium_assumed_share": "share of readings whose medium was set by a column map",
    "n_wettest_assumed": "readings with a wet bulb whose instrument or elevation was not noted, taken as wet as they can be",
    "temp_low": "lowest air temperature at which a humidity was read, °C",
    "temp_high": "highest air temperature at which a humidity was read, °C",
    "formula": "formula of saturation vapour pressure",
    "season": "warm, cold or other months",
    "p50": "median, weighted",
    "date": "the visit's date",
    "year": "year of the date",
    "quantity": "ph, conductivity, oxygen or saturation",
    "height_or_depth_cm": "where the logger hung; missing where not noted",
    "from_month": "month of the first day",
    "from_day": "first day, as day of its month",
    "to_month": "month of the last day",
    "to_day": "last day, as day of its month",
    "n_days": "days with a schedule",
    "table": "table of the row",
    "row_key": "key of the row, as far as it could be read",
    "source": "number of the sheet in its load, from 0",
    "row": "row of the sheet, from 0",
    "line": "line of the file",
}


class Frame(pa.DataFrameModel):
    """A frame with these columns, in this order, and no others."""

    class Config:
        """Nothing is cast in silence."""

        strict = True
        ordered = True


def said(name: str, meaning: str = "", **checks: Any) -> Any:
    """Declare a column that has a value in every row; its meaning is that of ``MEANINGS`` where none is given."""
    return pa.Field(description=meaning or MEANINGS[name], **checks)


def maybe(name: str, meaning: str = "", **checks: Any) -> Any:
    """Declare a column that may be missing in a row."""
    return said(name, meaning, nullable=True, **checks)


class Stage(Frame):
    """A frame whose rows speak of one stage of a taxon in a population."""

    taxon: Text = said("taxon")
    population: Text = said("population")
    life_stage: Text = said("life_stage")


class MediumOfStage(Stage):
    """A frame whose rows speak of one stage in one medium."""

    medium: Text = said("medium")


def columns_of(model: type[pa.DataFrameModel]) -> dict[str, str]:
    """Names of a frame's columns, in order, with their meanings."""
    return {name: column.description or "" for name, column in model.to_schema().columns.items()}


def names_of(model: type[pa.DataFrameModel], kind: Any) -> tuple[str, ...]:
    """Names of a frame's columns that were declared as one kind, such as ``Text``; in order."""
    declared = get_type_hints(model)
    return tuple(name for name in columns_of(model) if declared[name] == kind)


def types_of(model: type[pa.DataFrameModel]) -> dict[str, Any]:
    """Types of a frame's columns by name, as pandas takes them."""
    types = {name: column.dtype.type for name, column in model.to_schema().columns.items()}
    # pandera names days in nanoseconds and takes any; the book counts microseconds
    return {name: "datetime64[us]" if str(kind).startswith("datetime64") else kind for name, kind in types.items()}


def framed(model: type[pa.DataFrameModel], rows: pd.DataFrame | Iterable[Mapping[str, Any]]) -> pd.DataFrame:
    """Make rows a frame of a model: its columns, in its order and types, checked.

    Parameters
    ----------
    model : DataFrameModel
        One of the models of `schemas`.
    rows : DataFrame or iterable of mapping
        Rows; columns that the model has not are left out.

    Raises
    ------
    pandera.errors.SchemaError
        A column is missing, or a value is none that the model takes.
    """
    columns = model.to_schema().columns
    given = rows if isinstance(rows, pd.DataFrame) else pd.DataFrame(list(rows), columns=list(columns))
    names = [name for name, column in columns.items() if column.required or name in given]
    types = types_of(model)
    return entering(model, given[names].astype({name: types[name] for name in names}))


def entering(model: type[pa.DataFrameModel], frame: pd.DataFrame) -> pd.DataFrame:
    """Return a frame if it is of a model; for the door of a room.

    Names, types and missing values are compared here, in a hundredth of the time; whatever else a model asks, and every fault, is
    pandera's to tell.

    Parameters
    ----------
    model : DataFrameModel
        One of the models of `schemas`.
    frame : DataFrame
        What comes in.

    Raises
    ------
    pandera.errors.SchemaError, pandera.errors.SchemaErrors
        The frame is not of the model; the second where columns are too many or out of order.
    """
    return frame if _plainly(model, frame) else model.validate(frame)


def _plainly(model: type[pa.DataFrameModel], frame: pd.DataFrame) -> bool:
    """Whether a frame is of a model that asks for no more than names, types and values that are not missing."""
    schema = model.to_schema()
    if schema.checks or schema.unique or schema.index is not None or list(frame.columns) != list(schema.columns):
        return False
    return all(
        not (column.checks or column.unique or column.coerce)
        and is_of(column.dtype, frame[name].dtype)
        and (column.nullable or not frame[name].hasnans)
        for name, column in schema.columns.items()
    )


@cache
def is_of(declared: Any, found: Any) -> bool:
    """Whether pandera takes a column's type for the declared one."""
    return bool(declared.check(pandas_engine.Engine.dtype(found)))
