"""The table beside the map."""

from __future__ import annotations

import dataclasses
import io

import pandas as pd
from map_books import (
    SETTINGS,
    crowd,
    known_of,
)

from pipeline.maps import figures_table
from pipeline.maps.frames import exact_cells, map_figures
from schemas.frames.maps import ExactCells


def test_a_large_book_has_a_shorter_table():
    cells = exact_cells(known_of(crowd()), SETTINGS.taxa)
    rows, said = figures_table.table_rows(cells, True)
    assert said == "" and len(rows) == len(cells)
    many = pd.concat([cells] * 20, ignore_index=True)
    rows, said = figures_table.table_rows(many, True)
    assert len(rows) <= int(map_figures()["table_rows_most"]) < len(many) and "leaves out months" in said
    assert rows["n_animals"].sum() == many["n_animals"].sum()
    assert figures_table.table(rows, True).count("<tr>") == len(rows) + 1


def test_all_figures_go_to_csv_and_none_runs_in_a_spreadsheet():
    settings = dataclasses.replace(SETTINGS, taxa=SETTINGS.taxa.assign(scientific_name="=1+1"))
    cells = exact_cells(known_of(crowd()), settings.taxa)
    read = pd.read_csv(io.StringIO(figures_table.as_csv(cells)), keep_default_na=False)
    assert len(read) == len(cells) and read["n_animals"].sum() == cells["n_animals"].sum() and "temp_median_c" in read
    assert set(read["taxon"]) <= {"", "'=1+1"}


def test_the_csv_has_every_column_and_writes_a_year_as_a_year():
    cells = exact_cells(known_of(crowd(trick=False)), SETTINGS.taxa).assign(site_name=None, temp_median_c=14.399999999999999)
    read = pd.read_csv(io.StringIO(figures_table.as_csv(cells)), dtype="str", keep_default_na=False)
    assert list(read) == list(ExactCells.to_schema().columns)
    assert (
        read["year_from"].str.fullmatch(r"20\d\d").all() and read["n_finds"].str.isdigit().all() and set(read["temp_median_c"]) == {"14.4"}
    )


def test_temperatures_are_told_in_both_degrees():
    # 100 °F is 37.8 °C and −40 is the same in both: the definition of the degree Fahrenheit
    assert figures_table.both_scales(37.8) == "37.8 °C (100 °F)" and figures_table.both_scales(-40.0) == "-40.0 °C (-40 °F)"
