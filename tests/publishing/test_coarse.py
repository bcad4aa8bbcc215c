"""What is published is rounded to what its use needs."""

from __future__ import annotations

import pandas as pd
import pytest

from pipeline.publishing.coarse import AS_IT_IS, alone, coarsened, public_steps
from schemas.public import public_fields


@pytest.mark.parametrize("table", ["visits", "finds", "availability"])
def test_every_published_quantity_has_a_step(table: str):
    quantities = {name for name, field in public_fields(table).items() if field.kind in ("real", "whole")}
    assert quantities <= set(public_steps()) | set(AS_IT_IS)


def frame(table: str, **values) -> pd.DataFrame:
    rows = max(len(each) for each in values.values())
    columns = {name: values.get(name, [None] * rows) for name in public_fields(table)}
    return pd.DataFrame(columns).astype(
        {name: "float64" for name, field in public_fields(table).items() if field.kind in ("real", "whole")}
    )


@pytest.mark.parametrize(
    ("name", "written", "told"),
    [
        ("water_temp_c", [11.6, 11.75, -0.25, 12.24, None], [11.5, 12.0, 0.0, 12.0, None]),
        ("search_minutes", [1, 7, 7.5, 0], [5, 5, 10, 0]),
        ("rh_pct", [97.5, 92.4], [100, 90]),
        ("ph", [6.31], [6.4]),
    ],
)
def test_values_go_to_the_nearest_step_and_a_little_is_not_nothing(name: str, written: list, told: list):
    found = coarsened("visits", frame("visits", **{name: written}))[name]
    assert [None if pd.isna(one) else one for one in found] == pytest.approx(told)


def test_counts_of_animals_stay():
    assert coarsened("finds", frame("finds", count=[1, 3, 17]))["count"].tolist() == [1, 3, 17]


def test_visits_alike_are_not_alone():
    visits = frame("visits", water_temp_c=[11.5, 11.5, 12.0]).assign(event_id=["a", "b", "c"])
    assert alone({"visits": visits}) == (1, 3)
