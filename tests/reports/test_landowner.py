"""The page for a landowner: readings in doubt are left out and counted, in words and degrees of the place."""

from __future__ import annotations

import pandas as pd

from pipeline.reports import landowner as landowner_report


def test_water_stands_beside_its_benchmark() -> None:
    """Of pH 6.1, 6.5, 7.0 and 9.1 one lies below 6.5 and one above 9.0 (EPA 440/5-86-001), of 290 and 310 µS/cm one above 300."""
    visits = pd.DataFrame({
        "ph": [6.1, 6.5, 7.0, 9.1], "conductivity_25_us_cm": [290, 310, None, None], "water_temp_c": [9.0, 12.0, 11.0, None],
        "dissolved_oxygen_mg_l": [None] * 4, "oxygen_pct": [None] * 4,
    })  # fmt: skip
    rows = {row["title"]: row for row in landowner_report.water_rows(visits)}
    ph = rows["Acidity (pH)"]
    assert (ph["n"], ph["span"], ph["benchmark"], ph["words"]) == (
        "4",
        "6.1 to 9.1, middle 6.5",
        "not below 6.5, not above 9",
        "1 of 4 below it, 1 of 4 above it",
    )
    salts = rows["Dissolved salts (conductivity at 25 °C)"]
    assert salts["words"] == "1 of 2 above it" and salts["benchmark"] == "not above 300 µS/cm"
    assert rows["Water temperature"]["benchmark"] == landowner_report.NO_BENCHMARK
    # 9, 11 and 12 °C are 48.2, 51.8 and 53.6 °F
    assert rows["Water temperature"]["span"] == "48 to 54, middle 52 °F"
    assert rows["Oxygen in the water"]["span"] == "not measured"
