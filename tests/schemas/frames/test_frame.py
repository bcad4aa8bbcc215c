"""How rows become a frame of a model, and that every model says what its columns mean."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd
import pandera.errors
import pandera.pandas as pa
import pytest

from schemas.frames import air_and_water as air_and_water_frames
from schemas.frames import checks as check_frames
from schemas.frames import field as field_frames
from schemas.frames import ledger as ledger_frames
from schemas.frames import maps as map_frames
from schemas.frames import reports as report_frames
from schemas.frames import summaries as summary_frames
from schemas.frames.air_and_water import WaterReadings, Wetness
from schemas.frames.frame import Count, Frame, columns_of, entering, framed, types_of

MODELS = [
    model
    for module in (air_and_water_frames, check_frames, field_frames, ledger_frames, map_frames, report_frames, summary_frames)
    for model in vars(module).values()
    if isinstance(model, type) and issubclass(model, Frame) and model.__module__ == module.__name__
]
ROW = {"taxon": "EWIL", "population": "", "life_stage": "larva", "wetness": "moist", "n_finds": 2}


def test_rows_get_the_columns_order_and_types_of_the_model() -> None:
    frame = framed(Wetness, [{"n_finds": 2, "more": 1, **ROW}])
    assert list(frame.columns) == list(columns_of(Wetness)) and frame["n_finds"].dtype == "int64" and frame["taxon"].dtype == "str"


@pytest.mark.parametrize("model", MODELS)
def test_no_rows_are_a_frame_too(model: type[Frame]) -> None:
    frame = framed(model, [])
    assert frame.empty and {name: str(kind) for name, kind in frame.dtypes.items()} == {
        name: str(pd.Series([], dtype=kind).dtype) for name, kind in types_of(model).items()
    }


@pytest.mark.parametrize("model", MODELS)
def test_every_column_says_what_it_means(model: type[Frame]) -> None:
    assert all(columns_of(model).values())


@pytest.mark.parametrize("wrong", [{"wetness": None}, {"n_finds": "two"}])
def test_a_row_that_does_not_fit_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises((pandera.errors.SchemaError, ValueError)):
        framed(Wetness, [{**ROW, **wrong}])


def test_days_stay_in_the_books_unit() -> None:
    assert framed(WaterReadings, [])["date"].dtype == "datetime64[us]"


def test_a_missing_column_is_refused() -> None:
    with pytest.raises(KeyError, match="quantity"):
        framed(WaterReadings, pd.DataFrame({"taxon": ["EWIL"]}))


@pytest.mark.parametrize(
    "change",
    [
        lambda frame: frame.assign(wetness=None),
        lambda frame: frame.assign(n_finds=2.0),
        lambda frame: frame.assign(more=1),
        lambda frame: frame.drop(columns="taxon"),
        lambda frame: frame[list(frame.columns[::-1])],
    ],
)
def test_the_door_lets_a_frame_in_as_it_is_and_no_other(change: Callable[[pd.DataFrame], pd.DataFrame]) -> None:
    frame = framed(Wetness, [ROW])
    assert entering(Wetness, frame) is frame
    with pytest.raises((pandera.errors.SchemaError, pandera.errors.SchemaErrors)):
        entering(Wetness, change(frame))


def test_the_door_asks_for_more_than_types_where_a_model_does() -> None:
    class Bounded(Frame):
        n: Count = pa.Field(ge=1)

    assert len(entering(Bounded, pd.DataFrame({"n": [1, 2]}))) == 2
    with pytest.raises(pandera.errors.SchemaError, match="greater_than_or_equal_to"):
        entering(Bounded, pd.DataFrame({"n": [0, 2]}))
