"""Humidity in the words of a page."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from real_data_tables import Loaded
from small_book import FIND, SITE, TOML, VISIT
from small_book import book as small_book

from pipeline.book.connection import open_book
from pipeline.formulas.moist_air import vapour_pressure_deficit_kpa
from pipeline.settings import Settings, parse_settings, read_settings
from pipeline.targets import humidity as own
from pipeline.targets import humidity_words
from pipeline.targets.humidity_evidence import humidity_readings, wetness_noted
from schemas.air_and_water_frames import HUMIDITY_READING_COLUMNS, HUMIDITY_TABLE_COLUMNS, HUMIDITY_TARGET_COLUMNS

BOOK = parse_settings(TOML, "test")
REPLICATES = 120


# --- which humidity belongs to a find --------------------------------------------------------------------------------------------------


def test_hand_tests_are_counted_under_cover_and_at_the_edge() -> None:
    rows = [
        {**FIND, "microhabitat": "under_log", "substrate_wetness": "moist"},
        {**FIND, "find_id": "F2", "microhabitat": "wet_rock", "substrate_wetness": "drips"},
        {**FIND, "find_id": "F3", "microhabitat": "on_surface", "substrate_wetness": "dry"},
        {**FIND, "find_id": "F4", "microhabitat": "under_log", "substrate_wetness": "dry", "condition": "dead"},
        {**FIND, "find_id": "F5", "microhabitat": "under_log"},
    ]
    noted = wetness_noted(small_book(sites=[SITE], visits=[VISIT], finds=rows), BOOK)
    assert dict(zip(noted["wetness"], noted["n_finds"], strict=True)) == {"drips": 1, "moist": 1}
    words = humidity_words.humidity_rows(None, own.humidity_figures(empty()), wetness=noted)
    assert words[1]["text"].startswith("drips 1, moist 1,")


# --- targets, by hand --------------------------------------------------------------------------------------------------------------------


def empty() -> pd.DataFrame:
    return humidity_readings(small_book(), BOOK)[0]


def study(temps: Any, humidities: Any, sites: int = 4, dates: int = 12, years: int = 1, **more: Any) -> pd.DataFrame:
    """Readings of every site on every date, of `temps` and `humidities` in turn."""
    rows = []
    for number in range(sites * dates):
        day = number // sites
        date = pd.Timestamp(2015 + day % years, 6 + day % 4, 1 + day)
        rows.append({"site": f"s{number % sites}", "date": date, "month": date.month, "year": date.year, "visit_id": f"V{number}"})
    frame = pd.DataFrame(rows)
    n = len(frame)
    temps, humidities = np.resize(np.asarray(temps, dtype=float), n), np.resize(np.asarray(humidities, dtype=float), n)
    frame = frame.assign(
        taxon="DFUS", population="", life_stage="adult", night=True, from_visit=False, medium_assumed=False, air_temp_c=temps,
        rh_pct=humidities, deficit_kpa=vapour_pressure_deficit_kpa(temps, humidities), by_wet_bulb=False, wettest_assumed=False, reason="",
        n_animals=1, n_finds=1,
    ).assign(**more)  # fmt: skip
    types = {"month": "Int64", "year": "Int64", "night": "boolean", "n_animals": "Int64", "n_finds": "Int64"}
    return frame.astype(types)[list(HUMIDITY_READING_COLUMNS)]


def derive(frame: pd.DataFrame) -> pd.DataFrame:
    made = own.humidity_targets(frame, BOOK.taxa, BOOK, replicates=REPLICATES)
    assert list(made.columns) == list(HUMIDITY_TARGET_COLUMNS)
    return made


def table(frame: pd.DataFrame) -> pd.Series[Any]:
    made = own.humidity_table(derive(frame))
    assert list(made.columns) == list(HUMIDITY_TABLE_COLUMNS)
    return made.set_index("temp_c")["least_rh"]


# --- for any readings --------------------------------------------------------------------------------------------------------------------


# --- words -------------------------------------------------------------------------------------------------------------------------------


def test_refuge_has_the_hand_test_and_no_figure() -> None:
    words = humidity_words.refuge_words()
    assert not any(letter.isdigit() for letter in words)
    for word in ("drips", "wet shine", "moist", "dry"):
        assert word in words


def test_page_says_nothing_beyond_what_it_allows() -> None:
    frame = study([8.2, 21.9], [85, 90])
    target = derive(frame).iloc[0].to_dict()
    rows = humidity_words.humidity_rows(target, own.humidity_figures(frame), ceiling=19.0, floor=10.0)
    degrees = [int(word) for row in rows if row["part"] == "table" for word in row["label"].split() if word.isdigit()]
    assert min(degrees) == 10 and max(degrees) == 19
    assert [row["part"] for row in rows][:2] == ["refuge", "open"] and rows[-1]["label"] == "formula"
    none = humidity_words.humidity_rows(target, own.humidity_figures(frame), ceiling=5.0)
    assert not [row for row in none if row["part"] == "table"]


def test_field_humidity_above_90_is_printed_as_a_span() -> None:
    figures = own.humidity_figures(study(15, [80, 85, 97], night=False))
    (found,) = [row["text"] for row in humidity_words.humidity_rows(None, figures) if row["part"] == "found"]
    assert "80 %, median 85 %, 90–100 %" in found and "97" not in found
    assert "0 % by night" in found and "By night only" not in found


# --- the night surveys -------------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def gsmnp(real_sheet: Callable[[str], Loaded]) -> tuple[pd.DataFrame, pd.DataFrame, Settings, Path]:
    """Readings and left-out finds of the sheet, loaded through its map."""
    loaded = real_sheet("gsmnp_2012")
    settings = read_settings(loaded.folder)
    with open_book(loaded.folder) as connection:
        return *humidity_readings(connection, settings), settings, loaded.files[0]
