"""What the audit's page is made of: the band of the last day, whether the ceiling was reached, water rows, and text that stays text."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from tanks.tank_book import audited, steady

from pipeline.tanks.pages.page import at_ceiling, band_today, water_rows, write_audit_page

ABOUT = {"invented": True, "source": "Invented", "notes": []}


def test_the_band_is_in_both_units_rounded_to_the_safe_side() -> None:
    band = band_today(audited(steady("2025-07-01", "2025-07-08")))
    # 11 °C is 51.8 °F: up to 52; 14 °C is 57.2 °F: down to 57
    assert band["band"] == "11 to 14\u00a0°C" and band["band_f"] == "52 to 57\u00a0°F" and "16" in band["act"]
    assert set(band_today(audited(steady("2025-07-01", "2025-07-08"), medium="air")).values()) == {""}


@pytest.mark.parametrize(("value", "reached"), [(17.8, False), (18.2, True)])
def test_the_ceiling_is_reached_or_not(value: float, reached: bool) -> None:
    assert at_ceiling(audited(steady("2025-07-01", "2025-07-08", value).round(1))) is reached


def test_of_earlier_tests_only_what_was_not_fine_is_listed() -> None:
    fine = {"tested_on": pd.Timestamp("2025-07-02"), "ph": 7.0, "nitrite_mg_l_n": 0.0}
    bad = {"tested_on": pd.Timestamp("2025-07-01"), "ph": 7.0, "nitrite_mg_l_n": 50.0}
    found = audited(steady("2025-07-01", "2025-07-08"), tests=[bad, fine])
    rows = water_rows(found)
    earlier = [row["quantity"] for row in rows if str(row["tested"]).startswith("2025-07-01")]
    assert earlier == ["Nitrite"] and len(rows) > 2


def test_what_the_keeper_wrote_stays_text(tmp_path: Path) -> None:
    events = [{"event_date": pd.Timestamp("2025-07-02"), "event": "fed", "what": "<img src=x onerror=alert(1)>"}]
    found = audited(steady("2025-07-01", "2025-07-08"), events=events)
    text = write_audit_page(tmp_path / "a.html", found, "<b>Eurycea", ABOUT, []).read_text(encoding="utf-8")
    assert "<img" not in text and "<b>Eurycea" not in text and "&lt;img" in text
    assert text.index("What to do now") < text.index("Figures") and "Invented" in text
