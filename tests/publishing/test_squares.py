"""Published finds by grid square: the few are merged."""

from __future__ import annotations

import pandas as pd
from public_cases import find, published, rows, site, visit

from pipeline.publishing.squares import squares


def test_few_finds_are_merged():
    """5 finds stand alone; fewer go together over the months; where that is still fewer, words stand for the number."""
    days = {"V1": "2024-06-01", "V2": "2024-07-01", "V3": "2024-08-01"}
    finds = (
        [find(f"A{n}", "V1", count=2) for n in range(5)] + [find(f"B{n}", "V2") for n in range(3)] + [find(f"C{n}", "V3") for n in range(4)]
    )
    finds += [find("L1", "V1", stage="larva")]
    tables, _ = published(rows([site("S1")], [visit(name, "S1", visit_date=day) for name, day in days.items()], finds))
    table = squares(tables)[["life_stage", "month_of_year", "n_finds", "n_animals", "n_visits", "few"]].astype(object)
    found = [tuple(None if pd.isna(value) else value for value in row) for row in table.itertuples(index=False)]
    assert found == [
        ("larva", None, None, None, None, "fewer than 5"),
        ("adult", 6, 5, 10, 1, None),
        ("adult", None, 7, 7, 2, None),
    ]
