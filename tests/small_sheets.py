"""Three small sheets in a book of their own, and what a test asks of them."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.book.connection import FILE_NAME, open_book
from pipeline.book.current import current_rows
from pipeline.commands import run

ROOT = Path(__file__).resolve().parents[1]
CASES = ROOT / "tests" / "cases"
TODAY = date(2026, 1, 1)
SITES = "site_id,habitat\nS1,stream\n"
VISITS = (
    "visit_id,site_id,visit_date,start_time,protocol,search_minutes,water_temp_c\n"
    "V1,S1,2023-06-10,20:00,visual_encounter,60,12.5\nV2,S1,2023-06-24,20:00,visual_encounter,60,13\n"
)
FINDS = (
    "find_id,visit_id,taxon,life_stage,count,microhabitat,water_temp_c\n"
    "F1,V1,GPOR,adult,1,rock_in_flow,12.6\nF2,V1,GPOR,larva,1,rock_in_flow,12.4\n"
)


def sheets(folder: Path, **texts: str) -> list[Path]:
    paths = []
    for name, text in texts.items():
        paths.append(folder.parent / f"{name}.csv")
        paths[-1].write_text(text, encoding="utf-8")
    return paths


# The book after a first load, by settings and sheets: many tests begin with the same one.
_first_loads: dict[tuple[str, ...], tuple[bytes, run.Report]] = {}


def load(folder: Path, paths: list[Path] | None = None, **words: Any) -> run.Report:
    """Load sheets, the three if none are given; the same first load into a new book is done once and copied."""
    if paths is None:
        paths = sheets(folder, sites=SITES, visits=VISITS, finds=FINDS)
    database = folder / FILE_NAME
    if words or database.exists():
        return run.load_files(folder, paths, today=TODAY, **words)
    settings = folder / "rillbook.toml"
    known = (settings.read_text(), *(part for path in paths for part in (path.name, path.read_text(encoding="utf-8"))))
    if known in _first_loads:
        database.write_bytes(_first_loads[known][0])
        return _first_loads[known][1]
    report = run.load_files(folder, paths, today=TODAY)
    if database.is_file():
        _first_loads[known] = database.read_bytes(), report
    return report


def now(folder: Path, table: str) -> pd.DataFrame:
    with open_book(folder) as connection:
        return current_rows(connection, table)


def ids(folder: Path) -> dict[str, list[str]]:
    return {table: now(folder, table).iloc[:, 0].tolist() for table in ("sites", "visits", "finds")}


def state(folder: Path) -> dict[str, list[tuple[object, ...]]]:
    names = (
        "loads",
        "sites_all",
        "visits_all",
        "finds_all",
        "availability_all",
        "held_all",
        "held_rows",
        "flags_all",
        "corrections",
        "source_rows",
        "rests",
    )
    with open_book(folder) as connection:
        return {name: connection.execute(f"SELECT * FROM {name} ORDER BY ALL").fetchall() for name in names}


def answer(folder: Path, answers: dict[str, dict[str, str]], name: str = "held.csv", by: str = "AB") -> Path:
    """Write the list of held items; fill in the answers, given by row or row.field."""
    path = folder.parent / name
    path.unlink(missing_ok=True)
    run.write_held(folder, path)
    frame = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")
    for place, words in answers.items():
        row, _, field = place.partition(".")
        hit = (frame["row"] == row) & ((frame["field"] == field) | (field == ""))
        assert hit.any(), f"{place} is not held: {frame[['row', 'field']].to_numpy().tolist()}"
        frame.loc[hit, list(words)] = list(words.values())
        frame.loc[hit, "by"] = by
    frame.to_csv(path, index=False)
    return path


BAD_FINDS = FINDS.replace("12.6", "55.2")
