"""What a book says to others beside its publication: cards, care sheets, tables of targets and the gap list."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date
from pathlib import Path

import pandas as pd

from pipeline.commands import run
from pipeline.publishing.memory import Memory, remember
from pipeline.publishing.site_squares import BookRows

TODAY = date(2030, 1, 1)


def book_of(folder: Path, rows: BookRows, settings: str, memory: Memory) -> Path:
    """A book of these rows that remembers its publications; every row is accepted."""
    run.init(folder, settings)
    paths = []
    for table in ("sites", "visits", "finds", "availability"):
        frame = getattr(rows, table).drop(columns="incomplete", errors="ignore").dropna(axis="columns", how="all")
        if len(frame):
            paths.append(folder / f"{table}.csv")
            frame.astype("object").to_csv(paths[-1], index=False, date_format="%Y-%m-%d")
    report = run.load_files(folder, paths, today=TODAY)
    assert report.held.empty, report.held.iloc[0].to_dict()
    remember(folder, memory, memory.sites, memory.visits)
    return folder


def said_to_others(folder: Path, *, pages: bool = True, gap_list: bool = True) -> dict[str, str]:
    """Text of every file to share that `rillbook targets`, if asked with its pages, and `rillbook gaps` write, by its name."""
    derived = run.derive_targets(folder)
    if pages:
        run.write_cards(folder, derived)
        run.write_care_sheets(folder, derived)
    if gap_list:
        run.write_gaps(folder, TODAY, derived=derived)
    return {path.name: path.read_text(encoding="utf-8") for path in sorted((folder / "out").glob("*.*"))}


def without(rows: BookRows, sites: Collection[str]) -> BookRows:
    """The rows as if these sites had never been written down."""
    left = rows.sites[~rows.sites["site_id"].isin(sites)]
    visits = rows.visits[rows.visits["site_id"].isin(left["site_id"])]
    finds, points = (frame[frame["visit_id"].isin(visits["visit_id"])] for frame in (rows.finds, rows.availability))
    return BookRows(left, visits, finds, points, rows.unsettled)


def figures(text: str) -> pd.DataFrame:
    """A table as text, by the columns that say what a row is of."""
    import io

    frame = pd.read_csv(io.StringIO(text), dtype="str", keep_default_na=False)
    return frame.set_index([name for name in ("taxon", "population", "life_stage", "medium", "month") if name in frame])
