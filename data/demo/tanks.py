"""Make the four invented enclosures of the study: `python data/demo/tanks.py [FOLDER]` from the top of the repository writes their sheets.

T1 is well kept; T2 had a failed chiller in a warm July week; the sensor of T3 died; the larvae of T4 metamorphosed. All of it is invented.
"""

from __future__ import annotations

import csv
import io
import sys
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

HERE = Path(__file__).resolve().parent
SEED = 20252
FIRST, LAST = datetime(2025, 6, 20), datetime(2025, 8, 2)
STEP = timedelta(minutes=30)
FAILED, MENDED = datetime(2025, 7, 12, 14), datetime(2025, 7, 19, 9)
DIED = datetime(2025, 7, 21, 6)
METAMORPHOSED = date(2025, 7, 10)
ENCLOSURES = (
    ("enclosure_id", "taxon", "population", "life_stage", "medium", "since", "volume_l"),
    ("T1", "EWIL", "N-high", "larva", "water", "2025-03-01", "40"),
    ("T2", "DMON", "N-high", "larva", "water", "2025-03-01", "60"),
    ("T3", "GPOR", "N-high", "larva", "water", "2025-03-01", "90"),
    ("T4", "EWIL", "", "larva", "water", "2025-03-01", "30"),
)
LOGGERS = (
    ("logger_id", "enclosure_id", "medium", "position", "accuracy_c"),
    *((f"tank_{number}", f"T{number}", "water", "beside the outlet", "0.3") for number in range(1, 5)),
)
# What each chiller holds, °C, before July and in July: inside the bands of the invented study.
HELD = {"tank_1": (13.0, 13.4), "tank_2": (12.6, 13.2), "tank_3": (13.0, 13.4), "tank_4": (12.4, 12.4)}
TEST_FIELDS = (
    "test_id",
    "enclosure_id",
    "tested_on",
    "tested_at",
    "instrument",
    "water_temp_c",
    "ph",
    "total_ammonia_mg_l_n",
    "nitrite_mg_l_n",
    "nitrate_mg_l_n",
    "hardness_mg_l_caco3",
    "conductivity_us_cm",
    "conductivity_at_25c",
    "chlorine_mg_l",
)
EVENT_FIELDS = (
    "event_id",
    "enclosure_id",
    "event_date",
    "event_time",
    "event",
    "animal_id",
    "life_stage",
    "what",
    "amount",
    "mass_g",
    "svl_mm",
    "water_changed_pct",
    "water_from",
    "done_by",
)


def readings(rng: np.random.RandomState, logger: str) -> list[tuple[datetime, float]]:
    """Readings of one logger, UTC, °C: a chiller that swings by a few tenths, and what went wrong."""
    before, july = HELD[logger]
    made: list[tuple[datetime, float]] = []
    at, value = FIRST, before
    while at < LAST:
        local = at - timedelta(hours=4)
        held = before if local < datetime(2025, 7, 1) else july
        room = 21.5 + 2.5 * np.cos(2 * np.pi * (local.hour + local.minute / 60 - 16) / 24)
        if logger == "tank_2" and FAILED <= local < MENDED:
            value += (room - 1.5 - value) * 0.05
        else:
            value += (held - value) * 0.12
        shown = value + 0.25 * np.sin(2 * np.pi * (local.hour * 60 + local.minute) / 150) + rng.normal(0, 0.05)
        if logger == "tank_3" and local >= DIED:
            shown = made[-1][1]
        made.append((at, round(float(shown), 2)))
        at += STEP
    return made


def water_tests(rng: np.random.RandomState) -> list[tuple[str, ...]]:
    """A test a week in each enclosure."""
    rows = [TEST_FIELDS]
    for tank in range(1, 5):
        for week in range(6):
            day = (FIRST + timedelta(days=2 + 7 * week)).date()
            ammonia, nitrite = ("0.1", "0.02") if (tank, week) == (2, 4) else ("0", "0")
            rows.append(
                (
                    f"W{tank}{week + 1}",
                    f"T{tank}",
                    day.isoformat(),
                    "18:30",
                    "drop kit",
                    "13.0",
                    f"{6.9 + rng.choice([-0.1, 0, 0.1]):.1f}",
                    ammonia,
                    nitrite,
                    f"{rng.choice([0.5, 1.0])}",
                    "35",
                    f"{rng.randint(60, 90)}",
                    "yes",
                    "0",
                )
            )
    return rows


def events(rng: np.random.RandomState) -> list[tuple[str, ...]]:
    """The keeper's log."""
    rows: list[dict[str, Any]] = []
    for tank in range(1, 5):
        for step in range(0, 42, 3):
            day = (FIRST + timedelta(days=step)).date()
            event = "refused" if tank == 2 and date(2025, 7, 13) <= day <= date(2025, 7, 19) else "fed"
            rows.append({"tank": tank, "event_date": day, "event": event, "what": "small worms", "amount": "4 pieces"})
        for step in (3, 17, 31):
            day = (FIRST + timedelta(days=step)).date()
            changed = {"water_changed_pct": "20", "water_from": "tap and reverse osmosis, mixed and aged"}
            rows.append({"tank": tank, "event_date": day, "event": "water_changed", **changed})
        for step, grown in ((1, 0.0), (29, 0.6)):
            day = (FIRST + timedelta(days=step)).date()
            size = {"mass_g": f"{0.35 + 0.05 * tank + 0.04 * grown:.2f}", "svl_mm": f"{24 + 2 * tank + grown + rng.choice([0, 0.5]):.1f}"}
            rows.append({"tank": tank, "event_date": day, "event": "weighed", "animal_id": f"K{tank}", **size})
        rows.append({"tank": tank, "event_date": date(2025, 6, 22), "event": "filter_cleaned"})
        rows.append({"tank": tank, "event_date": date(2025, 6, 21), "event": "sensor_checked", "what": "ice bath, 0.1 °C high"})
    rows.append({"tank": 4, "event_date": METAMORPHOSED, "event": "metamorphosed", "what": "gills gone"})
    rows.sort(key=lambda row: (row["tank"], row["event_date"]))
    named = [
        {**row, "event_id": f"H{place:03d}", "enclosure_id": f"T{row['tank']}", "done_by": "keeper 1"} for place, row in enumerate(rows, 1)
    ]
    return [EVENT_FIELDS, *(tuple(str(row.get(name, "")) for name in EVENT_FIELDS) for row in named)]


def as_csv(rows: Any) -> str:
    """Rows as CSV text."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


def generate() -> dict[str, str]:
    """Text of every file by its name."""
    rng = np.random.RandomState(SEED)
    files = {
        f"{logger}.csv": as_csv(
            [("Date Time, UTC", "Temp, °C"), *((f"{at:%Y-%m-%d %H:%M:%S}", value) for at, value in readings(rng, logger))]
        )
        for logger in HELD
    }
    tables = {"enclosures": ENCLOSURES, "loggers": LOGGERS, "water_tests": water_tests(rng), "husbandry_events": events(rng)}
    return {**{f"{name}.csv": as_csv(rows) for name, rows in tables.items()}, **files}


def main() -> None:
    """Write the files into the folder named on the command line, or into ``tank_sheets`` beside this script."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE / "tank_sheets"
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in generate().items():
        (folder / name).write_bytes(text.encode("utf-8"))


if __name__ == "__main__":
    main()
