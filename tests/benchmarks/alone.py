"""Share of published visits that are like no other: `RILLBOOK_OPEN_DATA=FOLDER python tests/benchmarks/alone.py` prints it for real sheets.

A visit that is alone in all that is published of it can be tied to the same visit in a second publication, whatever its codes are.
Columns: the sheet, its published visits, the share that no other equals as it is published, and the share without any rounding.
"""

from __future__ import annotations

import os
import sys
import tempfile
from datetime import date
from pathlib import Path
from unittest.mock import patch

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from pipeline.commands import run  # noqa: E402
from pipeline.publishing import protect  # noqa: E402
from pipeline.publishing.coarse import alone  # noqa: E402
from pipeline.publishing.public_book import public_book  # noqa: E402
from pipeline.settings import read_settings  # noqa: E402

SHEETS = {
    "ncr_lotic_2005_2017": ("NCRlotic_all.csv",),
    "canaan_valley_2001_2006": ("CVNWR_locations_intersected.csv", "CVNWR_transects.csv"),
    "gsmnp_2012": ("Salamander Data.csv",),
}


def shares(name: str, files: tuple[str, ...], folder: Path) -> tuple[int, float, float]:
    """Published visits of a sheet, and the shares of them that are alone, rounded and not."""
    column_map, place = ROOT / "data" / "column_maps" / f"{name}.toml", Path(os.environ["RILLBOOK_OPEN_DATA"]) / name
    run.init(folder, column_map.with_suffix(".book.toml").read_text(encoding="utf-8"))
    paths = [place / file for file in files]
    run.load_files(folder, paths, map_path=column_map, today=date(2024, 1, 1))
    settings = read_settings(folder)
    rounded, n = alone(public_book(folder, settings).tables)
    with patch.object(protect, "coarsened", lambda table, frame: frame):
        exact, _ = alone(public_book(folder, settings).tables)
    return n, rounded / n if n else 0.0, exact / n if n else 0.0


if __name__ == "__main__":
    for sheet, names in SHEETS.items():
        with tempfile.TemporaryDirectory() as made:
            visits, told, exact = shares(sheet, names, Path(made) / "book")
        print(f"| {sheet} | {visits:,} | {told:.1%} | {exact:.1%} |")
