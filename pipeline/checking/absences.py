"""Of which taxa a visit says nothing: absence is said, never inferred from silence."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from pipeline.checking.completing import alias_of
from pipeline.checking.outcome import NO_CANDIDATE, TableCheck
from pipeline.reading.rows import MappedSource
from pipeline.settings import Settings
from schemas.frames.checks import UNCOUNTED_COLUMNS, Uncounted
from schemas.frames.frame import framed

HELD, NOT_COUNTED, TWO_STATEMENTS, TOTAL = "held back", "not counted", "two statements", "the total says otherwise"
ANY = ""
"""Stands for every taxon, or for every visit of a load."""
KEY_PARTS = ("site_id", "visit_date", "start_time")
STATEMENTS = ("target_taxa", "all_counted")


def uncounted(
    sources: list[MappedSource], tables: dict[str, TableCheck], settings: Settings, held: pd.DataFrame, known: dict[str, pd.DataFrame]
) -> pd.DataFrame:
    """List what the visits of a load cannot say.

    Parameters
    ----------
    sources : list of MappedSource
        The mapped sheets.
    tables : dict of str to TableCheck
        What became of the rows.
    settings : Settings
        With the aliases of the taxa.
    held : DataFrame
        Reasons, as in `Checked`.
    known : dict of str to DataFrame
        Current rows of the book.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.checks.Uncounted`. A cell without a count and a held row of a known taxon silence that taxon; a held row
        whose taxon nobody knows silences all of them; a held find of no known visit, or of one whose key is made of a cell that is wrong,
        could be of any visit of its load (`visit_id` is empty). Two descriptions of a visit that differ in its targets or in whether all
        was counted silence the visit. A taxon that was found needs no such row.
    """
    codes = alias_of(settings)
    told = tables["visits"].candidates.typed["visit_id"].dropna()
    visits = set(known["visits"]["visit_id"]) | (set(told) - _doubtful_keys(tables["visits"], held))
    parts = [_empty_cells(number, one) for number, one in enumerate(sources)]
    parts += [_totals(number, one) for number, one in enumerate(sources)]
    parts += [_held_finds(tables["finds"]), _uncut_rows(sources, held), _two_statements(tables["visits"])]
    found = pd.concat([part for part in parts if len(part)] or [pd.DataFrame(columns=list(UNCOUNTED_COLUMNS))], ignore_index=True)
    taxon = found["taxon"].map(lambda text: ANY if pd.isna(text) else codes.get(str(text).casefold(), ANY))
    # a column that counts what the book does not know says nothing of what the book knows
    stranger = (found["why"] == NOT_COUNTED) & found["taxon"].notna() & (taxon == ANY)
    visit = found["visit_id"].where(found["visit_id"].isin(visits), ANY).fillna(ANY)
    kept = ~stranger & (visit.ne(ANY) | found["why"].eq(HELD))
    found = found.assign(taxon=taxon, visit_id=visit, life_stage=found["life_stage"].astype("str").fillna(""))[kept]
    finds = tables["finds"].accepted
    met = set(zip(finds["visit_id"], finds["taxon"], strict=True))
    silent = [pair not in met for pair in zip(found["visit_id"], found["taxon"], strict=True)]
    return framed(Uncounted, found[np.array(silent, dtype=bool)].reset_index(drop=True))


def _doubtful_keys(result: TableCheck, held: pd.DataFrame) -> set[str]:
    """Keys of held visits that are made of the very cell that is wrong: their finds may be of a visit that is known under the right one."""
    typed = result.candidates.typed
    wrong = held[(held["table"] == "visits") & held["field"].isin(KEY_PARTS) & held["candidate"].isin(result.held_rows)]
    doubtful = set()
    for candidate, text in zip(wrong["candidate"], wrong["text"], strict=True):
        row = typed.loc[int(candidate)]
        key = row["visit_id"]
        day = "" if pd.isna(row["visit_date"]) else f"{row['visit_date']:%Y-%m-%d}"
        parts = [part for part in (text, day) if isinstance(part, str) and part]
        if isinstance(key, str) and (key == row["site_id"] or any(part in key for part in parts)):
            doubtful.add(key)
    return doubtful - set(result.accepted["visit_id"])


def _empty_cells(number: int, one: MappedSource) -> pd.DataFrame:
    """Cells of wide columns without a count."""
    cells = one.uncounted
    text = cells["column"].astype("str") + " = " + cells["text"].astype("str").where(cells["text"].astype("str") != "", "(empty)")
    lines = one.source.lines[cells["row"].to_numpy(dtype="int64")]
    return cells.drop(columns=["column", "text"]).assign(why=NOT_COUNTED, text=text, row_no=pd.NA, source=number, line=lines)


def _totals(number: int, one: MappedSource) -> pd.DataFrame:
    """Rows with another total than their counts: animals that nobody named may be of any taxon."""
    visits = next((mapped for mapped in one.mapped if mapped.table == "visits" and "visit_id" in mapped.text), None)
    if one.totals.empty or visits is None:
        return pd.DataFrame(columns=list(UNCOUNTED_COLUMNS))
    rows = one.totals["row"].to_numpy(dtype="int64")
    key = visits.text["visit_id"].set_axis(visits.rows).reindex(rows).to_numpy()
    text = [f"total {total}, counted {counted:g}" for total, counted in zip(one.totals["total"], one.totals["counted"], strict=True)]
    return pd.DataFrame({
        "visit_id": key, "taxon": np.nan, "life_stage": np.nan, "why": TOTAL, "text": text, "row_no": pd.NA, "source": number, "row": rows,
        "line": one.source.lines[rows],
    })  # fmt: skip


def _held_finds(result: TableCheck) -> pd.DataFrame:
    """Finds whose row is held back; the row's number ties each to its reasons, so that a repair lifts it."""
    typed = result.candidates.typed.loc[result.held_rows, ["visit_id", "taxon", "life_stage"]]
    origin = result.candidates.origin.loc[result.held_rows]
    return pd.concat([typed, origin], axis=1).assign(why=HELD, text="", row_no=result.held_rows)


def _uncut_rows(sources: list[MappedSource], held: pd.DataFrame) -> pd.DataFrame:
    """Rows of sheets with finds that could not be cut into cells."""
    with_finds = [number for number, one in enumerate(sources) if any(mapped.table == "finds" for mapped in one.mapped)]
    rows = held[(held["candidate"] == NO_CANDIDATE) & held["source"].isin(with_finds)]
    named = rows.rename(columns={"parent_key": "visit_id"})[["visit_id", "text", "source", "row", "line"]]
    return named.assign(taxon=np.nan, life_stage=np.nan, why=HELD, row_no=NO_CANDIDATE)


def _two_statements(result: TableCheck) -> pd.DataFrame:
    """Visits that are described a second time with another list of targets, or another word on whether all was counted."""
    merged, candidates = result.merged, result.candidates
    rows: list[dict[str, Any]] = []
    for name in STATEMENTS:
        differs = merged.differs.get(name, np.zeros(len(candidates.typed), dtype=bool)) & merged.later
        for place in np.flatnonzero(differs):
            origin = candidates.origin.iloc[place]
            rows.append({
                "visit_id": candidates.typed["visit_id"].iloc[place], "taxon": np.nan, "life_stage": np.nan, "why": TWO_STATEMENTS,
                "text": f"{name} = {candidates.text[name].iloc[place]}", "row_no": pd.NA, **origin[["source", "row", "line"]].to_dict(),
            })  # fmt: skip
    return pd.DataFrame(rows, columns=list(UNCOUNTED_COLUMNS))
