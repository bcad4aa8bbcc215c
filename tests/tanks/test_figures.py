"""Figures of a sensor on a course that can be reckoned by hand: a triangle over the act line."""

from __future__ import annotations

import pandas as pd
import pytest
from tanks.tank_book import audited

from pipeline.tanks.figures import day_table, figure_rows, sensor_figures, spell_table


def triangle() -> pd.Series:
    """12 °C, once up to 18 °C in two hours and down again: above 16 °C for 1 h 20 min, a triangle of 2 °C."""
    at = pd.date_range("2025-07-01", "2025-07-03", freq="2h", inclusive="left")
    return pd.Series([18.0 if one == pd.Timestamp("2025-07-01 12:00") else 12.0 for one in at], index=at)


def test_hours_and_degree_hours_are_those_of_the_triangle() -> None:
    found = audited(triangle(), end="2025-07-03")
    figures = sensor_figures(found.sensors[0], found.stretch)
    assert figures["act_line_h"] == pytest.approx(4 / 3) and figures["act_line_dh"] == pytest.approx(4 / 3 * 2 / 2)
    assert figures["ceiling_h"] == 0 and figures["highest"] == 18 and figures["n_readings"] == 24
    # 12 °C over 24 h, and the triangle of 6 °C over 4 h on top of it
    assert found.sensors[0].days["mean"].iloc[0] == pytest.approx(12 + 6 * 4 / 2 / 24)
    assert figures["longest_h"] == pytest.approx(4 / 3) and figures["days_in_band"] == figures["days_known"] == 2
    words = dict(figure_rows(found.sensors[0], found.stretch))
    assert words["Above the act line"].startswith("1.3\u00a0h") and words["Above the ceiling"] == "never"


def test_tables_hold_each_day_and_each_spell_and_nothing_of_an_enclosure_without_a_sensor() -> None:
    found = audited(triangle(), end="2025-07-03")
    assert len(day_table(found)) == 2 and day_table(found)["enclosure_id"].eq("T1").all()
    assert "above the act line" in set(spell_table(found)["why"])
    silent = audited(None)
    assert sensor_figures(silent.sensors[0], silent.stretch)["lowest"] is None and len(figure_rows(silent.sensors[0], silent.stretch)) == 1
