"""The table beside the map."""

from __future__ import annotations

import pandas as pd
from map_books import (
    SETTINGS,
    crowd,
    known_of,
)

from pipeline.maps import figures_table
from pipeline.maps.frames import exact_cells, map_figures


def test_a_large_book_has_a_shorter_table():
    cells = exact_cells(known_of(crowd()), SETTINGS.taxa)
    rows, said = figures_table.table_rows(cells, True)
    assert said == "" and len(rows) == len(cells)
    many = pd.concat([cells] * 20, ignore_index=True)
    rows, said = figures_table.table_rows(many, True)
    assert len(rows) <= int(map_figures()["table_rows_most"]) < len(many) and "leaves out months" in said
    assert rows["n_animals"].sum() == many["n_animals"].sum()
    assert figures_table.table(rows, True).count("<tr>") == len(rows) + 1
